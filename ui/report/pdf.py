"""The report as a PDF: page numbers, no row cut, a heading never alone at the foot of a page.

The PDF report's styles and its tables: facts, grids, photographs, room for signatures.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, assert_never

from reportlab import rl_config
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    Image,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from ui.report.blocks import (
    Block,
    Drawn,
    Facts,
    Grid,
    Heading,
    NewPage,
    Pictures,
    ReportPicture,
    Rounds,
    Signatures,
    Words,
    words_of,
)
from ui.report.drawing_axes import fitted
from ui.report.drawings import drawing_of, roundness_drawing
from ui.report.fonts import (
    PLAIN,
    draw_line,
    line_width,
    missing_words,
    one_line,
    printable,
    register_fonts,
    spelled,
)
from ui.report.pdf_text import DARK, LINE, PALE, STYLES, WARM, paragraph

Paper = Literal["A4", "Letter"]
PAPERS: dict[str, tuple[float, float]] = {"A4": A4, "Letter": LETTER}
LEAD_IN = 60.0  # pt; a longer paragraph may be divided between pages
WHOLE = 0.3  # of a page's height; a table that is not higher is never divided
SIDE, TOP, FOOT = 17 * mm, 20 * mm, 21 * mm
EDGE = 7.5  # pt, letters at the top and at the foot of a page


def pdf_of(
    blocks: Sequence[Block],
    *,
    title: str,
    paper: Paper = "A4",
    head: Sequence[str] = (),
    foot: Sequence[str] = (),
    caution: str = "",
) -> bytes:
    """Return the report as the bytes of a PDF.

    Parameters
    ----------
    blocks : sequence of Block
        The content.
    title : str
        Title of the document.
    paper : {"A4", "Letter"}, optional
        The paper.
    head, foot : sequence of str, optional
        What stands at the top (the title by default) and at the foot of every page: where there
        is no room for all of it, something of each part stays, e.g. of rope and inspection.
    caution : str, optional
        A sentence at the foot of every page.

    Raises
    ------
    ValueError
        If the paper is not known.
    """
    if paper not in PAPERS:
        raise ValueError(f"the report is printed on {' or '.join(PAPERS)}; got '{paper}'.")
    register_fonts()
    width, height = PAPERS[paper]
    room = (width - 2 * SIDE, height - TOP - FOOT)
    edges = _Edges(tuple(head) or (title,), tuple(foot), caution)
    blocks = _with_missing(blocks, (*edges.head, *edges.foot))
    flowables = io.BytesIO()
    document = BaseDocTemplate(
        flowables,
        pagesize=(width, height),
        title=title,
        author="",
        leftMargin=SIDE,
        rightMargin=SIDE,
        topMargin=TOP,
        bottomMargin=FOOT,
    )
    frame = Frame(SIDE, FOOT, *room, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    document.addPageTemplates([PageTemplate("page", [frame])])
    before = rl_config.useA85
    rl_config.useA85 = 0  # pictures as they are, a quarter smaller than as text
    try:
        document.build(list(_flow(blocks, *room)), canvasmaker=_numbered(edges))
    finally:
        rl_config.useA85 = before
    return flowables.getvalue()


def _with_missing(blocks: Sequence[Block], edges: Sequence[str]) -> Sequence[Block]:
    """Return the content with a note about letters that no font has, and what they are."""
    lacking = {
        text: missing for text in (*edges, *words_of(blocks)) if (missing := printable(text)[1])
    }
    if not lacking:
        return blocks
    note = Words(missing_words(sign for missing in lacking.values() for sign in missing), "strong")
    place = next((i for i, one in enumerate(blocks) if isinstance(one, Facts)), -1) + 1
    rows = {
        (word, spelled(word)): None
        for text in lacking
        for word in (one.strip(".,;:()") for one in text.split())
        if printable(word)[1]
    }
    table = Grid(("Word", "Its letters by their Unicode numbers"), tuple(rows), (1, 4))
    named = Heading("Words with letters that the fonts of this PDF can't show", 3)
    return [*blocks[:place], note, *blocks[place:], named, table]


@dataclass(frozen=True, slots=True)
class _Edges:
    """What stands at the top and at the foot of every page."""

    head: tuple[str, ...]
    foot: tuple[str, ...]
    caution: str


def _numbered(edges: _Edges) -> type[Canvas]:
    """Return a canvas that writes head, foot and "Page x of y" when all pages are known."""

    class Numbered(Canvas):
        """Keeps each page back until the number of pages is known."""

        pages: list[dict[str, Any]]

        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **named)
            self.pages = []

        def showPage(self) -> None:  # noqa: N802 (the library's name)
            self.pages.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined]

        def save(self) -> None:
            kept = self.pages
            for number, page in enumerate(kept, start=1):
                self.__dict__.update(page)
                self._edges(number, len(kept))
                super().showPage()
            super().save()

        def _edges(self, number: int, pages: int) -> None:
            width, height = self._pagesize  # type: ignore[attr-defined]
            right, words = width - SIDE, f"Page {number} of {pages}"
            self.setFillColor(DARK)
            self.setStrokeColor(LINE)
            self.setLineWidth(0.5)
            self.line(SIDE, height - TOP + 8, right, height - TOP + 8)
            self.line(SIDE, FOOT - 8, right, FOOT - 8)
            room = right - SIDE
            draw_line(self, SIDE, height - TOP + 12, one_line(_shared(edges.head, room)), EDGE)
            caution = fitted(edges.caution, room, size=EDGE)
            draw_line(self, SIDE, FOOT - 18, one_line(caution), EDGE)
            draw_line(self, SIDE, FOOT - 29, one_line(_shared(edges.foot, room - 80)), EDGE)
            self.setFont(PLAIN, EDGE)
            self.drawRightString(right, FOOT - 29, words)

    return Numbered


def _shared(parts: Sequence[str], room: float) -> str:
    """Return parts on one line, the longest cut as far as needed, so that none is lost."""
    left = room - line_width(one_line(", " * (len(parts) - 1)), EDGE)
    cut: dict[int, str] = {}
    wide = {i: line_width(one_line(part), EDGE) for i, part in enumerate(parts)}
    for done, i in enumerate(sorted(wide, key=lambda i: wide[i])):
        cut[i] = fitted(parts[i], left / (len(parts) - done), size=EDGE)
        left -= line_width(one_line(cut[i]), EDGE)
    return ", ".join(cut[i] for i in range(len(parts)))


def _flow(blocks: Sequence[Block], width: float, height: float) -> Iterable[Flowable]:
    """Yield what the pages are made of; headings and their lead-in stay with what follows."""
    waiting: list[Flowable] = []
    led_in = False
    for block in blocks:
        flowables = _flowables(block, width, height)
        if isinstance(block, Heading):
            if led_in:
                yield from _kept(waiting, 0.0, width, height)
                waiting, led_in = [], False
            waiting += flowables
        elif waiting and isinstance(block, Words) and _high(flowables, width) < LEAD_IN:
            waiting += flowables
            led_in = True
        else:
            yield from _kept(waiting, _first_height(block, flowables, width, height), width, height)
            waiting, led_in = [], False
            yield from flowables
    yield from waiting


def _kept(
    waiting: Sequence[Flowable], first: float, width: float, height: float
) -> Iterable[Flowable]:
    """Yield what waits, on a new page if it and the first of what follows don't fit on this."""
    needed = first + sum(
        one.wrap(width, 1e6)[1] + one.getSpaceBefore() + one.getSpaceAfter() for one in waiting
    )
    if needed > 0:
        yield CondPageBreak(min(needed, height - 1))
    yield from waiting


