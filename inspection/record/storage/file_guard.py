"""Guards a SQLite record's file: it must be the one that was opened, with its own log.

SQLite goes on writing to a file that was deleted or replaced while open, and replays whatever
write-ahead log is beside a file (sqlite.org/howtocorrupt.html, 1.3 and 1.4). Both lose entries
silently, so both are checked before anything is read or written.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from inspection.record.errors import RecordError

FileMark = tuple[int, int]
WAL_HEADER_BYTES = 32


def mark_of(path: Path) -> FileMark | None:
    """Return what distinguishes a file from any other; None if it does not exist."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def refuse_another_file(path: Path, mark: FileMark, where: str) -> None:
    """Refuse a record whose file is gone, or is not the one that was opened.

    Raises
    ------
    RecordError
        If so; nothing is saved.
    """
    now = mark_of(path)
    if now == mark:
        return
    if now is None:
        raise RecordError(
            f"The record {where} is gone: its file was deleted or moved while it was open. This "
            "change was not saved; put the file back, or restore the last backup."
        )
    raise RecordError(
        f"The record {where} was replaced: the file in its place is not the one that was opened. "
        "This change was not saved; stop the program, find out which of the two files is the right "
        "one, and start it again."
    )


def refuse_missing(path: Path) -> None:
    """Refuse a record without a file, or whose file has lost its content.

    A file without a byte and without a log would be opened as a new record, and pass for sound.

    Raises
    ------
    RecordError
        If so; the file is left as it is.
    """
    if not path.exists():
        raise RecordError(
            f"there is no record at {path}; check the path, or create one with "
            "`ropephoto record init`."
        )
    log = path.with_name(f"{path.name}-wal")
    if path.stat().st_size == 0 and not (log.exists() and log.stat().st_size > WAL_HEADER_BYTES):
        raise RecordError(
            f"The record {path} has no content (0 bytes): it was cut off, or never created. "
            "Restore the last backup, or create it with `ropephoto record init`."
        )


def refuse_foreign_log(path: Path, where: str) -> None:
    """Refuse a record that has another file's write-ahead log beside it.

    The file alone and the file with its log are compared: the log must continue where the file's
    own chain ends. Both are only read.

    Raises
    ------
    RecordError
        If they don't belong together; both are left as they are.
    """
    log = path.with_name(f"{path.name}-wal")
    try:
        if not path.stat().st_size or log.stat().st_size <= WAL_HEADER_BYTES:
            return
    except OSError:
        return
    try:
        alone = _head(path, "immutable=1")
    except sqlite3.Error:  # an interrupted checkpoint may have left the file inconsistent
        alone = None
    try:
        if alone is not None and _head(path, "mode=ro") == alone:
            return
        fits = _goes_on(path, alone)
    except sqlite3.OperationalError:  # locked or not readable: opening it will report that
        return
    except sqlite3.DatabaseError:
        fits = False
    if not fits:
        raise RecordError(
            f"The record {where} and the write-ahead log beside it ({log.name}) don't belong "
            "together: the file was replaced while its log stayed. Nothing was changed; move the "
            f"log to another folder and keep it, or put back the file that {log.name} belongs to."
        )


def _connect(path: Path, how: str) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?{how}", uri=True)


def _head(path: Path, how: str) -> tuple[int, str]:
    with closing(_connect(path, how)) as connection:
        row = connection.execute("SELECT sequence, hash FROM head").fetchone()
        return (0, "") if row is None else (int(row[0]), str(row[1]))


def _goes_on(path: Path, alone: tuple[int, str] | None) -> bool:
    """Return whether the file with its log is intact and continues from the file alone."""
    with closing(_connect(path, "mode=ro")) as connection:
        last, end = connection.execute("SELECT sequence, hash FROM head").fetchone()
        (count,) = connection.execute("SELECT count(*) FROM events").fetchone()
        after = 0 if alone is None else alone[0]
        previous = None if not after else alone and alone[1]
        if count != last or last < after:
            return False
        if after:
            query = "SELECT hash FROM events WHERE sequence = ?"
            if connection.execute(query, (after,)).fetchone() != (previous,):
                return False
        listed = "SELECT previous, hash FROM events WHERE sequence > ? ORDER BY sequence"
        for before, own in connection.execute(listed, (after,)):
            if previous is not None and before != previous:
                return False
            previous = own
        if last and previous != end:
            return False
        return bool(connection.execute("PRAGMA quick_check(1)").fetchone() == ("ok",))
