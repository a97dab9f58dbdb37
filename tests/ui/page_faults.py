"""Faults while the pages run: a disk that fills up, a record that is locked or write-protected."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import event

from inspection.model.readings import Gauge
from inspection.model.rope import Rope
from inspection.record.errors import RecordError
from inspection.record.record import Record
from ui.web.page import session

FULL = "the disk is full; free some space and try again."
LOCKED = "is locked by another program that is writing; wait a moment and try again."
PROTECTED = "write-protected|there is no permission to read and write"


def record_of_pages() -> Record:
    """Return the record that the pages have open."""
    return session.get_record()


@contextmanager
def full_disk(path: Path) -> Iterator[None]:
    """Stop the record's file from growing, after using up the free space in its pages."""
    del path
    engine = record_of_pages().access.engine

    def limit(raw: sqlite3.Connection, _: object) -> None:
        raw.execute("PRAGMA max_page_count = 1")  # SQLite then answers as on a full disk

    engine.dispose()
    event.listen(engine, "connect", limit)
    record, by = record_of_pages(), "somebody else"
    fillers: tuple[Callable[[str], object], ...] = (  # the longer events first
        lambda name: record.add_rope(Rope(name, 22.0), by=by),
        lambda name: record.add_gauge(Gauge(name, "wide-jaw caliper", 0.01, 0.03), by=by),
        lambda name: record.add_print_check(name, {}, by=by),
        lambda name: record.save_draft(name, [], by=by),
    )
    for fill in fillers:
        with suppress(RecordError):
            for number in range(300):
                fill(f"f{number}")
    try:
        yield
    finally:
        event.remove(engine, "connect", limit)
        engine.dispose()


@contextmanager
def locked_record(path: Path) -> Iterator[None]:
    """Let another program keep writing into the record."""
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        yield
    finally:
        other.close()


@contextmanager
def protected_folder(path: Path) -> Iterator[None]:
    """Write-protect the record's folder, also against root."""
    superuser = hasattr(os, "geteuid") and os.geteuid() == 0
    modes = {one: one.stat().st_mode for one in (path.parent, *path.parent.glob("record.db*"))}
    for parent in path.parents[1:4]:  # another user must be able to find it
        if superuser and parent.stat().st_uid == 0 and not parent.stat().st_mode & 0o1000:
            parent.chmod(0o755)
    record_of_pages().access.engine.dispose()
    for one in modes:
        if one.exists():
            one.chmod(0o555 if one.is_dir() else 0o444)
    if superuser:
        os.seteuid(65534)
    try:
        yield
    finally:
        if superuser:
            os.seteuid(0)
        for one, mode in modes.items():
            if one.exists():
                one.chmod(mode)
        record_of_pages().access.engine.dispose()


FAULTS = {
    "full": (full_disk, FULL),
    "locked": (locked_record, LOCKED),
    "protected": (protected_folder, PROTECTED),
}
