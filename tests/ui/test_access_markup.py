"""Names, remarks and places full of code: shown as they were typed, on every screen."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import open_record
from ui.services.access.roles import SCREENS
from ui.text import as_typed
from vision.results import Finding

NASTY = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "![pixel](https://evil.example/p.png)",
    "[press](javascript:alert(1))",
    ":red[**loud**] $x^2$ `code`",
    '=HYPERLINK("https://evil.example")',
)
# text that would be read as markup: a tag, an image or link, a formula, a colour
MARKUP = (
    re.compile(r"(?<!\\)<(script|img)"),
    re.compile(r"(?<!\\)\[(pixel|press)\]\("),
    re.compile(r"(?<!\\)\$x"),
    re.compile(r"(?<!\\):red"),
)


def nasty_record(place: Path) -> None:
    """Make a record in which every text that somebody can type is markup."""
    script, image, pixel, link, loud, formula = NASTY
    with open_record(place) as record:
        record.add_rope(Rope(script, 22.0, site=image), by=link)
        record.add_gauge(Gauge(image, "wide-jaw caliper", 0.01, 0.03), by=link)
        there = Inspection(
            pixel,
            script,
            date(2026, 11, 2),
            loud,
            link,
            image,
            stations=(Station(1, 1.0, formula), Station(2, 2.0, script)),
        )
        record.add_inspection(there, by=link)
        readings = [
            Reading(typed, value, station, 0, image, link)
            for station, typed, value in ((1, "22.1", 22.1), (2, "22.2", 22.2))
        ]
        record.add_readings(pixel, readings, by=link)
        found = Finding(
            "digits-swapped",
            f"{script} seen {loud}",
            f"{pixel} to do",
            "look",
            where=("station 1, 0 deg", formula),
            innocent=image,
        )
        second = Finding("repeated", f"{link} again {loud}", image, "look", where=(formula,))
        record.set_findings(pixel, [found, second], rank=3.0, by=script)
        key = record.inspection(pixel).findings[0].key
        record.settle_finding(pixel, key, how=link, by=image)
        record.review(pixel, "sent back", by=script, why=f"{pixel} {formula}")


@pytest.mark.fault(
    "markup in any field of the pages",
    "the text as it was typed",
)
@pytest.mark.parametrize("screen", SCREENS)
def test_what_people_type_is_shown_as_they_typed_it(
    app: AppTest, tmp_path: Path, screen: str
) -> None:
    nasty_record(tmp_path / "record.db")
    at = app.run(timeout=120).switch_page(f"screens/{screen}.py").run(timeout=120)
    assert not at.exception
    kinds = ("markdown", "caption", "info", "warning", "error", "success", "title", "header")
    told = [(kind, str(one.value)) for kind in kinds for one in getattr(at, kind)]
    labelled = ("button", "radio", "toggle", "selectbox", "metric", "text_input", "expander")
    told += [
        ("label", one.label) for kind in labelled for one in at.get(kind) if hasattr(one, "label")
    ]
    for kind, text in told:
        for markup in MARKUP:
            assert not markup.search(text), f"{kind} of {screen}: {text}"
    for one in at.get("html"):
        body = str(one.proto.body)
        assert "<script" not in body
        assert "<img" not in body
    shown = "\n".join(text for _, text in told) + "".join(
        str(one.proto.body) for one in at.get("html")
    )
    shown = shown.replace("\\", "")
    if screen == "start":  # its list is plain text in a component, escaped by nobody
        shown += " ".join(json.loads(at.get_by_key("register rows").proto.json)["rows"][0][1])
    if screen not in ("cards", "limits", "record"):  # no text of a person stands there
        assert any(text in shown for text in NASTY), f"{screen} shows none of it: no test"


@pytest.mark.parametrize(
    "name",
    ["https://evil.example", "HTTP://evil.example", "www.evil.example", "Www.evil.example/x",
     "a@evil.example", "mailto:a@evil.example", "see www.evil.example now"],
)  # fmt: skip
def test_an_address_in_a_name_is_no_link(name: str) -> None:
    # GitHub Flavored Markdown 0.29, 6.9: what a page makes links of, escaped or not
    shown = as_typed(name).replace("\\", "")
    assert not re.search(r"https?://|www\.|[-.\w+]@[-\w]+\.", shown, re.IGNORECASE)
    assert shown.replace("\u2060", "") == name


@pytest.mark.parametrize("sign", "\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u200e\u200f\u061c")
def test_direction_overrides_in_a_name_are_shown_and_not_applied(sign: str) -> None:
    assert as_typed(f"A{sign}greB") == f"A(U+{ord(sign):04X})greB"
