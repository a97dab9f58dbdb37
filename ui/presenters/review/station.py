"""A station as the reviewer sees it: lines on the photograph, and the facts beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspection.assessment import Assessment
from inspection.comparison.crosscheck import Comparison
from inspection.model.readings import Gauge
from inspection.model.rope import Units
from inspection.record.views import OpenInspection
from ui.lengths import (
    PER_INCH,
    along,
    along_unit,
    diameter_words,
    figure,
    length_text,
    short_length,
    with_u,
)
from ui.presenters.photographs.edge_views import (
    EDGE_MM,
    EDGE_PX_PER_MM,
    EdgePlace,
    edge_places,
    jaw_scale,
)
from ui.presenters.photographs.shapes import Look, Shape
from vision.results import Estimate, Marks, PointPx, Refusal, Result
from vision.uncertainty import shares


@dataclass(frozen=True, slots=True)
class StationView:
    """One photograph of a station, with the reading logged for the same direction.

    Parameters
    ----------
    view_deg : int
        Direction.
    result : Estimate or Refusal
        Result of the photograph.
    comparison : Comparison or None
        Comparison with the reading; None without a reading or if the photograph was refused.
    """

    view_deg: int
    result: Result
    comparison: Comparison | None


def station_views(
    opened: OpenInspection, assessment: Assessment, station: int
) -> list[StationView]:
    """Return the photographs of a station, by direction, each with its comparison."""
    # one photograph can give figures at several places: its name alone does not identify them
    compared = {
        (comparison.view_deg, comparison.photo_name, comparison.photo_mm): comparison
        for comparison in assessment.crosscheck.comparisons
        if comparison.station == station
    }
    views = [
        StationView(
            result.view_deg or 0,
            result,
            compared.get((result.view_deg or 0, result.photo_name, result.diameter_mm))
            if isinstance(result, Estimate)
            else None,
        )
        for result in opened.results
        if result.station == station
    ]
    return sorted(views, key=lambda one: (one.view_deg, one.result.at_mm))


def shapes_of(estimate: Estimate, marks: Marks, logged_mm: float | None) -> list[Shape]:
    """Return the lines on the photograph: card, outline, jaws, and the logged reading.

    The logged reading is centred on the same axis, at the scale given by the photograph's own
    figure: the lines are apart where the figures are.
    """
    shapes = [
        Shape("card", (*marks.card_px, marks.card_px[0])),
        Shape("outline", marks.left_px + marks.right_px),
    ]
    jaws = (marks.crown_left_px, marks.crown_right_px)
    if logged_mm is not None:
        push = (logged_mm - estimate.diameter_mm) / 2 * jaw_scale(estimate, marks)
        for line, place in zip(jaws, edge_places(estimate, marks), strict=True):
            shapes.append(Shape("logged", tuple(_moved(point, place, push) for point in line)))
    look: Look = "by hand" if estimate.by_hand else "photograph"
    shapes += [Shape(look, line) for line in jaws]
    return shapes


def _moved(point: PointPx, place: EdgePlace, push: float) -> PointPx:
    return point[0] + push * place.out[0], point[1] + push * place.out[1]


def edge_shapes(
    estimate: Estimate,
    marks: Marks,
    place: EdgePlace,
    side: int,
    logged_mm: float | None,
    units: Units = "mm",
) -> list[Shape]:
    """Return the lines on a magnified edge: outline, jaw, logged reading, a ruler in tenths.

    Parameters
    ----------
    estimate, marks : Estimate, Marks
        Result of the photograph.
    place : EdgePlace
        Where the edge was cut out.
    side : {0, 1}
        Left or right.
    logged_mm : float or None
        The reading, mm.
    units : {"mm", "inch"}, optional
        The rope's units, for the labels of the lines.
    """
    line = (marks.crown_left_px, marks.crown_right_px)[side]
    outline = (marks.left_px, marks.right_px)[side]
    wide, high = EDGE_MM
    along = np.array([-place.out[1], place.out[0]])

    def cut(point: PointPx, push_mm: float = 0.0) -> PointPx:
        step = (np.array(point) - place.at_px) / place.px_per_mm
        x = float(step @ along) + wide / 2
        y = high / 2 - float(step @ np.array(place.out)) - push_mm
        return x * EDGE_PX_PER_MM, y * EDGE_PX_PER_MM

    dots = tuple(
        dot
        for dot in map(cut, outline)
        if 0 < dot[0] < wide * EDGE_PX_PER_MM and 0 < dot[1] < high * EDGE_PX_PER_MM
    )
    shapes = [Shape("outline", dots)] if dots else []
    jaw = _across_the_cut(cut(line[0]), cut(line[1]))
    differ = 0.0 if logged_mm is None else (logged_mm - estimate.diameter_mm) / 2
    if logged_mm is not None:
        logged = _across_the_cut(cut(line[0], differ), cut(line[1], differ))
        label = f"logged {_apart(differ, units)}"
        shapes.append(Shape("logged", logged, label, below=differ < 0))
    look: Look = "by hand" if estimate.by_hand else "photograph"
    shapes.append(Shape(look, jaw, look, below=differ >= 0))
    return [
        *shapes,
        _ruler(wide * EDGE_PX_PER_MM, high * EDGE_PX_PER_MM, units),
    ]


def _apart(differ_mm: float, units: Units) -> str:
    """Return the distance of the logged jaw from the photograph's, in words."""
    apart = length_text(abs(differ_mm), units=units)
    if float(apart.split()[0]) == 0:
        return "at the same place"
    return f"{apart} {'outside' if differ_mm > 0 else 'inside'}"


