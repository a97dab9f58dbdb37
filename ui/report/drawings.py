"""The figures of the rope for the report: along the rope, roundness, history.

The same plain data as in `ui.charts.rope`, drawn by the PDF library: vectors in the PDF, and SVG in
the HTML report. Widths and heights are in pt.

The figures of the checks for the report: differences, budget, last digits.

The same plain data as in `ui.charts.checks`. Widths and heights are in pt.

Which drawing belongs to which data: the PDF takes it as it is, the HTML as SVG.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date
from typing import assert_never

from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Circle, Drawing, Line, Polygon, PolyLine
from reportlab.lib.colors import HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth

from ui.charts.data import (
    BLACK,
    BLUE,
    SOURCE_COLOURS,
    SOURCE_SHAPES,
    VERMILION,
    WORD_COLOURS,
    WORD_SHAPES,
    AlongRope,
    Differences,
    Digits,
    History,
    LimitLine,
    Roundness,
    Share,
    ring_step_mm,
    share_words,
    spread,
    wider,
)
from ui.report.blocks import Plot
from ui.report.drawing_axes import (
    AT_END,
    CENTRED,
    SMALL,
    TITLE,
    AxisScale,
    Frame,
    LineStyle,
    TextStyle,
    bar,
    box,
    fitted,
    frame,
    legend,
    level,
    level_words,
    mark,
    text,
)
from ui.report.fonts import BOLD, CSS_FONTS, EAST, PLAIN, THAI, THAI_BOLD, register_fonts

SHADE = "#fbeade"
# vermilion, darker: its words must be read on a pale ground
LIMIT = LineStyle("#B34700", dash=(5, 3), weight=1.1)
AGREEMENT = LineStyle("#8a3f6a", dash=(4, 3), weight=0.9)
EXPECTED = LineStyle(BLACK, dash=(4, 3))
HEADING = TextStyle("middle", 8)
MEAN_DIAMETER = "Mean diameter (mm)"


def along_rope_drawing(data: AlongRope, *, width: float, height: float = 210.0) -> Drawing:
    """Return mean diameters along the rope with U as bars and limits as bands."""
    reach = [figure.mean_mm + s * figure.expanded_mm for figure in data.figures for s in (-1, 1)]
    marks = {data.nominal_mm: f"nominal {data.nominal_mm:g} mm"}
    if data.reference_mm is not None:
        marks[data.reference_mm] = f"reference {data.reference_mm:g} mm"
    y_range = spread([*reach, *marks, *(limit.value_mm for limit in data.limits)])
    places = [data.place(figure) for figure in data.figures] or [0.0]
    stations = {data.place(figure): figure.station for figure in data.figures}
    by_number = None
    if not data.by_position:
        by_number = [(float(place), str(number)) for place, number in stations.items()]
    axes = frame(
        width,
        height,
        AxisScale(
            wider(spread(places)),
            "Place along the rope (m)" if data.by_position else "Station",
            by_number,
        ),
        AxisScale(y_range, MEAN_DIAMETER),
        top=30.0,
    )
    _shades(axes, data.limits)
    _limits(axes, data.limits)
    for value, words in marks.items():
        level(axes, value, words)
    level_words(axes)
    size = min(3.0, 0.16 * axes.width / max(len(stations), 1))  # of many, both still show
    for source, shift in zip(SOURCE_COLOURS, (-1.2 * size, 1.2 * size), strict=True):
        for one in data.figures:
            if one.source == source:
                x, colour = axes.x(data.place(one)) + shift, SOURCE_COLOURS[source]
                bar(axes, x, one.mean_mm - one.expanded_mm, one.mean_mm + one.expanded_mm, colour)
                mark(axes.drawing, SOURCE_SHAPES[source], x, axes.y(one.mean_mm), colour, size)
    if data.by_position:
        _station_names(axes, stations)
    shown = [(SOURCE_SHAPES[one], SOURCE_COLOURS[one], f"by {one}") for one in SOURCE_COLOURS]
    legend(axes, shown, above=21.0)
    return axes.drawing


def _station_names(axes: Frame, stations: dict[float, int]) -> None:
    """Write the stations' names above the frame; of many, as many as stand side by side."""
    word = "station " if len(stations) <= 8 else ""
    named = sorted(stations.items())
    for every in range(1, len(named) + 1):
        shown = [(axes.x(place), f"{word}{number}") for place, number in named[::every]]
        halves = [0.5 * stringWidth(name, PLAIN, SMALL) for _, name in shown]
        ends = zip(shown, halves, shown[1:], halves[1:], strict=False)
        if all(one[0] + half + 3.0 <= two[0] - other for one, half, two, other in ends):
            break
    for x, name in shown:
        text(axes.drawing, x, axes.top + 4, name, CENTRED)


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
        drawing.add(
            Circle(
                centre,
                centre,
                radius,
                fillColor=None,
                strokeWidth=0.5,
                strokeColor=HexColor("#888888"),
                strokeDashArray=[1, 2] if part else [5, 2],
            )
        )
    flat = [value for angle, radius in data.outline() for value in point(angle, radius)]
    drawing.add(PolyLine(flat, strokeColor=HexColor(BLUE), strokeWidth=1.4))
    for direction in data.directions:
        for turn in (0, 180):
            angle = direction.view_deg + turn
            ends = [
                data.drawn_mm(direction.diameter_mm + s * direction.expanded_mm) for s in (-1, 1)
            ]
            (x1, y1), (x2, y2) = point(angle, ends[0]), point(angle, ends[1])
            drawing.add(Line(x1, y1, x2, y2, strokeColor=HexColor(VERMILION), strokeWidth=1.2))
            mark(
                drawing,
                "diamond",
                *point(angle, data.drawn_mm(direction.diameter_mm)),
                VERMILION,
                2.4,
            )
        # the direction stands inside the outline and its bar, where there is always room
        inner = min(data.drawn_mm(two.diameter_mm - two.expanded_mm) for two in data.directions)
        x, y = point(direction.view_deg, 0.88 * inner)
        text(drawing, x, y - 2.5, f"{direction.view_deg}°", CENTRED)
    text(drawing, centre, centre + 2, f"mean {data.mean_mm:.2f} mm", CENTRED)
    text(drawing, centre, centre - 8, f"rings ±{step:g} mm", CENTRED)
    text(drawing, centre, centre - 18, f"deviations ×{data.exaggeration:g}", CENTRED)
    text(drawing, centre, size + 10, f"Station {data.station}, by {data.source}", HEADING)
    listed = "; ".join(
        f"{direction.view_deg}°: {direction.diameter_mm:.2f} mm" for direction in data.directions
    )
    text(drawing, centre, size, listed, CENTRED)
    return drawing