def _first_height(
    block: Block, flowables: Sequence[Flowable], width: float, height: float
) -> float:
    """Return how much of a block must stand on one page, with its heading if it has one, pt."""
    if isinstance(block, Grid):
        whole = _high(flowables, width)
        if whole <= WHOLE * height:
            return whole + 8
        return grid_table(block, width, rows=range(min(2, len(block.rows)))).wrap(width, 1e6)[1] + 8
    if isinstance(block, Facts):
        whole = _high(flowables, width)
        return whole if whole <= WHOLE * height else LEAD_IN
    if isinstance(block, Words):
        return min(_high(flowables, width), LEAD_IN)
    if isinstance(block, Drawn | Signatures | Pictures | Rounds):
        first = {Pictures: 1, Rounds: 2}.get(type(block), len(flowables))
        return _high(flowables[:first], width) + 12
    return 0.0


def _high(flowables: Sequence[Flowable], width: float) -> float:
    return sum(one.wrap(width, 1e6)[1] for one in flowables)


def _flowables(block: Block, width: float, height: float) -> list[Flowable]:
    match block:
        case Words(text=text, kind=kind):
            return [paragraph(text, kind)]
        case Facts(pairs=pairs):
            return [facts_table(pairs, width), Spacer(1, 6)]
        case Grid():
            return [grid_table(block, width), Spacer(1, 6)]
        case Pictures(shown=shown):
            return picture_rows(shown, width, height)
        case Drawn(plot=plot, caption=caption):
            words = paragraph(caption, "small")
            return [drawing_of(plot, width), words]
        case Rounds(shown=rounds, caption=caption):
            size = (width - 12) / 3
            if len(rounds) > 9:  # of many, four rows fill a page
                size = min(size, height / 4 - 27)
            drawn = [roundness_drawing(shown, size=size) for shown in rounds]
            rows = [drawn[i : i + 3] for i in range(0, len(drawn), 3)]
            cells = [[*row, *[""] * (3 - len(row))] for row in rows]
            tables = [Table([row], colWidths=[width / 3] * 3, style=BARE) for row in cells]
            return [paragraph(caption, "small"), *tables]
        case Signatures(people=people, says=says):
            return [paragraph(says, "plain"), signature_table(people, width)]
        case NewPage():
            return [PageBreak()]
        case Heading(words=words, level=level):
            return [paragraph(words, level)]
        case _:
            assert_never(block)


