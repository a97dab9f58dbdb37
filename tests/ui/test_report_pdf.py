"""The typeset report: pages, breaks, paper, many alphabets, hostile text."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pypdfium2  # type: ignore[import-untyped]
import pytest

from inspection.record.record import open_record
from tests.ui.report_cases import MADE, fill, folder_case, front_of, hard_case, hard_pdf, read_of
from ui.report.blocks import Block, Facts, Grid, Heading, NewPage, Words
from ui.report.case import ReportCase, case_of_record
from ui.report.report import html_report, pdf_report
from ui.report.writers.html import html_of
from ui.report.writers.letters import clean, missing_letters
from ui.report.writers.pdf import PageEdges, Paper, pdf_of

# A4 is 210 mm x 297 mm (ISO 216), Letter 8.5 in x 11 in (ANSI/ASME Y14.1); in pt
SIZES = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "Letter": (8.5 * 72, 11 * 72)}
LONG = "wire " * 5000  # a cell that is higher than a page


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> ReportCase:
    return folder_case(tmp_path_factory.mktemp("folder"), wrong={(3, 0): "38.91"})


@pytest.fixture(scope="module")
def pdf(case: ReportCase) -> bytes:
    return pdf_report(case)


def pages_of(pdf: bytes) -> list[str]:
    """Return the words of every page."""
    document = pypdfium2.PdfDocument(pdf)
    pages = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    return [re.sub(r"\s+", " ", one.replace("\ufffe", "")) for one in pages]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_page_is_of_the_paper_and_numbered(
    case: ReportCase, pdf: bytes, paper: Paper
) -> None:
    made = pdf if paper == "A4" else pdf_report(case, paper=paper)
    document = pypdfium2.PdfDocument(made)
    assert all(page.get_size() == pytest.approx(SIZES[paper], abs=0.01) for page in document)
    document.close()
    pages = pages_of(made)
    assert len(pages) >= 5
    for number, words in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in words
        assert "hoist rope 1, inspection 2026-11" in words


def test_a_heading_is_never_the_last_thing_on_a_page() -> None:
    # one line more before the heading each time: the break must pass through every height
    blocks: list[Block] = []
    heights = range(52, 66)
    for lines in heights:  # one document: each begins on a page of its own
        blocks += [
            *(Words(f"line {number}", "small") for number in range(lines)),
            Heading(f"Chapter after {lines}"),
            Words("A short lead-in.", "small"),
            Grid(
                ("Place", "Figure (mm)"),
                (("first row", "1.00"), ("second row", "2.00"), ("third row", "3.00")),
                (1, 1),
            ),
            NewPage(),
        ]
    pages = pages_of(pdf_of(blocks[:-1], title="t"))
    assert sum("line 0 " in words for words in pages) == len(heights) < len(pages)
    for lines in heights:
        (holder,) = (words for words in pages if f"Chapter after {lines}" in words)
        assert "A short lead-in." in holder
        assert "first row" in holder


def test_no_row_is_cut_where_it_fits_on_a_page_and_the_head_is_repeated() -> None:
    rows = tuple((f"<{number}", "many words " * 14, f"{number}>") for number in range(60))
    pages = pages_of(pdf_of([Grid(("Top", "Words", "End"), rows, (1, 3, 1))], title="t"))
    assert len(pages) > 2
    for words in pages:
        assert words.count("Top Words End") == 1
        begun = re.findall(r"<(\d+)", words)
        ended = re.findall(r"(\d+)>", words)
        assert begun == ended
    assert sum(len(re.findall(r"<\d+", words)) for words in pages) == 60


def test_a_row_higher_than_a_page_is_shown_whole() -> None:
    blocks: list[Block] = [
        Heading("Notes"),
        Grid(("What", "Why"), (("x", LONG), ("y", "short")), (1, 2)),
    ]
    pages = pages_of(pdf_of(blocks, title="t"))
    assert sum(words.count("wire") for words in pages) == 5000
    facts = pages_of(pdf_of([Facts((("What", LONG),))], title="t"))
    assert sum(words.count("wire") for words in facts) == 5000
    assert len(pages) > 1 < len(facts)


def test_a_word_longer_than_its_column_is_broken_and_kept() -> None:
    pages = pages_of(pdf_of([Grid(("a", "b"), (("x" * 300, "end"),), (1, 9))], title="t"))
    assert "".join(pages).replace(" ", "").count("x") >= 300


def test_a_new_page_starts_where_it_is_asked_for() -> None:
    pages = pages_of(pdf_of([Words("one"), NewPage(), Words("two")], title="t"))
    assert ["one" in pages[0], "two" in pages[1]] == [True, True]


def test_an_unknown_paper_is_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match=r"printed on A4 or Letter; got 'A3'\."):
        pdf_of([Words("x")], title="t", paper="A3")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "name",
    [
        "Žaneta Łęcka, Őrsi Gűz",  # Latin-2
        "Иванова Галина",
        "Νικόλαος Ωμέγα",
        "Ø 22 mm ± 0,1; Δ σ λ ≤ ≥",
        "山田太郎",
        "王小明",
        "김영희",
        "สมชาย ใจดี",
        "Đặng Thị Hồng",
    ],
)
def test_names_in_many_scripts_are_set_as_they_are(name: str) -> None:
    assert missing_letters(name) == ()
    blocks: list[Block] = [Words(f"A. {name} B."), Grid((name, "x"), ((name, name),), (1, 1))]
    words = pages_of(pdf_of(blocks, title="t", edges=PageEdges((name,), (name,))))[0]
    assert words.replace(" ", "").count(name.replace(" ", "")) == 6
    assert "An open box marks" not in words


def places_of(page: Any) -> list[tuple[str, float, float]]:
    """Return each sign of a page with its left and right edge, in the order of the file."""
    text = page.get_textpage()
    boxes = [(text.get_text_range(i, 1), text.get_charbox(i)) for i in range(text.count_chars())]
    return [(sign, box[0], box[2]) for sign, box in boxes if sign.strip()]


@pytest.mark.parametrize("name", ["אביגיל כהן", "עמר", "عمر", "علي", "سلام"])
def test_names_that_run_from_right_to_left_begin_on_the_right(name: str) -> None:
    assert missing_letters(name) == ()
    document = pypdfium2.PdfDocument(pdf_of([Facts((("Inspector", f"{name} 7"),))], title="t"))
    words = unicodedata.normalize("NFKC", document[0].get_textpage().get_text_bounded())
    # a reader turns the two letters of one lam-alef sign round: the letters are looked for
    assert sorted(re.findall("[\u0590-\u06ff]", words)) == sorted(name.replace(" ", ""))
    left_of = {sign: left for sign, left, _ in places_of(document[0]) if sign in name}
    first, *_, last = (sign for sign in name if sign in left_of)
    assert left_of[first] > left_of[last]
    document.close()


def test_arabic_letters_are_joined() -> None:
    # U+200C, the non-joiner, parts them: then each has the wider form that it has alone
    def width_of(word: str) -> float:
        document = pypdfium2.PdfDocument(pdf_of([Words(word)], title="t"))
        placed = [one for one in places_of(document[0]) if one[0] in word]
        document.close()
        return max(right for *_, right in placed) - min(left for _, left, _ in placed)

    assert width_of("علي") < 0.9 * width_of("ع\u200cل\u200cي")


def test_a_long_text_from_right_to_left_keeps_its_first_words_on_its_first_line() -> None:
    first, last = "\u05d0\u05d1\u05d2", "\u05ea\u05e9\u05e8"
    text = " ".join([first, *["\u05d3\u05d4"] * 60, last])
    document = pypdfium2.PdfDocument(pdf_of([Words(text)], title="t"))
    page = document[0].get_textpage()

    def height_of(word: str) -> float:
        for shown in (word, word[::-1]):
            found = page.search(shown).get_next()
            if found is not None:
                return float(page.get_charbox(found[0])[1])
        raise AssertionError(f"{word} is not on the page")

    assert height_of(first) > height_of(last)
    document.close()


# Devanagari changes the order of its letters, a picture sign is no letter, the last is too rare
@pytest.mark.parametrize("name", ["हरीश", "🙂", "\U00020bb7"])
def test_a_sign_that_the_fonts_lack_is_a_box_and_the_word_is_spelled_out(name: str) -> None:
    blocks: list[Block] = [Facts((("Inspector", f"A. {name} B."),)), Words("next")]
    words = pages_of(pdf_of(blocks, title=f"t {name}"))[0]
    assert "marks a letter or symbol that the typefaces of this PDF lack" in words
    assert " ".join(f"U+{ord(sign):04X}" for sign in name) in words
    assert name in html_of(blocks, title="t")


def test_control_characters_and_combined_letters_do_no_harm() -> None:
    # "e" with a combining acute is one letter for a reader; U+202E would turn the line around
    assert clean("Rene\u0301 \u202e\x00\x07x") == "René   x"
    assert missing_letters("Rene\u0301 \u202e\x00\x07x") == ()
    assert pages_of(pdf_of([Words("a\x00b\x0bc\ufffe")], title="t"))


@pytest.mark.fault(
    "markup in a name in the PDF",
    "the text as it was typed",
)
def test_markup_in_a_name_is_text(tmp_path: Path) -> None:
    hostile = '<b>&"x</b><script>alert(1)</script>'
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record, inspector=hostile)
        case = case_of_record(record, read_of(record, identity), name="record.db", made_at=MADE)
    assert hostile in "".join(pages_of(pdf_report(case)))
    said = html_report(case)
    assert "<script" not in said.lower()
    assert "&lt;script&gt;alert(1)" in said


# what typst would do with each if it were markup: run code, read a file, set a rule, comment
@pytest.mark.parametrize(
    "hostile",
    [
        '#panic("x")',
        '#read("content.json")',
        '"); #panic("x")',
        "$x^2$ *b* _i_ `raw` @label <label> = heading",
        "// a comment /* and */ \\u{41} \\# ~ -- --- ... 'single' \"double\"",
        "#set page(width: 1pt)",
        "[]{}()#let x = 1; #x",
    ],
)
def test_typst_markup_in_a_name_is_text(hostile: str) -> None:
    blocks: list[Block] = [
        front_of(hostile),
        NewPage(),
        Heading(hostile),
        Words(hostile),
        Facts(((hostile, hostile),)),
        Grid((hostile,), ((hostile,),), (1,), strong=frozenset({0})),
    ]
    edges = PageEdges((hostile,), (hostile,), hostile)
    pages = pages_of(pdf_of(blocks, title=hostile, edges=edges))
    assert len(pages) == 2
    wanted = re.sub(r"\s+", "", hostile)
    # in the blocks, and at the head, in the caution and at the foot of each page
    assert [re.sub(r"\s+", "", page).count(wanted) for page in pages] == [19 + 3, 6 + 3]


def test_the_same_report_is_the_same_file_byte_by_byte(case: ReportCase, pdf: bytes) -> None:
    assert pdf_report(case) == pdf
    assert pdf_report(replace(case, made_at=MADE.replace(year=2027))) != pdf


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from Linux")
def test_reports_leave_no_memory_behind(case: ReportCase, pdf: bytes) -> None:
    def taken_mb() -> float:
        told = Path("/proc/self/status").read_text(encoding="ascii")
        return int(told.partition("VmRSS:")[2].split()[0]) / 1024

    assert pdf  # what is loaded once stays
    before = taken_mb()
    for number in range(2):
        pdf_report(replace(case, number=str(number)))
    # typeset in this process, each left 43 MB behind, or 75 MB with photographs of a phone's size
    assert taken_mb() - before < 40


def test_a_rope_in_inches_shows_inches_and_its_grooves() -> None:
    case = hard_case("settled")
    words = " ".join(pages_of(hard_pdf("settled", "A4")))
    assert "1.5748 in" in words  # 40 mm; 1 in = 25.4 mm exactly
    assert "Station mean (in)" in words
    first = case.assessment.photograph_sections[0]
    assert f" {first.mean_mm / 25.4:.4f} " in words
    assert "from 1.5354 in to 1.6339 in" in words  # 39 and 41.5 mm


def test_the_raw_data_start_on_a_page_of_their_own(pdf: bytes) -> None:
    pages = pages_of(pdf)
    at = [i for i, words in enumerate(pages) if "Annex: raw data" in words]
    assert len(at) == 1
    assert pages[at[0]].index("Annex") < 80
    assert all(one != two for one, two in pairwise(pages))


def test_a_report_that_takes_too_long_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ui.report.writers.pdf.LONGEST_S", 0.001)
    with pytest.raises(ValueError, match=r"takes more than the 0\.001 s allowed"):
        pdf_of([Words("a")], title="a")
