"""The answer of an inspection in sentences: its worst station, what is open, what comes now."""

from __future__ import annotations

from dataclasses import dataclass

from inspection.assessment import NOTHING_APPLIED, Assessment
from inspection.model.log import counted
from inspection.model.loss import DOUBTED
from inspection.record.views import OpenInspection
from ui.presenters.review_queue import ReviewItem, review_queue, stations_without_findings
from ui.presenters.station import StationView, station_views
from ui.presenters.worst_station import WorstStation
from vision.results import Estimate

NAMED = 6  # places that are named; of more the number is told


@dataclass(frozen=True, slots=True)
class UpcomingStep:
    """Something to do now.

    Parameters
    ----------
    screen : str
        Where it is done.
    words : str
        What.
    station, view_deg : int or None
        What the screen shows then.
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
        reference = "" if rope.reference_mm is None else f" of {rope.reference_mm:.2f} mm"
        size, side = abs(one.decrease_pct), "below" if one.decrease_pct >= 0 else "above"
        lines.append(
            f"{size:.1f} % of nominal {side} the reference{reference} (U {2 * one.u_pct:.1f} %): "
            f"severity {one.band}, {one.severity_pct} % towards discard (ISO 4309:2017)"
        )
    else:
        off = 100.0 * (worst.diameter_mm - rope.nominal_mm) / rope.nominal_mm
        lines.append(
            f"{off:+z.1f} % to nominal; no decrease can be told without a reference diameter: "
            "enter it with the rope"
        )
    if worst.local is not None and worst.local.deficit_mm > 0:
        local = f"{worst.local.deficit_mm:.2f} ± {2 * worst.local.u_mm:.2f} mm"
        words = f"{local} thinner than its neighbours"
        if worst.is_local_decrease:
            words += ": look there for a broken core, corrosion or wear"
        lines.append(words)
    lines += [placed.words.rstrip(".") for placed in worst.beyond]
    if worst.directions < 2:
        lines.append("Seen from one direction only: no mean, no verdict")
    if worst.doubted:
        lines.append(DOUBTED.rstrip("."))
    return [f"{line}." for line in lines]


def worst_view(
    opened: OpenInspection, assessment: Assessment, worst: WorstStation
) -> StationView | None:
    """Return the photograph that shows the worst station at its thinnest; None without one."""
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
    """Return what is open in an inspection, a sentence each."""
    lines = []
    items = review_queue(opened)
    waiting = [item for item in items if not item.settled]
    if waiting:
        named = ", ".join(item.name for item in waiting[:NAMED])
        more = f" and {len(waiting) - NAMED} more" if len(waiting) > NAMED else ""
        verb = "waits" if len(waiting) == 1 else "wait"
        lines.append(
            f"{counted(len(waiting), 'place', 'places')} {verb} for a reviewer: {named}{more}."
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
            f"{counted(alone, 'reading has', 'readings have')} no photograph to be held against."
        )
    lines += [f"Not complete: {words}" for words in assessment.not_complete]
    if assessment.judged_against_nothing:
        lines.append(NOTHING_APPLIED)
    return lines


def next_steps(opened: OpenInspection, assessment: Assessment) -> list[UpcomingStep]:
    """Return what is to be done now, the most urgent first."""
    items = [*review_queue(opened), *stations_without_findings(opened)]
    steps = []
    for item in items:
        asked = item.decision
        if item.with_inspector and asked is not None:
            direction = "" if asked.view_deg is None else f", {asked.view_deg}°,"
            steps.append(
                UpcomingStep(
                    "sheet", f"Read {item.name.lower()}{direction} again", item.station,
                    asked.view_deg,
                )
            )  # fmt: skip
    first = next((item for item in items if item.waits), None)
    if first is not None:
        steps.append(_review_of(first))
    elif opened.state in ("draft", "submitted"):
        steps.append(UpcomingStep("review", "Decide about the inspection"))
    if assessment.not_complete:
        steps.append(UpcomingStep("sheet", "Fill the gaps on the sheet"))
    return steps


def _review_of(item: ReviewItem) -> UpcomingStep:
    if item.station is None:
        return UpcomingStep("review", f"Review {item.name}")
    return UpcomingStep("review", f"Review station {item.station}", item.station, item.view_deg)
