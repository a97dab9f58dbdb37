"""An inspection from draft to closed, other observed conditions, and confirmed limits."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text

from inspection.exchange.export_json import export_json, restore_json, schema
from inspection.limits.combined import combined_severities
from inspection.limits.confirmed import confirmation_words, figures_of, standing_confirmation
from inspection.limits.wear import SeverityRating, StationSeverity
from inspection.measurement.doubt import DoubtedEntry
from inspection.model.closing import Closing
from inspection.model.condition import Condition
from inspection.model.confirmation import Confirmation
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.errors import RecordError, StaleError
from inspection.record.limits import (
    confirm_limits,
    keep_own_limits,
    kept_own_limits,
    limit_confirmations,
)
from inspection.record.record import Record, open_record
from tests.inspection.older_tables import wind_back
from vision.results import Place

VISIT = "2026-11"
CORRODED = Condition(3, "corrosion", 20, "outside, surface rough")
WIRES = Condition(3, "broken wires", 40, count=4, length_mm=132.0)
STAYS = Closing(
    "stays in service until", "C. Holm", date(2027, 3, 1), date(2027, 2, 1), "grease it"
)


@pytest.fixture
def filled(tmp_path: Path, empty_record: Path) -> Iterator[Record]:
    shutil.copy(empty_record, tmp_path / "record.db")
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("hoist", 22.0), by="A. Berg")
        record.add_gauge(Gauge("C-1", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
        stations = tuple(Station(number, 10.0 * number) for number in range(1, 4))
        record.add_inspection(
            Inspection(VISIT, "hoist", date(2026, 11, 2), stations=stations), by="A. Berg"
        )
        yield record


def read(record: Record, station: int = 1) -> None:
    record.add_readings(VISIT, [Reading("22,1", 22.1, station, 0, "C-1", "A. Berg")], by="A. Berg")


def state(record: Record) -> str:
    (listed,) = record.ranked()
    assert record.inspection(VISIT).state == listed.state
    return listed.state


def test_from_draft_to_closed_and_back(filled: Record) -> None:
    assert state(filled) == "draft"
    with pytest.raises(RecordError, match="no reading and no photograph"):
        filled.submit(VISIT, by="A. Berg")
    read(filled)
    filled.submit(VISIT, by="A. Berg", why="station 3 was wet")
    assert state(filled) == "submitted"
    with pytest.raises(RecordError, match="is already submitted"):
        filled.submit(VISIT, by="A. Berg")
    filled.review(VISIT, "sent back", by="B. Lind", why="read 3 again")
    assert state(filled) == "sent back"
    read(filled, 3)
    assert state(filled) == "draft"  # being mended; it is handed in again
    filled.submit(VISIT, by="A. Berg")
    with pytest.raises(RecordError, match="is submitted; it can be closed once it is reviewed"):
        filled.close_inspection(VISIT, STAYS, by="C. Holm")
    filled.review(VISIT, "accepted", by="B. Lind")
    assert state(filled) == "reviewed"
    filled.close_inspection(VISIT, STAYS, by="C. Holm")
    there = filled.inspection(VISIT)
    assert there.state == "closed"
    assert there.closing == STAYS
    assert there.inspection.next_due == date(2027, 2, 1)
    assert [(step.state, step.who, step.why) for step in there.reviews] == [
        ("submitted", "A. Berg", "station 3 was wet"),
        ("sent back", "B. Lind", "read 3 again"),
        ("submitted", "A. Berg", ""),
        ("accepted", "B. Lind", ""),
        ("closed", "C. Holm", ""),
    ]
    with pytest.raises(RecordError, match="is closed; withdraw the decision, giving a reason"):
        read(filled)
    for change in (
        lambda: filled.observe(VISIT, CORRODED, by="A. Berg"),
        lambda: filled.review(VISIT, "sent back", by="B. Lind", why="no"),
        lambda: filled.withdraw_reading(VISIT, 1, by="A. Berg", why="no"),
        lambda: filled.add_photograph(VISIT, b"x", name="x.jpg", by="A. Berg"),
    ):
        with pytest.raises(RecordError, match="is closed"):
            change()
    with pytest.raises(ValueError, match="say why"):
        filled.review(VISIT, "open", by="B. Lind")
    filled.review(VISIT, "open", by="B. Lind", why="the wrong rope was named")
    assert state(filled) == "draft"
    assert filled.inspection(VISIT).closing is None
    assert filled.verify().sound


def test_overruling_turns_a_decision_round(filled: Record) -> None:
    read(filled)
    filled.review(VISIT, "accepted", by="B. Lind")
    filled.review(VISIT, "overruled", by="C. Holm", why="station 2 is missing")
    assert state(filled) == "sent back"
    filled.review(VISIT, "overruled", by="B. Lind", why="it can't be reached")
    assert state(filled) == "reviewed"
    assert filled.verify().sound


def test_remarks_and_the_next_day_leave_a_review_as_it_is(filled: Record) -> None:
    read(filled)
    filled.review(VISIT, "accepted", by="B. Lind")
    there = filled.inspection(VISIT)
    told = replace(there.inspection, remarks="greased since", next_due=date(2027, 1, 4))
    filled.change_inspection(told, by="A. Berg", why="remark", revision=there.revision)
    there = filled.inspection(VISIT)
    assert (there.state, there.inspection) == ("reviewed", told)
    moved = replace(told, place="quay 5")
    filled.change_inspection(moved, by="A. Berg", why="place", revision=there.revision)
    assert state(filled) == "submitted"
    with pytest.raises(ValueError, match="2026-01-01, is before the inspection of 2026-11-02"):
        filled.change_inspection(
            replace(moved, next_due=date(2026, 1, 1)), by="A. Berg", why="x", revision=99
        )
    assert filled.verify().sound


def test_what_was_seen_at_a_station_is_kept_with_its_person(filled: Record) -> None:
    filled.observe(VISIT, CORRODED, by="A. Berg")
    filled.observe(VISIT, WIRES, by="A. Berg")
    with pytest.raises(ValueError, match="to change what was seen of corrosion, say why"):
        filled.observe(VISIT, replace(CORRODED, severity_pct=40), by="B. Lind")
    filled.observe(VISIT, replace(CORRODED, severity_pct=40), by="B. Lind", why="pitted")
    seen = {one.condition.criterion: one for one in filled.inspection(VISIT).conditions}
    assert seen["corrosion"].condition.severity_pct == 40
    assert seen["corrosion"].who == "B. Lind"
    filled.withdraw_condition(VISIT, 3, "broken wires", by="A. Berg", why="other rope")
    assert len(filled.inspection(VISIT).conditions) == 1
    with pytest.raises(RecordError, match="has nothing at station 9"):
        filled.observe(VISIT, replace(CORRODED, station=9), by="A. Berg")
    seen_at = filled.inspection(VISIT).revision
    read(filled)
    with pytest.raises(StaleError):
        filled.observe(VISIT, Condition(1, "heat", 0), by="B. Lind", revision=seen_at)
    assert filled.verify().sound


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (
            Condition(3, "corrosion", 30),
            "a severity must be one of 0, 20, 40, 60, 80, 100 %; got 30",
        ),
        (Condition(3, "corrosion", None), "describe it, count it or rate it"),
        (Condition(3, "rust", 20), "a criterion must be one of"),  # type: ignore[arg-type]
        (Condition(3, "broken wires", 20, count=-1), "counted from 0 to 10000; got -1"),
        (Condition(3, "broken wires", 20, length_mm=0.0), "more than 0 mm"),
        (Condition(0, "heat", 0), "numbered from 1; got 0"),
    ],
)
def test_an_impossible_condition_is_refused(filled: Record, wrong: Condition, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        filled.observe(VISIT, wrong, by="A. Berg")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (replace(STAYS, decision="maybe"), "the decision must be one of"),
        (replace(STAYS, competent_person=" "), "enter the competent person"),
        (replace(STAYS, until=None), "the last day of service is missing"),
        (replace(STAYS, decision="taken out of service"), "takes no last day"),
        (replace(STAYS, next_due=date(2026, 1, 1)), "is before the inspection"),
    ],
)
def test_a_decision_that_lacks_something_is_refused(
    filled: Record, wrong: Closing, words: str
) -> None:
    read(filled)
    filled.review(VISIT, "accepted", by="B. Lind")
    with pytest.raises(ValueError, match=words):
        filled.close_inspection(VISIT, wrong, by="C. Holm")
    assert state(filled) == "reviewed"


def _decrease(station: int, pct: int, band: str) -> StationSeverity:
    rating = SeverityRating("single layer steel core", 0.9, 4.0, 0.1, band, pct, ())
    return StationSeverity(station, "photographs", rating)


def test_severities_at_one_station_are_added_and_nothing_more() -> None:
    # The method: the severities of several criteria at one place are added (ISO 4309:2017,
    # combined effect, from memory, confidence 0.8): 20 + 40 + 20 = 80, "very high".
    (there,) = combined_severities([_decrease(3, 20, "slight")], [CORRODED, WIRES])
    assert (there.severity_pct, there.band) == (80, "very high")
    assert there.parts == (("decrease in diameter", 20), ("broken wires", 40), ("corrosion", 20))
    assert there.missing == ("deformation", "heat")
    # severities at another place are not added, and unrated conditions count as zero
    apart = combined_severities(
        [_decrease(1, 60, "high")], [CORRODED, Condition(1, "heat", None, "blue?")]
    )
    assert [(one.station, one.severity_pct, one.band) for one in apart] == [
        (1, 60, "high"),
        (3, 20, "slight"),
    ]
    assert "heat" in apart[0].missing
    entry = DoubtedEntry(Place(3, 0), "gauge", "22.11 mm")
    doubted = replace(_decrease(3, 20, "slight"), doubts=(entry,))
    rated = combined_severities([doubted, _decrease(1, 60, "high")], [WIRES])
    assert [bool(one.doubt) for one in (*rated, there)] == [False, True, False]
    assert rated[1].words.endswith("has to be checked: 22.11 mm at station 3, 0°.")
    (all_of_it,) = combined_severities(
        [_decrease(3, 80, "very high")], [replace(WIRES, severity_pct=60)]
    )
    assert (all_of_it.severity_pct, all_of_it.band) == (140, "discard")


def test_limits_are_confirmed_against_a_copy_and_only_as_they_are(filled: Record) -> None:
    rule_set = "ISO 4309:2017"
    assert "not confirmed" in confirmation_words(rule_set, limit_confirmations(filled))
    own = Confirmation(rule_set, "copy 7", "C. Holm", date(2026, 11, 3), figures_of(rule_set))
    confirm_limits(filled, own, by="C. Holm")
    known = limit_confirmations(filled)
    assert standing_confirmation(rule_set, known) == own
    assert confirmation_words(rule_set, known) == (
        "ISO 4309:2017: confirmed against a copy of the document (copy 7) by C. Holm on 2026-11-03."
    )
    with pytest.raises(ValueError, match="say why"):
        confirm_limits(filled, own, by="C. Holm")
    other = {rule_set: replace(own, figures="0" * 16)}
    assert standing_confirmation(rule_set, other) is None
    assert "have changed since C. Holm" in confirmation_words(rule_set, other)
    with pytest.raises(ValueError, match="name the copy"):
        confirm_limits(filled, replace(own, rule_set="EN 12385-4", copy=""), by="C. Holm")
    assert filled.verify().sound


def test_all_of_it_is_exported_restored_and_found_sound(filled: Record, tmp_path: Path) -> None:
    read(filled)
    read(filled, 3)
    filled.observe(VISIT, CORRODED, by="A. Berg")
    filled.observe(VISIT, WIRES, by="A. Berg")
    filled.withdraw_condition(VISIT, 3, "broken wires", by="A. Berg", why="miscounted")
    filled.submit(VISIT, by="A. Berg", why="wet")
    filled.review(VISIT, "accepted", by="B. Lind")
    filled.close_inspection(VISIT, STAYS, by="C. Holm", why="as discussed")
    keep_own_limits(filled, "site 4", {"rules": [{"rule_set": "site 4"}]}, by="C. Holm")
    own = Confirmation("EN 12385-4", "copy 1", "C. Holm", date(2026, 11, 3), "ab" * 8)
    confirm_limits(filled, own, by="C. Holm")
    path = tmp_path / "all.json"
    mark = export_json(filled, path)
    jsonschema = pytest.importorskip("jsonschema")
    import json

    jsonschema.validate(json.loads(path.read_text("utf-8")), schema())
    with open_record(tmp_path / "again.db") as again:
        assert restore_json(again, path) == mark
        assert again.inspection(VISIT) == filled.inspection(VISIT)
        assert kept_own_limits(again) == kept_own_limits(filled)
        assert limit_confirmations(again) == {"EN 12385-4": own}
        assert again.verify().sound


def test_a_record_of_before_gets_the_states_that_its_events_lead_to(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("hoist", 22.0), by="A. Berg")
        record.add_gauge(Gauge("C-1", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
        decided = {
            "never": [],
            "accepted": ["accepted"],
            "back": ["sent back"],
            "overruled": ["accepted", "overruled"],
            "stands": ["sent back", "overruled"],
            "reopened": ["accepted", "open"],
        }
        for name, decisions in decided.items():
            for then in ("", " changed"):
                visit = Inspection(name + then, "hoist", date(2026, 11, 2))
                record.add_inspection(visit, by="A. Berg")
                for number, decision in enumerate(decisions):
                    by = ("B. Lind", "C. Holm")[number]
                    record.review(name + then, decision, by=by, why="why")  # type: ignore[arg-type]
                if then:
                    reading = Reading("22,1", 22.1, 1, 0, "C-1", "A. Berg")
                    record.add_readings(name + then, [reading], by="A. Berg")
        states = {one.identity: one.state for one in record.ranked()}
        # as in version 5 of the tables: its wording, and none of the new columns and tables
        with record.access.engine.begin() as old:
            for name in states:
                word = "open" if "changed" in name else (decided[name] or ["open"])[-1]
                old.execute(
                    text("UPDATE inspections SET state = :word WHERE identity = :name"),
                    {"word": word, "name": name},
                )
            wind_back(old, BEFORE)
    with open_record(tmp_path / "record.db") as record:
        assert {one.identity: one.state for one in record.ranked()} == states
        assert set(states.values()) == {"draft", "submitted", "sent back", "reviewed"}
        assert record.verify().sound


BEFORE = "0006"  # the version of the tables before states
