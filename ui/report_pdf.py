"""The report as a PDF: page numbers, no row cut, a heading never alone at the foot of a page."""

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
    PageBreak,
    PageTemplate,
    Spacer,
    Table,
)

from ui.drawing_axes import fitted
from ui.drawings import roundness_drawing
from ui.report_blocks import (
    Block,
    Drawn,
    Facts,
    Grid,
    Heading,
    NewPage,
    Pictures,
    Rounds,
    Signatures,
    Words,
    words_of,
)
from ui.report_fonts import (
    PLAIN,
    draw_line,
    line_width,
    missing_words,
    one_line,
    printable,
    register_fonts,
    spelled,
)
from ui.report_pdf_tables import BARE, facts_table, grid_table, picture_rows, signature_table
from ui.report_pdf_words import DARK, LINE, paragraph
from ui.report_plots import drawing_of

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
    made = io.BytesIO()
    document = BaseDocTemplate(made, pagesize=(width, height), title=title, author="",
                               leftMargin=SIDE, rightMargin=SIDE, topMargin=TOP,
                               bottomMargin=FOOT)  # fmt: skip
    frame = Frame(SIDE, FOOT, *room, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    document.addPageTemplates([PageTemplate("page", [frame])])
    before = rl_config.useA85
    rl_config.useA85 = 0  # pictures as they are, a quarter smaller than as text
    try:
        document.build(list(_flow(blocks, *room)), canvasmaker=_numbered(edges))
    finally:
        rl_config.useA85 = before
    return made.getvalue()


def _with_missing(blocks: Sequence[Block], edges: Sequence[str]) -> Sequence[Block]:
    """Return the content with a note about letters that no font has, and what they are."""
    lacking = {
        text: missing for text in (*edges, *words_of(blocks)) if (missing := printable(text)[1])
    }
    if not lacking:
        return blocks
    note = Words(missing_words(sign for missing in lacking.values() for sign in missing), "strong")
    place = next((i for i, one in enumerate(blocks) if isinstance(one, Facts)), -1) + 1
    rows = {(word, spelled(word)): None
            for text in lacking for word in (one.strip(".,;:()") for one in text.split())
            if printable(word)[1]}  # fmt: skip
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
        made = _flowables(block, width, height)
        if isinstance(block, Heading):
            if led_in:
                yield from _kept(waiting, 0.0, width, height)
                waiting, led_in = [], False
            waiting += made
        elif waiting and isinstance(block, Words) and _high(made, width) < LEAD_IN:
            waiting += made
            led_in = True
        else:
            yield from _kept(waiting, _first_height(block, made, width, height), width, height)
            waiting, led_in = [], False
            yield from made
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


def _first_height(block: Block, made: Sequence[Flowable], width: float, height: float) -> float:
    """Return how much of a block must stand on one page, with its heading if it has one, pt."""
    if isinstance(block, Grid):
        whole = _high(made, width)
        if whole <= WHOLE * height:
            return whole + 8
        return grid_table(block, width, rows=range(min(2, len(block.rows)))).wrap(width, 1e6)[1] + 8
    if isinstance(block, Facts):
        whole = _high(made, width)
        return whole if whole <= WHOLE * height else LEAD_IN
    if isinstance(block, Words):
        return min(_high(made, width), LEAD_IN)
    if isinstance(block, Drawn | Signatures | Pictures | Rounds):
        first = {Pictures: 1, Rounds: 2}.get(type(block), len(made))
        return _high(made[:first], width) + 12
    return 0.0


def _high(made: Sequence[Flowable], width: float) -> float:
    return sum(one.wrap(width, 1e6)[1] for one in made)


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
            drawn = [roundness_drawing(one, size=size) for one in rounds]
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
