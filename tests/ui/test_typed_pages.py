"""One person's readings on several pages, over a restart of the server and looks elsewhere."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from inspection.model.rope import Station
from inspection.record.errors import StaleError
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.ui.conftest import APP
from tests.ui.test_screens_inspector import SAMPLE, clean, field, kept, press, screen
from ui.presenters.reading_form import ReadingSheet, TypedRow, empty_rows, parse_drafts
from ui.web.panels import reading_table

Edits = dict[int, str]


def sent(sheet: ReadingSheet, edits: Edits) -> tuple[str, dict[str, Any]]:
    """What a browser sends of a table that began as `sheet`: its name and what was typed since."""
    rows = {row: {"typed": text} for row, text in edits.items()}
    key = f"readings table {SAMPLE} Reviewer B {sheet.name}"
    return key, {"edited_rows": rows, "added_rows": [], "deleted_rows": []}


def page(sheet: ReadingSheet | None = None, edits: Edits | None = None) -> AppTest:
    """Return a page of its own at the readings; with a table its browser had open before."""
    at = AppTest.from_file(str(APP), default_timeout=120).run()
    if sheet is not None:
        key, state = sent(sheet, edits or {})
        at.session_state[key] = state
    return screen(at, "readings")


def type_into(at: AppTest, sheet: ReadingSheet, edits: Edits) -> AppTest:
    key, state = sent(sheet, edits)
    at.session_state[key] = state
    return clean(at.run())


def shown(at: AppTest) -> list[str]:
    """The readings that stand in the page's table."""
    table = at.session_state[f"readings page {SAMPLE} Reviewer B"]
    return [row.typed for row in table.rows if row.typed]


def drafts() -> list[list[str]]:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        found = record.draft(SAMPLE, by="Reviewer B")
    return [
        [row.typed for row in one.rows if row.typed]
        for one in (parse_drafts(found.data) if found else ())
    ]


@pytest.fixture
def begun(sample_app: AppTest) -> ReadingSheet:
    """The rows with which every page begins while nothing was typed."""
    return ReadingSheet(empty_rows(kept()), 0)


def test_two_pages_of_one_person_keep_both_drafts_and_enter_their_own(begun: ReadingSheet) -> None:
    one, other = page(), page()
    type_into(one, begun, {0: "22,41"})
    type_into(other, begun, {1: "22,39"})
    type_into(one, begun, {0: "22,42"})
    assert sorted(drafts()) == [["22,39"], ["22,42"]]
    before = len(kept().readings)
    clean(press(one, "Enter 1 reading into the record"))
    assert drafts() == [["22,39"]]
    clean(press(other.run(), "Enter 1 reading into the record"))
    assert [reading.typed for reading in kept().readings[before:]] == ["22,42", "22,39"]
    assert drafts() == []


@pytest.mark.fault(
    "the server of the pages restarts under two pages of one person",
    "each page has what was typed on it; with both closed, the next one has all",
)
def test_a_restart_under_two_pages_loses_nothing_of_either(begun: ReadingSheet) -> None:
    one, other = page(), page()
    type_into(one, begun, {0: "22,41"})
    type_into(other, begun, {1: "22,39"})
    own = other.session_state[f"readings page {SAMPLE} Reviewer B"].sheet
    assert own.name != begun.name
    # the new server knows neither; each browser sends what it had typed since its table was drawn
    other = page(own, {0: "22,38"})
    one = page(begun, {0: "22,41", 1: "22,37"})
    assert shown(one) == ["22,41", "22,37"]
    assert shown(other) == ["22,38", "22,39"]
    assert sorted(drafts()) == [["22,38", "22,39"], ["22,41", "22,37"]]


def test_with_both_browsers_closed_the_next_page_begins_with_all(begun: ReadingSheet) -> None:
    one, other = page(), page()
    type_into(one, begun, {0: "22,41"})
    type_into(other, begun, {1: "22,39"})
    later = page()
    assert any("nothing that you typed until then was lost" in told.value for told in later.info)
    assert sorted(shown(later)) == ["22,39", "22,41"]
    clean(press(later, "Enter 2 readings into the record"))
    assert drafts() == []


