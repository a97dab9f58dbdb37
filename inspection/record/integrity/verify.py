"""Whether a record is what was saved: the chain, the state that follows from it, photographs.

Also its backup, which counts as one only after it has been verified.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, Table, collate, select

from inspection.record.errors import DamagedError, RecordError, plainly
from inspection.record.integrity.rebuild import (
    EventProgress,
    NotReplayableError,
    make_folder,
    rebuilt_state,
)
from inspection.record.storage.database import Access, copy_sqlite, make_engine, sqlite_path, writer
from inspection.record.storage.events import (
    MOST_LISTED,
    chain_faults,
    clock_notes,
    fingerprint,
    noted_fault,
)
from inspection.record.storage.not_restored import (
    known_missing,
    missing_note,
    photograph_hashes,
    preview_hashes,
)
from inspection.record.storage.photo_store import NOWHERE, PhotographStore
from inspection.record.storage.schema import STATE


@dataclass(frozen=True, slots=True)
class Verification:
    """What `verify` found.

    Parameters
    ----------
    events : int
        How many events the head counts.
    fingerprint : str
        Count and hash of the last event; note it somewhere else.
    faults : tuple of str
        What is wrong, a sentence each; empty if nothing is.
    photographs : int or None
        How many photographs were read and compared; None if they were not checked.
    notes : tuple of str
        What is not a fault but should be known: where times run backwards, and photographs that
        an export did not bring.
    absent : int
        Photographs known to be missing; not among `photographs`.
    found : tuple of str
        Hashes that were known to be missing and are there now.
    """

    events: int
    fingerprint: str
    faults: tuple[str, ...]
    photographs: int | None
    notes: tuple[str, ...] = ()
    absent: int = 0
    found: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """True if nothing is wrong."""
        return not self.faults


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was made and verified.

    Parameters
    ----------
    path : Path
        The copied record.
    fingerprint : str
        Fingerprint of the copy.
    photographs : int
        Photographs copied.
    missing : tuple of str
        A sentence for each photograph that could not be copied.
    absent : int
        Photographs known to be missing, because an export did not bring them.
    """

    path: Path
    fingerprint: str
    photographs: int
    missing: tuple[str, ...]
    absent: int = 0


def verify(
    connection: Connection,
    *,
    noted: str | None = None,
    store: PhotographStore | None = None,
    work: Path | None = None,
    progress: EventProgress | None = None,
) -> Verification:
    """Return whether the chain is intact, the state follows from it, and photographs are unchanged.

    Parameters
    ----------
    connection : Connection
        Inside one transaction, so that concurrent writing does not interfere.
    noted : str, optional
        A fingerprint that was noted earlier.
    store : PhotographStore, optional
        The store of the photographs; None leaves them unread.
    work, progress : optional
        As in `inspection.record.integrity.rebuild.rebuilt_state`.

    Raises
    ------
    RecordError
        If the record names photographs and no store of them is known.
    """
    faults = [*file_faults(connection), *chain_faults(connection)]
    missing = guard_faults(connection)
    if noted is not None:
        wrong = noted_fault(connection, noted)
        if wrong is not None:
            faults.append(wrong)
    if not faults:  # with a broken chain there is nothing to compare the state with
        faults += _state_faults(connection, work=work, progress=progress)
    faults += missing
    notes = clock_notes(connection)
    read: int | None = None
    absent: list[str] = []
    found: list[str] = []
    if store is not None:
        hashes = photograph_hashes(connection)
        listed = known_missing(connection)
        if set(hashes) - listed and not store.where:
            raise RecordError(NOWHERE)
        gone = set(store.missing(sorted(listed)) if store.where else listed)
        absent = [sha256 for sha256 in hashes if sha256 in gone]
        found = sorted(listed - gone)
        read = len(hashes) - len(absent)
        for sha256 in (*hashes, *preview_hashes(connection)):
            try:
                if sha256 not in gone:
                    store.get(sha256)
            except RecordError as error:
                faults.append(str(error))
        if absent:
            notes.append(missing_note(absent))
    try:
        mark = fingerprint(connection)
    except Exception:  # a missing head is already among the faults
        mark = "0-"
    return Verification(
        int(mark.split("-")[0]), mark, tuple(faults), read, tuple(notes), len(absent), tuple(found)
    )


def refuse_damage(access: Access) -> None:
    """Refuse a record whose file or chain of events is damaged, before anything is concluded.

    Raises
    ------
    DamagedError
        If so; the message names the first fault.
    """
    with access.reading() as connection:
        faults = file_faults(connection) or chain_faults(connection, most=1)
    if faults:
        raise DamagedError(
            f"The record {access.where} is damaged or was changed outside this program: "
            f"{faults[0]} Keep the file as it is and restore the last backup; `ropephoto record "
            "verify` lists every fault."
        )


def file_faults(connection: Connection) -> list[str]:
    """Return a sentence if pages of a SQLite file are damaged, even ones seldom read."""
    if connection.dialect.name != "sqlite":
        return []
    said = str(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar())
    if said == "ok":
        return []
    where = " ".join(said.removeprefix("*** in database main ***").split()).rstrip(".")
    return [f"the file is not intact ({where})."]


