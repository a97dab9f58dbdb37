"""Assessment: one inspection's log through cross-check, screening and verdicts, in one call.

It calls each part in turn and collects the results. An assessment never clears a rope: the
competent person, the maker's instructions and local rules decide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from inspection.comparison.bland_altman import (
    FEWEST,
    Agreement,
    MethodComparison,
    agreement_of,
    compare_methods,
)
from inspection.comparison.crosscheck import CrossCheck, crosscheck
from inspection.limits.conformity import (
    GUARD_2017,
    DecisionRule,
    PlacedVerdict,
    scope_notes,
    scope_of,
    station_verdicts,
    whole_rope_verdicts,
)
from inspection.limits.grooves import GrooveFit, all_groove_limits, groove_fit
from inspection.limits.outside import beyond_limits, outside_words
from inspection.limits.plausibility import far_from_nominal
from inspection.limits.remaining_life import StationHistory, station_histories
from inspection.limits.rules import Limit, NotApplicable, Rule
from inspection.limits.standards import limits_for, not_asked, usual_sets
from inspection.limits.wear import (
    LocalDecrease,
    SeverityRating,
    StationSeverity,
    local_decreases,
    uniform_decrease,
)
from inspection.measurement.doubt import DOUBT_MARK, DoubtedEntry, doubts_at
from inspection.measurement.section import Section, Source, best_sections, sections_of_log
from inspection.model.log import Log, counted
from inspection.model.loss import LOCAL_GROUND, loss_rank
from inspection.screening.checks.completeness import INCOMPLETE, gaps_and_contradictions
from inspection.screening.checks.lay_length import StationLay, station_lays
from inspection.screening.checks.timing import Pace
from inspection.screening.doubted_entries import doubted_entries
from inspection.screening.figures.odd_figures import model_of, with_learned_repeatability
from inspection.screening.screen import LEVEL, USUAL_PACE, screen
from vision.results import Finding, Place

NOTHING_APPLIED = (
    "The rope was judged against nothing: no limit for its diameter applies to what was measured. "
    "That does not mean that the rope is good: provide what the limits need (two directions; a "
    "reference diameter if they are relative to it)."
)


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything that can be concluded from one inspection.

    Parameters
    ----------
    log : Log
        What was judged.
    crosscheck : CrossCheck
        Every reading against its photograph.
    agreement : Agreement or None
        Mean difference and limits of agreement; None for fewer than 3 comparisons.
    findings : tuple of Finding
        Entries that deserve a second look, most deserving first.
    photograph_sections, gauge_sections : tuple of Section
        Stations with two directions or more, from either source, in the rope's order.
    verdicts : tuple of PlacedVerdict
        Every figure against every limit that applies.
    not_applicable : tuple of NotApplicable
        Limits that don't apply, and why.
    best : tuple of Section
        The section of every station with the smallest uncertainty, from photographs or gauge, in
        the rope's order.
    local : tuple of LocalDecrease
        Each station's best figure against its neighbours'; empty for fewer than 3 stations.
    notes : tuple of str
        What could not be judged, a sentence each.
    method_comparison : MethodComparison or None
        All comparisons together; None where there are none.
    severities : tuple of StationSeverity
        Uniform decrease of every station by its best figure; empty where no reference diameter
        allows it.
    station_histories : tuple of StationHistory
        Stations that earlier inspections also contain.
    groove_fits : tuple of GrooveFit
        The rope's grooves against its nominal diameter.
    lays : tuple of StationLay
        Lay length of the stations whose photographs show it.
    doubts : tuple of DoubtedEntry
        Entries that have to be checked, most urgent first.
    not_asked : tuple of str
        What decides which limits apply but was not stated, a sentence each.
    """

    log: Log
    crosscheck: CrossCheck
    agreement: Agreement | None
    findings: tuple[Finding, ...]
    photograph_sections: tuple[Section, ...]
    gauge_sections: tuple[Section, ...]
    verdicts: tuple[PlacedVerdict, ...]
    not_applicable: tuple[NotApplicable, ...]
    best: tuple[Section, ...]
    local: tuple[LocalDecrease, ...]
    notes: tuple[str, ...] = ()
    method_comparison: MethodComparison | None = None
    severities: tuple[StationSeverity, ...] = ()
    station_histories: tuple[StationHistory, ...] = ()
    groove_fits: tuple[GrooveFit, ...] = ()
    lays: tuple[StationLay, ...] = ()
    doubts: tuple[DoubtedEntry, ...] = ()
    not_asked: tuple[str, ...] = ()

    @property
    def sections_by_source(self) -> tuple[tuple[Source, tuple[Section, ...]], ...]:
        """The sections by photographs, and those by gauge."""
        return ("photographs", self.photograph_sections), ("gauge", self.gauge_sections)

    @property
    def doubted(self) -> frozenset[int]:
        """Stations with an entry that has to be checked."""
        return frozenset(one.place.station for one in self.doubts)

    def doubts_at(self, station: int | None) -> tuple[DoubtedEntry, ...]:
        """Return the entries to be checked at a station; None for the whole rope."""
        return doubts_at(self.doubts, station)

    def mark(self, *stations: int | None) -> str:
        """Return the mark of a figure of these stations: " (doubted)" or nothing."""
        return DOUBT_MARK if any(station in self.doubted for station in stations) else ""

    def entry_mark(self, place: Place | None, source: Source) -> str:
        """Return the mark of one reading or photograph: " (doubted)" or nothing."""
        return (
            DOUBT_MARK
            if any(
                one.place == place and (one.source == source or one.disagrees)
                for one in self.doubts
            )
            else ""
        )

    @property
    def thin_places(self) -> tuple[LocalDecrease, ...]:
        """The local decreases, the largest first."""
        thin = [one for one in self.local if one.outcome == "local decrease"]
        return tuple(sorted(thin, key=lambda one: -one.deficit_mm))

    @property
    def needs_review(self) -> bool:
        """Whether any entry, photograph or figure should be looked at again.

        "Doubtful" alone does not count: one in 20 comparisons with nothing wrong is doubtful.
        """
        return bool(
            self.findings
            or self.crosscheck.refused
            or any(comparison.word == "disagrees" for comparison in self.crosscheck.comparisons)
            or any(verdict.verdict.outcome == "outside" for verdict in self.verdicts)
            or self.thin_places
        )

    @property
    def judged_against_nothing(self) -> bool:
        """Whether something was measured but no limit for a diameter was applied to it."""
        return bool(self.log.readings or self.log.results) and not any(
            verdict.verdict.limit.rule.purpose in ("accept", "discard")
            and verdict.verdict.limit.rule.quantity in ("measured diameter", "mean diameter")
            for verdict in self.verdicts
        )

    @property
    def not_complete(self) -> tuple[str, ...]:
        """What is missing, duplicated or contradictory in the inspection, a sentence each."""
        return tuple(finding.seen for finding in self.findings if finding.code in INCOMPLETE)

    @property
    def first_concern(self) -> str:
        """One line: what deserves the first look, and why; a possible loss of section first."""
        return (
            f"Check first: {self._first}"
            if self._first
            else (
                NOTHING_APPLIED
                if self.judged_against_nothing
                else "No entry stands out. That does not clear the rope."
            )
        )

    def first_line(self, unread: str) -> str:
        """As `first_concern`, with the rows of the readings that could not be read, in words."""
        if not unread:
            return self.first_concern
        return f"{self.first_concern} Also: {unread}" if self._first else f"Check first: {unread}"

    @property
    def _first(self) -> str:
        """The first concern, and then every limit that a figure is outside of."""
        words, told = self._lead
        return f"{words} {outside_words(self.verdicts, told)}".strip() if words else ""

    @property
    def _lead(self) -> tuple[str, PlacedVerdict | None]:
        """The first concern by itself, and the verdict that it is, if it is one."""
        lost = [finding for finding in self.findings if finding.look_first]
        if lost:
            return f"{finding_words(lost[0])} {LOCAL_GROUND}", None
        if self.thin_places:
            return f"{self.thin_places[0].words} {LOCAL_GROUND}", None
        outside = [verdict for verdict in self.verdicts if verdict.verdict.outcome == "outside"]
        for placed in beyond_limits(outside):
            if placed.verdict.limit.rule.purpose == "discard":
                return placed.words, placed
        if self.findings:
            return finding_words(self.findings[0]), None
        for comparison in self.crosscheck.comparisons:
            if comparison.word == "disagrees":
                return f"{comparison.place.words}. {comparison.words}", None
        if outside:
            placed = next(iter([*beyond_limits(outside), *outside]))
            return placed.words, placed
        if self.crosscheck.refused:
            refused = self.crosscheck.refused[0]
            return f"photograph {refused.photo_name}. {refused.findings[0].seen}", None
        return "", None