HIGHEST = 420.0  # pt; a higher cell is continued in rows of its own, so that no row is cut
LONGEST_WORD = 20  # letters; a longer word may be broken to fit its column
SIGNED = 48.0  # pt, the least height of the room for a signature: 17 mm

BARE = TableStyle(
    [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]
)


def facts_table(pairs: Sequence[tuple[str, str]], width: float) -> Table:
    """Return names and values, one pair a line."""
    columns = [0.27 * width, 0.73 * width]
    rows = []
    for name, value in pairs:
        rows += whole_rows([paragraph(name, "head"), paragraph(value, "cell")], columns)
    style = TableStyle(
        [
            ("LINEBELOW", (0, 0), (-1, -1), 0.3, LINE),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ]
    )
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
    cells: list[list[Any]] = [
        [
            paragraph(one, "number head" if i in grid.right else "head")
            for i, one in enumerate(grid.head)
        ]
    ]
    style: list[Any] = [
        ("GRID", (0, 0), (-1, -1), 0.4, LINE),
        ("BACKGROUND", (0, 0), (-1, 0), PALE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
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


def picture_rows(shown: Sequence[ReportPicture], width: float, height: float) -> list[Flowable]:
    """Return photographs two by two, each with its caption; a row is never cut."""
    each = (width - 10) / 2
    flowables: list[Flowable] = []
    for first in range(0, len(shown), 2):
        pair = shown[first : first + 2]
        cells: list[Any] = []
        for one in pair:
            scale = min(each / one.width_px, 0.24 * height / one.height_px)
            image = Image(
                io.BytesIO(one.jpeg), one.width_px * scale, one.height_px * scale, hAlign="LEFT"
            )
            cells.append([image, paragraph(one.caption, "under")])
        cells += [""] * (2 - len(pair))
        flowables.append(Table([cells], colWidths=[width / 2] * 2, style=BARE, splitByRow=0))
    return flowables


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
    style = TableStyle(
        [
            ("GRID", (0, 0), (-1, -1), 0.5, LINE),
            ("BACKGROUND", (0, 0), (-1, 0), PALE),
            ("VALIGN", (0, 1), (-1, -1), "BOTTOM"),
        ]
    )
    return Table([head, *rows], colWidths=columns, rowHeights=[None, *heights], style=style)