def history_drawing(data: History, *, width: float, height: float = 170.0) -> Drawing:
    """Return a station over inspections: figures, fitted line, prediction band, limits."""
    reach = [figure.mean_mm + s * figure.expanded_mm for figure in data.figures for s in (-1, 1)]
    reach += [value for _, low, _, high in data.band for value in (low, high)]
    y_range = spread([*reach, *(limit.value_mm for limit in data.limits)])
    days = [figure.on for figure in data.figures] + [day for day, *_ in data.band]
    x_range = spread([float(day.toordinal()) for day in days])
    axes = frame(
        width,
        height,
        AxisScale(x_range, "Day of inspection", _day_ticks(x_range)),
        AxisScale(y_range, MEAN_DIAMETER),
        top=8.0,
    )
    _shades(axes, data.limits)
    if data.band:
        above = [(axes.x(day.toordinal()), axes.y(high)) for day, _, _, high in data.band]
        below = [(axes.x(day.toordinal()), axes.y(low)) for day, low, _, _ in data.band]
        flat = [value for pair in (*above, *reversed(below)) for value in pair]
        axes.drawing.add(Polygon(flat, fillColor=HexColor("#d9eaf3"), strokeColor=None))
        line = [v for day, _, mm, _ in data.band for v in (axes.x(day.toordinal()), axes.y(mm))]
        axes.drawing.add(PolyLine(line, strokeColor=HexColor(BLUE), strokeDashArray=[4, 2]))
    _limits(axes, data.limits)
    for figure in data.figures:
        x = axes.x(figure.on.toordinal())
        bar(
            axes, x, figure.mean_mm - figure.expanded_mm, figure.mean_mm + figure.expanded_mm, BLACK
        )
        mark(axes.drawing, "circle", x, axes.y(figure.mean_mm), BLACK)
    return axes.drawing


def _shades(axes: Frame, limits: Sequence[LimitLine]) -> None:
    """Draw a band from each limit outwards."""
    for limit in limits:
        y = axes.y(limit.value_mm)
        low, high = (axes.bottom, y) if limit.side == "least" else (y, axes.top)
        shade = box(axes.left, low, axes.width, max(high - low, 0.0), fill=SHADE)
        axes.drawing.add(shade)


def _limits(axes: Frame, limits: Sequence[LimitLine]) -> None:
    """Draw each limit as a dashed line, its words on the side that is beyond it."""
    for limit in limits:
        words = f"{limit.words}: at {limit.side} {limit.value_mm:.2f} mm"
        level(axes, limit.value_mm, words, LIMIT, at_left=True, below=limit.side == "least")
    level_words(axes, ground=SHADE)


def _day_ticks(x_range: tuple[float, float]) -> list[tuple[float, str]]:
    """Return about six days that share the span evenly, in words."""
    low, high = x_range
    shared = [low + (high - low) * (part + 0.5) / 6 for part in range(6)]
    return [(day, date.fromordinal(round(day)).strftime("%Y-%m")) for day in shared]


