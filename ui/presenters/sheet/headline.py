"""The headline above the sheet: the station to check first, its decrease, and what is open."""

from __future__ import annotations

from dataclasses import dataclass

from inspection.assessment import Assessment
from inspection.limits.wear import lacks_reference_only
from inspection.measurement.doubt import doubt_words
from inspection.model.log import counted
from inspection.model.rope import Rope
from inspection.record.views import OpenInspection
from inspection.worst_station import WorstStation, worst_station
from ui.lengths import diameter_words, in_units, length_text
from ui.text import as_minus


@dataclass(frozen=True, slots=True)
class Headline:
    """The headline above the sheet.

    Parameters
    ----------
    answer : str
        The station to check first with its figure, or what to do.
    detail : str
        Decrease, severity, and comparison with its neighbours.
    disagree : str
        How many readings disagree; empty if none does.
    open : tuple of str
        What is open: refused photographs, incomplete stations.
    station : int or None
        The station to check first.
    doubtful : bool
        Whether something disagrees or must be checked.
    photo : str
        Hash of a photograph of that station; empty without one.
    """

    answer: str
    detail: str = ""
    disagree: str = ""
    open: tuple[str, ...] = ()
    station: int | None = None
    doubtful: bool = False
    photo: str = ""


def headline_of(opened: OpenInspection, assessment: Assessment) -> Headline:
    """Return the headline: the station to check first, decrease, severity, what is open."""
    doubtful = sum(one.word == "disagrees" for one in assessment.crosscheck.comparisons)
    disagree = f"{doubtful} {'disagrees' if doubtful == 1 else 'disagree'}" if doubtful else ""
    still = _still_open(opened, assessment)
    worst = worst_station(assessment)
    if worst is None or (not assessment.best and worst.why == "thinnest"):
        answer = (
            "No station has been measured in two directions yet"
            if opened.results or opened.readings
            else "Add photographs, or type the gauge readings"
        )
        return Headline(answer, disagree=disagree, open=still, doubtful=bool(doubtful))
    which = "is thinnest" if worst.is_thinnest else "to check first"
    answer = (
        f"Station {worst.station} {which}: "
        f"{diameter_words(worst.diameter_mm, worst.u_mm, opened.rope.units)}"
        f"{', in one direction only' if worst.directions < 2 else ''}"
    )
    return Headline(
        answer,
        as_minus(_detail(opened, worst)),
        disagree,
        still,
        worst.station,
        bool(doubtful) or worst.doubted,
        next((one.photo_sha256 for one in opened.results if one.station == worst.station), ""),
    )


def _detail(opened: OpenInspection, worst: WorstStation) -> str:
    rope, rated, local = opened.rope, worst.severity, worst.local
    parts = []
    if worst.beyond:
        parts.append(f"beyond {'a limit' if len(worst.beyond) == 1 else 'limits'}")
    if rated is not None:
        reference = length_text(rope.reference_mm or 0.0, units=rope.units)
        decrease = rated.severity.decrease_pct
        side = "below" if decrease >= 0 else "above"
        parts.append(f"{abs(decrease):.1f} % of nominal {side} the reference of {reference}")
        scope = f" ({rated.out_of_scope})" if rated.out_of_scope else ""
        share = rated.severity.severity_pct
        parts.append(f"severity {rated.severity.band}{scope}, {share} % towards discard")
    else:
        off = 100 * (worst.diameter_mm - rope.nominal_mm) / rope.nominal_mm
        parts.append(f"{off:+z.1f} % from nominal{_no_severity(rope, worst.directions)}")
    if local is not None and worst.is_local_decrease:
        parts.append(
            f"{length_text(local.deficit_mm, units=rope.units)} thinner than its neighbours"
        )
    if worst.doubted:
        parts.append(in_units(doubt_words(worst.doubts, worst.source), rope.units).rstrip("."))
    return " · ".join(parts)


def _no_severity(rope: Rope, directions: int) -> str:
    """Return why there is no severity, naming only what would bring one for such a rope."""
    if rope.duty == "lift":
        return ", with which lift ropes are compared"
    if lacks_reference_only(rope):
        return "; no severity without a reference diameter"
    if rope.reference_mm is None or directions >= 2:
        return "; no severity: the table is not for such a rope"
    return "; no severity without a second direction"


def _still_open(opened: OpenInspection, assessment: Assessment) -> tuple[str, ...]:
    refused = len(assessment.crosscheck.refused)
    numbers = {one.station for one in (*opened.results, *opened.readings)} - {None}
    numbers |= {station.number for station in opened.inspection.stations}
    complete = {section.station for section in assessment.best}
    words = []
    if refused:
        words.append(f"{counted(refused, 'photograph', 'photographs')} refused")
    if numbers:
        words.append(f"{len(complete & numbers)} of {len(numbers)} stations complete")
    if opened.waiting:
        words.insert(0, f"{counted(len(opened.waiting), 'photograph', 'photographs')} waiting")
    measured = {one.photo_sha256 for one in opened.results} | set(opened.waiting)
    aside = sum(one.sha256 not in measured for one in opened.photographs)
    if aside:
        words.append(f"{counted(aside, 'photograph', 'photographs')} set aside")
    return tuple(words)
