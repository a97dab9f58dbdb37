"""The results of examining are kept beside the record, and deleted as soon as an entry changes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.errors import RecordError
from inspection.record.overview.examinations import (
    ComparedEntry,
    ReadBy,
    is_examined,
    keep_examination,
    not_examined,
)
from inspection.record.overview.rankings import (
    InspectionFilter,
    ReaderTally,
    compared_entries,
    corrected_slips,
    findings_about,
    mark,
    ranked_findings,
    reader_tallies,
    rope_tallies,
    totals,
)
from inspection.record.record import Record, open_record
from inspection.record.views import AskedAgain
from vision.results import Finding, Place

pytestmark = pytest.mark.usefixtures("new_records_are_copies")

GAUGE = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03, date(2027, 1, 1))
ENTRY = ComparedEntry(
    "first", 1, 0, 22.1, 22.0, 0.1, 0.05, 0.04, (("print:A:x", 0.03),), "agrees", "C-1", "A. Berg"
)
ODD = Finding("odd", "odd", "look", "look", p_value=0.01, places=(Place(1, 0),))


@pytest.fixture
def record(tmp_path: Path) -> Record:
    """Return a record with two inspections of one rope, both examined."""
    opened = open_record(tmp_path / "record.db")
    opened.add_rope(Rope("hoist", 22.0), by="A. Berg")
    opened.add_gauge(GAUGE, by="A. Berg")
    for number, name in enumerate(("first", "second")):
        on = date(2026, 1, 5) + timedelta(days=200 * number)
        opened.add_inspection(
            Inspection(name, "hoist", on, stations=(Station(1, 5.0),)), by="A. Berg"
        )
        opened.add_readings(name, [Reading("22.00", 22.0, 1, 0, "C-1", "A. Berg")], by="A. Berg")
        opened.set_findings(name, [ODD], rank=2.0, by="A. Berg")
    assert not_examined(opened) == ["first", "second"]
    for name in ("first", "second"):
        (found,) = opened.inspection(name).findings
        entry = replace(ENTRY, inspection=name)
        keep_examination(opened, name, [entry], [ReadBy(found.key, "C-1", "A. Berg")])
    assert not_examined(opened) == []
    return opened


def test_what_was_kept_comes_back_as_it_was(record: Record) -> None:
    kept = compared_entries(record)
    assert kept == [ENTRY, replace(ENTRY, inspection="second")]
    assert reader_tallies(record, "gauge") == {"C-1": ReaderTally(open=2)}
    assert reader_tallies(record, "person") == {"A. Berg": ReaderTally(open=2)}
    assert len(findings_about(record, "person", "A. Berg", limit=9)) == 2
    assert findings_about(record, "person", "B. Cole", limit=9) == []
    assert [one.inspection for one in ranked_findings(record, "open")] == ["first", "second"]
    (rope,) = rope_tallies(record)
    assert (rope.rope, rope.inspections, rope.open, rope.accepted, rope.not_examined) == (
        "hoist", 2, 2, 0, 0,
    )  # fmt: skip


def test_a_scope_leaves_out_what_is_not_asked_for(record: Record) -> None:
    later = InspectionFilter(since=date(2026, 2, 1))
    assert [one.inspection for one in ranked_findings(record, "open", later)] == ["second"]
    assert [one.inspection for one in compared_entries(record, later)] == ["second"]
    assert reader_tallies(record, "gauge", later) == {"C-1": ReaderTally(open=1)}
    assert totals(record, later).inspections == 1
    assert totals(record, InspectionFilter(words="quay")).inspections == 0
    assert totals(record, InspectionFilter(words="quay", sites=("hoist",))).inspections == 2
    assert totals(record, InspectionFilter(rope="other")).inspections == 0


def test_examining_changes_the_mark_although_it_is_no_event(record: Record) -> None:
    before = mark(record)
    assert mark(record) == before
    keep_examination(record, "first", [], [])
    assert mark(record) != before


def test_a_changed_entry_makes_its_inspection_and_later_ones_not_examined(record: Record) -> None:
    other = replace(record.inspection("second").readings[0], typed="22.01", value_mm=22.01)
    record.correct_reading("second", 1, other, by="A. Berg", why="misread")
    assert not_examined(record) == ["second"]  # nothing earlier rests on it
    record.correct_reading("first", 1, other, by="A. Berg", why="misread")
    assert not_examined(record) == ["first", "second"]
    assert compared_entries(record) == []
    assert reader_tallies(record, "gauge") == {}
    assert totals(record).not_examined == 2
    assert record.verify().faults == ()


def test_a_decision_a_photograph_or_a_calibration_changes_nothing_that_was_examined(
    record: Record,
) -> None:
    record.review("first", "accepted", by="B. Cole", station=1)
    record.change_gauge(
        replace(GAUGE, calibration_due=date(2028, 1, 1)), by="A. Berg", why="calibrated"
    )
    assert not_examined(record) == []
    record.change_gauge(replace(GAUGE, permissible_error_mm=0.05), by="A. Berg", why="as found")
    assert not_examined(record) == ["first", "second"]
    assert record.verify().faults == ()


def test_another_nominal_diameter_has_all_of_a_ropes_inspections_examined_again(
    record: Record,
) -> None:
    record.change_rope(replace(record.rope("hoist"), nominal_mm=24.0), by="A. Berg", why="slip")
    assert not_examined(record) == ["first", "second"]
    assert not is_examined(record, "first")


def test_a_finding_that_was_accepted_stays_listed_and_one_put_right_does_not(
    record: Record,
) -> None:
    (key,) = [one.key for one in record.inspection("first").findings]
    record.settle_finding("first", key, how="accepted: seen by the rigger", by="B. Cole")
    (key,) = [one.key for one in record.inspection("second").findings]
    record.settle_finding("second", key, how="overruled: no", by="B. Cole")
    (listed,) = ranked_findings(record, "accepted")
    assert (listed.inspection, listed.logged.settled_how) == (
        "first", "accepted: seen by the rigger",
    )  # fmt: skip
    assert len(ranked_findings(record, "settled")) == 2
    assert ranked_findings(record, "open") == []
    assert (totals(record).open, totals(record).accepted) == (0, 1)
    assert reader_tallies(record, "person") == {"A. Berg": ReaderTally(0, 1)}


def test_a_slip_corrected_at_review_bars_nobody_from_reviewing_and_is_told(
    record: Record,
) -> None:
    logged = record.inspection("first").logged[0]
    right = replace(logged.reading, typed="22.10", value_mm=22.10)
    with pytest.raises(RecordError, match="can't review"):
        record.correct_slip("first", 1, right, by="A. Berg", why="swapped")
    with pytest.raises(ValueError, match="can change only the figure"):
        record.correct_slip("first", 1, replace(right, station=2), by="B. Cole", why="swapped")
    record.correct_slip("first", 1, right, by="B. Cole", why="swapped")
    record.review("first", "accepted", by="B. Cole", why="corrected", station=1)
    (slip,) = corrected_slips(record)
    assert (slip.before, slip.after, slip.who, slip.why) == ("22.00", "22.10", "B. Cole", "swapped")
    assert not_examined(record) == ["first", "second"]
    # who corrects as an inspector does is barred as before
    record.correct_reading("second", 1, right, by="B. Cole", why="swapped")
    with pytest.raises(RecordError, match="can't review"):
        record.review("second", "accepted", by="B. Cole", station=1)
    assert record.verify().faults == ()


def test_what_is_asked_for_again_stands_with_the_decision_until_it_comes(record: Record) -> None:
    record.review(
        "first", "sent back", by="B. Cole", why="read it again",
        station=AskedAgain(1, "reading", 0),
    )  # fmt: skip
    (asked,) = record.inspection("first").station_reviews
    assert (asked.back, asked.stands, asked.asks, asked.view_deg) == (True, True, "reading", 0)
    record.add_readings("first", [Reading("22.02", 22.02, 1, 0, "C-1", "A. Berg")], by="A. Berg")
    assert not record.inspection("first").station_reviews[0].stands
    with pytest.raises(ValueError, match="by sending back"):
        record.review("first", "accepted", by="B. Cole", station=AskedAgain(1, "reading"))
    assert record.verify().faults == ()
