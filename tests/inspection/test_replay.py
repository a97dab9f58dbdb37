"""Forged exports with a correct chain: the record's own rules are applied to each entry."""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from inspection.exchange.export_json import export_json, restore_json
from inspection.model.serialization import canonical
from inspection.record.errors import RecordError
from inspection.record.record import Record, open_record
from inspection.record.storage.events import FIRST, Event, hashed
from tests.inspection.test_record_files import FIRST_VERSION

Change = Callable[[list[dict[str, Any]]], None]


def forged(document: dict[str, Any], change: Change) -> str:
    """Return the export with changed events, renumbered and rehashed as anybody could."""
    told = document["events"]
    for event in told:
        for side in ("old", "new"):
            event[side] = None if event[side] is None else json.loads(event[side])
    change(told)
    previous, events = FIRST, []
    for number, values in enumerate(told, start=1):
        texts = {
            side: None if values[side] is None else canonical(values[side])
            for side in ("old", "new")
        }
        made = hashed(Event(**{**values, **texts, "sequence": number, "previous": previous}))
        events.append(asdict(made))
        previous = made.hash
    document["events"] = events
    document["fingerprint"] = f"{len(events)}-{previous[:32]}"
    return json.dumps(document)


@pytest.fixture
def document(exported_visit: str, tmp_path: Path, empty_record: Path) -> dict[str, Any]:
    shutil.copy(empty_record, tmp_path / "empty.db")
    read: dict[str, Any] = json.loads(exported_visit)
    return read


def restored(tmp_path: Path, text: str) -> Record:
    (tmp_path / "forged.json").write_text(text, "utf-8")
    shutil.copy(tmp_path / "empty.db", tmp_path / "again.db")  # a new record every time
    record = open_record(tmp_path / "again.db")
    try:
        restore_json(record, tmp_path / "forged.json")
    except BaseException:
        assert not list(record.events())
        record.close()
        raise
    return record


def of_kind(events: list[dict[str, Any]], kind: str) -> dict[str, Any]:
    return next(event for event in events if event["kind"] == kind)


def self_review(events: list[dict[str, Any]]) -> None:
    of_kind(events, "reviewed")["who"] = "Åsa"  # who read


def set_new(kind: str, *path: Any, value: Any) -> Change:
    def change(events: list[dict[str, Any]]) -> None:
        inner = of_kind(events, kind)["new"]
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = value

    return change


def without(kind: str) -> Change:
    return lambda events: events.remove(of_kind(events, kind))


def swapped(events: list[dict[str, Any]]) -> None:
    events[0], events[1] = events[1], events[0]


def deep(events: list[dict[str, Any]]) -> None:
    bomb: Any = 1
    for _ in range(300):
        bomb = [bomb]
    of_kind(events, "print check added")["new"] = {"along_mm": bomb}


@pytest.mark.fault(
    "a forged export",
    "`entry 12 (reviewed, visit) could not have been made: ...`",
)
@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (self_review, r"entry \d+ \(reviewed, visit\) could not have been made: Åsa read or"),
        (without("gauge added"), r"\(readings added, visit\) .* there is no gauge 'C-07'"),
        (without("rope added"), "there is no rope 'rope'"),
        (without("inspection added"), "there is no inspection 'visit'"),
        (without("readings added"), "has no reading 2"),
        (
            set_new("readings added", 0, "value_mm", value="22.41"),
            "'value_mm' is '22.41'; it must be a",
        ),
        (set_new("readings added", 0, "value_mm", value=-1.0), "must be more than 0 mm"),
        (set_new("readings added", 0, "number", value=7), "not what the record would write"),
        (set_new("rope added", "nominal_mm", value=0.0), "must be more than 0 mm"),
        (set_new("rope added", "core", value="straw"), "'core' is 'straw'; it must be one of"),
        (set_new("rope added", "grooves", 0, "radius_mm", value="12"), r"'grooves\[0\].radius_mm'"),
        (set_new("rope added", "extra", value=1), "not what the record would write"),
        (set_new("rope added", "identity", value="other"), "its 'subject' is 'rope'"),
        (set_new("results added", 0, "diameter_mm", value=True), "'diameter_mm' is True"),
        (set_new("results added", 0, "budget", 0, "u", value="x"), r"'budget\[0\].u' is 'x'"),
        (set_new("findings set", "rank", value="high"), "its rank is 'high'"),
        (set_new("reviewed", "state", value="fine"), "must be one of open, accepted"),
        (set_new("station reviewed", "back", value=False), "not what the record would write"),
        (set_new("photograph added", "sha256", value="../../etc"), "is not a photograph's hash"),
        (lambda events: of_kind(events, "reviewed").update(why=""), "say why"),
        (lambda events: of_kind(events, "reviewed").update(kind="approved"), "understood"),
        (lambda events: of_kind(events, "reviewed").update(about="rope"), "its 'about' is 'rope'"),
        (lambda events: of_kind(events, "reviewed").update(at="yesterday"), "yesterday"),
        (lambda events: events.append(dict(events[0])), "is already in the record"),
        (swapped, ""),  # a gauge may come before a rope
        (deep, "is nested too deeply"),
    ],
)
def test_a_forged_entry_is_not_restored(
    tmp_path: Path, document: dict[str, Any], change: Change, sentence: str
) -> None:
    text = forged(document, change)
    if not sentence:
        restored(tmp_path, text).close()
        return
    with pytest.raises(RecordError, match=sentence) as caught:
        restored(tmp_path, text)
    words = str(caught.value)
    assert words.startswith("forged.json: entry ")
    assert words.endswith("Nothing was restored.")
    assert "\n" not in words
    assert "FOREIGN KEY" not in words


