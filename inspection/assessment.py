"""Assessment: one inspection's log through cross-check, screening and verdicts, in one call.

It asks each part in turn and keeps what they said. An assessment never clears a rope: the
competent person, the maker's instructions and local rules decide.
"""

from __future__ import annotations

from collections.abc import Sequence
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
    Source,
    station_verdicts,
    whole_rope_verdicts,
)
from inspection.limits.grooves import GrooveFit, groove_fit, groove_limits
from inspection.limits.remaining_life import StationHistory, station_histories
from inspection.limits.rules import Limit, NotApplicable, Rule
from inspection.limits.standards import limits_for, usual_sets
from inspection.limits.wear import LocalDecrease, SeverityRating, local_decreases, uniform_decrease
from inspection.measurement.section import Section, pair_by_card, sections_of_readings
from inspection.model.log import Log, counted, place_words
from inspection.model.rope import Tension
from inspection.screening.lay_length import StationLay, station_lays
from inspection.screening.screen import LEVEL, USUAL_PACE, screen_log
from inspection.screening.timing import Pace
from vision.results import Finding


@dataclass(frozen=True, slots=True)
class Assessment:
    """All that can be said about one inspection.

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
    local : tuple of LocalDecrease
        Each station against its neighbours: from photographs where there are 3 stations of
        them, else from the gauge; empty where neither has 3.
    notes : tuple of str
        What could not be judged, a sentence each.
    across : Across or None
        All comparisons together; None where there are none.
    severities : tuple of (station, Severity)
        Uniform decrease of the stations, from photographs where there are any, else from the
        gauge; empty where no reference diameter allows it.
    station_histories : tuple of StationHistory
        Stations that earlier inspections hold, too.
    groove_fits : tuple of GrooveFit
        The rope's grooves against its nominal diameter.
    lays : tuple of StationLay
        Lay length of the stations whose photographs show it.
    """

    log: Log
    crosscheck: CrossCheck
    agreement: Agreement | None
    findings: tuple[Finding, ...]
    photograph_sections: tuple[Section, ...]
    gauge_sections: tuple[Section, ...]
    verdicts: tuple[PlacedVerdict, ...]
    not_applicable: tuple[NotApplicable, ...]
    local: tuple[LocalDecrease, ...]
    notes: tuple[str, ...] = ()
    method_comparison: MethodComparison | None = None
    severities: tuple[tuple[int | None, SeverityRating], ...] = ()
    station_histories: tuple[StationHistory, ...] = ()
    groove_fits: tuple[GrooveFit, ...] = ()
    lays: tuple[StationLay, ...] = ()

    @property
    def needs_review(self) -> bool:
        """Whether any entry, photograph or figure should be looked at again.

        "Doubtful" alone is not counted: of 20 comparisons in which nothing is wrong, one is.
        """
        return bool(
            self.findings
            or self.crosscheck.refused
            or any(one.word == "disagrees" for one in self.crosscheck.comparisons)
            or any(one.verdict.outcome == "outside" for one in self.verdicts)
            or any(one.outcome == "local decrease" for one in self.local)
        )

    @property
    def first_concern(self) -> str:
        """One line: what deserves the first look, and why."""
        if self.findings:
            first = self.findings[0]
            more = f" and {len(first.where) - 3} more" if len(first.where) > 3 else ""
            return f"First look: {'; '.join(first.where[:3])}{more}. {first.seen}"
        for one in self.crosscheck.comparisons:
            if one.word == "disagrees":
                return f"First look: {place_words(one.station or 0, one.view_deg)}. {one.words}"
        for thin in self.local:
            if thin.outcome == "local decrease":
                return (
                    f"First look: station {thin.station} is {thin.deficit_mm:.2f} mm "
                    f"({thin.deficit_pct:.1f} % of nominal) thinner than its neighbours."
                )
        for placed in self.verdicts:
            if placed.verdict.outcome == "outside":
                return f"First look: {placed.words}"
        if self.crosscheck.refused:
            refused = self.crosscheck.refused[0]
            return f"First look: photograph {refused.photo_name}. {refused.findings[0].seen}"
        return "No entry deserves a look before the others. That does not clear the rope."


