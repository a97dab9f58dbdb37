"""The sheet of stations on the page: the result first, blind entry, places opened by address."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from inspection.assessment import assess
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.ui.sheet_hands import SAMPLE, open_place, sent
from ui.presenters.sheet.entry import SheetDraft, Witness
from ui.presenters.sheet.station_sheet import sheet_of, why_no_mean
from ui.services.assess_record import log_of
from vision.results import Estimate


def kept() -> OpenInspection:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.inspection(SAMPLE)


def opened(at: AppTest) -> AppTest:
    return clean(at.run().switch_page("screens/sheet.py").run())


def clean(at: AppTest) -> AppTest:
    assert not at.exception
    assert not [one.value for one in at.error]
    return at


def told(at: AppTest, who: str = "Reviewer B") -> dict[str, Any]:
    """Return what the page tells the browser to show."""
    answer: dict[str, Any] = json.loads(at.get_by_key(f"sheet {SAMPLE} {who}").proto.json)
    return answer


def cells(sheet: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {cell["name"]: cell for row in sheet["rows"] for cell in row["cells"]}


def switch(at: AppTest, label: str) -> AppTest:
    next(one for one in at.toggle if one.label == label).set_value(True)
    return clean(at.run())


def test_the_answer_stands_above_figures_that_lie_beside_their_fields(sample_app: AppTest) -> None:
    sheet = told(opened(sample_app))
    there = kept()
    thin = next(
        one for one in there.results
        if isinstance(one, Estimate) and (one.station, one.view_deg) == (3, 90)
    )  # fmt: skip
    assert sheet["headline"]["answer"].startswith("Station 3 is thinnest: 21.3")
    assert "severity medium" in sheet["headline"]["detail"]
    assert sheet["headline"]["disagree"] == "1 disagrees"
    cell = cells(sheet)["3/90"]
    assert (cell["figure"], cell["text"]) == (f"{thin.diameter_mm:.2f}", "22.11")
    assert cell["word"] == "disagrees"
    assert float(cell["apart"]) == pytest.approx(thin.diameter_mm - 22.11, abs=0.011)
    assert [row["station"] for row in sheet["rows"] if row["open"]] == [3, 5]


def test_a_reading_is_entered_as_its_field_is_left_and_shown_as_it_stands(
    sample_app: AppTest,
) -> None:
    at = opened(sample_app)
    sheet = told(clean(sent(at, {"5/0": "22,4", "5/90": "2.24"}).run()))
    assert kept().readings[-1].typed == "22,4"
    assert cells(sheet)["5/0"]["text"] == "22,4"
    asked = cells(sheet)["5/90"]
    assert (asked["text"], asked["state"]["asks"]) == ("2.24", "sure")
    assert asked["state"]["words"] == "2.24 is 2.24 mm, -90 % from nominal. Is that correct?"
    assert set(sheet["done"]["one page"]) == {"5/0", "5/90"}


def test_a_field_that_is_left_by_a_link_is_entered_on_the_way(sample_app: AppTest) -> None:
    at = opened(sample_app)
    clean(sent(at, {"5/0": "22,4"}).switch_page("screens/result.py").run())
    assert kept().readings[-1].typed == "22,4"


def test_a_second_witness_sees_no_figure_before_the_reading_is_typed(sample_app: AppTest) -> None:
    at = switch(opened(sample_app), "Enter independent second readings")
    assert next(one for one in at.toggle if one.label.startswith("Hide")).value  # by itself
    sheet = told(at, "Reviewer B second")
    seen = json.dumps(sheet["rows"]) + json.dumps(sheet["headline"])
    figures = [f"{one.diameter_mm:.2f}" for one in kept().results if isinstance(one, Estimate)]
    assert not [one for one in figures if one in seen]
    assert not [one.typed for one in kept().readings if one.typed in seen]
    assert sheet["headline"]["answer"] == "8 figures are hidden until you enter readings"

    typed = {"3/90": "21.22"}
    sheet = told(clean(sent(at, typed, second=True, seen=False).run()), "Reviewer B second")
    cell = cells(sheet)["3/90"]
    assert cell["figure"]
    assert cell["others"] == ["22.11 by Inspector A"]
    assert cells(sheet)["3/0"]["hidden"]
    mine = kept().readings[-1]
    assert (mine.typed, mine.person, mine.blind) == ("21.22", "Reviewer B", True)


def test_a_hidden_figure_is_not_shown_large_either(sample_app: AppTest, planted_photo: str) -> None:
    at = switch(opened(sample_app), "Enter independent second readings")
    at = clean(open_place(at, 3, 90))
    words = " ".join(str(one.value) for one in (*at.markdown, *at.info, *at.caption))
    assert "hidden until you enter your reading" in words
    assert planted_photo not in words


def test_a_reading_asked_for_again_is_a_ready_field(sample_app: AppTest) -> None:
    at = opened(sample_app)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        record.review(SAMPLE, "sent back", by="Reviewer B", why="digits swapped?", station=3)
    cell = cells(told(clean(at.run())))["3/90"]
    assert (cell["text"], cell["was"]) == ("", "22.11")
    assert cell["again"] == "Reviewer B asks for it again: digits swapped?"
    clean(sent(at, {"3/90": "21.21"}).run())
    assert kept().logged[5].reading.typed == "21.21"


def test_the_address_opens_a_place_and_names_it_large(sample_app: AppTest) -> None:
    at = clean(open_place(sample_app.run(), 3, 90))
    assert "Station 3, 90°" in [one.value for one in at.header]
    assert at.query_params["inspection"] == SAMPLE


def test_a_mean_that_is_not_there_says_why(sample_app: AppTest) -> None:
    opened(sample_app)
    there = kept()
    moved = tuple(
        replace(one, at_mm=10.0) if (one.station, one.view_deg) == (1, 0) else one
        for one in there.results
    )
    apart = replace(there, results=moved, logged=())
    words = "0° was measured at +10 mm on the card and 90° at +0 mm: measure both at the same place"
    assert why_no_mean(apart, 1) == words
    one_way = tuple(one for one in there.results if one.view_deg == 0)
    assert why_no_mean(replace(there, results=one_way, logged=()), 1) == "needs 90°"


def test_a_photograph_is_set_aside_with_a_reason_and_named_as_such(sample_app: AppTest) -> None:
    at = clean(open_place(sample_app.run(), 2, 0))
    before = len(kept().results)
    next(one for one in at.button if one.label == "Set it aside").click()
    assert "needs a reason" in at.run().error[0].value
    why = next(one for one in at.text_input if str(one.key).startswith("why aside"))
    why.set_value("grease on the crowns")
    next(one for one in at.button if one.label == "Set it aside").click()
    clean(at.run())
    there = kept()
    assert len(there.results) == before - 1
    assert len(there.photographs) == 10
    assert "1 photograph set aside" in told(at)["headline"]["open"]


def test_nothing_is_entered_into_an_inspection_that_the_address_does_not_name(
    sample_app: AppTest,
) -> None:
    at = opened(sample_app)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        other = replace(kept().inspection, identity="2026-10-other")
        record.add_inspection(other, by="Inspector A")
    at.query_params["inspection"] = "2026-10-other"
    clean(sent(at, {"5/0": "22,4"}).run())  # sent for the sample, by a page that shows another
    assert not [one for one in kept().readings if one.typed == "22,4"]
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert not record.inspection("2026-10-other").readings


def test_last_time_stands_beside_the_mean(sample_app: AppTest) -> None:
    opened(sample_app)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        before = replace(there.inspection, identity="2026-03-before", on=date(2026, 3, 2))
        record.add_inspection(before, by="Inspector A")
        read = [replace(one, typed="22.00", value_mm=22.0) for one in there.readings[:2]]
        record.add_readings("2026-03-before", read, by="Inspector A")
    at = sample_app
    at.query_params["inspection"] = SAMPLE
    rows = {row["station"]: row for row in told(clean(at.run()))["rows"]}
    # both directions read 22.00 then, hence a mean of 22.00
    assert (rows[1]["last"], rows[1]["last_on"]) == ("22.00", "2026-03-02")
    assert rows[2]["last"] == ""


def test_a_rope_in_inches_is_shown_in_inches(sample_app: AppTest) -> None:
    at = opened(sample_app)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        rope = replace(kept().rope, units="inch")
        record.change_rope(rope, by="Inspector A", why="its certificate is in inches")
    sheet = told(clean(at.run()))
    thin = next(
        one for one in kept().results
        if isinstance(one, Estimate) and (one.station, one.view_deg) == (3, 90)
    )  # fmt: skip
    assert sheet["unit"] == "in"
    assert cells(sheet)["3/90"]["figure"] == f"{thin.diameter_mm / 25.4:.3f}"  # exact: 25.4 mm
    assert "in" in sheet["headline"]["answer"].split()
    clean(sent(at, {"5/0": "0.88"}).run())
    assert kept().readings[-1].value_mm == pytest.approx(22.352)


def test_the_fields_of_a_closed_inspection_take_no_keys(sample_app: AppTest) -> None:
    opened(sample_app)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assessment = assess(log_of(record, SAMPLE))
    there, who = kept(), Witness("Reviewer B", "caliper 7")
    assert not sheet_of(there, assessment, SheetDraft(), who).locked
    assert sheet_of(replace(there, state="closed"), assessment, SheetDraft(), who).locked
