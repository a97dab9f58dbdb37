"""The PDF report's words: styles, and paragraphs of any of the shipped fonts' scripts."""

from __future__ import annotations

from copy import copy
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph

from ui.report.bidi import in_print_order, runs_right_to_left
from ui.report.fonts import BOLD, PLAIN, by_font, printable

BLUE, PALE, LINE = HexColor("#0072B2"), HexColor("#e8eef3"), HexColor("#bbbbbb")
WARM, DARK = HexColor("#fdf1e7"), HexColor("#444444")


def _style(name: str, size: float, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        name,
        fontName=more.pop("fontName", PLAIN),
        fontSize=size,
        leading=more.pop("leading", 1.3 * size),
        **more,
    )


STYLES = {
    1: _style("title", 18, fontName=BOLD, spaceAfter=8),
    2: _style("chapter", 12.5, fontName=BOLD, spaceBefore=14, spaceAfter=5, textColor=BLUE),
    3: _style("part", 10, fontName=BOLD, spaceBefore=9, spaceAfter=3),
    "plain": _style("plain", 9, spaceAfter=5),
    "strong": _style("strong", 9.5, fontName=BOLD, spaceAfter=5),
    "small": _style("small", 7.8, spaceAfter=4, textColor=HexColor("#333333")),
    "under": _style("under", 7.8, spaceBefore=3, spaceAfter=3),
    "caution": _style(
        "caution",
        9,
        leftIndent=6,
        rightIndent=6,
        spaceBefore=10,
        spaceAfter=8,
        borderPadding=5,
        backColor=WARM,
        borderColor=HexColor("#D55E00"),
        borderWidth=1,
    ),
    "cell": _style("cell", 7.4),
    "number": _style("number", 7.4, alignment=2),
    "head": _style("head", 7.4, fontName=BOLD),
    "number head": _style("number head", 7.4, fontName=BOLD, alignment=2),
    "strong cell": _style("strong cell", 7.4, fontName=BOLD),
    "strong number": _style("strong number", 7.4, fontName=BOLD, alignment=2),
}


class _Turned(Paragraph):
    """A paragraph with letters that run from right to left: each line is turned when drawn."""

    def drawPara(self, debug: int = 0) -> None:  # noqa: N802 (the library's name)
        before: Any = getattr(self, "blPara")  # noqa: B009 (the library's types don't know it)
        self.blPara = copy(before)
        self.blPara.lines = [_turned(line) for line in before.lines]
        super().drawPara(debug)
        self.blPara = before


def _turned(line: Any) -> Any:
    """Return a line in the order of print: (room, words) of one font, or runs of several."""
    if isinstance(line, tuple):
        return (line[0], in_print_order(" ".join(line[1])).split(" "), *line[2:])
    turned = copy(line)
    turned.words = [copy(run) for run in line.words]
    for run in turned.words:
        run.text = in_print_order(run.text)
    return turned


def paragraph(text: str, style: str | int) -> Paragraph:
    """Return a text as a paragraph in one of the `STYLES`.

    Parameters
    ----------
    text : str
        Any text, as it is read; no sign in it is markup.
    style : str or int
        Which style.
    """
    kind = _Turned if runs_right_to_left(text) else Paragraph
    return kind(safe(text), STYLES[style])


def safe(text: str) -> str:
    """Return text as the fonts can show it, in which no sign is markup."""
    made = []
    for name, run in by_font(printable(text)[0]):
        words = escape(run).replace("\n", "<br/>")
        made.append(words if name == PLAIN else f'<font name="{name}">{words}</font>')
    return "".join(made)
