"""Accidents to files: deleted, moved, replaced while the program runs, killed in mid-write."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from inspection.model.rope import Rope
from inspection.record.errors import RecordError
from inspection.record.record import Record, open_record

# Starting Python for each writer would take a second, so one process forks them.
WRITERS = """
import json, os, signal, sys
from inspection.model.rope import Rope
from inspection.record.record import open_record

def write(path, first, last):
    record = open_record(path)
    for number in range(first, last):
        record.add_rope(Rope(f"rope {number}", 22.0, site="x" * 300), by="A. Berg")
    os.kill(os.getpid(), signal.SIGKILL)

for line in sys.stdin:
    child = os.fork()
    if child == 0:
        try:
            write(*json.loads(line))
        finally:
            os._exit(1)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


@pytest.fixture(scope="module")
def killed_writer() -> Iterator[Callable[[Path, int, int], None]]:
    """Add ropes in a process that is killed: its write-ahead log stays."""
    with subprocess.Popen(
        [sys.executable, "-c", WRITERS],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as writers:
        assert writers.stdin is not None
        assert writers.stdout is not None

        def write(path: Path, first: int, last: int) -> None:
            print(json.dumps([str(path), first, last]), file=writers.stdin, flush=True)
            assert writers.stdout is not None
            assert int(writers.stdout.readline()) == -signal.SIGKILL  # it wrote to the end
            assert path.with_name(f"{path.name}-wal").stat().st_size > 0

        yield write


def names(record: Record) -> list[str]:
    return [rope.identity for rope in record.ropes()]


@pytest.mark.fault(
    "the record's file deleted or replaced while the program has it open",
    "`The record ... is gone: its file was deleted or moved while it was open. ...`",
)
def test_no_entry_into_a_deleted_file_is_acknowledged(tmp_path: Path) -> None:
    path = tmp_path / "record.db"
    with open_record(path) as record:
        record.add_rope(Rope("one", 22.0), by="A. Berg")
        path.rename(tmp_path / "moved.db")
        with pytest.raises(RecordError, match=r"record.db is gone: its file was deleted or moved"):
            record.add_rope(Rope("two", 22.0), by="A. Berg")
        with pytest.raises(RecordError, match="is gone"):
            record.ropes()
        assert not path.exists()
        (tmp_path / "moved.db").rename(path)  # put back, and everything works again
        record.add_rope(Rope("two", 22.0), by="A. Berg")
    with open_record(path) as record:
        assert names(record) == ["one", "two"]


def test_a_file_that_goes_while_something_is_saved_takes_nothing_with_it(tmp_path: Path) -> None:
    path = tmp_path / "record.db"
    with open_record(path) as record:

        def cut_short() -> None:
            with record.transaction() as batch:
                batch.add_rope(Rope("one", 22.0), by="A. Berg")
                path.rename(tmp_path / "moved.db")

        with pytest.raises(RecordError, match="is gone"):
            cut_short()
        (tmp_path / "moved.db").rename(path)
        assert names(record) == []


def test_a_file_replaced_while_the_program_runs_is_reported(tmp_path: Path) -> None:
    path, other = tmp_path / "record.db", tmp_path / "other.db"
    with open_record(other) as record:
        record.add_rope(Rope("other", 22.0), by="A. Berg")
    with open_record(path) as record:
        record.add_rope(Rope("one", 22.0), by="A. Berg")
        other.replace(path)
        with pytest.raises(RecordError, match=r"was replaced: the file in its place"):
            record.add_rope(Rope("two", 22.0), by="A. Berg")


@pytest.mark.skipif(sys.platform == "win32", reason="kills a process")
def test_a_log_that_is_the_files_own_is_taken_as_before(
    tmp_path: Path, killed_writer: Callable[[Path, int, int], None]
) -> None:
    path = tmp_path / "record.db"
    killed_writer(path, 0, 30)
    with open_record(path) as record:
        assert len(names(record)) == 30
        killed_writer(path, 30, 40)  # while it is open here
        assert len(names(record)) == 40
        with open_record(path) as another:
            assert another.verify().sound


@pytest.mark.fault(
    "the record's file replaced, with its old log still beside it",
    "`... and the write-ahead log beside it ... don't belong together: ...`",
)
@pytest.mark.skipif(sys.platform == "win32", reason="kills a process")
@pytest.mark.parametrize("backup_at", [0, 1, 20])
def test_a_file_replaced_beside_its_old_log_is_reported(
    tmp_path: Path, backup_at: int, killed_writer: Callable[[Path, int, int], None]
) -> None:
    # SQLite alone replays the log over the other file: entries of both, or of none
    path, backup = tmp_path / "record.db", tmp_path / "backup.db"
    with open_record(path) as record:
        for number in range(backup_at):
            record.add_rope(Rope(f"rope {number}", 22.0), by="A. Berg")
    shutil.copy(path, backup)
    with open_record(path) as record:
        for number in range(backup_at, 60):
            record.add_rope(Rope(f"rope {number}", 22.0, site="y" * 500), by="A. Berg")
    killed_writer(path, 60, 63)
    log = path.with_name("record.db-wal").read_bytes()
    backup.replace(path)
    before = path.read_bytes()
    for _ in range(2):
        with pytest.raises(RecordError, match=r"\(record.db-wal\) don't belong together"):
            open_record(path)
    assert path.with_name("record.db-wal").read_bytes() == log
    assert path.read_bytes() == before
    path.with_name("record.db-wal").unlink()  # as the message says
    path.with_name("record.db-shm").unlink(missing_ok=True)
    with open_record(path) as record:
        assert len(names(record)) == backup_at
        assert record.verify().sound


@pytest.mark.skipif(sys.platform == "win32", reason="kills a process")
def test_another_records_file_beside_a_log_is_told(
    tmp_path: Path, killed_writer: Callable[[Path, int, int], None]
) -> None:
    path, other = tmp_path / "record.db", tmp_path / "other.db"
    with open_record(other) as record:
        for number in range(100):
            record.add_rope(Rope(f"other {number}", 9.0), by="B. Lind")
    killed_writer(path, 0, 20)
    other.replace(path)
    with pytest.raises(RecordError, match="don't belong together"):
        open_record(path)


def test_a_record_that_was_named_and_is_missing_is_not_made(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="there is no record at"):
        open_record(tmp_path / "nowhere.db", create=False)
    assert not list(tmp_path.iterdir())
