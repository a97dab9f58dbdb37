"""Back up a record beside it, in a folder named by date and time."""

from __future__ import annotations

from datetime import UTC, datetime

from inspection.record.errors import RecordError
from inspection.record.integrity.verify import Backup
from inspection.record.record import Record
from inspection.record.storage.database import sqlite_path


def back_up_now(record: Record) -> Backup:
    """Copy a record with its photographs into the folder "backups" beside it, and verify the copy.

    Raises
    ------
    RecordError
        If it is on a database server, or the copy can't be made or does not verify.
    """
    path = sqlite_path(record.access.engine)
    if path is None:
        raise RecordError(
            "the record is on a database server: back it up with the server's own dump tool, or "
            "export it as JSON."
        )
    stamp = datetime.now(UTC).strftime("%Y-%m-%dT%H%M%SZ")
    return record.backup(path.parent / "backups" / stamp)
