"""The HTML report: one file that loads nothing, with the same figures drawn."""

from __future__ import annotations

import re
from base64 import b64decode
from html.parser import HTMLParser

import pytest
from PIL import Image

from tests.ui.report_cases import folder_case, front_of
from ui.report.blocks import Block, Facts, Grid, Heading, Pictures, Words
from ui.report.case import ReportCase
from ui.report.pages.content import blocks_of
from ui.report.report import html_report
from ui.report.writers.html import html_of
from ui.text import as_minus

HOSTILE = '"><img src=x onerror=alert(1)>&<b>'
VOID = {"meta", "img", "br", "col"}


class Tags(HTMLParser):
    """Collects tags with their attributes, and sees that they are closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def tags_of(text: str) -> Tags:
    tags = Tags()
    tags.feed(text)
    assert tags.open == []
    return tags


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> ReportCase:
    return folder_case(tmp_path_factory.mktemp("folder"))


def test_the_file_asks_for_nothing_outside_itself_and_runs_nothing(case: ReportCase) -> None:
    said = html_report(case)
    tags = tags_of(said)
    names = {tag for tag, _ in tags.seen}
    assert not names & {"script", "link", "iframe", "object", "form", "a"}
    for _, attributes in tags.seen:
        assert not [name for name in attributes if name.startswith("on")]
        source = attributes.get("src")
        assert source is None or source.startswith("data:image/")
    assert "url(" not in said
    assert "default-src 'none'" in said


@pytest.mark.fault(
    "markup in a text of the report",
    "the text as it was typed",
)
def test_every_text_is_escaped_wherever_it_stands() -> None:
    blocks: list[Block] = [
        Heading(HOSTILE),
        Words(HOSTILE),
        Facts(((HOSTILE, HOSTILE),)),
        Grid((HOSTILE,), ((HOSTILE,),), (1,), strong=frozenset({0})),
        front_of(HOSTILE),
    ]
    said = html_of(blocks, title=HOSTILE)
    assert HOSTILE not in said
    assert not [tag for tag, _ in tags_of(said).seen if tag in ("img", "b")]


def test_a_direction_override_in_a_name_reverses_nothing_that_is_signed() -> None:
    said = html_of([Facts((("Reviewer", "A\u202egreB, 2026-12-01"),))], title="A\u202e")
    assert "AgreB, 2026-12-01" in said
    assert "\u202e" not in said


def test_printed_pages_say_rope_inspection_caution_and_page_number(case: ReportCase) -> None:
    edges = html_report(case).partition("@page")[2].partition("</style>")[0]
    assert 'content:"hoist rope 1\\2c  inspection 2026\\2d 11"' in edges
    assert 'content:"A photograph never clears a rope\\3a  the competent person' in edges
    assert '"Page " counter(page) " of " counter(pages)' in edges


def test_a_title_can_not_end_the_style_sheet_that_prints_it() -> None:
    said = html_of([], title='"}</style><b>\\22 ', caution=HOSTILE)
    assert said.count("</style>") == 1
    tags_of(said)
    edges = said.partition("@page")[2].partition("</style>")[0]
    strings = re.findall(r'content:"([^"]*)"', edges)
    assert len(strings) == 3  # head, caution and "Page ": no quotation mark has ended one early
    assert all(re.fullmatch(r"(?:[\w ]|\\[0-9a-f]+ )*", one) for one in strings)


def test_pictures_and_figures_are_inside_with_words_for_those_who_do_not_see_them(
    case: ReportCase,
) -> None:
    images = [attributes for tag, attributes in tags_of(html_report(case)).seen if tag == "img"]
    assert all(one.get("alt") for one in images)
    kinds = [str(one["src"]).split(";")[0] for one in images]
    assert len(case.pictures) == 9
    assert kinds.count("data:image/jpeg") == len(case.pictures) + len(case.close_ups) == 11
    assert kinds.count("data:image/svg+xml") == 4 + 3  # stations seen along the rope, figures


def test_figures_are_drawn_from_the_assessment(case: ReportCase) -> None:
    drawn = [
        b64decode(one).decode("utf-8")
        for one in re.findall(r"data:image/svg\+xml;base64,([^\"]+)", html_report(case))
    ]
    together = " ".join(drawn)
    first = case.assessment.photograph_sections[0]
    assert f"mean {first.mean_mm:.2f} mm" in together
    agreement = case.assessment.agreement
    assert agreement is not None
    assert as_minus(f"mean {agreement.bias_mm:+.2f} mm") in together
    assert "ISO 4309:2017, uniform decrease: at least" in together
    assert "Mean diameter (mm)" in together


def test_pictures_are_cut_to_the_rope_and_a_refused_one_is_shown_whole(case: ReportCase) -> None:
    shown = next(one for one in blocks_of(case) if isinstance(one, Pictures)).shown
    first, last = shown[0], shown[-1]
    assert "no diameter" in last.caption
    assert (last.width_px, last.height_px) == (320, 240)
    assert first.width_px < 320
    assert first.caption.startswith("Station 1, 0 deg: 39.37 mm, U (k = 2) ")
    assert all(one.width_px <= 1000 for one in shown)


def test_the_cut_picture_has_the_marks_where_the_rope_is(case: ReportCase) -> None:
    import io

    import numpy as np

    shown = next(one for one in blocks_of(case) if isinstance(one, Pictures)).shown[0]
    pixels = np.asarray(Image.open(io.BytesIO(shown.jpeg)).convert("RGB")).astype(int)
    yellow = (pixels[..., 0] > 180) & (pixels[..., 1] > 160) & (pixels[..., 2] < 130)
    rows = np.flatnonzero(yellow.any(axis=1))
    # the rope is 40 px wide in these pictures, and the jaws bear on both its sides
    assert 38 <= np.ptp(rows) <= 75
    assert abs(rows.mean() - shown.height_px / 2) < 8
