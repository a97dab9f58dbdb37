"""Errors between a record and its disk or database, in one sentence each."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import exc


class RecordError(ValueError):
    """The record can't do what was requested; the message is one sentence that says why."""


class DamagedError(RecordError):
    """The record's file or its chain of events is damaged: nothing in it can be relied on."""


class ClosedError(RecordError):
    """The inspection is closed; nothing in it changes until the decision is withdrawn."""


class StaleError(RecordError):
    """Someone else changed the same thing first; nothing was overwritten, nothing is lost.

    Parameters
    ----------
    message : str
        Who changed what, and when.
    change : object
        What the caller wanted to save, as plain values.
    draft_kept : bool
        True where `change` was also kept as the caller's draft of the inspection.
    """

    def __init__(self, message: str, *, change: Any = None, draft_kept: bool = False) -> None:
        super().__init__(message)
        self.change = change
        self.draft_kept = draft_kept


_DAMAGED = "is damaged; restore the last backup, and keep the damaged file."
# SQLite's messages (sqlite.org/rescode.html lists them), and what a person can do about each.
# Where one contains another, the longer comes first.
_SQLITE_WORDS = {
    "database is locked": "is locked by another program that is writing; wait a moment and try "
    "again.",
    "database table is locked": "is locked by another program that is writing; wait a moment "
    "and try again.",
    "readonly database": "can only be read: the file or its folder is write-protected; grant "
    "write permission or copy it elsewhere.",
    "database or disk is full": "could not be written: the disk is full; free some space and try "
    "again. Nothing saved before is lost.",
    "unable to open database file": "can't be opened: the folder is missing, or there is no "
    "permission to read and write it; check the path and its permissions.",
    "file is not a database": "is not a record: the file is something else, or it is encrypted; "
    "check the path.",
    "disk image is malformed": _DAMAGED,
    "Could not decode to UTF-8": _DAMAGED,
    "disk I/O error": "could not be read or written: the disk reported an error; check the disk, "
    "and restore the last backup if the error persists.",
    "events are only ever added": "keeps every event: none can be changed or deleted; add a "
    "correction instead.",
}

# What SQLite says if not even its side files, which it needs to read, find room on the disk. Their
# advice would be wrong then: a backup restored over a sound record.
_PERHAPS_FULL = ("unable to open database file", "disk I/O error")
LEAST_FREE_BYTES = 65_536  # the index of the log takes 32 KiB

# The driver's messages for a server that is stopped, is starting, or was stopped during a call.
_NO_ANSWER = (
    "connection is bad", "connection failed", "timeout", "terminating connection",
    "server closed the connection", "connection is closed", "connection is lost",
    "consuming input failed", "shutting down", "starting up",
)  # fmt: skip


@contextmanager
def plainly(where: str) -> Iterator[None]:
    """Turn any database error raised inside into a `RecordError` with one sentence.

    Parameters
    ----------
    where : str
        The record, as the user named it.
    """
    try:
        yield
    except exc.SQLAlchemyError as error:
        raise _record_error(where, getattr(error, "orig", None) or error) from error
    except sqlite3.Error as error:
        raise _record_error(where, error) from error
    except json.JSONDecodeError as error:  # the program stores whole JSON only
        raise DamagedError(f"The record {where} {_DAMAGED}") from error


def _record_error(where: str, cause: BaseException) -> RecordError:
    sentence = _sentence(where, cause)
    return DamagedError(sentence) if sentence.endswith(_DAMAGED) else RecordError(sentence)


def _is_full(where: str) -> bool:
    try:
        return shutil.disk_usage(Path(where).parent).free < LEAST_FREE_BYTES
    except OSError:  # no such folder
        return False


def _sentence(where: str, cause: BaseException) -> str:
    message = str(cause)
    for words, sentence in _SQLITE_WORDS.items():
        if words in message:
            if words in _PERHAPS_FULL and _is_full(where):
                sentence = _SQLITE_WORDS["database or disk is full"]
            return f"The record {where} {sentence}"
    first_line = message.strip().splitlines()[0] if message.strip() else type(cause).__name__
    if any(words in message for words in _NO_ANSWER):
        return (
            f"The record's database {where} does not answer ({first_line}); is it running? "
            "Nothing saved is lost: try again once it is running."
        )
    return f"The record {where} could not be used: {first_line.rstrip('.')}."
