"""The figures of an inspection as rows, and its result in sentences.

Rows: stations, limits, sources, wear, grooves. The result: the worst station, what is still open,
and the next steps.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from inspection.assessment import NOTHING_APPLIED, Assessment
from inspection.limits.conformity import Outcome, PlacedVerdict
from inspection.limits.outside import is_own
from inspection.limits.rules import Limit
from inspection.limits.wear import lacks_reference_only
from inspection.measurement.doubt import DOUBT_MARK, doubt_words
from inspection.model.log import counted
from inspection.model.loss import LOCAL_GROUND, MAY_BE_LOSS
from inspection.model.rope import Rope, Units
from inspection.record.views import OpenInspection
from inspection.worst_station import WorstStation
from ui.lengths import K, diameter_words, figure, in_units, length_text, short_length, with_u
from ui.presenters.review.queue import ReviewItem, review_queue, stations_without_findings
from ui.presenters.review.station import StationView, station_views
from ui.text import WORD_MARKS, WORD_SIGNS
from vision.results import Estimate

Rows = list[list[str]]
RANK: dict[Outcome, int] = {"outside": 0, "undecided": 1, "within": 2}
SECTION_HEADS = [
    "station",
    "measured by",
    "station mean ± U mm",
    "ovality ± U mm",
    "ovality, % of nominal",
]
LIMIT_HEADS = [
    "limit",
    "measured by",
    "verdicts",
    "nearest value ± U, limit mm",
    "margin mm",
]
VERDICT_HEADS = [
    "station",
    "measured by",
    "verdict",
    "limit",
    "value ± U mm",
    "limit mm",
    "margin mm",
]
WEAR_HEADS = [
    "station",
    "measured by",
    "decrease, % of nominal",
    "U, % of nominal",
    "rating",
    "severity",
    "other possible ratings",
]
LOCAL_HEADS = [
    "station",
    "measured by",
    "thinner than neighbours by ± U mm",
    "% of nominal",
    "local decrease?",
]
GROOVE_HEADS = ["drum or sheave", "groove radius", "wider than nominal", "fit", "reason"]


def section_rows(assessment: Assessment) -> Rows:
    """Return mean and ovality of every station measured in two directions."""
    units = assessment.log.rope.units
    return [
        [
            f"{section.station}, at {short_length(section.at_mm, units)}"
            if section.at_mm
            else str(section.station),
            source,
            with_u(section.mean_mm, section.u_mean_mm, units) + assessment.mark(section.station),
            with_u(section.ovality_mm, section.u_ovality_mm, units),
            "" if section.ovality_pct is None else f"{section.ovality_pct:.1f}",
        ]
        for source, sections in assessment.sections_by_source
        for section in sections
    ]


def limit_rows(assessment: Assessment, *, own: bool) -> Rows:
    """Return each published limit, or each of your own, once per source, with its verdicts."""
    units = assessment.log.rope.units
    groups: dict[tuple[str, str], list[PlacedVerdict]] = {}
    for verdict in assessment.verdicts:
        if is_own(verdict.verdict.limit.rule) != own:
            continue
        groups.setdefault((_limit_name(verdict), verdict.source), []).append(verdict)
    rows = []
    for (name, source), group in sorted(groups.items(), key=lambda item: _tightest(item[1])):
        nearest = min(group, key=lambda one: one.verdict.margin_mm)
        outcomes = Counter(one.verdict.outcome for one in group)
        counts = ", ".join(
            f"{WORD_SIGNS[word]} {outcomes[word]} {word}"
            + (
                DOUBT_MARK
                if any(one.doubted and one.verdict.outcome == word for one in group)
                else ""
            )
            for word in RANK
            if outcomes[word]
        )
        where = "whole rope" if nearest.station is None else f"station {nearest.station}"
        value = with_u(nearest.verdict.value_mm, nearest.verdict.u_mm, units)
        rows.append(
            [
                name,
                source,
                counts,
                f"{where}: {value}, {_bound(nearest.verdict.limit, units)}",
                figure(nearest.verdict.margin_mm, units, signed=True),
            ]
        )
    return rows


def _limit_name(verdict: PlacedVerdict) -> str:
    rule = verdict.verdict.limit.rule
    return f"{rule.rule_set}, {rule.what}"


def _tightest(group: Sequence[PlacedVerdict]) -> tuple[int, float]:
    return (
        min(RANK[one.verdict.outcome] for one in group),
        min(one.verdict.margin_mm for one in group),
    )


def verdict_rows(assessment: Assessment) -> Rows:
    """Return every verdict, outside and undecided ones first."""
    units = assessment.log.rope.units
    return [
        [
            "whole rope" if one.station is None else str(one.station),
            one.source,
            WORD_MARKS[one.verdict.outcome] + (DOUBT_MARK if one.doubted else ""),
            _limit_name(one),
            with_u(one.verdict.value_mm, one.verdict.u_mm, units),
            _bound(one.verdict.limit, units),
            figure(one.verdict.margin_mm, units, signed=True),
        ]
        for one in sorted(assessment.verdicts, key=lambda verdict: RANK[verdict.verdict.outcome])
    ]


def _bound(limit: Limit, units: Units) -> str:
    words = []
    if limit.low_mm is not None:
        words.append(f"at least {figure(limit.low_mm, units)}")
    if limit.high_mm is not None:
        words.append(f"at most {figure(limit.high_mm, units)}")
    return " and ".join(words)


def sources(assessment: Assessment, *, own: bool) -> list[str]:
    """Return the source of each published limit, or of your own, and how reliable it is."""
    sentences: dict[str, None] = {}
    for placed in assessment.verdicts:
        limit = placed.verdict.limit
        rule = limit.rule
        if is_own(rule) != own:
            continue
        edition = f", {rule.edition}" if rule.edition else ""
        clause = f", {rule.clause}" if rule.clause else ""
        words = f"{rule.rule_set}, {rule.what}: {rule.source}{edition}{clause}; {rule.sure}."
        sentences[" ".join(part for part in (words, limit.note) if part)] = None
    return list(sentences)


def wear_rows(assessment: Assessment) -> Rows:
    """Return the uniform decrease of every station with its severity (ISO 4309:2017)."""
    return [
        [
            str(at.station),
            at.source,
            f"{one.decrease_pct:+z.2f}",
            f"{K * one.u_pct:.2f}",
            at.band,
            f"{one.severity_pct} %",
            ", ".join(
                f"{band} {share:.0%}"
                for band, share in one.spread
                if band != one.band and share >= 0.05
            ),
        ]
        for at in assessment.severities
        for one in [at.severity]
    ]


def local_rows(assessment: Assessment) -> Rows:
    """Return each station against the median of its neighbours."""
    return [
        [
            str(local.station),
            local.source,
            with_u(local.deficit_mm, local.u_mm, assessment.log.rope.units, signed=True),
            f"{local.deficit_pct:+z.1f}",
            local.outcome + (DOUBT_MARK if local.doubted else ""),
        ]
        for local in assessment.local
    ]


def groove_rows(assessment: Assessment) -> Rows:
    """Return how each groove fits the rope's nominal diameter."""
    return [
        [
            fit.groove.name,
            short_length(fit.groove.radius_mm, assessment.log.rope.units),
            f"{fit.excess_pct:+z.1f} %",
            fit.outcome,
            fit.words,
        ]
        for fit in assessment.groove_fits
    ]


