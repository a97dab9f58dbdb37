"""The hard cases typeset on A4 and Letter: nothing clipped, nothing overprinted, no empty page, no
heading alone at the foot of a page, rope and inspection on every page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import pypdfium2  # type: ignore[import-untyped]
import pypdfium2.raw as raw  # type: ignore[import-untyped]
import pytest
import typst

from tests.ui.report_cases import LONG, ON_PAPER, WORD, front_of, hard_case, hard_pdf
from ui.report.blocks import Block, Grid, Heading, NewPage, Words
from ui.report.writers.pdf import Paper, pdf_of
from ui.text import CAUTIONS

MM = 72 / 25.4
SIDE, TOP, FOOT = 17 * MM, 20 * MM, 21 * MM  # the margins of `report.typ`
SIZES = {"A4": (210 * MM, 297 * MM), "Letter": (8.5 * 72, 11 * 72)}  # ISO 216, ANSI/ASME Y14.1
HEADINGS = (10.2, 12.5)  # pt, of parts and chapters, and of nothing else


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign on a page: where its ink is, in pt from the left and from below, and its size."""

    sign: str
    left: float
    bottom: float
    right: float
    top: float
    size: float


def signs_of(page: Any) -> list[Sign]:
    """Return all signs of a page that have ink."""
    text = page.get_textpage()
    found = []
    for number in range(text.count_chars()):
        sign = chr(raw.FPDFText_GetUnicode(text.raw, number))
        if not sign.strip():
            continue
        left, bottom, right, top = text.get_charbox(number)
        size = raw.FPDFText_GetFontSize(text.raw, number)
        if right > left and top > bottom:
            found.append(Sign(sign, left, bottom, right, top, size))
    return found


@cache
def signs_in(name: str, paper: Paper) -> list[list[Sign]]:
    """Return the signs of every page of a hard case; each is read once."""
    document = pypdfium2.PdfDocument(hard_pdf(name, paper))
    read = [signs_of(page) for page in document]
    document.close()
    return read


def overprinted(signs: list[Sign]) -> Iterator[tuple[Sign, Sign]]:
    """Yield signs that cover more than a third of each other."""
    cells: dict[tuple[int, int], list[Sign]] = {}
    for one in signs:
        x, y = 0.5 * (one.left + one.right), 0.5 * (one.bottom + one.top)
        column, row = int(x // 6), int(y // 6)
        for place in ((column + i, row + j) for i in (-1, 0, 1) for j in (-1, 0, 1)):
            for other in cells.get(place, ()):
                if (
                    one.left < other.right
                    and other.left < one.right
                    and one.bottom < other.top
                    and other.bottom < one.top
                    and (one.left, one.right) != (other.left, other.right)  # "fi", one sign
                    and covered(one, other) > 1 / 3
                ):
                    yield one, other
        cells.setdefault((column, row), []).append(one)


def covered(one: Sign, other: Sign) -> float:
    """Return how much of the smaller of two signs the other one covers."""
    wide = min(one.right, other.right) - max(one.left, other.left)
    high = min(one.top, other.top) - max(one.bottom, other.bottom)
    return wide * high / min((x.right - x.left) * (x.top - x.bottom) for x in (one, other))


@pytest.mark.parametrize(("name", "paper"), ON_PAPER)
def test_all_words_lie_inside_the_margins_and_none_is_printed_over_another(
    name: str, paper: Paper
) -> None:
    width, height = SIZES[paper]
    for number, signs in enumerate(signs_in(name, paper), start=1):
        for one in signs:
            assert one.left >= SIDE - 1.0, (number, one)
            assert one.right <= width - SIDE + 1.0, (number, one)
            assert one.bottom > 22.6, (number, one)  # 8 mm
            assert one.top < height - 22.6, (number, one)
        over = list(overprinted(signs))
        assert not over, (number, over[0])


@pytest.mark.parametrize(("name", "paper"), ON_PAPER)
def test_no_page_is_empty_or_ends_with_a_heading_and_each_says_what_it_belongs_to(
    name: str, paper: Paper
) -> None:
    height = SIZES[paper][1]
    case = hard_case(name)
    log = case.assessment.log
    document = pypdfium2.PdfDocument(hard_pdf(name, paper))
    pages = len(document)
    read = zip(document, signs_in(name, paper), strict=True)
    for number, (page, signs) in enumerate(read, start=1):
        inside = [one for one in signs if FOOT - 4 < one.bottom < height - TOP + 4]
        assert len(inside) > 40 or page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE]), number
        if inside:
            lowest = min(inside, key=lambda one: one.bottom)
            assert round(lowest.size, 1) not in HEADINGS, (number, lowest)
        words = re.sub(r"\s+", "", page.get_textpage().get_text_bounded())
        assert f"Page{number}of{pages}" in words
        assert re.sub(r"\s+", "", log.rope.identity)[:16] in words
        assert "inspection" + re.sub(r"\s+", "", log.inspection.identity)[:16] in words
        assert case.record is not None
        assert f"fingerprint{case.record.fingerprint}" in words
        assert re.sub(r"\s+", "", CAUTIONS[1].partition(". ")[2]) in words
    document.close()