def differences_drawing(data: Differences, *, width: float, height: float = 190.0) -> Drawing:
    """Return photograph minus gauge against the mean of both, with limits of agreement."""
    reach = [point.difference_mm + s * point.expanded_mm for point in data.points for s in (-1, 1)]
    lines = [
        (value, words)
        for value, words in (
            (data.low_mm, "lower limit of agreement"),
            (data.bias_mm, "mean difference"),
            (data.high_mm, "upper limit of agreement"),
        )
        if value is not None
    ]
    y_range = spread([*reach, 0.0, *(value for value, _ in lines)])
    axes = frame(
        width,
        height,
        AxisScale(
            wider(spread([point.mean_mm for point in data.points] or [0.0])),
            "Mean of photograph and gauge (mm)",
        ),
        AxisScale(y_range, "Photograph − gauge (mm)"),
    )
    zero = axes.y(0.0)
    axes.drawing.add(
        Line(axes.left, zero, axes.right, zero, strokeColor=HexColor("#888888"), strokeWidth=0.6)
    )
    for value, words in lines:
        level(axes, value, f"{words} {value:+z.2f} mm", AGREEMENT)
    level_words(axes)
    for point in data.points:
        x, colour = axes.x(point.mean_mm), WORD_COLOURS[point.word]
        low, high = point.difference_mm - point.expanded_mm, point.difference_mm + point.expanded_mm
        bar(axes, x, low, high, colour)
        mark(axes.drawing, WORD_SHAPES[point.word], x, axes.y(point.difference_mm), colour)
    legend(axes, [(WORD_SHAPES[one], WORD_COLOURS[one], one) for one in WORD_COLOURS])
    return axes.drawing


def budget_drawing(parts: Sequence[Share], *, width: float) -> Drawing:
    """Return what the uncertainty comes from, as bars of the share of the variance."""
    register_fonts()
    row, names = 15.0, 0.42 * width
    drawing = Drawing(width, row * len(parts) + 24)
    scale = (width - names - 34) / 100.0
    bottom = 22.0
    for pct in (0, 20, 40, 60, 80, 100):
        x = names + scale * pct
        drawing.add(
            Line(
                x,
                bottom,
                x,
                bottom + row * len(parts),
                strokeWidth=0.4,
                strokeColor=HexColor("#dddddd"),
            )
        )
        text(drawing, x, bottom - 9, str(pct), CENTRED)
    text(drawing, names + scale * 50, 4, "Share of the variance (%)", TITLE)
    for number, part in enumerate(parts):
        y = bottom + row * (len(parts) - 1 - number)
        text(drawing, names - 5, y + 4, fitted(part.quantity, names - 8), AT_END)
        drawing.add(box(names, y + 2.5, max(scale * part.share_pct, 0.3), row - 5, fill=BLUE))
        end = names + scale * part.share_pct
        text(drawing, end + 4, y + 4, share_words(part.share_pct))
    return drawing


def digits_drawing(data: Digits, *, width: float, height: float = 140.0) -> Drawing:
    """Return how often each last digit was typed, and how often each is expected."""
    most = max(*data.counts, 1)
    count = len(data.labels)
    axes = frame(
        width,
        height,
        AxisScale(
            (-0.5, count - 0.5),
            f"Last digit typed (steps of {data.step_mm:g} mm)",
            [(float(i), label) for i, label in enumerate(data.labels)],
        ),
        AxisScale(
            (0.0, 1.15 * most),
            "Readings (count)",
            [(float(n), str(n)) for n in range(0, most + 1, 1 + most // 8)],
        ),
        top=16.0,
    )
    for place, seen in enumerate(data.counts):
        if not seen:
            continue
        left, right = axes.x(place - 0.35), axes.x(place + 0.35)
        height_pt = axes.y(seen) - axes.bottom
        axes.drawing.add(box(left, axes.bottom, right - left, height_pt, fill=BLUE))
    level(axes, data.expected, "", EXPECTED)
    words = f"dashed: {data.expected:.1f} expected of each"
    text(axes.drawing, axes.right, axes.top + 5, words, AT_END)
    return axes.drawing


KEPT_ORDER = "text{unicode-bidi:bidi-override;direction:ltr}"


def drawing_of(plot: Plot, width: float) -> Drawing:
    """Return the drawing of a figure, `width` pt wide."""
    match plot:
        case AlongRope():
            return along_rope_drawing(plot, width=width)
        case Differences():
            return differences_drawing(plot, width=width)
        case Digits():
            return digits_drawing(plot, width=width)
        case History():
            return history_drawing(plot, width=width)
        case tuple():
            return budget_drawing(plot, width=width)
        case _:
            assert_never(plot)


def svg_of(drawing: Drawing) -> str:
    """Return a drawing as SVG, with letters that a browser has."""
    axes: str = renderSVG.drawToString(drawing)
    # a line is written as a closed path there and back, which fills the gaps of its dashes
    axes = re.sub(r'd="(M \S+ L \S+) Z"', r'd="\1"', axes)
    # the letters stand in the order of print already: the browser must not turn them again
    axes = axes.replace("<clipPath", f"<style>{KEPT_ORDER}</style><clipPath", 1)
    for name in (THAI_BOLD, THAI, EAST, BOLD, PLAIN):
        axes = axes.replace(name, CSS_FONTS)
    return axes
