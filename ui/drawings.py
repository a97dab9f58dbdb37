"""The figures of the rope for the report: along the rope, roundness, history.

The same plain data as in `ui.plots`, drawn by the PDF library: vectors in the PDF, and SVG in
the HTML report. Widths and heights are in pt.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from reportlab.graphics.shapes import Circle, Drawing, Line, Polygon, PolyLine
from reportlab.lib.colors import HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth

from ui.drawing_axes import SMALL, Frame, bar, box, frame, legend, level, level_words, mark, text
from ui.figures import (
    BLACK,
    BLUE,
    SOURCE_COLOURS,
    SOURCE_SHAPES,
    VERMILION,
    AlongRope,
    History,
    LimitLine,
    Roundness,
    ring_step_mm,
    spread,
    wider,
)
from ui.report_fonts import PLAIN, register_fonts

SHADE = "#fbeade"
LIMIT = "#B34700"  # vermilion, darker: its words must be read on a pale ground


def along_rope_drawing(data: AlongRope, *, width: float, height: float = 210.0) -> Drawing:
    """Return mean diameters along the rope with U as bars and limits as bands."""
    reach = [one.mean_mm + s * one.expanded_mm for one in data.figures for s in (-1, 1)]
    marks = {data.nominal_mm: f"nominal {data.nominal_mm:g} mm"}
    if data.reference_mm is not None:
        marks[data.reference_mm] = f"reference {data.reference_mm:g} mm"
    y_range = spread([*reach, *marks, *(one.value_mm for one in data.limits)])
    places = [data.place(one) for one in data.figures] or [0.0]
    stations = {data.place(one): one.station for one in data.figures}
    by_number = None
    if not data.by_position:
        by_number = [(float(place), str(number)) for place, number in stations.items()]
    made = frame(
        width, height, wider(spread(places)), y_range,
        x_title="Place along the rope (m)" if data.by_position else "Station",
        y_title="Mean diameter (mm)", x_ticks=by_number, top=30.0,
    )  # fmt: skip
    _shades(made, data.limits)
    _limits(made, data.limits)
    for value, words in marks.items():
        level(made, value, words)
    level_words(made)
    size = min(3.0, 0.16 * made.width / max(len(stations), 1))  # of many, both still show
    for source, shift in zip(SOURCE_COLOURS, (-1.2 * size, 1.2 * size), strict=True):
        for one in data.figures:
            if one.source == source:
                x, colour = made.x(data.place(one)) + shift, SOURCE_COLOURS[source]
                bar(made, x, one.mean_mm - one.expanded_mm, one.mean_mm + one.expanded_mm, colour)
                mark(made.drawing, SOURCE_SHAPES[source], x, made.y(one.mean_mm), colour, size)
    if data.by_position:
        _station_names(made, stations)
    shown = [(SOURCE_SHAPES[one], SOURCE_COLOURS[one], f"by {one}") for one in SOURCE_COLOURS]
    legend(made, shown, above=21.0)
    return made.drawing


def _station_names(made: Frame, stations: dict[float, int]) -> None:
    """Write the stations' names above the frame; of many, as many as stand side by side."""
    word = "station " if len(stations) <= 8 else ""
    named = sorted(stations.items())
    for every in range(1, len(named) + 1):
        shown = [(made.x(place), f"{word}{number}") for place, number in named[::every]]
        halves = [0.5 * stringWidth(name, PLAIN, SMALL) for _, name in shown]
        ends = zip(shown, halves, shown[1:], halves[1:], strict=False)
        if all(one[0] + half + 3.0 <= two[0] - other for one, half, two, other in ends):
            break
    for x, name in shown:
        text(made.drawing, x, made.top + 4, name, anchor="middle")