def assess(
    log: Log,
    *,
    level: float = LEVEL,
    pace: Pace = USUAL_PACE,
    decision: DecisionRule = GUARD_2017,
    rule_sets: Sequence[str] | None = None,
    own: Sequence[Rule] = (),
    reference_tension: Tension | None = None,
    baseline_mm: float | None = None,
    u_reference_mm: float | None = None,
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
    reference_tension, baseline_mm, u_reference_mm : optional
        In place of what the rope says.

    Raises
    ------
    ValueError
        If a figure of rope or gauge is out of range, or a set of limits is not known.

    Examples
    --------
    >>> from inspection.folder import read_folder
    >>> judgement = assess(read_folder("crane-3").log)  # doctest: +SKIP
    >>> print(judgement.first_concern)  # doctest: +SKIP
    """
    unknown = [item for item in log.readings if item.gauge not in log.gauges]
    known = [item for item in log.readings if item.gauge in log.gauges]
    notes = []
    if unknown:
        notes.append(
            f"{counted(len(unknown), 'reading', 'readings')} with a gauge of which nothing is "
            "known could not be compared: enter the gauge."
        )
    checked = crosscheck(
        log.results, known, log.gauges, log.rope, inspection=log.inspection.identity
    )
    compared = checked.comparisons
    places = log.positions_m()
    photographed = pair_by_card(
        log.results, nominal_mm=log.rope.nominal_mm, positions_m=places
    ).sections
    gauged, _ = sections_of_readings(
        known, log.gauges, nominal_mm=log.rope.nominal_mm, outer_strands=log.rope.outer_strands,
        positions_m=places, inspection=log.inspection.identity,
    )  # fmt: skip
    sections: dict[Source, tuple[Section, ...]] = {
        "photographs": _along(photographed), "gauge": _along(gauged),
    }  # fmt: skip
    rope = replace(
        log.rope,
        reference_tension=reference_tension or log.rope.reference_tension,
        baseline_mm=log.rope.baseline_mm if baseline_mm is None else baseline_mm,
        u_reference_mm=log.rope.u_reference_mm if u_reference_mm is None else u_reference_mm,
    )
    tension = log.inspection.tension
    sets = usual_sets(rope) if rule_sets is None else rule_sets
    limits: list[Limit | NotApplicable] = list(
        limits_for(rope, rule_sets=sets, own=own, tension=tension)
    )
    for groove in rope.grooves:
        # a sheave has no pitch and a drum of one layer needs no limits of its own: no gap to tell
        limits += [
            one for one in groove_limits(rope, groove)
            if isinstance(one, Limit) or one.rule.services or groove.layers > 1
        ]  # fmt: skip
    verdicts: list[PlacedVerdict] = []
    for source, along in sections.items():
        if not along:
            notes.append(
                f"No station was measured in two directions by {source}: no mean, no verdict."
            )
            continue
        verdicts += station_verdicts(along, limits, source, decision=decision)
        if rope.service == "new" or rope.grooves:
            found, why = whole_rope_verdicts(
                along, limits, source, nominal_mm=log.rope.nominal_mm, decision=decision
            )
            verdicts += found
            notes += why
    along = max(sections.values(), key=lambda one: (len(one) >= 3, one is sections["photographs"]))
    severities = [
        (one.station, uniform_decrease(rope, one.mean_mm, one.u_mean_mm, tension=tension))
        for one in sections["photographs"] or sections["gauge"]
    ]
    local = local_decreases(along, nominal_mm=log.rope.nominal_mm) if len(along) >= 3 else ()
    return Assessment(
        log=log,
        crosscheck=checked,
        agreement=agreement_of(compared) if len(compared) >= FEWEST else None,
        findings=screen_log(log, level=level, pace=pace),
        photograph_sections=sections["photographs"],
        gauge_sections=sections["gauge"],
        verdicts=tuple(verdicts),
        not_applicable=tuple(one for one in limits if isinstance(one, NotApplicable)),
        local=local,
        notes=tuple(notes),
        method_comparison=compare_methods(compared) if compared else None,
        severities=tuple((at, one) for at, one in severities if isinstance(one, SeverityRating)),
        station_histories=station_histories(log, limits),
        groove_fits=tuple(groove_fit(rope, groove) for groove in rope.grooves),
        lays=station_lays(log.results, log.rope.outer_strands),
    )


def _along(sections: Sequence[Section]) -> tuple[Section, ...]:
    """Return sections in the rope's order."""
    return tuple(sorted(sections, key=lambda one: (one.position_m or 0.0, one.station or 0)))
