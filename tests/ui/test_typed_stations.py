"""Stations as they are typed, over a restart of the server and beside what others enter."""

from __future__ import annotations

import os
import zlib
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from inspection.model.rope import Inspection, Station
from inspection.record.record import open_record
from tests.ui.conftest import APP
from tests.ui.test_screens_inspector import SAMPLE, clean, kept, press, screen
from ui.web.panels.station_table import StationRow, rows_of

VISIT = "2026-11-visit"
Edits = dict[int, dict[str, str]]


def sent(base: tuple[StationRow, ...], edits: Edits) -> tuple[str, dict[str, Any]]:
    """What a browser sends of a table that began with `base`: its name and what was typed."""
    key = f"stations {VISIT} {zlib.crc32(repr(base).encode())}"
    return key, {"edited_rows": edits, "added_rows": [], "deleted_rows": []}


def page(base: tuple[StationRow, ...] | None = None, edits: Edits | None = None) -> AppTest:
    """Return a page of its own at the stations; with a table its browser had open before."""
    at = AppTest.from_file(str(APP), default_timeout=120)
    at.session_state["selected inspection"] = VISIT
    at.run()
    if base is not None:
        key, state = sent(base, edits or {})
        at.session_state[key] = state
    return screen(at, "stations")


def type_into(at: AppTest, base: tuple[StationRow, ...], edits: Edits) -> AppTest:
    key, state = sent(base, edits)
    at.session_state[key] = state
    return clean(at.run())


def shown(at: AppTest) -> dict[int, str]:
    """The places that stand in the page's table, by station."""
    sheet = at.session_state[f"stations page {VISIT} Reviewer B"]
    return {row[0]: row[1] for row in sheet.rows if row[1]}


def places() -> dict[int, float]:
    return {one.number: one.position_m for one in kept(VISIT).inspection.stations}


def read_at(*stations: int) -> None:
    """Let somebody else enter a reading at stations that are not in the table yet."""
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        reading = record.inspection(SAMPLE).readings[0]
        record.add_readings(
            VISIT, [replace(reading, station=one) for one in stations], by="Inspector A"
        )


@pytest.fixture
def begun(sample_app: AppTest) -> tuple[StationRow, ...]:
    """The rows of an inspection whose stations 1 and 3 have readings and no place yet."""
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        rope = record.inspection(SAMPLE).rope.identity
        record.add_inspection(Inspection(VISIT, rope, date(2026, 11, 2)), by="Inspector A")
    read_at(1, 3)
    rows = rows_of(kept(VISIT))
    assert [row[0] for row in rows] == [1, 3]
    return rows


@pytest.mark.fault(
    "a restart while stations are typed, and a row that came before them meanwhile",
    "each place stands at its own station",
)
def test_a_place_stays_at_its_station_though_another_row_came_before_it(
    begun: tuple[StationRow, ...],
) -> None:
    type_into(page(), begun, {1: {"position_m": "7,5"}})
    read_at(2)
    again = page(begun, {1: {"position_m": "7,6"}})  # its browser outlived the server
    assert shown(again) == {3: "7,6"}
    clean(press(again, "Save stations"))
    assert places() == {3: 7.6}


@pytest.mark.parametrize("meanwhile", [(), (2,)], ids=["as it was", "another row"])
def test_a_closed_browser_finds_its_stations_again(
    begun: tuple[StationRow, ...], meanwhile: tuple[int, ...]
) -> None:
    type_into(page(), begun, {1: {"position_m": "7,5"}})
    if meanwhile:
        read_at(*meanwhile)
    again = page()
    assert any("What you had typed here was restored" in one.value for one in again.info)
    assert shown(again) == {3: "7,5"}
    clean(press(again, "Save stations"))
    assert places() == {3: 7.5}
    assert not any("What you had typed here was restored" in one.value for one in again.info)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.draft(VISIT, by="Reviewer B", kind="stations") is None


@pytest.mark.fault(
    "a colleague who keeps stations while others are typed here",
    "theirs stand beside what is typed here",
)
def test_what_a_colleague_kept_stands_beside_what_is_typed_here(
    begun: tuple[StationRow, ...],
) -> None:
    at = page()
    type_into(at, begun, {1: {"position_m": "7,5"}})
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(VISIT)
        record.change_inspection(
            replace(there.inspection, stations=(Station(1, 2.0, "drum"),)),
            by="Inspector A",
            why="stations entered",
            revision=there.revision,
        )
    clean(at.run())
    assert shown(at) == {1: "2.0", 3: "7,5"}
    clean(press(at, "Save stations"))
    assert places() == {1: 2.0, 3: 7.5}


def test_two_pages_of_one_person_keep_what_was_typed_on_each(begun: tuple[StationRow, ...]) -> None:
    one, other = page(), page()
    type_into(one, begun, {0: {"position_m": "2"}})
    type_into(other, begun, {1: {"position_m": "7,5"}})
    own = other.session_state[f"stations page {VISIT} Reviewer B"].base
    assert own != begun  # two pages never share the rows that their browsers' changes are about
    one, other = (
        page(begun, {0: {"position_m": "2"}}),
        page(own, {1: {"position_m": "7,6"}}),
    )  # a restart
    assert (shown(one), shown(other)) == ({1: "2"}, {3: "7,6"})
    clean(press(one, "Save stations"))
    clean(other.run())
    clean(press(other, "Save stations"))
    assert places() == {1: 2.0, 3: 7.6}
    assert shown(page()) == {1: "2.0", 3: "7.6"}


@pytest.mark.parametrize("away", ["a look elsewhere", "a closed browser"])
def test_what_is_corrected_later_does_not_come_back(
    begun: tuple[StationRow, ...], away: str
) -> None:
    at = page()
    type_into(at, begun, {1: {"position_m": "7,5"}})
    at = page() if away == "a closed browser" else screen(screen(at, "result"), "stations")
    base = at.session_state[f"stations page {VISIT} Reviewer B"].base
    type_into(at, base, {1: {"position_m": "7,6"}})
    clean(press(at, "Save stations"))
    assert places() == {3: 7.6}
    assert shown(page()) == {3: "7.6"}


def test_with_two_browsers_closed_the_next_page_has_the_stations_of_both(
    begun: tuple[StationRow, ...],
) -> None:
    one, other = page(), page()
    type_into(one, begun, {0: {"position_m": "2"}})
    type_into(other, begun, {1: {"position_m": "7,5"}})
    later = page()
    assert shown(later) == {1: "2", 3: "7,5"}
    clean(press(later, "Save stations"))
    assert places() == {1: 2.0, 3: 7.5}