def _state_faults(
    connection: Connection, *, work: Path | None, progress: EventProgress | None
) -> list[str]:
    """Rebuild the state from the events, in a separate file, and compare row by row."""
    faults: list[str] = []
    try:
        with rebuilt_state(connection, work=work, progress=progress) as again:
            for table in STATE:
                for fault in _differences(table, connection, again):
                    faults.append(fault)
                    if len(faults) >= MOST_LISTED:
                        return [*faults, "more rows differ; only the first are listed."]
    except NotReplayableError as wrong:
        return [str(wrong)]
    return faults


# The triggers that refuse to change or delete an event, and the text that each must contain.
GUARDS = {
    "sqlite": {
        "events_never_change": "BEFORE UPDATE ON events",
        "events_never_go": "BEFORE DELETE ON events",
    },
    "postgresql": {"events_never_change": "", "events_never_go": ""},
}


def guard_faults(connection: Connection) -> list[str]:
    """Return a sentence for each missing trigger that protects events from being changed."""
    kind = connection.dialect.name
    query = (
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        if kind == "sqlite"
        else "SELECT tgname, '' FROM pg_trigger WHERE tgenabled <> 'D' AND NOT tgisinternal"
    )
    there = {str(name): str(sql) for name, sql in connection.exec_driver_sql(query)}
    return [
        f"the guard {name!r}, which protects events from being changed, is missing or was altered "
        "outside this program. Compare with the last backup."
        for name, says in GUARDS[kind].items()
        if name not in there
        or says not in there[name]
        or (says and "RAISE(ABORT" not in there[name])
    ]


def _differences(table: Table, here: Connection, rebuilt: Connection) -> Iterator[str]:
    keys = [column.name for column in table.primary_key]

    def key(row: Row[Any]) -> tuple[Any, ...]:
        return tuple(row._mapping[name] for name in keys)

    def named(row: Row[Any]) -> str:
        return f"table {table.name}, {', '.join(str(part) for part in key(row))}"

    ours, theirs = _rows(table, here), _rows(table, rebuilt)
    row, should = next(ours, None), next(theirs, None)
    while row is not None or should is not None:
        if row == should:
            row, should = next(ours, None), next(theirs, None)
            continue
        if should is None or (row is not None and _order(key(row)) < _order(key(should))):
            assert row is not None
            yield f"{named(row)}: is present, but no event accounts for it."
            row = next(ours, None)
        elif row is None or _order(key(should)) < _order(key(row)):
            yield f"{named(should)}: is missing, though the events contain it."
            should = next(theirs, None)
        else:
            names = [column.name for column in table.c]
            differ = [
                f"{name} is {mine!r}, the events say {its!r}"
                for name, mine, its in zip(names, row, should, strict=True)
                if mine != its
            ]
            yield f"{named(row)}: {'; '.join(differ)}."
            row, should = next(ours, None), next(theirs, None)


def _order(key: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(part.encode() if isinstance(part, str) else part for part in key)


def _rows(table: Table, connection: Connection) -> Iterator[Row[Any]]:
    # both databases must sort alike: by bytes, whatever the server's collation
    by_bytes = "C" if connection.dialect.name == "postgresql" else "BINARY"
    order = [
        collate(column, by_bytes) if column.type.python_type is str else column
        for column in table.primary_key
    ]
    query = select(table).order_by(*order).execution_options(yield_per=2000)
    return iter(connection.execute(query))


def back_up(access: Access, store: PhotographStore, to: Path, *, with_photographs: bool) -> Backup:
    """Copy a SQLite record and its photographs into a folder, and verify the copy.

    Raises
    ------
    RecordError
        If the record is not a SQLite file, the copy already exists, or it fails verification.
    """
    path = sqlite_path(access.engine)
    if path is None:
        raise RecordError(
            f"The record {access.where} is on a database server: back it up with the "
            "server's own dump tool (pg_dump), or export it as JSON."
        )
    make_folder(to)
    copy = to / path.name
    copy_sqlite(access.engine, copy)
    copied = make_engine(copy)
    try:
        with plainly(str(copy)), writer(copied).connect() as connection:
            verification = verify(connection)
            hashes, previews = photograph_hashes(connection), preview_hashes(connection)
            listed = known_missing(connection)
            connection.rollback()
    finally:
        copied.dispose()
    if not verification.sound:
        raise RecordError(f"The copy {copy} fails verification: {verification.faults[0]}")
    count: int = 0
    missing: list[str] = []
    gone = set(store.missing(sorted(listed)) if store.where else listed)
    absent = len(gone & set(hashes))
    hashes, previews = ([one for one in some if one not in gone] for some in (hashes, previews))
    if with_photographs and hashes:
        target = PhotographStore(str(photographs_beside(copy)))
        count, missing = store.copy_to(target, iter(hashes))
        missing += store.copy_to(target, iter(previews))[1]
    return Backup(copy, verification.fingerprint, count, tuple(missing), absent)


def photographs_beside(path: Path) -> Path:
    """Return the folder in which a SQLite record's photographs are kept."""
    return path.with_name(f"{path.stem}-photographs")
