"""The PDF report's styles and its tables: facts, grids, photographs, room for signatures."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, Image, Paragraph, Table, TableStyle

from ui.report_blocks import Grid, Picture
from ui.report_fonts import BOLD, PLAIN, printable

BLUE, PALE, LINE = HexColor("#0072B2"), HexColor("#e8eef3"), HexColor("#bbbbbb")
HIGHEST = 420.0  # pt; a higher cell is continued in rows of its own, so that no row is cut
WARM = HexColor("#fdf1e7")


def _style(name: str, size: float, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(name, fontName=more.pop("fontName", PLAIN), fontSize=size,
                          leading=more.pop("leading", 1.3 * size), **more)  # fmt: skip


STYLES = {
    1: _style("title", 18, fontName=BOLD, spaceAfter=8),
    2: _style("chapter", 12.5, fontName=BOLD, spaceBefore=14, spaceAfter=5, textColor=BLUE),
    3: _style("part", 10, fontName=BOLD, spaceBefore=9, spaceAfter=3),
    "plain": _style("plain", 9, spaceAfter=5),
    "strong": _style("strong", 9.5, fontName=BOLD, spaceAfter=5),
    "small": _style("small", 7.8, spaceAfter=4, textColor=HexColor("#333333")),
    "under": _style("under", 7.8, spaceBefore=3, spaceAfter=3),
    "caution": _style("caution", 9, leftIndent=6, rightIndent=6, spaceBefore=10, spaceAfter=8,
                      borderPadding=5, backColor=WARM, borderColor=HexColor("#D55E00"),
                      borderWidth=1),
    "cell": _style("cell", 7.4),
    "number": _style("number", 7.4, alignment=2),
    "head": _style("head", 7.4, fontName=BOLD),
    "number head": _style("number head", 7.4, fontName=BOLD, alignment=2),
    "strong cell": _style("strong cell", 7.4, fontName=BOLD),
    "strong number": _style("strong number", 7.4, fontName=BOLD, alignment=2),
}  # fmt: skip


BARE = TableStyle([
    ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
])  # fmt: skip


def facts_table(pairs: Sequence[tuple[str, str]], width: float) -> Table:
    """Return names and values, one pair a line."""
    columns = [0.27 * width, 0.73 * width]
    rows = [
        row
        for name, value in pairs
        for row in whole_rows(
            [Paragraph(safe(name), STYLES["head"]), Paragraph(safe(value), STYLES["cell"])],
            columns,
        )
    ]
    style = TableStyle([
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, LINE), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 2), ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ])  # fmt: skip
    return Table(rows, colWidths=columns, style=style)


def whole_rows(cells: Sequence[Paragraph], columns: Sequence[float]) -> list[list[Any]]:
    """Return a row as one row, or as several where a cell is too high for a page."""
    pieces: list[list[Any]] = []
    for cell, column in zip(cells, columns, strict=True):
        parts: list[Any] = []
        rest: Any = cell
        while rest is not None and rest.wrap(column - 6, 1e6)[1] > HIGHEST:
            first, *more = rest.split(column - 6, HIGHEST)
            parts.append(first)
            rest = more[0] if more else None
        pieces.append(parts if rest is None else [*parts, rest])
    most = max((len(parts) for parts in pieces), default=0)
    return [[parts[i] if i < len(parts) else "" for parts in pieces] for i in range(most)]


def grid_table(grid: Grid, width: float, *, rows: Iterable[int] | None = None) -> Table:
    """Return a table whose head is repeated on every page, or only some of its rows."""
    total = sum(grid.widths)
    columns = [width * one / total for one in grid.widths]
    cells: list[list[Any]] = [[
        Paragraph(safe(one), STYLES["number head" if i in grid.right else "head"])
        for i, one in enumerate(grid.head)
    ]]  # fmt: skip
    style: list[Any] = [
        ("GRID", (0, 0), (-1, -1), 0.4, LINE), ("BACKGROUND", (0, 0), (-1, 0), PALE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3), ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]  # fmt: skip
    for number in range(len(grid.rows)) if rows is None else rows:
        row = whole_rows(
            [
                Paragraph(safe(cell), STYLES[_kind(cell, i in grid.right, number in grid.strong)])
                for i, cell in enumerate(grid.rows[number])
            ],
            columns,
        )
        if number in grid.strong:
            last = len(cells) + len(row) - 1
            style.append(("BACKGROUND", (0, len(cells)), (-1, last), WARM))
        cells += row
    return Table(cells, colWidths=columns, style=TableStyle(style), repeatRows=1)


def _kind(cell: str, figures: bool, strong: bool) -> str:
    """Return a cell's style: whole sentences in bold would be hard to read."""
    bold = "strong " if strong and len(cell) <= 24 else ""
    return bold + ("number" if figures else "cell")


def picture_rows(shown: Sequence[Picture], width: float, height: float) -> list[Flowable]:
    """Return photographs two by two, each with its caption; a row is never cut."""
    each = (width - 10) / 2
    made: list[Flowable] = []
    for first in range(0, len(shown), 2):
        pair = shown[first : first + 2]
        cells: list[Any] = []
        for one in pair:
            scale = min(each / one.width_px, 0.24 * height / one.height_px)
            image = Image(io.BytesIO(one.jpeg), one.width_px * scale, one.height_px * scale,
                          hAlign="LEFT")  # fmt: skip
            cells.append([image, Paragraph(safe(one.caption), STYLES["under"])])
        cells += [""] * (2 - len(pair))
        made.append(Table([cells], colWidths=[width / 2] * 2, style=BARE, splitByRow=0))
    return made


def signature_table(people: Sequence[tuple[str, str]], width: float) -> Table:
    """Return room for signatures and dates."""
    head = [Paragraph(one, STYLES["head"]) for one in ("Role", "Name", "Signature", "Date")]
    rows = [
        [Paragraph(safe(role), STYLES["head"]), Paragraph(safe(name), STYLES["cell"]), "", ""]
        for role, name in people
    ]
    style = TableStyle([
        ("GRID", (0, 0), (-1, -1), 0.5, LINE), ("BACKGROUND", (0, 0), (-1, 0), PALE),
        ("VALIGN", (0, 1), (-1, -1), "BOTTOM"),
    ])  # fmt: skip
    return Table([head, *rows], colWidths=[0.16 * width, 0.3 * width, 0.36 * width, 0.18 * width],
                 rowHeights=[None, *[38] * len(rows)], style=style)  # fmt: skip


def safe(text: str) -> str:
    """Return text as the font can show it, in which no sign is markup."""
    return escape(printable(text)[0]).replace("\n", "<br/>")
