"""Settings of pytest's processes: collection, memory, and shared expensive results."""

import ctypes
import gc
import os
import shutil
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import suppress
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import Dialect, Engine
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg
from sqlalchemy.dialects.sqlite.pysqlite import SQLiteDialect_pysqlite
from sqlalchemy.util import LRUCache

import ui  # noqa: F401  one thread of linear algebra a process, before numpy is imported
from inspection.record.storage import database
from tests.kept_answers import measured_once, opened_once, shared_folder
from vision.photo.decode import Pixels
from vision.photo.photo import Photo

SET_SQLITE = database._set_sqlite

gc.disable()  # until all is collected: see `pytest_collection_finish`

# Doctests are collected from every module; these import a renderer, a browser or a plotter.
collect_ignore_glob = ["benchmarks/[!t]*.py", "browser/[!t]*.py"]

# Tests start about a hundred programs. With PYTHONDONTWRITEBYTECODE in the environment each would
# compile the whole project again.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# glibc returns the memory of a large array at once, and the next array's pages are cleared again.
# Keeping it makes pictures a fifth cheaper. The numbers are those of its malloc.h.
M_TRIM_THRESHOLD, M_MMAP_MAX = -1, -4
if sys.platform == "linux" and hasattr(libc := ctypes.CDLL(None), "mallopt"):
    libc.mallopt(M_MMAP_MAX, 0)
    libc.mallopt(M_TRIM_THRESHOLD, 2**31 - 1)


@pytest.fixture(scope="session")
def empty_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new record file to be copied: creating its tables, version by version, is slow."""
    from inspection.record.record import open_record

    path = tmp_path_factory.mktemp("empty") / "record.db"
    open_record(path).close()
    return path


@pytest.fixture(scope="module")
def new_records_are_copies(empty_record: Path) -> Iterator[None]:
    """Let a new record file start as a copy of the empty one."""

    def begun(engine: Engine, where: str, *, create: bool) -> Path | None:
        path = database.sqlite_path(engine)
        if path is not None and create and not path.exists():
            with suppress(OSError):  # if it can't be made, the record reports it
                shutil.copy(empty_record, path)
        return database.upgrade_schema(engine, where, create=create)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("inspection.record.record.upgrade_schema", begun)
        yield


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of this run, the same for all its workers."""
    return shared_folder(tmp_path_factory)


@pytest.fixture(scope="session", autouse=True)
def _statements_compiled_once() -> Iterator[None]:
    """SQLAlchemy compiles each statement again for each engine, and tests open a thousand records:

    a third of their time. Dialects of one kind, all with the same options, count as one here.
    """
    compiled, set_up = LRUCache(2000), Engine.__init__

    def sharing(engine: Engine, *given: Any, **named: Any) -> None:
        set_up(engine, *given, **named)
        engine._compiled_cache = compiled

    def same(one: Dialect, other: object) -> bool:
        return type(one) is type(other)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Engine, "__init__", sharing)
        for kind in (SQLiteDialect_pysqlite, PGDialect_psycopg):
            patch.setattr(kind, "__eq__", same)
            patch.setattr(kind, "__hash__", lambda one: hash(type(one)))
        yield


@pytest.fixture(scope="session", autouse=True)
def _nothing_waits_for_the_disk() -> Iterator[None]:
    """Tests write thousands of commits, none of which has to survive a power failure."""

    def unsynced(connection: sqlite3.Connection, given: Any) -> None:
        SET_SQLITE(connection, given)
        connection.execute("PRAGMA synchronous = OFF")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(database, "_set_sqlite", unsynced)
        yield


@pytest.fixture
def commits_reach_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Open records as users do; to be named before a record."""
    monkeypatch.setattr(database, "_set_sqlite", SET_SQLITE)


@pytest.fixture(scope="module")
def commands_measure_once(shared: Path) -> Iterator[None]:
    """Let commands share what they open, and pages and commands what they measure."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ui.cli.progress.open_photo", partial(opened_once, shared))
        patch.setattr("ui.cli.progress.measure_photo", partial(measured_once, shared))
        yield


@pytest.fixture(scope="module")
def scale_read_once() -> Iterator[None]:
    """Let many lines on one photograph share its scale and its cards, the slowest steps."""
    from vision.findings import RefusedError
    from vision.scale_rule import measure
    from vision.scale_rule.scale import Scale, ScaleRequest, read_scale
    from vision.target.detect import FoundCard, find_cards

    read: dict[object, Scale] = {}
    found: dict[str, tuple[FoundCard, ...] | RefusedError] = {}

    def cards_once(pixels: Pixels) -> tuple[FoundCard, ...]:
        seen = f"{pixels.shape} {sha256(np.ascontiguousarray(pixels)).hexdigest()}"
        if seen not in found:
            try:
                found[seen] = find_cards(pixels)
            except RefusedError as none:
                found[seen] = none
        cards = found[seen]
        if isinstance(cards, RefusedError):
            raise cards
        return cards

    def once(photo: Photo, asked: ScaleRequest) -> Scale:
        seen = photo.sha256, photo.focal_px, photo.u_focal_px, photo.taken_px
        said = asked.rule_px, asked.length_mm, asked.u_length_mm, asked.graduations
        if (seen, said) not in read:
            read[seen, said] = read_scale(photo, asked)
        return read[seen, said]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(measure, "read_scale", once)
        patch.setattr(measure, "find_cards", cards_once)
        yield


def pytest_collection_finish() -> None:
    """Exclude imported and collected objects from every later garbage collection.

    And collect less often: records and pages make many small, short-lived objects.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)
    gc.enable()
