"""How the hard cases are set on A4 and Letter: nothing clipped, nothing overprinted, no empty
page, no heading alone at the foot of a page, rope and inspection on every page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pypdfium2  # type: ignore[import-untyped]
import pypdfium2.raw as raw  # type: ignore[import-untyped]
import pytest
from reportlab.pdfgen.canvas import Canvas

from tests.ui.report_cases import HARD, LONG, WORD, hard_case
from ui.report.blocks import Block, Grid, Heading, Signatures, Words
from ui.report.case import ReportCase
from ui.report.pdf import FOOT, PAPERS, SIDE, TOP, Paper, column_widths, pdf_of
from ui.report.report import pdf_report
from ui.text import CAUTIONS

HEADING = 9.9  # pt; chapters and their parts are set larger, all else smaller


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
        sign = text.get_text_range(number, 1)
        if not sign.strip():
            continue
        left, bottom, right, top = text.get_charbox(number)
        size = raw.FPDFText_GetFontSize(text.raw, number)
        if right > left and top > bottom:
            found.append(Sign(sign, left, bottom, right, top, size))
    return found


def overprinted(signs: list[Sign]) -> Iterator[tuple[Sign, Sign]]:
    """Yield signs that cover more than a third of each other."""
    cells: dict[tuple[int, int], list[Sign]] = {}
    for one in signs:
        x, y = 0.5 * (one.left + one.right), 0.5 * (one.bottom + one.top)
        for i in (-1, 0, 1):
            for j in (-1, 0, 1):
                for other in cells.get((int(x // 6) + i, int(y // 6) + j), ()):
                    wide = min(one.right, other.right) - max(one.left, other.left)
                    high = min(one.top, other.top) - max(one.bottom, other.bottom)
                    small = min(
                        (two.right - two.left) * (two.top - two.bottom) for two in (one, other)
                    )
                    if wide > 0 and high > 0 and wide * high > small / 3:
                        yield one, other
        cells.setdefault((int(x // 6), int(y // 6)), []).append(one)


@pytest.fixture(scope="module", params=HARD)
def case(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> ReportCase:
    return hard_case(tmp_path_factory.mktemp("record"), request.param)


@pytest.fixture(params=["A4", "Letter"])
def paper(request: pytest.FixtureRequest) -> Paper:
    named: Paper = request.param
    return named


def test_all_words_lie_inside_the_margins_and_none_is_printed_over_another(
    case: ReportCase, paper: Paper
) -> None:
    width, height = PAPERS[paper]
    document = pypdfium2.PdfDocument(pdf_report(case, paper=paper))
    for number, page in enumerate(document, start=1):
        signs = signs_of(page)
        for one in signs:
            assert one.left >= SIDE - 1.0, (number, one)
            assert one.right <= width - SIDE + 1.0, (number, one)
            assert one.bottom > 20.0, (number, one)  # 7 mm: what a printer can reach
            assert one.top < height - 20.0, (number, one)
        over = list(overprinted(signs))
        assert not over, (number, over[0])
    document.close()


def test_no_page_is_empty_or_ends_with_a_heading_and_each_says_what_it_belongs_to(
    case: ReportCase, paper: Paper
) -> None:
    height = PAPERS[paper][1]
    log = case.assessment.log
    document = pypdfium2.PdfDocument(pdf_report(case, paper=paper))
    pages = len(document)
    for number, page in enumerate(document, start=1):
        signs = signs_of(page)
        inside = [one for one in signs if FOOT - 4 < one.bottom < height - TOP + 4]
        assert len(inside) > 40 or page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE]), number
        if inside:
            lowest = min(inside, key=lambda one: one.bottom)
            assert lowest.size < HEADING, (number, lowest)
        words = re.sub(r"\s+", "", page.get_textpage().get_text_bounded())
        assert f"Page{number}of{pages}" in words
        assert re.sub(r"\s+", "", log.rope.identity)[:16] in words
        assert "inspection" + re.sub(r"\s+", "", log.inspection.identity)[:16] in words
        assert case.record is not None
        assert f"fingerprint{case.record.fingerprint}" in words
        assert re.sub(r"\s+", "", CAUTIONS[1].partition(". ")[2]) in words
    document.close()


def test_what_lies_outside_or_over_other_words_would_be_noticed() -> None:
    canvas = Canvas("", pagesize=PAPERS["A4"])
    canvas.drawString(SIDE, 400, "many words")
    canvas.drawString(SIDE, 397, "other ones")
    canvas.drawString(SIDE - 6, 300, "many words")
    document = pypdfium2.PdfDocument(canvas.getpdfdata())
    signs = signs_of(document[0])
    assert len(list(overprinted(signs))) >= 5
    assert min(one.left for one in signs) < SIDE - 1.0
    document.close()


def test_a_long_name_has_its_own_room_before_a_signature() -> None:
    people = (("Inspector", LONG), ("Reviewer", WORD), ("Supervisor", ""))
    document = pypdfium2.PdfDocument(pdf_of([Signatures(people, "Signed.")], title="t"))
    assert not list(overprinted(signs_of(document[0])))
    document.close()


def test_no_figure_and_no_usual_word_is_broken_by_a_narrow_column() -> None:
    grid = Grid(
        ("E_n", "Agreement", "Why"),
        (("-12345.67", "disagrees", LONG),),
        (1, 1, 30),
        right=frozenset({0}),
    )
    columns = column_widths(grid, 500.0)
    assert sum(columns) == pytest.approx(500.0)
    blocks: list[Block] = [grid]
    document = pypdfium2.PdfDocument(pdf_of(blocks, title="t"))
    words = document[0].get_textpage().get_text_bounded()
    document.close()
    assert "-12345.67" in words
    assert "disagrees" in words


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_small_table_is_not_divided(paper: Paper) -> None:
    for lines in range(36, 56):
        blocks: list[Block] = [
            *(Words(f"line {number}", "small") for number in range(lines)),
            Heading("Part", 3),
            Grid(("Place", "Figure"), tuple((f"row {i}", "1.00") for i in range(8)), (1, 1)),
        ]
        document = pypdfium2.PdfDocument(pdf_of(blocks, title="t", paper=paper))
        pages = [page.get_textpage().get_text_bounded() for page in document]
        document.close()
        holder = next(words for words in pages if "Part" in words)
        assert all(f"row {i}" in holder for i in range(8))


def test_the_forty_stations_are_set_without_waste(tmp_path: Path) -> None:
    pages = len(pypdfium2.PdfDocument(pdf_report(hard_case(tmp_path, "forty stations"))))
    # 12 stations a page seen along the rope, 10 photographs a page, some 50 rows a page
    assert pages <= 42
