"""The figures of the checks for the report: differences, budget, last digits.

The same plain data as in `ui.plots_checks`. Widths and heights are in pt.
"""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.graphics.shapes import Drawing, Line
from reportlab.lib.colors import HexColor

from ui.drawing_axes import SMALL, bar, box, fitted, frame, legend, level, level_words, mark, text
from ui.figures import (
    BLACK,
    BLUE,
    WORD_COLOURS,
    WORD_SHAPES,
    Differences,
    Digits,
    Share,
    share_words,
    spread,
    wider,
)
from ui.report_fonts import register_fonts


def differences_drawing(data: Differences, *, width: float, height: float = 190.0) -> Drawing:
    """Return photograph minus gauge against the mean of both, with limits of agreement."""
    reach = [one.difference_mm + s * one.expanded_mm for one in data.points for s in (-1, 1)]
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
    made = frame(
        width, height, wider(spread([one.mean_mm for one in data.points] or [0.0])), y_range,
        x_title="Mean of photograph and gauge (mm)", y_title="Photograph − gauge (mm)",
    )  # fmt: skip
    zero = made.y(0.0)
    made.drawing.add(Line(made.left, zero, made.right, zero, strokeColor=HexColor("#888888"),
                          strokeWidth=0.6))  # fmt: skip
    for value, words in lines:
        level(made, value, f"{words} {value:+z.2f} mm", colour="#8a3f6a", dash=(4, 3), weight=0.9)
    level_words(made)
    for one in data.points:
        x, colour = made.x(one.mean_mm), WORD_COLOURS[one.word]
        low, high = one.difference_mm - one.expanded_mm, one.difference_mm + one.expanded_mm
        bar(made, x, low, high, colour)
        mark(made.drawing, WORD_SHAPES[one.word], x, made.y(one.difference_mm), colour)
    legend(made, [(WORD_SHAPES[one], WORD_COLOURS[one], one) for one in WORD_COLOURS])
    return made.drawing


def budget_drawing(parts: Sequence[Share], *, width: float) -> Drawing:
    """Return what the uncertainty comes from, as bars of the share of the variance."""
    register_fonts()
    row, names = 15.0, 0.42 * width
    drawing = Drawing(width, row * len(parts) + 24)
    scale = (width - names - 34) / 100.0
    bottom = 22.0
    for pct in (0, 20, 40, 60, 80, 100):
        x = names + scale * pct
        drawing.add(Line(x, bottom, x, bottom + row * len(parts), strokeWidth=0.4,
                         strokeColor=HexColor("#dddddd")))  # fmt: skip
        text(drawing, x, bottom - 9, str(pct), anchor="middle")
    text(drawing, names + scale * 50, 4, "Share of the variance (%)", anchor="middle", size=7.5)
    for number, one in enumerate(parts):
        y = bottom + row * (len(parts) - 1 - number)
        text(drawing, names - 5, y + 4, fitted(one.quantity, names - 8), anchor="end")
        drawing.add(box(names, y + 2.5, max(scale * one.share_pct, 0.3), row - 5, fill=BLUE))
        text(drawing, names + scale * one.share_pct + 4, y + 4, share_words(one.share_pct),
             size=SMALL)  # fmt: skip
    return drawing


def digits_drawing(data: Digits, *, width: float, height: float = 140.0) -> Drawing:
    """Return how often each last digit was typed, and how often each is expected."""
    most = max(*data.counts, 1)
    count = len(data.labels)
    made = frame(
        width, height, (-0.5, count - 0.5), (0.0, 1.15 * most),
        x_title=f"Last digit typed (steps of {data.step_mm:g} mm)", y_title="Readings (count)",
        x_ticks=[(float(i), label) for i, label in enumerate(data.labels)],
        y_ticks=[(float(n), str(n)) for n in range(0, most + 1, 1 + most // 8)], top=16.0,
    )  # fmt: skip
    for place, seen in enumerate(data.counts):
        if not seen:
            continue
        left, right = made.x(place - 0.35), made.x(place + 0.35)
        height_pt = made.y(seen) - made.bottom
        made.drawing.add(box(left, made.bottom, right - left, height_pt, fill=BLUE))
    level(made, data.expected, "", colour=BLACK, dash=(4, 3))
    words = f"dashed: {data.expected:.1f} expected of each"
    text(made.drawing, made.right, made.top + 5, words, anchor="end")
    return made.drawing
