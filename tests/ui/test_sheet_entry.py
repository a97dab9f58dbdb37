"""Readings typed into the sheet: entered once, queried, corrected, and never lost."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import Record, open_record
from inspection.record.views import AskedAgain
from ui.presenters.sheet.entry import (
    SheetDraft,
    TypedField,
    Witness,
    distance_m,
    enter_waiting,
    read_again,
    read_draft,
    state_of,
    take_typed,
)

VISIT, BY = "visit", Witness("A. Berg", "C-1")


@pytest.fixture
def record(tmp_path: Path, empty_record: Path) -> Iterator[Record]:
    """Yield a record with one rope, one gauge, and an inspection with one planned station."""
    shutil.copy(empty_record, tmp_path / "record.db")
    with open_record(tmp_path / "record.db") as made:
        made.add_rope(Rope("rope", 22.0), by="A. Berg")
        made.add_gauge(Gauge("C-1", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
        stations = (Station(1, 6.0),)
        made.add_inspection(
            Inspection(VISIT, "rope", date(2026, 11, 2), stations=stations), by="A. Berg"
        )
        yield made


def take(record: Record, *fields: TypedField, who: Witness = BY, page: str = "page") -> int:
    return take_typed(record, VISIT, page, fields, who)


def typed(record: Record) -> list[tuple[int, int, str]]:
    return [(one.station, one.view_deg, one.typed) for one in record.inspection(VISIT).readings]


def draft(record: Record, by: str = "A. Berg") -> SheetDraft:
    return read_draft(record, record.inspection(VISIT), by)


def test_a_reading_is_entered_as_it_was_typed_and_only_once(record: Record) -> None:
    field = TypedField("1/0", 7, "22,41")
    assert take(record, field) == 1
    # a browser whose server has restarted sends everything typed again
    assert take(record, field) == 0
    assert typed(record) == [(1, 0, "22,41")]
    reading = record.inspection(VISIT).readings[0]
    assert (reading.value_mm, reading.gauge, reading.person) == (22.41, "C-1", "A. Berg")


def test_another_page_that_says_the_same_enters_nothing_twice(record: Record) -> None:
    take(record, TypedField("1/0", 7, "22,41"), page="one")
    take(record, TypedField("1/0", 3, "22,41"), page="other")
    assert typed(record) == [(1, 0, "22,41")]
    assert not draft(record).texts


@pytest.mark.parametrize(("text", "asks"), [("2.24", "sure"), ("22..4", "wrong"), ("?", "wrong")])
def test_what_is_odd_or_not_understood_stays_typed(record: Record, text: str, asks: str) -> None:
    field = TypedField("1/90", 1, text)
    assert take(record, field) == 0
    assert draft(record).texts == {"1/90": text}
    state = state_of(record.inspection(VISIT), field, BY)
    assert state.asks == asks
    assert "station" not in state.words  # it stands at its own field
    assert typed(record) == []


def test_an_odd_figure_is_entered_once_somebody_is_sure(record: Record) -> None:
    take(record, TypedField("1/0", 1, "26,41"))
    assert take(record, TypedField("1/0", 2, "26,41", sure=True)) == 1
    assert typed(record) == [(1, 0, "26,41")]
    assert not draft(record).texts


def test_without_a_gauge_figures_wait_for_one(record: Record) -> None:
    nobody = replace(BY, gauge="")
    assert take(record, TypedField("1/0", 1, "22.4"), TypedField("1/90", 2, "2.2"), who=nobody) == 0
    assert draft(record).texts == {"1/0": "22.4", "1/90": "2.2"}
    assert enter_waiting(record, VISIT, BY) == 1  # the unusual one still waits for confirmation
    assert typed(record) == [(1, 0, "22.4")]
    assert draft(record).texts == {"1/90": "2.2"}


def test_a_reading_is_corrected_or_withdrawn_with_a_reason_only(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.11"))
    assert take(record, TypedField("1/0", 2, "21.21")) == 0
    assert typed(record) == [(1, 0, "22.11")]
    assert draft(record).texts == {"1/0": "21.21"}
    assert take(record, TypedField("1/0", 3, "21.21", why="typed wrong")) == 1
    assert typed(record) == [(1, 0, "21.21")]
    (event,) = [one for one in record.events(subject=VISIT) if one.kind == "reading corrected"]
    assert event.why == "typed wrong"
    assert take(record, TypedField("1/0", 4, "")) == 0
    assert take(record, TypedField("1/0", 5, "", why="wrong station")) == 1
    assert typed(record) == []


def test_leaving_it_as_it_stands_forgets_the_correction(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.11"))
    take(record, TypedField("1/0", 2, "21.21"))
    assert take(record, TypedField("1/0", 3, "22.11")) == 0
    assert not draft(record).texts


def test_a_second_witness_reads_beside_the_first(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.4"))
    other = Witness("B. Lind", "C-1", second=True)
    assert take(record, TypedField("1/0", 1, "22.3"), who=other) == 1
    assert typed(record) == [(1, 0, "22.4"), (1, 0, "22.3")]
    assert take(record, TypedField("1/0", 2, "22.2"), who=other) == 0  # now it needs a reason
    assert [one.person for one in record.inspection(VISIT).readings] == ["A. Berg", "B. Lind"]


def test_a_reading_that_a_reviewer_asks_for_again_needs_no_other_reason(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.11"))
    record.review(VISIT, "sent back", by="B. Lind", why="two digits swapped?", station=1)
    later = replace(BY, gauge="")  # the gauge is that of the first reading
    assert take(record, TypedField("1/0", 2, "21.21"), who=later) == 1
    assert typed(record) == [(1, 0, "21.21")]
    (event,) = [one for one in record.events(subject=VISIT) if one.kind == "reading corrected"]
    assert event.why == "read again, as B. Lind asked: two digits swapped?"
    assert not record.inspection(VISIT).station_reviews[-1].stands  # it is back with the reviewer


def test_reading_the_same_again_brings_a_station_back_too(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.11"))
    record.review(VISIT, "sent back", by="B. Lind", why="sure?", station=1)
    assert take(record, TypedField("1/0", 2, "22.11")) == 1
    assert not record.inspection(VISIT).station_reviews[-1].stands


def test_stations_are_planned_moved_and_taken_out(record: Record) -> None:
    take(record, TypedField("at/2", 1, "31,5"), TypedField("what/2", 2, "head sheave"))
    take(record, TypedField("at/1", 3, "7.5 m"))
    stations = record.inspection(VISIT).inspection.stations
    assert stations == (Station(1, 7.5), Station(2, 31.5, "head sheave"))
    take(record, TypedField("at/1", 4, ""))
    assert [one.number for one in record.inspection(VISIT).inspection.stations] == [2]


def test_a_place_that_is_not_a_number_stays_typed(record: Record) -> None:
    take(record, TypedField("at/1", 1, "far"), TypedField("what/3", 2, "sheave"))
    assert draft(record).texts == {"at/1": "far", "what/3": "sheave"}
    with pytest.raises(ValueError, match="not a distance in metres"):
        distance_m("far", "mm")


def test_one_more_station_and_direction_stay_on_the_sheet(record: Record) -> None:
    take(record, TypedField("row/7", 1, "x"), TypedField("way/45", 2, "x"))
    assert (draft(record).rows, draft(record).ways) == ((7,), (45,))


def test_two_people_type_into_drafts_of_their_own(record: Record) -> None:
    take(record, TypedField("1/0", 1, "2.2"))
    assert draft(record, "B. Lind").texts == {}


def test_lines_that_an_earlier_release_kept_stand_in_their_fields(record: Record) -> None:
    kept = {"gauge": "C-1", "rows": [["1", "0", "22,41"], ["", "", ""]],
            "others": [{"rows": [["1", "90", "22,39"]]}]}  # fmt: skip
    record.save_draft(VISIT, kept, by="A. Berg")
    assert draft(record).texts == {"1/0": "22,41", "1/90": "22,39"}
    take(record, TypedField("2/0", 1, "22.1"))
    assert draft(record).texts == {"1/0": "22,41", "1/90": "22,39"}
    assert record.draft(VISIT, by="A. Berg") is None


def test_readings_of_several_fields_are_one_event(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.4"), TypedField("1/90", 2, "22.3"))
    added = [one for one in record.events(subject=VISIT) if one.kind == "readings added"]
    assert len(added) == 1


def test_somebody_elses_reading_of_the_same_place_is_not_written_over(record: Record) -> None:
    reading = Reading("22.4", 22.4, 1, 0, "C-1", "B. Lind", datetime(2026, 11, 2, 9, 0))
    record.add_readings(VISIT, [reading], by="B. Lind")
    assert take(record, TypedField("1/0", 1, "22.3")) == 0
    assert typed(record) == [(1, 0, "22.4")]
    assert draft(record).texts == {"1/0": "22.3"}  # asked what to do with it


def test_the_record_says_whether_a_reading_was_typed_blind(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.4", seen=False), TypedField("1/90", 2, "22.3", seen=True))
    take(record, TypedField("2/0", 3, "22.3"))
    assert [one.blind for one in record.inspection(VISIT).readings] == [True, False, None]
    # who has read the place before has seen the figure: taken back and typed again is not blind
    take(record, TypedField("1/0", 4, "", why="wrong station"))
    take(record, TypedField("1/0", 5, "22.5", seen=False))
    assert record.inspection(VISIT).readings[-1].blind is False
    assert record.verify().sound


def test_only_what_a_reviewer_asks_for_is_read_again(record: Record) -> None:
    take(record, TypedField("1/0", 1, "22.11"), TypedField("1/90", 2, "22.12"))
    asked = AskedAgain(1, "reading", 90)
    record.review(VISIT, "sent back", by="B. Lind", why="digits?", station=asked)
    opened = record.inspection(VISIT)
    assert read_again(opened, 1, 0) is None
    assert read_again(opened, 1, 90) is not None