def roundness_drawing(data: Roundness, *, size: float = 165.0) -> Drawing:
    """Return a station seen along the rope, deviations enlarged, rings labelled in words."""
    register_fonts()
    drawing = Drawing(size, size + 22)
    centre = size / 2
    reach = 1.04 * data.reach_mm
    scale = centre / reach

    def point(angle_deg: float, radius: float) -> tuple[float, float]:
        angle = math.radians(angle_deg)
        return centre + scale * radius * math.sin(angle), centre + scale * radius * math.cos(angle)

    step = ring_step_mm(data)
    for part in (-1, 0, 1):
        radius = scale * data.drawn_mm(data.mean_mm + part * step)
        drawing.add(Circle(centre, centre, radius, fillColor=None, strokeWidth=0.5,
                           strokeColor=HexColor("#888888"),
                           strokeDashArray=[1, 2] if part else [5, 2]))  # fmt: skip
    flat = [value for angle, radius in data.outline() for value in point(angle, radius)]
    drawing.add(PolyLine(flat, strokeColor=HexColor(BLUE), strokeWidth=1.4))
    for one in data.directions:
        for turn in (0, 180):
            angle = one.view_deg + turn
            ends = [data.drawn_mm(one.diameter_mm + s * one.expanded_mm) for s in (-1, 1)]
            (x1, y1), (x2, y2) = point(angle, ends[0]), point(angle, ends[1])
            drawing.add(Line(x1, y1, x2, y2, strokeColor=HexColor(VERMILION), strokeWidth=1.2))
            mark(drawing, "diamond", *point(angle, data.drawn_mm(one.diameter_mm)), VERMILION, 2.4)
        # the direction stands inside the outline and its bar, where there is always room
        inner = min(data.drawn_mm(two.diameter_mm - two.expanded_mm) for two in data.directions)
        x, y = point(one.view_deg, 0.88 * inner)
        text(drawing, x, y - 2.5, f"{one.view_deg}°", anchor="middle")
    text(drawing, centre, centre + 2, f"mean {data.mean_mm:.2f} mm", anchor="middle")
    text(drawing, centre, centre - 8, f"rings ±{step:g} mm", anchor="middle")
    text(drawing, centre, centre - 18, f"deviations ×{data.exaggeration:g}", anchor="middle")
    text(drawing, centre, size + 10, f"Station {data.station}, by {data.source}", anchor="middle",
         size=8)  # fmt: skip
    listed = "; ".join(f"{one.view_deg}°: {one.diameter_mm:.2f} mm" for one in data.directions)
    text(drawing, centre, size, listed, anchor="middle")
    return drawing


def history_drawing(data: History, *, width: float, height: float = 170.0) -> Drawing:
    """Return a station over inspections: figures, fitted line, prediction band, limits."""
    reach = [one.mean_mm + s * one.expanded_mm for one in data.figures for s in (-1, 1)]
    reach += [value for _, low, _, high in data.band for value in (low, high)]
    y_range = spread([*reach, *(one.value_mm for one in data.limits)])
    days = [one.on for one in data.figures] + [day for day, *_ in data.band]
    x_range = spread([float(day.toordinal()) for day in days])
    made = frame(
        width, height, x_range, y_range, x_title="Day of inspection",
        y_title="Mean diameter (mm)", x_ticks=_day_ticks(x_range), top=8.0,
    )  # fmt: skip
    _shades(made, data.limits)
    if data.band:
        above = [(made.x(day.toordinal()), made.y(high)) for day, _, _, high in data.band]
        below = [(made.x(day.toordinal()), made.y(low)) for day, low, _, _ in data.band]
        flat = [value for pair in (*above, *reversed(below)) for value in pair]
        made.drawing.add(Polygon(flat, fillColor=HexColor("#d9eaf3"), strokeColor=None))
        line = [v for day, _, mm, _ in data.band for v in (made.x(day.toordinal()), made.y(mm))]
        made.drawing.add(PolyLine(line, strokeColor=HexColor(BLUE), strokeDashArray=[4, 2]))
    _limits(made, data.limits)
    for one in data.figures:
        x = made.x(one.on.toordinal())
        bar(made, x, one.mean_mm - one.expanded_mm, one.mean_mm + one.expanded_mm, BLACK)
        mark(made.drawing, "circle", x, made.y(one.mean_mm), BLACK)
    return made.drawing


def _shades(made: Frame, limits: Sequence[LimitLine]) -> None:
    """Draw a band from each limit outwards."""
    for one in limits:
        y = made.y(one.value_mm)
        low, high = (made.bottom, y) if one.side == "least" else (y, made.top)
        shade = box(made.left, low, made.width, max(high - low, 0.0), fill=SHADE)
        made.drawing.add(shade)


def _limits(made: Frame, limits: Sequence[LimitLine]) -> None:
    """Draw each limit as a dashed line, its words on the side that is beyond it."""
    for one in limits:
        words = f"{one.words}: at {one.side} {one.value_mm:.2f} mm"
        level(made, one.value_mm, words, colour=LIMIT, dash=(5, 3), weight=1.1, at_left=True,
              below=one.side == "least")  # fmt: skip
    level_words(made, ground=SHADE)


def _day_ticks(x_range: tuple[float, float]) -> list[tuple[float, str]]:
    """Return about six days that share the span evenly, in words."""
    low, high = x_range
    shared = [low + (high - low) * (part + 0.5) / 6 for part in range(6)]
    return [(day, date.fromordinal(round(day)).strftime("%Y-%m")) for day in shared]