# Rulers that fit a magnified edge: 1 mm in tenths, or 0.05 in in hundredths.
_RULERS: dict[Units, tuple[float, int, str]] = {
    "mm": (1.0, 10, "1 mm"),
    "inch": (0.05 * PER_INCH, 5, "0.05 in"),
}


def _ruler(wide_px: float, high_px: float, units: Units) -> Shape:
    """Return a ruler across the edge with a tick for each part, as one line."""
    length_mm, parts, words = _RULERS[units]
    x, bottom = wide_px - 12, high_px - 10
    points: list[PointPx] = []
    for part in range(parts, -1, -1):
        y = bottom - part * length_mm * EDGE_PX_PER_MM / parts
        tick = 26 if part % 5 == 0 else 14
        points += [(x, y), (x - tick, y), (x, y)]
    return Shape("scale", tuple(points), words)


def _across_the_cut(begin: PointPx, end: PointPx) -> tuple[PointPx, PointPx]:
    """Return the line through two points, from the left of the cut to its right."""
    wide = EDGE_MM[0] * EDGE_PX_PER_MM
    rise = (end[1] - begin[1]) / (end[0] - begin[0]) if end[0] != begin[0] else 0.0
    return (0.0, begin[1] - rise * begin[0]), (wide, begin[1] + rise * (wide - begin[0]))


def legend_of(
    estimate: Estimate, comparison: Comparison | None, units: Units = "mm"
) -> list[tuple[Look, str]]:
    """Return the legend of the lines, with their figures in the rope's units."""
    shown = diameter_words(estimate.diameter_mm, estimate.u_mm, units)
    lines: list[tuple[Look, str]] = [
        ("by hand", f"photograph, edge moved by hand: {shown} (dotted)")
        if estimate.by_hand
        else ("photograph", f"photograph: {shown} (solid)")
    ]
    if comparison is not None:
        lines.append(
            (
                "logged",
                f"logged: {comparison.typed} = "
                f"{diameter_words(comparison.gauge_mm, comparison.u_gauge_mm, units)} (dashed)",
            )
        )
    lines.append(("outline", "traced outline (dots)"))
    return lines


def budget_shares(estimate: Estimate) -> list[tuple[str, float]]:
    """Return the budget's quantities with their shares, largest first."""
    summed: dict[str, float] = {}
    for term, share in shares(estimate.budget):
        summed[term.quantity] = summed.get(term.quantity, 0.0) + share
    return sorted(summed.items(), key=lambda item: -item[1])


def gauge_words(gauge: Gauge | None, opened: OpenInspection) -> str:
    """Return what is known about a gauge in one line."""
    if gauge is None:
        return "gauge not known: enter it under Gauges and phones"
    units = opened.rope.units
    due = ""
    if gauge.calibration_due is not None:
        late = gauge.calibration_due < opened.inspection.on
        due = f", calibration {'overdue since' if late else 'due'} " + (
            f"{gauge.calibration_due:%Y-%m-%d}"
        )
    return (
        f"{gauge.identity}: {gauge.kind}, resolution {short_length(gauge.resolution_mm, units)}, "
        f"permissible error {short_length(gauge.permissible_error_mm, units)}{due}"
    )


def neighbour_rows(opened: OpenInspection, assessment: Assessment, station: int) -> list[list[str]]:
    """Return station, position, and mean by photographs and by gauge, with the neighbours."""
    placed = sorted(opened.inspection.stations, key=lambda station: station.position_m)
    numbers = [one.number for one in placed] or sorted(
        {result.station for result in opened.results if result.station is not None}
    )
    if station not in numbers:
        return []
    here = numbers.index(station)
    near = numbers[max(0, here - 2) : here + 3]
    by_photograph = {section.station: section for section in assessment.photograph_sections}
    read = {section.station: section for section in assessment.gauge_sections}
    units = opened.rope.units
    where = {one.number: f"{along(one.position_m, units)} {along_unit(units)}" for one in placed}
    rows = []
    for number in near:
        figures = []
        for known in (by_photograph, read):
            one = known.get(number)
            figures.append("" if one is None else with_u(one.mean_mm, one.u_mean_mm, units))
        mark = " ◀ this station" if number == station else ""
        rows.append([f"{number}{mark}", where.get(number, ""), *figures])
    return rows


def earlier_rows(assessment: Assessment, station: int) -> list[list[str]]:
    """Return date, direction and reading of earlier inspections at the same station."""
    units = assessment.log.rope.units
    return [
        [f"{then.inspection.on:%Y-%m-%d}", f"{reading.view_deg}°", figure(reading.value_mm, units)]
        for then in reversed(assessment.log.earlier)
        for reading in then.readings
        if reading.station == station
    ][:8]


def refused_spots(refusal: Refusal) -> list[Shape]:
    """Return rings around the spots that a refusal points to."""
    spots = tuple(finding.spot_px for finding in refusal.findings if finding.spot_px is not None)
    return [Shape("spot", spots, "look here")] if spots else []
