"""Photographs that are known to be missing: a JSON export holds none.

A restored record lists those that were not in its store at the time. One that has been seen there
since is taken off the list, so a later loss is a fault as in any other record.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlalchemy import Connection, delete, insert, select

from inspection.record.storage.database import Access, is_read_only, sqlite_path
from inspection.record.storage.photo_store import PhotographStore
from inspection.record.storage.schema import not_restored, photographs


def note_missing(connection: Connection, store: PhotographStore) -> None:
    """List the photographs that a record just restored names and its store does not hold."""
    named = [*photograph_hashes(connection), *preview_hashes(connection)]
    missing = store.missing(named) if store.where else named
    if missing:
        connection.execute(insert(not_restored), [{"sha256": sha256} for sha256 in missing])


def known_missing(connection: Connection) -> frozenset[str]:
    """Return the hashes of photographs and previews on the list."""
    return frozenset(connection.execute(select(not_restored.c.sha256)).scalars())


def forget(connection: Connection, found: Iterable[str]) -> None:
    """Take photographs off the list."""
    for sha256 in found:
        connection.execute(delete(not_restored).where(not_restored.c.sha256 == sha256))


def note_found(access: Access, found: Sequence[str]) -> None:
    """Take photographs off the list, unless the record can only be read."""
    path = sqlite_path(access.engine)
    if found and access.batch is None and not (path and is_read_only(path)):
        with access.writing() as connection:
            forget(connection, found)


def photograph_hashes(connection: Connection) -> list[str]:
    """Return the SHA-256 of every photograph that the record names, sorted."""
    query = select(photographs.c.sha256).distinct().order_by(photographs.c.sha256)
    return list(connection.execute(query).scalars())


def preview_hashes(connection: Connection) -> list[str]:
    """Return the SHA-256 of every preview that the record names, sorted."""
    query = select(photographs.c.preview).distinct().order_by(photographs.c.preview)
    return list(connection.execute(query.where(photographs.c.preview != "")).scalars())


def missing_note(absent: Sequence[str]) -> str:
    """Return the sentence about photographs known to be missing; empty without any."""
    if not absent:
        return ""
    which = "1 photograph is" if len(absent) == 1 else f"{len(absent)} photographs are"
    it = "it was" if len(absent) == 1 else "they were"
    return (
        f"{which} known to be missing: {it} not in the export that this record was restored from. "
        "Copy the folder of photographs beside the record, or name it with --photographs."
    )
