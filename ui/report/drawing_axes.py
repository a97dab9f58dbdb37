"""Axes, marks and legends for the report's drawings: a frame that turns values into points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Polygon, String
from reportlab.lib.colors import HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth

from ui.report.fonts import PLAIN, line_width, one_line, register_fonts

Anchor = Literal["start", "middle", "end"]

SMALL = 7.0  # pt, letters on axes
LEFT, FOOT, RIGHT = 46.0, 30.0, 6.0  # pt, room beside and below a frame
GRID, INK = HexColor("#dddddd"), HexColor("#333333")


@dataclass(frozen=True, slots=True)
class AxisScale:
    """What is written along one side of a frame.

    Parameters
    ----------
    span : (low, high)
        Values at the ends, in the unit that the title gives.
    title : str
        What is drawn, with its unit.
    ticks : sequence of (value, words) or None
        Where the grid's lines are; None for round values.
    """

    span: tuple[float, float]
    title: str
    ticks: Sequence[tuple[float, str]] | None = None


@dataclass(frozen=True, slots=True)
class TextStyle:
    """How words are written: the part that stands at their place, size in pt, colour."""

    anchor: Anchor = "start"
    size: float = SMALL
    colour: str = "#333333"


@dataclass(frozen=True, slots=True)
class LineStyle:
    """How a line is drawn: colour, dashes and gaps in pt, weight in pt."""

    colour: str = "#666666"
    dash: tuple[float, ...] = (1, 2)
    weight: float = 0.6


AT_START, CENTRED, AT_END = TextStyle(), TextStyle("middle"), TextStyle("end")
TITLE = TextStyle("middle", 7.5)
DOTTED = LineStyle()


@dataclass(frozen=True, slots=True)
class Frame:
    """A rectangle in pt with the values at its sides."""

    drawing: Drawing
    left: float
    bottom: float
    width: float
    height: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    words: list[tuple[float, float, float]] = field(default_factory=list)  # left, foot, width
    waiting: list[tuple[float, str, str, bool, bool]] = field(default_factory=list)

    @property
    def right(self) -> float:
        """Right side, pt."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper side, pt."""
        return self.bottom + self.height

    def x(self, value: float) -> float:
        """Return where a value lies from left to right, pt."""
        low, high = self.x_range
        return self.left + self.width * (value - low) / (high - low)

    def crowding(self, x: float, y: float, width: float) -> float:
        """Return how much words at a place would overlap those that stand already, pt2."""
        return sum(
            max(0.0, min(x + width, left + wide) - max(x, left)) * max(0.0, SMALL - abs(y - foot))
            for left, foot, wide in self.words
        )

    def y(self, value: float) -> float:
        """Return where a value lies from below upwards, pt."""
        low, high = self.y_range
        return self.bottom + self.height * (value - low) / (high - low)


def frame(
    width: float, height: float, along: AxisScale, upwards: AxisScale, *, top: float = 18.0
) -> Frame:
    """Return a drawing with axes, grid and titles, and `top` pt of room above the frame."""
    register_fonts()
    axes = Frame(
        Drawing(width, height),
        LEFT,
        FOOT,
        width - LEFT - RIGHT,
        height - FOOT - top,
        along.span,
        upwards.span,
    )
    add = axes.drawing.add
    add(box(axes.left, axes.bottom, axes.width, axes.height, outline="#999999"))
    for value, words in ticks(along.span, 8) if along.ticks is None else along.ticks:
        x = axes.x(value)
        add(Line(x, axes.bottom, x, axes.top, strokeColor=GRID, strokeWidth=0.4))
        text(axes.drawing, x, axes.bottom - 10, words, CENTRED)
    for value, words in ticks(upwards.span, 6) if upwards.ticks is None else upwards.ticks:
        y = axes.y(value)
        add(Line(axes.left, y, axes.right, y, strokeColor=GRID, strokeWidth=0.4))
        text(axes.drawing, axes.left - 4, y - 2.5, words, AT_END)
    text(axes.drawing, axes.left + axes.width / 2, 6, along.title, TITLE)
    turned = Group(transform=(0, 1, -1, 0, 10, axes.bottom + axes.height / 2))
    turned.add(
        String(
            0,
            0,
            upwards.title,
            fontName=PLAIN,
            fontSize=TITLE.size,
            fillColor=INK,
            textAnchor=TITLE.anchor,
        )
    )
    add(turned)
    return axes


def ticks(span: tuple[float, float], most: int) -> list[tuple[float, str]]:
    """Return round values within a span, at most about `most`, with their words.

    Examples
    --------
    >>> [words for _, words in ticks((20.7, 23.6), 6)]
    ['21.0', '21.5', '22.0', '22.5', '23.0', '23.5']
    """
    low, high = span
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * lead for lead in (1, 2, 5, 10) if power * lead >= rough * (1 - 1e-9))
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [(i * step, f"{i * step + 0.0:.{digits}f}") for i in range(first, last + 1)]