def test_nesting_without_end_is_one_sentence(tmp_path: Path, document: dict[str, Any]) -> None:
    # 3,000 lists within lists ended in a traceback
    event = of_kind(document["events"], "print check added")
    event["new"] = '{"along_mm":' + "[" * 3000 + "]" * 3000 + "}"
    previous = FIRST
    for number, values in enumerate(document["events"], start=1):
        made = hashed(Event(**{**values, "sequence": number, "previous": previous}))
        document["events"][number - 1] = asdict(made)
        previous = made.hash
    document["fingerprint"] = f"{len(document['events'])}-{previous[:32]}"
    with pytest.raises(RecordError, match="is nested too deeply"):
        restored(tmp_path, json.dumps(document))


def leaves(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(value, dict):
        return [one for key, item in value.items() for one in leaves(item, (*path, key))]
    if isinstance(value, list):
        return [one for at, item in enumerate(value) for one in leaves(item, (*path, at))]
    return [path]


WRONG = ("", "x", -1, 0, 1e999, 10**30, True, None, [], {}, [[]], "22.41", 3.5)


def test_whatever_is_restored_is_what_the_record_would_hold(
    tmp_path: Path, document: dict[str, Any]
) -> None:
    # 601 of 1,200 mutated exports were restored, and 73 of them broke a later judgement
    chance = random.Random(20261129)
    text, taken = json.dumps(document), 0
    for _ in range(60):

        def change(events: list[dict[str, Any]]) -> None:
            event = chance.choice([one for one in events if one["new"] is not None])
            if chance.random() < 0.2:
                event[chance.choice(["who", "subject", "about", "kind", "why"])] = "x"
                return
            path = chance.choice(leaves(event["new"]))
            if not path:
                return
            inner = event["new"]
            for step in path[:-1]:
                inner = inner[step]
            if chance.random() < 0.2:
                del inner[path[-1]]
            else:
                inner[path[-1]] = chance.choice(WRONG)

        try:
            again = restored(tmp_path, forged(json.loads(text), change))
        except ValueError:  # of canonical JSON, too: it holds no infinity
            continue
        with again:
            taken += 1
            assert again.verify().faults == ()
            for one in again.ranked():
                again.inspection(one.identity)
            export_json(again, tmp_path / "back.json")
    assert 0 < taken < 24  # a text in a note may be another one


def test_an_export_of_the_first_version_is_restored(tmp_path: Path) -> None:
    shutil.copy(FIRST_VERSION, tmp_path / "old.db")
    with open_record(tmp_path / "old.db") as old, open_record(tmp_path / "new.db") as new:
        fingerprint = export_json(old, tmp_path / "old.json")
        assert restore_json(new, tmp_path / "old.json") == fingerprint
        assert new.verify().faults == ()


def test_times_that_run_backwards_are_told(tmp_path: Path, document: dict[str, Any]) -> None:
    def earlier(events: list[dict[str, Any]]) -> None:
        of_kind(events, "reviewed")["at"] = "2020-01-01T00:00:00.000000Z"

    with restored(tmp_path, forged(document, earlier)) as again:
        found = again.verify()
        assert found.faults == ()
        (note,) = found.notes
        assert "(reviewed, visit, by B. Lind) says 2020-01-01 00:00:00 UTC and follows" in note
        assert "the clock was set back, or the time was invented" in note