# ---- the result in sentences ----------------------------------------------------------------

NAMED = 6  # most places listed by name; further ones are only counted


@dataclass(frozen=True, slots=True)
class UpcomingStep:
    """A next step.

    Parameters
    ----------
    screen : str
        The screen on which it is done.
    words : str
        What to do.
    station, view_deg : int or None
        Station and direction to open on that screen.
    """

    screen: str
    words: str
    station: int | None = None
    view_deg: int | None = None


def answer_lines(assessment: Assessment, worst: WorstStation) -> list[str]:
    """Return what the worst station's figure means: decrease, severity, neighbours, limits."""
    rope = assessment.log.rope
    lines = []
    if worst.severity is not None:
        one = worst.severity.severity
        reference = (
            ""
            if rope.reference_mm is None
            else f" of {length_text(rope.reference_mm, units=rope.units)}"
        )
        size, side = abs(one.decrease_pct), "below" if one.decrease_pct >= 0 else "above"
        lines.append(
            f"{size:.1f} % of nominal {side} the reference{reference} (U {2 * one.u_pct:.1f} %): "
            f"severity {one.band}, {one.severity_pct} % towards discard (ISO 4309:2017)"
        )
    else:
        off = 100.0 * (worst.diameter_mm - rope.nominal_mm) / rope.nominal_mm
        line = f"{off:+z.1f} % from nominal"
        if rope.duty == "lift":
            line += ", with which lift ropes are compared"
        elif lacks_reference_only(rope):
            line += (
                ". The decrease can't be stated without a reference diameter: enter it with the "
                "rope"
            )
        lines.append(line)
    if worst.local is not None and worst.local.deficit_mm > 0:
        local = diameter_words(worst.local.deficit_mm, worst.local.u_mm, rope.units)
        lines.append(f"{local} thinner than its neighbours")
    if worst.is_local_decrease or worst.why == "possible loss of section":
        lines.append(f"{MAY_BE_LOSS} Look there for a broken core, corrosion or wear")
    if worst.is_local_decrease:
        lines.append(LOCAL_GROUND.rstrip("."))
    lines += [in_units(placed.words, rope.units).rstrip(".") for placed in worst.beyond]
    if worst.directions < 2:
        lines.append("Measured in one direction only: no mean, no verdict")
    if worst.doubted:
        lines.append(in_units(doubt_words(worst.doubts, worst.source), rope.units).rstrip("."))
    return [f"{line}." for line in lines]


