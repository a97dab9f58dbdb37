"""Opening a record: which database, with which settings, and at which version of its tables.

Transactions: a record is read as at one moment, and written completely or not at all.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import ArgumentError

from inspection.record.errors import RecordError, StaleError, plainly
from inspection.record.storage import drafts
from inspection.record.storage.events import lock_head
from inspection.record.storage.file_guard import FileMark, refuse_another_file

MIGRATIONS = Path(__file__).parents[1] / "migrations"
BUSY_MS = 10_000

# On PostgreSQL two programs that open a new record at once must not both create its tables.
_ADVISORY_LOCK = 772_031
# Alembic keeps its current migration in one global place.
_one_at_a_time = threading.Lock()


def make_engine(where: str | Path) -> Engine:
    """Return an engine for a SQLite file (a path) or for a database (a URL).

    Parameters
    ----------
    where : str or Path
        Path of a SQLite file, or a URL such as ``postgresql://user@host/name``.

    Raises
    ------
    RecordError
        If the URL is not valid, or its database is not supported.
    """
    if "://" not in str(where):
        path = Path(where).expanduser()
        if not str(where).strip() or path.is_dir():
            raise RecordError(f"{str(where)!r} is not a record; give the path of a file.")
        return _sqlite_engine(path)
    try:
        url = make_url(str(where))
    except ArgumentError as error:
        raise RecordError(
            f"{str(where).split('://')[0]}://... can't be read as a database URL; "
            "write it like postgresql://user@host/name."
        ) from error
    kind = url.get_backend_name()
    if kind == "sqlite" and url.database:
        return _sqlite_engine(Path(url.database))
    if kind != "postgresql":
        raise RecordError(
            f"records are stored in SQLite files or in PostgreSQL, not in {url.drivername!r}."
        )
    try:
        return create_engine(url.set(drivername="postgresql+psycopg"), pool_pre_ping=True)
    except ImportError as error:
        raise RecordError(
            "PostgreSQL needs the package psycopg; install it with pip install '.[postgres]'."
        ) from error


def shown(where: str | Path) -> str:
    """Return the location of a record for display, without a password."""
    return make_url(str(where)).render_as_string() if "://" in str(where) else str(where)


def sqlite_path(engine: Engine) -> Path | None:
    """Return the file of an engine; None if it has none."""
    if engine.dialect.name != "sqlite" or engine.url.database is None:
        return None
    return Path(engine.url.database)


def _sqlite_engine(path: Path) -> Engine:
    url = URL.create("sqlite", database=str(path.absolute()))
    if is_read_only(path):
        engine = create_engine(url, creator=lambda: _connect_to_read(path))
    else:
        engine = create_engine(url, connect_args={"timeout": BUSY_MS / 1000})
        event.listen(engine, "connect", _set_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def is_read_only(path: Path) -> bool:
    """Return whether a record is where nothing can be written: a disc, a share, a backup."""
    return path.exists() and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK))


def _connect_to_read(path: Path) -> sqlite3.Connection:
    """Open a file in a place where nothing can be written.

    SQLite creates side files even to read a record with a write-ahead log; a file that nobody can
    change is opened as immutable (sqlite.org/uri.html). A log that holds entries is not ignored:
    it is read, or the file is refused.
    """
    log = path.with_name(f"{path.name}-wal")
    full = log.exists() and log.stat().st_size > 0
    how = "mode=ro" if full else "mode=ro&immutable=1"
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?{how}",
        uri=True,
        timeout=BUSY_MS / 1000,
        check_same_thread=False,
    )
    connection.isolation_level = None
    return connection


def _set_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    # The driver's own transactions begin too late (at the first write); we issue BEGIN ourselves.
    connection.isolation_level = None
    for setting in (
        f"busy_timeout = {BUSY_MS}",
        "synchronous = FULL",  # commits survive a power failure (sqlite.org/pragma.html)
        "foreign_keys = ON",
        "recursive_triggers = ON",  # else REPLACE would delete without firing the triggers
    ):
        connection.execute(f"PRAGMA {setting}")
    _set_write_ahead(connection)


def _set_write_ahead(connection: sqlite3.Connection) -> None:
    """Turn on the write-ahead log: readers don't wait for the writer, nor the writer for readers.

    SQLite does not wait for this lock by itself, so programs that open a new file at the same time
    could find it locked.
    """
    until = time.monotonic() + BUSY_MS / 1000
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            locked = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
            if not locked or time.monotonic() > until:
                raise
            time.sleep(0.01)


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    # A writer takes the lock at once, so nobody else can write between its reading and writing.
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def writer(engine: Engine) -> Engine:
    """Return the engine in the form for writing transactions."""
    return engine.execution_options(writing=True)


def upgrade_schema(engine: Engine, where: str, *, create: bool = True) -> Path | None:
    """Create the tables of a new record (with `create`), or upgrade an older one to this version.

    Before a SQLite record is changed, a copy of the file is placed beside it.

    Returns
    -------
    copy : Path or None
        The copy, if one was made.

    Raises
    ------
    RecordError
        If the database is not a record, or was made by a newer version of the program; without
        `create`, if it is empty.
    """
    with plainly(where):
        known = _versions()
        newest = known[-1]
        with engine.connect() as connection:
            version = _version(connection)
        if version == newest:
            return None
        if version is None and not create:
            raise RecordError(
                f"there is no record in {where}; check the address, or create one with "
                "`ropephoto record init`."
            )
        if version is not None and version not in known:
            raise RecordError(
                f"The record {where} was made by a newer version of this program (its tables "
                f"are version {version}, this program knows {newest}); install the newer version."
            )
        path = sqlite_path(engine)
        if path is not None and is_read_only(path):
            raise RecordError(
                f"The record {where} was made by an older version of this program and is where "
                "nothing can be written: copy it to a folder of your own and open it there."
            )
        copy = None if version is None else _copy_before(engine, f"{version}-to-{newest}")
        with _one_at_a_time, writer(engine).begin() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(text(f"SELECT pg_advisory_xact_lock({_ADVISORY_LOCK})"))
            config = _config()
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            if _version(connection) != newest:
                raise RecordError(f"The record {where} could not be upgraded to version {newest}.")
        return copy


def _version(connection: Connection) -> str | None:
    version = MigrationContext.configure(connection).get_current_revision()
    if version is None:
        others = [name for name in inspect(connection).get_table_names() if name != "events"]
        if "alembic_version" not in others and others:
            raise RecordError(
                "the database holds other tables "
                f"({', '.join(sorted(others)[:3])}) and is not a record; use an empty one."
            )
    return version


def _versions() -> list[str]:
    """Return the versions of the tables, the newest last: their files are named after them."""
    return sorted(path.stem[1:5] for path in (MIGRATIONS / "versions").glob("v*.py"))


def _config() -> Config:
    config = Config()
    # a % would be interpreted as a reference to another option
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def _copy_before(engine: Engine, what: str) -> Path | None:
    path = sqlite_path(engine)
    if path is None:
        return None
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    copy = path.with_name(f"{path.name}.before-{what}-{stamp}")
    copy_sqlite(engine, copy)
    return copy


def copy_sqlite(engine: Engine, copy: Path) -> None:
    """Copy a SQLite record, in use or not, through SQLite's online backup.

    Raises
    ------
    RecordError
        If `copy` already exists, or can't be written.
    """
    if copy.exists():
        raise RecordError(f"{copy} already exists; choose another place for the copy.")
    part = copy.with_name(f"{copy.name}.part")
    part.unlink(missing_ok=True)
    raw = engine.raw_connection()
    try:
        with plainly(str(copy)):
            target = sqlite3.connect(part)
            try:
                driver = raw.driver_connection
                assert isinstance(driver, sqlite3.Connection)
                driver.backup(target)
                # a copy is a single file that can be read without side files
                target.execute("PRAGMA journal_mode = DELETE")
            finally:
                target.close()
    finally:
        raw.close()
    part.replace(copy)


@dataclass(frozen=True, slots=True)
class Access:
    """The way to a record's database.

    Parameters
    ----------
    engine : Engine
        The database.
    where : str
        What to call it in messages.
    batch : Connection or None
        The transaction shared by all calls, if they are saved together.
    mark : tuple or None
        What distinguishes the SQLite file that was opened from any other.
    """

    engine: Engine
    where: str
    batch: Connection | None = None
    mark: FileMark | None = None

    def _refuse_another_file(self) -> None:
        path = sqlite_path(self.engine)
        if path is not None and self.mark is not None:
            refuse_another_file(path, self.mark, self.where)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection that sees the record as it is at one moment."""
        if self.batch is not None:
            yield self.batch
            return
        self._refuse_another_file()
        engine = self.engine
        if engine.dialect.name == "postgresql":  # SQLite always reads as at one moment
            engine = engine.execution_options(isolation_level="REPEATABLE READ")
        with plainly(self.where), engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(
        self, by: str = "", inspection: str = "", revision: int | None = None
    ) -> Iterator[Connection]:
        """Yield a connection whose changes are all saved at the end, or none of them.

        If the change comes too late (`StaleError`), it is stored as the draft of `by` about
        `inspection`.
        """
        if self.batch is not None:
            yield self.batch
            return
        self._refuse_another_file()
        try:
            with plainly(self.where), writer(self.engine).begin() as connection:
                lock_head(connection)  # before reading anything that the change depends on
                yield connection
                self._refuse_another_file()  # anything saved in a deleted file is lost
        except StaleError as error:
            if not by or error.change is None:
                raise
            with self.writing() as connection:
                drafts.save(connection, by, inspection, error.change, revision or 0, kind="unsaved")
            message = f"{error} Your change was kept as your draft."
            raise StaleError(message, change=error.change, draft_kept=True) from None