@pytest.mark.fault(
    "the pages' server restarts, and the rows have changed since the page was opened",
    "the page has the rows it was opened with, and what was typed",
)
def test_rows_that_changed_between_opening_and_restart_lose_nothing(begun: ReadingSheet) -> None:
    one = page()
    type_into(one, begun, {0: "22,41"})
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        more = (Station(0 + 9, 1.5, "new"), *there.inspection.stations)
        record.change_inspection(
            replace(there.inspection, stations=more),
            by="Inspector A",
            why="one more",
            revision=there.revision,
        )
        record.add_readings(
            SAMPLE, [replace(there.readings[0], person="Reviewer B")], by="Reviewer B"
        )
    assert ReadingSheet(empty_rows(kept()), 1).name != begun.name
    again = page(begun, {0: "22,41", 1: "22,39"})
    assert shown(again) == ["22,41", "22,39"]
    assert drafts() == [["22,41", "22,39"]]
    assert shown(type_into(again, begun, {0: "22,41"})) == ["22,41"]


@pytest.mark.fault(
    "readings that come too late because somebody else was faster",
    "`Inspection ... was changed after you opened it: ...`; they stay typed, and are "
    "entered by the same button",
)
def test_readings_that_come_too_late_stay_typed_and_are_kept_once(
    begun: ReadingSheet, monkeypatch: pytest.MonkeyPatch
) -> None:
    def late(there: OpenInspection, *more: Any) -> None:
        with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
            record.add_readings(SAMPLE, [there.readings[0]], by="Inspector A")
        really(there, *more)

    really = reading_table.enter_readings
    at = page()
    type_into(at, begun, {0: "22,41"})
    with monkeypatch.context() as patched:
        patched.setattr(reading_table, "enter_readings", late)
        press(at, "Enter 1 reading into the record")
    (told,) = [one.value for one in at.error]
    assert "was changed after you opened it" in told
    assert drafts() == [["22,41"]]
    clean(press(at, "Enter 1 reading into the record"))
    assert kept().readings[-1].typed == "22,41"
    assert not [one.value for one in page().warning if "came too late" in one.value]


def test_a_change_that_came_too_late_is_told_until_it_was_seen_to(begun: ReadingSheet) -> None:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        late = replace(there.readings[0], station=1, view_deg=0, typed="22,47", value_mm=22.47)
        record.add_readings(SAMPLE, [late], by="Inspector A")
        with pytest.raises(StaleError):
            record.add_readings(SAMPLE, [late], by="Reviewer B", revision=there.revision)
    at = page()
    (told,) = [one.value.replace("\\", "") for one in at.warning if "too late" in one.value]
    assert "station 1, 0 deg: 22,47" in told
    clean(press(at, "Forget this change"))
    assert not [told.value for told in at.warning if "came too late" in told.value]
    assert not [told.value for told in page().warning if "came too late" in told.value]


def test_a_look_at_another_screen_costs_nothing_that_was_typed(
    begun: ReadingSheet, tmp_path: Path
) -> None:
    at = page()
    type_into(at, begun, {0: "22,41"})
    screen(at, "result")
    screen(at, "readings")
    assert shown(at) == ["22,41"]
    assert drafts() == [["22,41"]]
    assert not field(at, "button", "Enter 1 reading into the record").disabled
    assert (
        TypedRow("5", "0", "22,41") in at.session_state[f"readings page {SAMPLE} Reviewer B"].rows
    )


def test_what_is_corrected_after_a_look_elsewhere_leaves_no_old_draft(begun: ReadingSheet) -> None:
    at = page()
    type_into(at, begun, {0: "22,41"})
    screen(at, "result")
    screen(at, "readings")
    now = at.session_state[f"readings page {SAMPLE} Reviewer B"].sheet
    type_into(at, now, {0: "22,42"})
    assert drafts() == [["22,42"]]
    clean(press(at, "Enter 1 reading into the record"))
    assert (drafts(), shown(at)) == ([], [])
