"""The record: ropes, gauges, inspections and everything ever entered about them.

One plain method for each entry and each query. Every change is an event at the end of a chain of
hashes; nothing is overwritten. A call saves its change completely, or not at all.
"""

from __future__ import annotations

import weakref
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Table

from inspection.model.closing import Closing
from inspection.model.condition import Condition, Criterion
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope
from inspection.model.serialization import JsonObject, from_dict, to_dict
from inspection.record import queries
from inspection.record.changes import commands, reviews
from inspection.record.integrity import verify
from inspection.record.integrity.rebuild import EventProgress
from inspection.record.integrity.verify import Backup, photographs_beside
from inspection.record.storage import drafts, not_restored
from inspection.record.storage.database import (
    Access,
    make_engine,
    shown,
    sqlite_path,
    upgrade_schema,
)
from inspection.record.storage.events import Event, Signed, fingerprint, iter_events
from inspection.record.storage.file_guard import mark_of, refuse_foreign_log, refuse_missing
from inspection.record.storage.photo_store import PhotographStore
from inspection.record.storage.schema import gauges, print_checks, ropes
from inspection.record.views import (
    AskedAgain,
    InspectionState,
    LoggedReading,
    OpenInspection,
    Photograph,
    Preview,
    ReviewState,
    Summary,
)
from vision.results import Finding, Result


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Record:
    """An open record; made by `open_record`, closed by `close` or at the end of ``with``.

    Methods that change something take `by`, the person, and `why`; those that change what
    others may be editing also take `revision`, the `OpenInspection.revision` that the caller
    saw, and raise `StaleError` if someone else was faster. `revision` None skips that check.
    """

    access: Access
    photographs: PhotographStore

    def __enter__(self) -> Record:
        """Return the record itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the record."""
        self.close()

    def close(self) -> None:
        """Release the database."""
        self.access.engine.dispose()

    def add_rope(self, rope: Rope, *, by: str, why: str = "") -> None:
        """Add a rope that is not in the record yet."""
        commands.check_rope(rope)
        self._save("rope", rope, Signed(by, why))

    def change_rope(self, rope: Rope, *, by: str, why: str) -> None:
        """Replace a rope's description; the earlier one stays in its event."""
        commands.check_rope(rope)
        self._save("rope", rope, Signed(by, why), change=True)

    def rope(self, identity: str) -> Rope:
        """Return a rope."""
        return from_dict(Rope, self._kept(ropes, "rope", identity))

    def ropes(self) -> tuple[Rope, ...]:
        """Return all ropes, by name."""
        return tuple(from_dict(Rope, item) for item in self.definitions(ropes).values())

    def add_gauge(self, gauge: Gauge, *, by: str, why: str = "") -> None:
        """Add a gauge that is not in the record yet."""
        commands.check_gauge(gauge)
        self._save("gauge", gauge, Signed(by, why))

    def change_gauge(self, gauge: Gauge, *, by: str, why: str) -> None:
        """Replace a gauge's description, e.g. after its calibration."""
        commands.check_gauge(gauge)
        self._save("gauge", gauge, Signed(by, why), change=True)

    def gauge(self, identity: str) -> Gauge:
        """Return a gauge."""
        return from_dict(Gauge, self._kept(gauges, "gauge", identity))

    def gauges(self) -> tuple[Gauge, ...]:
        """Return all gauges, by name."""
        return tuple(from_dict(Gauge, item) for item in self.definitions(gauges).values())

    def add_print_check(self, card_set: str, values: JsonObject, *, by: str, why: str = "") -> None:
        """Store the readings of a card set's bars; a later check needs a `why`."""
        self.define(print_checks, "print check", card_set, values, Signed(by, why))

    def print_checks(self) -> dict[str, JsonObject]:
        """Return the print checks by card set."""
        return self.definitions(print_checks)

    # ---- inspections and their entries ----------------------------------------------------

    def add_inspection(self, inspection: Inspection, *, by: str, why: str = "") -> None:
        """Add an inspection of a rope in the record."""
        with self.access.writing() as connection:
            commands.save_inspection(connection, inspection, Signed(by, why))

    def change_inspection(
        self, inspection: Inspection, *, by: str, why: str, revision: int
    ) -> None:
        """Replace date, place, people, tension or stations of an inspection."""
        with self.access.writing(by, inspection.identity, revision) as connection:
            commands.save_inspection(connection, inspection, Signed(by, why, revision))

    def add_readings(
        self,
        inspection: str,
        added: Sequence[Reading],
        *,
        by: str,
        why: str = "",
        revision: int | None = None,
    ) -> tuple[int, ...]:
        """Add readings and return their numbers; either all are saved or none."""
        with self.access.writing(by, inspection, revision) as connection:
            return commands.save_readings(connection, inspection, added, Signed(by, why, revision))

    def correct_reading(
        self,
        inspection: str,
        number: int,
        reading: Reading,
        *,
        by: str,
        why: str,
        revision: int | None = None,
    ) -> None:
        """Supersede a reading; the earlier one stays in its event."""
        with self.access.writing(by, inspection, revision) as connection:
            commands.save_correction(
                connection, inspection, number, reading, Signed(by, why, revision)
            )

    def correct_slip(
        self,
        inspection: str,
        number: int,
        reading: Reading,
        *,
        by: str,
        why: str,
        revision: int | None = None,
    ) -> None:
        """Correct a slip of the pen as its reviewer, who can go on reviewing."""
        with self.access.writing(by, inspection, revision) as connection:
            reviews.save_slip(connection, inspection, number, reading, Signed(by, why, revision))

    def withdraw_reading(
        self, inspection: str, number: int, *, by: str, why: str, revision: int | None = None
    ) -> None:
        """Withdraw a reading; it is kept, marked as withdrawn."""
        with self.access.writing(by, inspection, revision) as connection:
            commands.save_correction(
                connection, inspection, number, None, Signed(by, why, revision)
            )

    def add_results(
        self,
        inspection: str,
        added: Sequence[Result],
        *,
        by: str,
        why: str = "",
        revision: int | None = None,
    ) -> tuple[int, ...]:
        """Add estimates and refusals; each supersedes one of the same photograph and place."""
        with self.access.writing(by, inspection, revision) as connection:
            return commands.save_results(connection, inspection, added, Signed(by, why, revision))

    def replace_result(
        self,
        inspection: str,
        before: Result,
        after: Result | None,
        *,
        by: str,
        why: str,
        revision: int | None = None,
    ) -> None:
        """Supersede a result, whatever its place, or (`after` None) withdraw it."""
        with self.access.writing(by, inspection, revision) as connection:
            commands.save_replacement(
                connection, inspection, before, after, Signed(by, why, revision)
            )

    def store_photograph(self, inspection: str, data: bytes) -> str:
        """Store a photograph's bytes; outside a `transaction` a slow store blocks nobody."""
        with self.access.reading() as connection:
            commands.check_store(connection, inspection, self.photographs)
        return self.photographs.put(data)

    def add_photograph(
        self, inspection: str, data: bytes, *, name: str, by: str, preview: Preview | None = None
    ) -> str:
        """Store a photograph, with any preview, and assign it to an inspection; return its hash."""
        sha256 = self.store_photograph(inspection, data)  # first: no event names a missing one
        photograph = Photograph(sha256, name, len(data))
        if preview is not None:
            small = self.photographs.put(preview.jpeg)
            photograph = replace(
                photograph, preview=small, width_px=preview.width_px, height_px=preview.height_px
            )
        with self.access.writing() as connection:
            commands.save_photograph(connection, inspection, photograph, by=by)
        return sha256

    # ---- judging --------------------------------------------------------------------------

    def set_findings(
        self, inspection: str, found: Sequence[Finding], *, rank: float, by: str
    ) -> None:
        """Store the findings of a screening, and how much the inspection deserves a look.

        Findings that were settled and are found again stay settled. With none left to settle,
        the rank is 0.
        """
        with self.access.writing() as connection:
            reviews.save_findings(connection, inspection, found, rank=rank, by=by)

    def settle_finding(self, inspection: str, key: str, *, how: str, by: str) -> None:
        """Settle a finding, in words."""
        with self.access.writing() as connection:
            reviews.save_settlement(connection, inspection, key, how=how, by=by)

    def review(
        self,
        inspection: str,
        state: ReviewState,
        *,
        by: str,
        why: str = "",
        revision: int | None = None,
        station: int | AskedAgain | None = None,
    ) -> None:
        """Accept, send back, overrule or reopen an inspection, or decide about one station.

        Nobody reviews readings that they took or corrected; everything except accepting needs a
        reason; nobody can overrule their own decision. If readings or results change later, the
        inspection is open again, and the decision about the station ends.
        """
        with self.access.writing(by, inspection, revision) as connection:
            signed = Signed(by, why, revision)
            if station is None:
                reviews.save_review(connection, inspection, state, signed)
            else:
                reviews.save_station_review(connection, inspection, station, state, signed)

    def submit(
        self, inspection: str, *, by: str, why: str = "", revision: int | None = None
    ) -> None:
        """Submit an inspection for review; `why` is a remark to the reviewer."""
        with self.access.writing() as connection:
            reviews.save_submission(connection, inspection, Signed(by, why, revision))

    def close_inspection(
        self,
        inspection: str,
        closing: Closing,
        *,
        by: str,
        why: str = "",
        revision: int | None = None,
    ) -> None:
        """Close a reviewed inspection with the competent person's decision.

        Nothing in it can change then, until `review` withdraws the decision ("open").
        """
        with self.access.writing() as connection:
            reviews.save_closing(connection, inspection, closing, Signed(by, why, revision))

    def observe(
        self,
        inspection: str,
        seen: Condition,
        *,
        by: str,
        why: str = "",
        revision: int | None = None,
    ) -> None:
        """Store what was seen at a station besides its diameter; a change needs a `why`."""
        with self.access.writing() as connection:
            reviews.save_condition(connection, inspection, seen, Signed(by, why, revision))

    def withdraw_condition(
        self, inspection: str, station: int, criterion: Criterion, *, by: str, why: str
    ) -> None:
        """Withdraw what was recorded about one criterion at a station."""
        with self.access.writing() as connection:
            reviews.withdraw_condition(connection, inspection, station, criterion, Signed(by, why))

    # ---- answers --------------------------------------------------------------------------

    def inspection(self, identity: str) -> OpenInspection:
        """Return an inspection with everything that belongs to it."""
        with self.access.reading() as connection:
            row = commands.require_inspection(connection, identity)
            return queries.read_inspection(connection, row)

    def last_event(self) -> int:
        """Return the number of the last event: while it is unchanged, so is every answer."""
        with self.access.reading() as connection:
            return int(fingerprint(connection).split("-")[0])

    def revisions(self, identity: str) -> tuple[int, ...]:
        """Return numbers that change whenever the result of `inspection` would change."""
        with self.access.reading() as connection:
            row = commands.require_inspection(connection, identity)
            return queries.revisions(connection, row)

    def ranked(
        self,
        *,
        state: InspectionState | None = None,
        rope: str | None = None,
        person: str | None = None,
        identity: str | None = None,
        limit: int | None = None,
    ) -> list[Summary]:
        """Return the inspections (`person`: theirs only), the most deserving of a look first."""
        with self.access.reading() as connection:
            return queries.ranked(
                connection, state=state, rope=rope, person=person, identity=identity, limit=limit
            )

    def readings(
        self, *, rope: str | None = None, gauge: str | None = None, person: str | None = None
    ) -> Iterator[LoggedReading]:
        """Yield the readings, across inspections, that match everything given."""
        with self.access.reading() as connection:
            yield from queries.iter_readings(connection, rope=rope, gauge=gauge, person=person)

    def events(
        self, *, about: str | None = None, subject: str | None = None, after: int = 0
    ) -> Generator[Event]:
        """Yield what happened, in order: all of it, or about one rope, gauge or inspection."""
        with self.access.reading() as connection:
            yield from iter_events(connection, about=about, subject=subject, after=after)

    def fingerprint(self) -> str:
        """Return count and hash of the last event: note it, and `verify` holds you to it."""
        with self.access.reading() as connection:
            return fingerprint(connection)

    def verify(
        self,
        *,
        noted: str | None = None,
        photographs: bool = False,
        work: Path | None = None,
        progress: EventProgress | None = None,
    ) -> verify.Verification:
        """Check for changes made outside this program; with `work` an interrupted call resumes."""
        store = self.photographs if photographs else None
        with self.access.reading() as connection:
            seen = verify.verify(connection, noted=noted, store=store, work=work, progress=progress)
        not_restored.note_found(self.access, seen.found)
        return seen

    def refuse_damage(self) -> None:
        """Raise DamagedError if the file or the chain of events is damaged; `verify` says more."""
        verify.refuse_damage(self.access)

    def backup(self, to: str | Path, *, photographs: bool = True) -> Backup:
        """Copy record and photographs into a folder, and verify the copy."""
        return verify.back_up(self.access, self.photographs, Path(to), with_photographs=photographs)

    def save_draft(
        self, inspection: str, data: Any, *, by: str, revision: int = 0, kind: str = "typed"
    ) -> None:
        """Store what a person is typing; a draft is not an entry, and the next one replaces it."""
        with self.access.writing() as connection:
            drafts.save(connection, by, inspection, data, revision, kind=kind)

    def draft(self, inspection: str, *, by: str, kind: str = "typed") -> drafts.Draft | None:
        """Return what the person was typing, or (kind "unsaved") saved too late, or None."""
        with self.access.reading() as connection:
            return drafts.find(connection, by, inspection, kind=kind)

    def drop_draft(self, inspection: str, *, by: str, kind: str = "typed") -> None:
        """Delete a draft that was saved or is not wanted."""
        with self.access.writing() as connection:
            drafts.drop(connection, by, inspection, kind=kind)

    @contextmanager
    def transaction(self) -> Iterator[Record]:
        """Yield a record whose changes are saved together at the end, or not at all."""
        with self.access.writing() as connection:
            yield replace(self, access=replace(self.access, batch=connection))

    @contextmanager
    def snapshot(self) -> Iterator[Record]:
        """Yield a read-only record that stays as it is now while others go on writing."""
        with self.access.reading() as connection:
            yield replace(self, access=replace(self.access, batch=connection))

    def _save(self, about: str, one: Rope | Gauge, signed: Signed, *, change: bool = False) -> None:
        with self.access.writing() as connection:
            values = to_dict(one)
            commands.save_definition(connection, about, one.identity, values, signed, change=change)

    def define(
        self, table: Table, about: str, name: str, values: JsonObject, signed: Signed
    ) -> None:
        """Store something named, such as a print check or limits, as new or as a change."""
        with self.access.writing() as connection:
            known = dict(queries.iter_definitions(connection, table))
            commands.save_definition(connection, about, name, values, signed, change=name in known)

    def definitions(self, table: Table) -> dict[str, JsonObject]:
        """Return everything named in a table, by name: print checks, limits and the like."""
        with self.access.reading() as connection:
            return dict(queries.iter_definitions(connection, table))

    def _kept(self, table: Table, about: str, identity: str) -> JsonObject:
        with self.access.reading() as connection:
            return queries.require_definition(connection, table, about, identity)


