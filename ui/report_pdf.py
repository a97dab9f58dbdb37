"""The report as a PDF: page numbers, no row cut, a heading never alone at the foot of a page."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any, Literal, assert_never

from reportlab import rl_config
from reportlab.lib.colors import HexColor
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
    Paragraph,
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
from ui.report_fonts import PLAIN, missing_words, printable, register_fonts
from ui.report_pdf_tables import (
    BARE,
    LINE,
    STYLES,
    facts_table,
    grid_table,
    picture_rows,
    safe,
    signature_table,
)
from ui.report_plots import drawing_of

Paper = Literal["A4", "Letter"]
PAPERS: dict[str, tuple[float, float]] = {"A4": A4, "Letter": LETTER}
LEAD_IN = 60.0  # pt; a longer paragraph may be divided between pages
SIDE, TOP, FOOT = 17 * mm, 20 * mm, 18 * mm


def pdf_of(blocks: Sequence[Block], *, title: str, paper: Paper = "A4", foot: str = "") -> bytes:
    """Return the report as the bytes of a PDF.

    Parameters
    ----------
    blocks : sequence of Block
        The content.
    title : str
        Title of the document, also at the top of every page.
    paper : {"A4", "Letter"}, optional
        The paper.
    foot : str, optional
        What stands at the foot of every page, e.g. the record's fingerprint.

    Raises
    ------
    ValueError
        If the paper is not known.
    """
    if paper not in PAPERS:
        raise ValueError(f"the report is printed on {' or '.join(PAPERS)}; got '{paper}'.")
    register_fonts()
    missing = dict.fromkeys(
        sign for text in (title, foot, *words_of(blocks)) for sign in printable(text)[1]
    )
    if missing:
        note = Words(missing_words(tuple(missing)), "strong")
        place = next((i for i, one in enumerate(blocks) if isinstance(one, Facts)), -1) + 1
        blocks = [*blocks[:place], note, *blocks[place:]]
    width, height = PAPERS[paper]
    room = (width - 2 * SIDE, height - TOP - FOOT)
    made = io.BytesIO()
    document = BaseDocTemplate(made, pagesize=(width, height), title=title, author="",
                               leftMargin=SIDE, rightMargin=SIDE, topMargin=TOP,
                               bottomMargin=FOOT)  # fmt: skip
    frame = Frame(SIDE, FOOT, *room, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    document.addPageTemplates([PageTemplate("page", [frame])])
    before = rl_config.useA85
    rl_config.useA85 = 0  # pictures as they are, a quarter smaller than as text
    try:
        document.build(list(_flow(blocks, *room)), canvasmaker=_numbered(title, foot))
    finally:
        rl_config.useA85 = before
    return made.getvalue()


def _numbered(title: str, foot: str) -> type[Canvas]:
    """Return a canvas that writes title, foot and "page x of y" when all pages are known."""

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
            self.setFillColor(HexColor("#444444"))
            self.setStrokeColor(LINE)
            self.setLineWidth(0.5)
            self.line(SIDE, height - TOP + 8, width - SIDE, height - TOP + 8)
            self.line(SIDE, FOOT - 8, width - SIDE, FOOT - 8)
            self.setFont(PLAIN, 7.5)
            self.drawString(SIDE, height - TOP + 12, _fit(title, width - 2 * SIDE))
            words = f"Page {number} of {pages}"
            self.drawRightString(width - SIDE, FOOT - 18, words)
            self.drawString(SIDE, FOOT - 18, _fit(foot, width - 2 * SIDE - 80))

    return Numbered


def _fit(words: str, width: float) -> str:
    return fitted(printable(words)[0], width, size=7.5)


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
            yield from _kept(waiting, _first_height(block, made, width), width, height)
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


def _first_height(block: Block, made: Sequence[Flowable], width: float) -> float:
    """Return how much of a block must stand on one page, with its heading if it has one, pt."""
    if isinstance(block, Grid):
        return grid_table(block, width, rows=range(min(2, len(block.rows)))).wrap(width, 1e6)[1] + 8
    if isinstance(block, Words):
        return min(_high(made, width), LEAD_IN)
    if isinstance(block, Drawn | Rounds | Signatures | Pictures):
        return _high(made[:1] if isinstance(block, Pictures) else made, width) + 12
    return 0.0 if isinstance(block, NewPage) else min(_high(made, width), LEAD_IN)


def _high(made: Sequence[Flowable], width: float) -> float:
    return sum(one.wrap(width, 1e6)[1] for one in made)


def _flowables(block: Block, width: float, height: float) -> list[Flowable]:
    match block:
        case Words(text=text, kind=kind):
            return [Paragraph(safe(text), STYLES[kind])]
        case Facts(pairs=pairs):
            return [facts_table(pairs, width), Spacer(1, 6)]
        case Grid():
            return [grid_table(block, width), Spacer(1, 6)]
        case Pictures(shown=shown):
            return picture_rows(shown, width, height)
        case Drawn(plot=plot, caption=caption):
            words = Paragraph(safe(caption), STYLES["small"])
            return [drawing_of(plot, width), words]
        case Rounds(shown=rounds, caption=caption):
            size = (width - 12) / 3
            drawn = [roundness_drawing(one, size=size) for one in rounds]
            rows = [drawn[i : i + 3] for i in range(0, len(drawn), 3)]
            cells = [[*row, *[""] * (3 - len(row))] for row in rows]
            table = Table(cells, colWidths=[width / 3] * 3, style=BARE)
            return [table, Paragraph(safe(caption), STYLES["small"])]
        case Signatures(people=people, says=says):
            return [Paragraph(safe(says), STYLES["plain"]), signature_table(people, width)]
        case NewPage():
            return [PageBreak()]
        case Heading(words=words, level=level):
            return [Paragraph(safe(words), STYLES[level])]
        case _:
            assert_never(block)