def worst_view(
    opened: OpenInspection, assessment: Assessment, worst: WorstStation
) -> StationView | None:
    """Return the photograph with the worst station's smallest diameter; None without one."""
    views = [
        view
        for view in station_views(opened, assessment, worst.station)
        if isinstance(view.result, Estimate)
    ]
    return min(
        views,
        key=lambda view: view.result.diameter_mm if isinstance(view.result, Estimate) else 0.0,
        default=None,
    )


def open_lines(opened: OpenInspection, assessment: Assessment) -> list[str]:
    """Return what is still open in an inspection, one sentence each."""
    lines = []
    items = review_queue(opened)
    waiting = [item for item in items if not item.settled]
    if waiting:
        named = ", ".join(item.name for item in waiting[:NAMED])
        more = f" and {len(waiting) - NAMED} more" if len(waiting) > NAMED else ""
        verb = "is" if len(waiting) == 1 else "are"
        lines.append(
            f"{counted(len(waiting), 'place', 'places')} {verb} waiting for a reviewer: "
            f"{named}{more}."
        )
    lines += [
        f"{item.name} is with the inspector: {item.decision.why}."
        for item in items
        if item.with_inspector and item.decision is not None
    ]
    refused = len(assessment.crosscheck.refused)
    if refused:
        verb = "gives" if refused == 1 else "give"
        lines.append(f"{counted(refused, 'photograph', 'photographs')} {verb} no diameter.")
    alone = len(assessment.crosscheck.readings_alone)
    if alone:
        lines.append(
            f"{counted(alone, 'reading has', 'readings have')} no photograph for comparison."
        )
    lines += [f"Not complete: {words}" for words in assessment.not_complete]
    if assessment.judged_against_nothing:
        lines.append(NOTHING_APPLIED)
    return lines


def next_steps(opened: OpenInspection, assessment: Assessment) -> list[UpcomingStep]:
    """Return the next steps, the most urgent first."""
    items = [*review_queue(opened), *stations_without_findings(opened)]
    steps = []
    for item in items:
        decision = item.decision
        if item.with_inspector and decision is not None:
            direction = "" if decision.view_deg is None else f", {decision.view_deg}°,"
            steps.append(
                UpcomingStep(
                    "sheet", f"Read {item.name.lower()}{direction} again", item.station,
                    decision.view_deg,
                )
            )  # fmt: skip
    first = next((item for item in items if item.waits), None)
    if first is not None:
        steps.append(_review_of(first))
    elif opened.state in ("draft", "submitted"):
        steps.append(UpcomingStep("review", "Decide on the inspection"))
    if assessment.not_complete:
        steps.append(UpcomingStep("sheet", "Complete the stations"))
    if opened.state in ("draft", "sent back"):
        steps.append(UpcomingStep("condition", "Record the condition and submit"))
    elif opened.state == "reviewed":
        steps.append(UpcomingStep("condition", "Decide and close"))
    return steps


def _review_of(item: ReviewItem) -> UpcomingStep:
    if item.station is None:
        return UpcomingStep("review", f"Review {item.name}")
    return UpcomingStep("review", f"Review station {item.station}", item.station, item.view_deg)


def headline(worst: WorstStation, rope: Rope) -> str:
    """Return the result in one line."""
    figure = diameter_words(worst.diameter_mm, worst.u_mm, rope.units)
    if worst.directions < 2:
        return f"Thinnest figure: station {worst.station}, {figure}, in one direction only"
    which = "Thinnest" if worst.is_thinnest else "Check first"
    return f"{which}: station {worst.station}, {figure}"
