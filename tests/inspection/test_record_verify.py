"""Verification: removed guards, read-only media, interrupted runs."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from inspection.model.rope import Inspection, Rope, Station
from inspection.record.errors import RecordError
from inspection.record.integrity import rebuild
from inspection.record.record import open_record
from tests.inspection.danger_logs import GAUGE, SOUND, readings_of

PROJECT = Path(__file__).resolve().parents[2]


def made(path: Path, inspections: int = 3) -> Path:
    with open_record(path) as record:
        record.add_rope(Rope("R-1", 22.0), by="A. Berg")
        record.add_gauge(GAUGE, by="A. Berg")
        for number in range(inspections):
            stations = tuple(Station(n, 12.0 * n) for n in range(1, 9))
            held = Inspection(f"I-{number}", "R-1", date(2026, 11, 3), stations=stations)
            record.add_inspection(held, by="A. Berg")
            record.add_readings(held.identity, readings_of(SOUND), by="A. Berg")
    return path


@pytest.mark.parametrize("guard", ["events_never_change", "events_never_go"])
def test_a_guard_that_was_taken_out_is_noticed(tmp_path: Path, guard: str) -> None:
    path = made(tmp_path / "record.db")
    with open_record(path) as record:
        assert record.verify().sound
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"DROP TRIGGER {guard}")
        raw.commit()
    with open_record(path) as record:
        found = record.verify()
    assert not found.sound
    assert guard in found.faults[0]


def test_a_guard_that_does_nothing_is_noticed(tmp_path: Path) -> None:
    path = made(tmp_path / "record.db")
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("DROP TRIGGER events_never_change")
        raw.execute(
            "CREATE TRIGGER events_never_change BEFORE UPDATE ON events BEGIN SELECT 1; END"
        )
        raw.commit()
    with open_record(path) as record:
        assert not record.verify().sound


READ = """
import os, sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from inspection.exchange.export_json import export_json
from inspection.exchange.export_tables import export_readings
from inspection.model.rope import Rope
from inspection.record.errors import RecordError
from inspection.record.record import open_record

def read(path, out):
    with open_record(path, create=False) as record:
        found = record.verify()
        rows = export_readings(record, out / "readings.csv")
        whole = bool(export_json(record, out / "all.json"))
        try:
            record.add_rope(Rope("R-2", 22.0), by="B")
        except RecordError as refused:
            return [str(found.sound), found.fingerprint, str(rows), str(whole), str(refused)]
        return []

out = Path(sys.argv[4])
read(sys.argv[3], out)  # all that is imported late is there before rights are given up
for one in out.iterdir():
    one.unlink()
if os.getuid() == 0:  # who may do everything may write everywhere
    os.setgroups([])
    os.setresgid(65534, 65534, 65534)
    os.setresuid(65534, 65534, 65534)
print(chr(10).join(read(sys.argv[2], out)))
"""


def test_a_record_on_a_medium_that_is_not_written_is_verified_and_exported(
    tmp_path: Path,
) -> None:
    disc, out = tmp_path / "disc", tmp_path / "out"
    disc.mkdir()
    out.mkdir()
    path = made(disc / "record.db")
    with open_record(path) as record:
        fingerprint = record.fingerprint()
    for one in (*tmp_path.parents, tmp_path):  # another user must be let in as far as here
        if one.stat().st_uid == os.getuid() and one != Path("/"):
            one.chmod(one.stat().st_mode | 0o055)
    out.chmod(0o777)
    path.chmod(0o444)
    disc.chmod(0o555)
    before = sorted(one.name for one in disc.iterdir())
    spare = made(tmp_path / "spare.db")
    try:
        done = subprocess.run(
            [sys.executable, "-B", "-c", READ, *map(str, (PROJECT, path, spare, out))],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
    finally:
        disc.chmod(0o755)
    assert done.returncode == 0, done.stderr
    sound, told, rows, whole, refused = done.stdout.splitlines()
    assert (sound, told) == ("True", fingerprint)
    assert (rows, whole) == (str(3 * len(SOUND)), "True")
    assert "can only be read" in refused
    assert sorted(one.name for one in disc.iterdir()) == before


def test_an_interrupted_run_goes_on_and_the_next_one_looks_at_what_is_new(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, work = made(tmp_path / "record.db", 6), tmp_path / "work"
    monkeypatch.setattr(rebuild, "BATCH", 3)
    really, applied = rebuild.apply_event, []

    def count(anew: object, event: object) -> None:
        applied.append(event.sequence)  # type: ignore[attr-defined]
        if len(applied) == 8:
            raise KeyboardInterrupt
        really(anew, event)  # type: ignore[arg-type]

    monkeypatch.setattr(rebuild, "apply_event", count)
    told: list[tuple[int, int]] = []
    with open_record(path) as record:
        with pytest.raises(KeyboardInterrupt):
            record.verify(work=work, progress=lambda done, total: told.append((done, total)))
        assert told == [(3, 14), (6, 14)]
        assert record.verify(work=work).sound
        assert applied[8:] == list(range(7, 15))  # from the last point that was kept
        assert record.verify(work=work).sound
        assert len(applied) == 16  # nothing is new
        record.add_rope(Rope("R-2", 22.0), by="A. Berg")
        assert record.verify(work=work).sound
        assert applied[16:] == [15]


def test_what_was_kept_of_another_record_is_not_believed(tmp_path: Path) -> None:
    work = tmp_path / "work"
    with open_record(made(tmp_path / "one.db")) as one:
        assert one.verify(work=work).sound
    with open_record(made(tmp_path / "two.db", 2)) as two:
        assert two.verify(work=work).sound


def test_a_changed_state_is_found_with_a_kept_rebuild_too(tmp_path: Path) -> None:
    path, work = made(tmp_path / "record.db"), tmp_path / "work"
    with open_record(path) as record:
        assert record.verify(work=work).sound
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("UPDATE readings SET value_mm = 23.0 WHERE inspection = 'I-1' AND number = 3")
        raw.commit()
    with open_record(path) as record:
        found = record.verify(work=work)
    assert not found.sound
    assert "value_mm is 23.0" in found.faults[0]


def test_a_folder_that_can_not_be_made_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    path = made(tmp_path / "record.db")
    with open_record(path) as record, pytest.raises(RecordError, match="can't be created"):
        record.verify(work=tmp_path / "file" / "work")
