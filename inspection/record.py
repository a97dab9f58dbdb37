"""The record: ropes, gauges, inspections and all that was ever said about them.

Every change is an event, added to the end of a chain of hashes; nothing is overwritten or
deleted, a correction supersedes. Plain methods, no sessions: each call that changes something
is saved when it returns, or nothing of it is.
"""

from __future__ import annotations

from pathlib import Path

from inspection.photographs import PhotographStore
from inspection.record_access import Access
from inspection.record_book import Record
from inspection.record_entries import (
    LoggedFinding,
    LoggedReading,
    OpenInspection,
    Photograph,
    Review,
    ReviewState,
    StationReview,
    StationState,
    Summary,
)
from inspection.record_errors import RecordError, StaleError
from inspection.record_events import Event
from inspection.record_open import bring_up_to_date, make_engine, shown, sqlite_path
from inspection.record_verify import Backup, Verification, photographs_beside

__all__ = [
    "Backup",
    "Event",
    "LoggedFinding",
    "LoggedReading",
    "OpenInspection",
    "Photograph",
    "Record",
    "RecordError",
    "Review",
    "ReviewState",
    "StaleError",
    "StationReview",
    "StationState",
    "Summary",
    "Verification",
    "open_record",
]


def open_record(where: str | Path, *, photographs: str | Path | None = None,
                create: bool = True) -> Record:  # fmt: skip
    """Open a record, make it if it is not there, and bring its tables up to date.

    Parameters
    ----------
    where : str or Path
        Path of a SQLite file, or a URL like ``postgresql://user@host/name``.
    photographs : str or Path, optional
        Folder or fsspec URL of the photographs; by default a folder beside the SQLite file.
        A database record has no default, and needs it once photographs are used.
    create : bool, optional
        False refuses to make a new SQLite file.

    Raises
    ------
    RecordError
        If it can't be opened, is no record, or was made by a newer version of the program.

    Examples
    --------
    >>> import tempfile, datetime
    >>> from inspection.rope import Inspection, Rope
    >>> folder = tempfile.TemporaryDirectory()
    >>> with open_record(folder.name + "/record.db") as record:
    ...     record.add_rope(Rope("hoist rope 1", 22.0), by="A. Berg")
    ...     record.add_inspection(
    ...         Inspection("2026-11", "hoist rope 1", datetime.date(2026, 11, 2)), by="A. Berg")
    ...     record.inspection("2026-11").state, record.verify().sound
    ('open', True)
    >>> folder.cleanup()
    """
    engine = make_engine(where)
    path = sqlite_path(engine)
    if path is not None and not create and not path.exists():
        raise RecordError(
            f"there is no record at {path}; check the path, or make one with "
            "`ropephoto record init`."
        )
    if photographs is None:
        photographs = "" if path is None else photographs_beside(path)
    try:
        bring_up_to_date(engine, shown(where))
    except BaseException:
        engine.dispose()
        raise
    return Record(Access(engine, shown(where)), PhotographStore(str(photographs)))