def text(drawing: Drawing, x: float, y: float, words: str, style: TextStyle = AT_START) -> None:
    """Write words; what the fonts lack becomes a box."""
    runs = one_line(words)
    size, colour = style.size, HexColor(style.colour)
    x -= {"start": 0.0, "middle": 0.5, "end": 1.0}[style.anchor] * line_width(runs, size)
    for font, run in runs:
        drawing.add(String(x, y, run, fontName=font, fontSize=size, fillColor=colour))
        x += stringWidth(run, font, size)


def fitted(words: str, width: float, *, size: float = SMALL) -> str:
    """Return words cut to a width in pt, with an ellipsis where something was cut."""
    if line_width(one_line(words), size) <= width:
        return words
    while words and line_width(one_line(words + "…"), size) > width:
        words = words[:-1]
    return words.rstrip() + "…"


def box(
    x: float, y: float, width: float, height: float, *, fill: str = "", outline: str = ""
) -> Polygon:
    """Return a rectangle from its lower left corner, filled or outlined or both."""
    return Polygon(
        [x, y, x + width, y, x + width, y + height, x, y + height],
        fillColor=HexColor(fill) if fill else None,
        strokeColor=HexColor(outline) if outline else None,
        strokeWidth=0.5,
    )


def level(
    axes: Frame,
    value: float,
    words: str,
    style: LineStyle = DOTTED,
    *,
    at_left: bool = False,
    below: bool = False,
) -> None:
    """Draw a line across the frame at a value; `level_words` writes its words at one of its ends.

    Words stand above the line, or `below` it, unless others stand there: then on its other side,
    or at its other end.
    """
    y = axes.y(value)
    axes.drawing.add(
        Line(
            axes.left,
            y,
            axes.right,
            y,
            strokeColor=HexColor(style.colour),
            strokeWidth=style.weight,
            strokeDashArray=[*style.dash],
        )
    )
    if words:
        axes.waiting.append((y, words, style.colour, at_left, below))


def level_words(axes: Frame, ground: str = "#ffffff") -> None:
    """Write the words of all lines that were drawn, on their ground, so that no line strikes them.

    Call it when all lines are there and before the marks.
    """
    for y, words, colour, at_left, below in axes.waiting:
        wide = line_width(one_line(words), SMALL)
        ends = (axes.left + 3, axes.right - 3 - wide)
        sides = (y - SMALL - 0.5, y + 2.0) if below else (y + 2.0, y - SMALL - 0.5)
        spots = [(x, side) for x in (ends if at_left else ends[::-1]) for side in sides]
        inside = [spot for spot in spots if axes.bottom <= spot[1] <= axes.top - 5.0]
        x, foot = min(inside or spots, key=lambda one: axes.crowding(one[0], one[1], wide))
        axes.words.append((x, foot, wide))
        axes.drawing.add(box(x - 1, foot - 1, wide + 2, SMALL, fill=ground))
        text(axes.drawing, x, foot, words, TextStyle(colour=colour))
    axes.waiting.clear()


def bar(axes: Frame, x: float, low: float, high: float, colour: str) -> None:
    """Draw an upright bar from a low to a high value at a place in pt."""
    axes.drawing.add(
        Line(x, axes.y(low), x, axes.y(high), strokeColor=HexColor(colour), strokeWidth=1.2)
    )


def mark(drawing: Drawing, shape: str, x: float, y: float, colour: str, size: float = 3.0) -> None:
    """Draw a mark: circle, square, triangle-up, diamond or cross."""
    fill = HexColor(colour)
    if shape == "circle":
        drawing.add(Circle(x, y, size, fillColor=fill, strokeColor=None))
    elif shape == "square":
        drawing.add(box(x - size, y - size, 2 * size, 2 * size, fill=colour))
    elif shape == "triangle-up":
        corners = [x - 1.1 * size, y - size, x + 1.1 * size, y - size, x, y + size]
        drawing.add(Polygon(corners, fillColor=fill, strokeColor=None))
    elif shape == "diamond":
        r = 1.25 * size
        corners = [x, y - r, x + r, y, x, y + r, x - r, y]
        drawing.add(Polygon(corners, fillColor=fill, strokeColor=None))
    else:
        for dx, dy in ((1, 1), (1, -1)):
            drawing.add(
                Line(
                    x - dx * size,
                    y - dy * size,
                    x + dx * size,
                    y + dy * size,
                    strokeColor=HexColor(colour),
                    strokeWidth=1.8,
                )
            )


def legend(axes: Frame, entries: Sequence[tuple[str, str, str]], *, above: float = 9.0) -> None:
    """Write (shape, colour, words) above the frame, from left to right."""
    x, y = axes.left + 4, axes.top + above
    for shape, colour, words in entries:
        mark(axes.drawing, shape, x, y, colour, 2.6)
        text(axes.drawing, x + 6, y - 2.5, words)
        x += 18 + stringWidth(words, PLAIN, SMALL)