def finding_words(finding: Finding) -> str:
    """Return a finding with its places, at most three, in one line.

    Examples
    --------
    >>> where = ("station 1", "station 2", "station 4", "station 6")
    >>> finding_words(Finding("a", "All low.", "", "look", where=where[:3]))
    'station 1; station 2; station 4. All low.'
    >>> finding_words(Finding("a", "All low.", "", "look", where=where))
    'station 1; station 2; station 4 and 1 more. All low.'
    """
    more = f" and {len(finding.where) - 3} more" if len(finding.where) > 3 else ""
    return f"{'; '.join(finding.where[:3])}{more}. {finding.seen}"


def assess(
    log: Log,
    *,
    level: float = LEVEL,
    pace: Pace = USUAL_PACE,
    decision: DecisionRule = GUARD_2017,
    rule_sets: Sequence[str] | None = None,
    own: Sequence[Rule] = (),
) -> Assessment:
    """Return cross-check, screening and verdicts of one inspection.

    Parameters
    ----------
    log : Log
        The inspection's entries, photographs' results, gauges and earlier inspections.
    level, pace : optional
        As in `inspection.screening.screen.screen_log`.
    decision : DecisionRule, optional
        How uncertainty counts at a limit.
    rule_sets : sequence of str or None, optional
        Keys of `inspection.limits.standards.RULE_SETS`; by default the usual ones for this rope.
    own : optional
        As in `inspection.limits.standards.limits_for`.

    Raises
    ------
    ValueError
        If a figure of rope or gauge is out of range, or a set of limits is not known.

    Examples
    --------
    >>> from inspection.folder import read_folder
    >>> assessment = assess(read_folder("crane-3").log)  # doctest: +SKIP
    >>> print(assessment.first_concern)  # doctest: +SKIP
    """
    rope, tension = log.rope, log.inspection.tension
    known = [reading for reading in log.readings if reading.gauge in log.gauges]
    model = model_of(log)
    learned, dof = with_learned_repeatability(log, model)
    sections = sections_of_log(learned)
    identity = log.inspection.identity
    checked = crosscheck(log.results, known, learned.gauges, rope, inspection=identity, dof=dof)
    compared = checked.comparisons
    agreement = agreement_of(compared) if len(compared) >= FEWEST else None
    method_comparison = compare_methods(compared) if compared else None
    best = best_sections(
        (*sections["photographs"], *sections["gauge"]),
        contradicted={item.station for item in compared if item.word == "disagrees"},
    )
    odd = screen(log, model, level=level, pace=pace)
    gaps = gaps_and_contradictions(learned)
    lays = station_lays(log.results, rope.outer_strands)
    one_by_one = {place for item in odd if len(item.places) <= 2 for place in item.places}
    found = (*far_from_nominal(learned, named=one_by_one), *odd, *gaps)
    findings = tuple(sorted(found, key=lambda one: -loss_rank(one)))
    doubts = doubted_entries(log, findings, checked)
    sets = usual_sets(rope) if rule_sets is None else rule_sets
    limits = (
        *limits_for(rope, rule_sets=sets, own=own, tension=tension),
        *all_groove_limits(rope),
    )
    verdicts, notes = _verdicts(log, sections, limits, decision)
    return Assessment(
        log=log,
        crosscheck=checked,
        agreement=agreement,
        findings=findings,
        photograph_sections=sections["photographs"],
        gauge_sections=sections["gauge"],
        verdicts=tuple(
            replace(verdict, doubts=doubts_at(doubts, verdict.station)) for verdict in verdicts
        ),
        not_applicable=tuple(limit for limit in limits if isinstance(limit, NotApplicable)),
        best=best,
        local=tuple(
            replace(decrease, doubts=doubts_at(doubts, decrease.station))
            for decrease in local_decreases(best, nominal_mm=rope.nominal_mm)
        ),
        notes=(*_unknown_gauges(log), *notes),
        method_comparison=method_comparison,
        severities=_severities(log, best, limits, doubts),
        station_histories=station_histories(learned, limits),
        groove_fits=tuple(groove_fit(rope, groove) for groove in rope.grooves),
        lays=lays,
        doubts=doubts,
        not_asked=not_asked(rope),
    )


