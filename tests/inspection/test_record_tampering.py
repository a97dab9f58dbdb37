"""`verify` finds every change made outside the program. Both databases."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope
from inspection.record.record import Record, open_record
from vision.results import Finding

READING = Reading("22.41", 22.41, 1, 0, "C-07", "A. Berg")


@pytest.fixture
def filled(record: Record) -> Record:
    record.add_rope(Rope("rope", 22.0), by="A. Berg")
    record.add_gauge(Gauge("C-07", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
    record.add_inspection(Inspection("visit", "rope", date(2026, 11, 2)), by="A. Berg")
    record.add_readings("visit", [READING, replace(READING, view_deg=90)], by="A. Berg")
    record.correct_reading("visit", 1, replace(READING, value_mm=22.14), by="A. Berg", why="typo")
    odd = Finding("odd", "seen", "look", "look")
    record.set_findings("visit", [odd], rank=3.0, by="C. Holm")
    record.review("visit", "accepted", by="B. Lind")
    return record


def test_the_record_that_is_tampered_with_was_sound_before(filled: Record) -> None:
    assert filled.verify().faults == ()


def _by_hand(record: Record, *statements: str) -> None:
    """Change the database as somebody with all rights would: guards off first, then on again."""
    with record.access.engine.execution_options(writing=True).begin() as connection:
        guards = []
        if connection.dialect.name == "sqlite":
            there = text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            for name, made in connection.execute(there).all():
                connection.execute(text(f"DROP TRIGGER {name}"))
                guards.append(made)
        else:
            connection.execute(text("ALTER TABLE events DISABLE TRIGGER ALL"))
            guards.append("ALTER TABLE events ENABLE TRIGGER ALL")
        for statement in (*statements, *guards):
            connection.execute(text(statement))


def test_the_hash_can_be_recomputed_with_nothing_but_the_documented_recipe(filled: Record) -> None:
    # An independent reading of the recipe in record_events' docstring; RFC 8259 JSON, FIPS 180-4.
    previous = "0" * 64
    for number, event in enumerate(filled.events(), start=1):
        parts = [
            event.sequence,
            event.at,
            event.who,
            event.about,
            event.subject,
            event.kind,
            event.old,
            event.new,
            event.why,
            previous,
        ]
        told = "[" + ",".join(json.dumps(part, ensure_ascii=True) for part in parts) + "]"
        previous = hashlib.sha256(told.encode("ascii")).hexdigest()
        assert event.hash == previous
        assert event.sequence == number
    assert filled.fingerprint() == f"7-{previous[:32]}"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET who = 'X' WHERE sequence = 4",
        "DELETE FROM events WHERE sequence = 4",
    ],
)
def test_the_database_itself_refuses_to_change_or_delete_an_event(
    filled: Record, statement: str
) -> None:
    with (
        pytest.raises(DatabaseError, match="events are only ever added"),
        filled.access.engine.execution_options(writing=True).begin() as connection,
    ):
        connection.execute(text(statement))
    assert filled.verify().sound


def test_postgresql_refuses_to_empty_the_events(new_database: str, tmp_path: Path) -> None:
    with (
        open_record(new_database, photographs=tmp_path) as record,
        pytest.raises(DatabaseError, match="events are only ever added"),
        record.access.engine.begin() as connection,
    ):
        connection.execute(text("TRUNCATE events"))


@pytest.mark.parametrize(
    ("statements", "sentence"),
    [
        (["UPDATE events SET who = 'X. Y' WHERE sequence = 4"], "event 4 (readings added, visit"),
        (["UPDATE events SET at = '2026' WHERE sequence = 7"], "event 7 (reviewed"),
        (["UPDATE events SET why = '' WHERE sequence = 5"], "event 5"),
        (["UPDATE events SET new = replace(new, '22.14', '22.41') WHERE sequence = 5"], "event 5"),
        (["UPDATE events SET old = NULL WHERE sequence = 5"], "event 5"),
        (["UPDATE events SET new = new || ' ' WHERE sequence = 5"], "event 5"),
        (["DELETE FROM events WHERE sequence = 3"], "event 3: missing"),
        (["DELETE FROM events WHERE sequence IN (3, 4)"], "event 3 to 4: missing"),
        (["DELETE FROM events WHERE sequence = 1"], "event 1: missing"),
        (["DELETE FROM events WHERE sequence = 7"], "the head says 7 events, but the last"),
        (["DELETE FROM events"], "the head says 7 events, but the last one found is 0"),
        (["DELETE FROM head"], "head row"),
        (["UPDATE head SET sequence = 8"], "the head says 8 events"),
        (
            ["DELETE FROM events WHERE sequence = 3",
             "UPDATE events SET sequence = sequence - 1 WHERE sequence = 4",
             "UPDATE events SET sequence = sequence - 1 WHERE sequence = 5",
             "UPDATE events SET sequence = sequence - 1 WHERE sequence = 6",
             "UPDATE events SET sequence = sequence - 1 WHERE sequence = 7"],
            "event 3: does not follow",
        ),
        (
            ["UPDATE events SET sequence = 99 WHERE sequence = 4",
             "UPDATE events SET sequence = 4 WHERE sequence = 5",
             "UPDATE events SET sequence = 5 WHERE sequence = 99"],
            "event 4: does not follow",
        ),
        (
            ["INSERT INTO events SELECT 8, at, who, about, subject, kind, old, new, why, hash, "
             "hash FROM events WHERE sequence = 7"],
            "event 8",
        ),
    ],
)  # fmt: skip
def test_an_edited_removed_moved_or_inserted_event_is_found(
    filled: Record, statements: list[str], sentence: str
) -> None:
    _by_hand(filled, *statements)
    found = filled.verify()
    assert not found.sound
    assert any(sentence in fault for fault in found.faults), found.faults


@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        ("UPDATE readings SET value_mm = 22.41", "value_mm is 22.41, the events say 22.14"),
        ("UPDATE readings SET person = 'X' WHERE number = 2", "table readings, visit, 2: person"),
        ("DELETE FROM readings WHERE number = 2", "table readings, visit, 2: is missing"),
        ("DELETE FROM findings", "table findings, visit"),
        ("UPDATE inspections SET state = 'open'", "state is 'open', the events say 'reviewed'"),
        ("UPDATE inspections SET rank = 0", "rank is 0.0, the events say 3.0"),
        ("UPDATE ropes SET data = replace(data, '22.0', '21.0')", "table ropes, rope: data"),
        (
            "INSERT INTO gauges VALUES ('C-08', 2, '{}')",
            "table gauges, C-08: is present, but no event accounts for it",
        ),
        ("DELETE FROM reviews", "table reviews, 7: is missing"),
    ],
)
def test_state_that_does_not_follow_from_the_events_is_found(
    filled: Record, statement: str, sentence: str
) -> None:
    with filled.access.engine.execution_options(writing=True).begin() as connection:
        connection.execute(text(statement))
    found = filled.verify()
    assert any(sentence in fault for fault in found.faults), found.faults


def test_a_chain_cut_off_together_with_its_head_shows_only_against_a_noted_fingerprint(
    filled: Record,
) -> None:
    noted = filled.fingerprint()
    events = filled.events()
    earlier = next(event for event in events if event.sequence == 6).hash
    events.close()
    _by_hand(
        filled,
        "DELETE FROM reviews",
        "DELETE FROM events WHERE sequence = 7",
        "DELETE FROM people WHERE person NOT IN "
        "(SELECT who FROM events WHERE about = 'inspection')",
        f"UPDATE head SET sequence = 6, hash = '{earlier}'",
        "UPDATE inspections SET state = 'draft', revision = 6, changed_at = "
        "(SELECT at FROM events WHERE sequence = 6)",
    )
    assert filled.verify().sound  # nothing inside the record can tell
    found = filled.verify(noted=noted)
    assert "no longer has an event 7" in found.faults[0]
    assert filled.verify(noted=f"6-{earlier[:32]}").sound


def test_a_chain_made_anew_shows_against_a_noted_fingerprint(
    filled: Record, opened: Callable[[], Record]
) -> None:
    noted = filled.fingerprint()
    filled.add_rope(Rope("rope 2", 9.0), by="A. Berg")
    assert filled.verify(noted=noted).sound  # later events do not disturb
    other = "7-" + "0" * 32
    assert "event 7 is a different one now" in filled.verify(noted=other).faults[0]
    with pytest.raises(ValueError, match="'7-xyz' is not a fingerprint"):
        filled.verify(noted="7-xyz")


def test_a_photograph_that_was_changed_or_lost_is_found(filled: Record) -> None:
    kept = filled.add_photograph("visit", b"one", name="../../etc/passwd", by="A. Berg")
    lost = filled.add_photograph("visit", b"two", name="two.jpg", by="A. Berg")
    assert filled.verify(photographs=True).photographs == 2
    assert filled.verify(photographs=True).sound
    folder = filled.photographs.where
    with open(f"{folder}/{kept[:2]}/{kept}", "wb") as file:
        file.write(b"One")
    with open(f"{folder}/{lost[:2]}/{lost}", "wb") as file:
        file.truncate()
    faults = filled.verify(photographs=True).faults
    assert len(faults) == 2
    assert all("was changed" in fault for fault in faults)
    assert filled.verify().sound  # without photographs they are not read