def test_what_lies_outside_or_over_other_words_would_be_noticed() -> None:
    words = "#set text(12pt)\n" + "".join(
        f"#place(dx: {left}pt, dy: {top}pt)[{said}]\n"
        for left, top, said in (
            (SIDE, 400, "many words"),
            (SIDE, 403, "other ones"),
            (SIDE - 6, 300, "many words"),
        )
    )
    document = pypdfium2.PdfDocument(typst.compile(f"#set page(margin: 0pt)\n{words}".encode()))
    signs = signs_of(document[0])
    assert len(list(overprinted(signs))) >= 5
    assert min(one.left for one in signs) < SIDE - 1.0
    document.close()


def test_a_long_name_has_its_own_room_before_a_signature() -> None:
    people = (("Inspector", LONG), ("Reviewer", WORD), ("Supervisor", ""))
    page = replace(front_of("x"), signers=people)
    document = pypdfium2.PdfDocument(pdf_of([page], title="t"))
    assert len(document) == 1
    assert not list(overprinted(signs_of(document[0])))
    document.close()


def test_no_figure_and_no_usual_word_is_broken_by_a_narrow_column() -> None:
    grid = Grid(
        ("E_n", "Agreement", "Why"),
        (("-12345.67", "disagrees", LONG),),
        (1, 1, 30),
        right=frozenset({0}),
    )
    blocks: list[Block] = [grid]
    document = pypdfium2.PdfDocument(pdf_of(blocks, title="t"))
    words = document[0].get_textpage().get_text_bounded()
    document.close()
    assert "-12345.67" in words
    assert "disagrees" in words


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_small_table_is_not_divided(paper: Paper) -> None:
    blocks: list[Block] = []
    heights = range(36, 56)
    for lines in heights:  # one document: each begins on a page of its own
        blocks += [
            *(Words(f"line {number}", "small") for number in range(lines)),
            Heading(f"Part after {lines}", 3),
            Grid(("Place", "Figure"), tuple((f"row {i}", "1.00") for i in range(8)), (1, 1)),
            NewPage(),
        ]
    document = pypdfium2.PdfDocument(pdf_of(blocks[:-1], title="t", paper=paper))
    pages = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    begun = [number for number, words in enumerate(pages) if "line 0\r" in words]
    assert len(begun) == len(heights) < len(pages)  # some of the tables had to move
    for lines in heights:
        (holder,) = (words for words in pages if f"Part after {lines}" in words)
        assert all(holder.count(f"row {i}") == 1 for i in range(8))


def test_the_forty_stations_are_set_without_waste() -> None:
    pages = len(pypdfium2.PdfDocument(hard_pdf("forty stations", "A4")))
    # 12 stations a page seen along the rope, 10 photographs a page, some 50 rows a page
    assert pages <= 42