def open_record(
    where: str | Path, *, photographs: str | Path | None = None, create: bool = True
) -> Record:
    """Open a record, create it if it does not exist, and bring its tables up to date.

    Parameters
    ----------
    where : str or Path
        Path of a SQLite file, or a URL like ``postgresql://user@host/name``.
    photographs : str or Path, optional
        Folder or fsspec URL of the photographs; by default a folder beside the SQLite file.
        A record on a database server has no default, and needs it once photographs are used.
    create : bool, optional
        False refuses to create a record where there is none.

    Raises
    ------
    RecordError
        If it can't be opened, is not a record, is of a newer program, or has another file's log.

    Examples
    --------
    >>> import tempfile, datetime
    >>> from inspection.model.rope import Inspection, Rope
    >>> folder = tempfile.TemporaryDirectory()
    >>> with open_record(folder.name + "/record.db") as record:
    ...     record.add_rope(Rope("hoist rope 1", 22.0), by="A. Berg")
    ...     record.add_inspection(
    ...         Inspection("2026-11", "hoist rope 1", datetime.date(2026, 11, 2)), by="A. Berg")
    ...     record.inspection("2026-11").state, record.verify().sound
    ('draft', True)
    >>> folder.cleanup()
    """
    engine = make_engine(where)
    path = sqlite_path(engine)
    if path is not None and not create:
        refuse_missing(path)
    if photographs is None:
        photographs = "" if path is None else photographs_beside(path)
    try:
        if path is not None:
            refuse_foreign_log(path, shown(where))
        upgrade_schema(engine, shown(where), create=create)
    except BaseException:
        engine.dispose()
        raise
    mark = None if path is None else mark_of(path)
    record = Record(Access(engine, shown(where), mark=mark), PhotographStore(str(photographs)))
    weakref.finalize(record, engine.dispose).atexit = False  # the pages never close theirs
    return record
