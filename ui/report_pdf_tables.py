"""The PDF report's styles and its tables: facts, grids, photographs, room for signatures."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any

from reportlab.platypus import Flowable, Image, Paragraph, Table, TableStyle

from ui.report_blocks import Grid, Picture
from ui.report_fonts import line_width, one_line
from ui.report_pdf_words import DARK, LINE, PALE, STYLES, WARM, paragraph

HIGHEST = 420.0  # pt; a higher cell is continued in rows of its own, so that no row is cut
LONGEST_WORD = 20  # letters; a longer word may be broken to fit its column
SIGNED = 48.0  # pt, the least height of the room for a signature: 17 mm

BARE = TableStyle([
    ("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
])  # fmt: skip


def facts_table(pairs: Sequence[tuple[str, str]], width: float) -> Table:
    """Return names and values, one pair a line."""
    columns = [0.27 * width, 0.73 * width]
    rows = []
    for name, value in pairs:
        rows += whole_rows([paragraph(name, "head"), paragraph(value, "cell")], columns)
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
    columns = column_widths(grid, width)
    cells: list[list[Any]] = [[
        paragraph(one, "number head" if i in grid.right else "head")
        for i, one in enumerate(grid.head)
    ]]  # fmt: skip
    style: list[Any] = [
        ("GRID", (0, 0), (-1, -1), 0.4, LINE), ("BACKGROUND", (0, 0), (-1, 0), PALE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3), ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]  # fmt: skip
    for number in range(len(grid.rows)) if rows is None else rows:
        heavy = number in grid.strong or number in grid.sums
        row = whole_rows(
            [
                paragraph(cell, _kind(cell, i in grid.right, heavy))
                for i, cell in enumerate(grid.rows[number])
            ],
            columns,
        )
        last = len(cells) + len(row) - 1
        if number in grid.strong:
            style.append(("BACKGROUND", (0, len(cells)), (-1, last), WARM))
        if number in grid.sums:
            style.append(("LINEBELOW", (0, last), (-1, last), 1.0, DARK))
        cells += row
    return Table(cells, colWidths=columns, style=TableStyle(style), repeatRows=1)


def column_widths(grid: Grid, width: float) -> list[float]:
    """Return the columns' widths, pt: as asked for, but no figure or usual word is broken."""
    total = sum(grid.widths)
    least = [min(_least(grid, i), 0.3 * width) for i in range(len(grid.head))]
    if sum(least) >= width:
        return [width * one / sum(least) for one in least]
    asked = [max(width * one / total, few) for one, few in zip(grid.widths, least, strict=True)]
    room = [one - few for one, few in zip(asked, least, strict=True)]
    over = (sum(asked) - width) / (sum(room) or 1.0)
    return [one - over * spare for one, spare in zip(asked, room, strict=True)]


def _least(grid: Grid, column: int) -> float:
    """Return how wide a column must be for the words in it that are not to be broken, pt."""
    words = {word for word in grid.head[column].split()}
    for row in grid.rows:
        words |= {word for word in row[column].split() if len(word) <= LONGEST_WORD}
    size = STYLES["cell"].fontSize
    return 7.0 + max((line_width(one_line(word), size, bold=True) for word in words), default=0.0)


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
            cells.append([image, paragraph(one.caption, "under")])
        cells += [""] * (2 - len(pair))
        made.append(Table([cells], colWidths=[width / 2] * 2, style=BARE, splitByRow=0))
    return made


def signature_table(people: Sequence[tuple[str, str]], width: float) -> Table:
    """Return room for signatures and dates: a long name makes its row higher."""
    columns = [0.15 * width, 0.3 * width, 0.37 * width, 0.18 * width]
    head = [paragraph(one, "head") for one in ("Role", "Name", "Signature", "Date")]
    names = [paragraph(name, "cell") for _, name in people]
    rows = [
        [paragraph(role, "head"), name, "", ""]
        for (role, _), name in zip(people, names, strict=True)
    ]
    heights = [max(SIGNED, name.wrap(columns[1] - 12, 1e6)[1] + 10) for name in names]
    style = TableStyle([
        ("GRID", (0, 0), (-1, -1), 0.5, LINE), ("BACKGROUND", (0, 0), (-1, 0), PALE),
        ("VALIGN", (0, 1), (-1, -1), "BOTTOM"),
    ])  # fmt: skip
    return Table([head, *rows], colWidths=columns, rowHeights=[None, *heights], style=style)
