"""The record's state rebuilt from its events, in a separate file, for comparison.

If a folder is given the file stays in it, with how far it goes: an interrupted `verify` resumes
there, and the next one applies only what is new. The chain itself is always read completely.
Anyone who can write to that folder can falsify the comparison, so it must be the verifier's own.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, select

from inspection.record.changes.projection import apply_event
from inspection.record.errors import RecordError
from inspection.record.storage.database import make_engine
from inspection.record.storage.events import iter_events
from inspection.record.storage.schema import STATE, events, metadata

EventProgress = Callable[[int, int], None]  # events done, events in all
BATCH = 500  # events between two points from which an interrupted run can resume


class NotReplayableError(ValueError):
    """An event that this program can't have written; the message says which."""


@contextmanager
def rebuilt_state(
    connection: Connection, *, work: Path | None = None, progress: EventProgress | None = None
) -> Iterator[Connection]:
    """Yield a database with the state that follows from the record's events.

    Parameters
    ----------
    connection : Connection
        The record, its chain already verified.
    work : Path or None, optional
        Folder in which the database is kept; created if necessary.
    progress : callable, optional
        Called with the number of events done and the total.

    Raises
    ------
    NotReplayableError
        If an event can't be applied.
    RecordError
        If the folder can't be written.
    """
    if work is None:
        with (
            tempfile.TemporaryDirectory() as folder,
            _rebuilt(connection, Path(folder) / "rebuilt.db", progress) as rebuilt,
        ):
            yield rebuilt
        return
    make_folder(work)
    with _rebuilt(connection, work / "rebuilt.db", progress) as rebuilt:
        yield rebuilt


def make_folder(folder: Path) -> None:
    """Create a folder unless it exists; raise RecordError if that fails."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RecordError(f"{folder} can't be created: {error.strerror or error}.") from error


@contextmanager
def _rebuilt(
    connection: Connection, path: Path, progress: EventProgress | None
) -> Iterator[Connection]:
    engine = make_engine(path)
    try:
        with engine.connect() as rebuilt:
            rebuilt.exec_driver_sql("COMMIT")  # settings can't change inside a transaction
            rebuilt.exec_driver_sql("PRAGMA synchronous = OFF")  # it can always be rebuilt
            done = _goes_to(connection, rebuilt)
            total = (
                connection.execute(
                    select(events.c.sequence).order_by(events.c.sequence.desc()).limit(1)
                ).scalar()
                or 0
            )
            rebuilt.exec_driver_sql("BEGIN IMMEDIATE")
            for event in iter_events(connection, after=done):
                try:
                    apply_event(rebuilt, event)
                except Exception as error:
                    raise NotReplayableError(
                        f"event {event.sequence} ({event.kind}): can't be applied "
                        f"({type(error).__name__}); it was not made by this program."
                    ) from error
                if event.sequence % BATCH == 0 or event.sequence == total:
                    rebuilt.exec_driver_sql("DELETE FROM rebuilt_to")
                    rebuilt.exec_driver_sql(
                        "INSERT INTO rebuilt_to VALUES (?, ?, ?)",
                        (event.sequence, event.hash, _shape()),
                    )
                    rebuilt.exec_driver_sql("COMMIT")
                    if progress is not None:
                        progress(event.sequence, total)
                    rebuilt.exec_driver_sql("BEGIN IMMEDIATE")
            yield rebuilt
    finally:
        engine.dispose()


def _goes_to(connection: Connection, rebuilt: Connection) -> int:
    """Return the last event in the stored state; start again if it belongs to another record."""
    rebuilt.exec_driver_sql(
        "CREATE TABLE IF NOT EXISTS rebuilt_to (sequence INTEGER, hash TEXT, shape TEXT)"
    )
    kept = rebuilt.exec_driver_sql("SELECT sequence, hash, shape FROM rebuilt_to").one_or_none()
    if kept is not None and kept.shape == _shape():
        query = select(events.c.hash).where(events.c.sequence == kept.sequence)
        if connection.execute(query).scalar() == kept.hash:
            return int(kept.sequence)
    rebuilt.exec_driver_sql("PRAGMA foreign_keys = OFF")
    metadata.drop_all(rebuilt)
    rebuilt.exec_driver_sql("DELETE FROM rebuilt_to")
    metadata.create_all(rebuilt)
    rebuilt.exec_driver_sql("PRAGMA foreign_keys = ON")
    return 0


def _shape() -> str:
    """Return a hash that changes with the tables of this program's version."""
    named = [f"{table.name}.{column.name}" for table in STATE for column in table.columns]
    return hashlib.sha256(" ".join(named).encode()).hexdigest()