def _unknown_gauges(log: Log) -> list[str]:
    unknown = sum(reading.gauge not in log.gauges for reading in log.readings)
    if not unknown:
        return []
    return [
        f"{counted(unknown, 'reading', 'readings')} with an unknown gauge could not be compared: "
        "enter the gauge."
    ]


def _verdicts(
    log: Log,
    sections: Mapping[Source, Sequence[Section]],
    limits: Sequence[Limit | NotApplicable],
    decision: DecisionRule,
) -> tuple[list[PlacedVerdict], list[str]]:
    """Return the verdict on every figure, and what could not be judged."""
    crossovers = log.crossovers()
    verdicts: list[PlacedVerdict] = []
    notes: list[str] = []
    for source, along in sections.items():
        if not along:
            by = "a known gauge" if source == "gauge" and _unknown_gauges(log) else source
            notes.append(f"No station was measured in two directions by {by}: no mean, no verdict.")
            continue
        verdicts += station_verdicts(
            along, limits, source, decision=decision, crossovers=crossovers
        )
        if log.rope.service == "new":
            whole, why = whole_rope_verdicts(
                along, limits, source, nominal_mm=log.rope.nominal_mm, decision=decision
            )
            verdicts += whole
            notes += why
    return verdicts, [*notes, *scope_notes(limits, crossovers)]


def _severities(
    log: Log,
    best: Sequence[Section],
    limits: Sequence[Limit | NotApplicable],
    doubts: Sequence[DoubtedEntry],
) -> tuple[StationSeverity, ...]:
    """Return the uniform decrease of every station for which a reference diameter is known."""
    table = next(
        (
            limit
            for limit in limits
            if isinstance(limit, Limit) and limit.rule.what == "uniform decrease"
        ),
        None,
    )
    rated = [
        (
            section,
            uniform_decrease(
                log.rope, section.mean_mm, section.u_mean_mm, tension=log.inspection.tension
            ),
        )
        for section in best
    ]
    return tuple(
        StationSeverity(
            section.station,
            section.source,
            severity,
            "" if table is None else scope_of(table, section.station, log.crossovers()),
            doubts_at(doubts, section.station),
        )
        for section, severity in rated
        if isinstance(severity, SeverityRating)
    )
