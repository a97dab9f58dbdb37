"""The chain of events: how one is added, how it is hashed, and how tampering is detected.

The hash of an event is SHA-256 (FIPS 180-4) over the canonical JSON of the list::

    [sequence, at, who, about, subject, kind, old, new, why, previous]

in UTF-8, where `old` and `new` are the stored texts themselves (or null) and `previous` is the
hash of the event before (64 zeros for the first). Anyone can recompute it with a few lines in
any language.

The chain shows that something was changed by hand; it can't show who did it, and anyone who can
write the file can also recompute the whole chain. The only protection against that is the
fingerprint, noted somewhere else: it fixes every event up to it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from inspection.model.serialization import canonical
from inspection.record.errors import RecordError
from inspection.record.storage.schema import events, head

FIRST = "0" * 64
MOST_LISTED = 20  # faults of one kind, in words
SLIP_CORRECTED = "slip corrected"  # kind of event: a reading corrected by its reviewer


@dataclass(frozen=True, slots=True)
class Event:
    """One change of the record.

    Parameters
    ----------
    sequence : int
        Its number, from 1, without gaps.
    at : str
        When it was saved, UTC, ISO 8601.
    who : str
        The person.
    about, subject : str
        What it concerns: "rope", "gauge", "print check" or "inspection", and which one.
    kind : str
        What happened, e.g. "reading corrected".
    old, new : str or None
        State before and after, as canonical JSON text; None where there was none.
    why : str
        The reason that the person gave; empty if none was required.
    previous, hash : str
        Hash of the event before, and of this one; hexadecimal SHA-256.
    """

    sequence: int
    at: str
    who: str
    about: str
    subject: str
    kind: str
    old: str | None
    new: str | None
    why: str
    previous: str
    hash: str

    @property
    def new_value(self) -> Any:
        """State after, as plain values."""
        return None if self.new is None else json.loads(self.new)

    @property
    def old_value(self) -> Any:
        """State before, as plain values."""
        return None if self.old is None else json.loads(self.old)

    def computed_hash(self) -> str:
        """Return the hash that the event should carry."""
        listed = [
            self.sequence,
            self.at,
            self.who,
            self.about,
            self.subject,
            self.kind,
            self.old,
            self.new,
            self.why,
            self.previous,
        ]
        return hashlib.sha256(canonical(listed).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Change:
    """The content of an event: its subject, and the state before and after.

    Parameters
    ----------
    about, subject : str
        "rope", "gauge", "print check" or "inspection", and which one.
    kind : str
        What happens to it, e.g. "readings added".
    old, new : object
        Plain values before and after; None where there are none.
    """

    about: str
    subject: str
    kind: str
    old: Any = None
    new: Any = None


@dataclass(frozen=True, slots=True)
class Signed:
    """Who makes a change, and why.

    Parameters
    ----------
    by, why : str
        The person and their reason.
    revision : int or None
        Number of the last event about the inspection that they saw; None if it does not matter.
    """

    by: str
    why: str = ""
    revision: int | None = None


def now_utc() -> str:
    """Return the current time, UTC, to the microsecond."""
    return datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def lock_head(connection: Connection) -> tuple[int, str]:
    """Return number and hash of the last event, and lock out other writers until the end.

    On SQLite the transaction already holds the only write lock; elsewhere the row is locked.
    """
    row = connection.execute(
        select(head.c.sequence, head.c.hash).where(head.c.id == 1).with_for_update()
    ).one_or_none()
    if row is None:
        raise RecordError("the record has lost its head row; run `ropephoto record verify`.")
    return int(row.sequence), str(row.hash)


def append_event(connection: Connection, change: Change, signed: Signed) -> Event:
    """Add one event to the end of the chain, and return it.

    The caller's transaction decides whether it is kept: event, head and state are saved together
    or not at all.
    """
    sequence, previous = lock_head(connection)
    unhashed = Event(
        sequence + 1,
        now_utc(),
        signed.by,
        change.about,
        change.subject,
        change.kind,
        None if change.old is None else canonical(change.old),
        None if change.new is None else canonical(change.new),
        signed.why,
        previous,
        "",
    )
    replay = _replay.get()
    event = hashed(unhashed) if replay is None else replay.compared_with(unhashed)
    insert_events(connection, [event])
    return event


@dataclass(slots=True)
class Replay:
    """An event that was made elsewhere, and whether it was replayed here.

    Parameters
    ----------
    event : Event
        As received.
    written : bool
        Whether it was replayed.
    """

    event: Event
    written: bool = False

    def compared_with(self, own: Event) -> Event:
        """Return the event as received if `own`, what the record would write now, is the same.

        Time and hash are the event's; a field that an older program did not write may be missing.
        """
        given = self.event
        for name in ("sequence", "who", "about", "subject", "kind", "why", "previous"):
            if getattr(given, name) != getattr(own, name):
                raise ValueError(
                    f"its '{name}' is {getattr(given, name)!r:.60}, but the record would write "
                    f"{getattr(own, name)!r:.60}."
                )
        for name in ("old_value", "new_value"):
            if not _says_no_more(getattr(given, name), getattr(own, name)):
                raise ValueError(
                    f"its '{name[:3]}' is not what the record would write; it was changed or comes "
                    "from a newer version of this program."
                )
        if self.written or given.computed_hash() != given.hash:
            raise ValueError("it does not match its hash.")
        self.written = True
        return given


def _says_no_more(given: Any, own: Any) -> bool:
    """Return whether values equal the record's own, apart from any that an older program lacks."""
    if isinstance(given, dict) and isinstance(own, dict):
        return all(name in own and _says_no_more(one, own[name]) for name, one in given.items())
    if isinstance(given, list) and isinstance(own, list | tuple):
        return len(given) == len(own) and all(map(_says_no_more, given, own))
    return type(given) is type(own) and given == own


_replay: ContextVar[Replay | None] = ContextVar("replay", default=None)


@contextmanager
def replaying(event: Event) -> Iterator[Replay]:
    """Let the next event added be one that was made elsewhere, if its content is the same."""
    replay = Replay(event)
    token = _replay.set(replay)
    try:
        yield replay
    finally:
        _replay.reset(token)


def is_replaying() -> bool:
    """Return whether the next event added is one that was made elsewhere."""
    return _replay.get() is not None


def hashed(event: Event) -> Event:
    """Return the event with its own hash filled in."""
    return replace(event, hash=event.computed_hash())


def _values(event: Event) -> tuple[Any, ...]:
    return tuple(getattr(event, column.name) for column in events.c)


def insert_events(connection: Connection, added: list[Event]) -> None:
    """Add events that already carry their hash, and move the head to the last."""
    names = [column.name for column in events.c]
    rows = [dict(zip(names, _values(event), strict=True)) for event in added]
    connection.execute(insert(events), rows)
    last = added[-1]
    connection.execute(update(head).values(sequence=last.sequence, hash=last.hash))


def iter_events(
    connection: Connection,
    *,
    about: str | None = None,
    subject: str | None = None,
    after: int = 0,
) -> Iterator[Event]:
    """Yield events in their order, all or those about one subject, after number `after`."""
    query = select(events).where(events.c.sequence > after).order_by(events.c.sequence)
    if about is not None:
        query = query.where(events.c.about == about)
    if subject is not None:
        query = query.where(events.c.subject == subject)
    with connection.execute(query.execution_options(yield_per=1000)) as rows:
        for row in rows:
            yield Event(*row)


def clock_notes(connection: Connection) -> list[str]:
    """Return where times run backwards, a sentence each; an empty list if nowhere.

    That is not a fault by itself: a clock may have been corrected. But an entry made to look older
    than it is shows up here.
    """
    notes: list[str] = []
    last: Event | None = None
    for event in iter_events(connection):
        if last is not None and event.at < last.at:
            notes.append(
                f"event {event.sequence} ({event.kind}, {event.subject}, by {event.who}) says "
                f"{_minute(event.at)} and follows one that says {_minute(last.at)}: the clock was "
                "set back, or the time was invented."
            )
            if len(notes) >= MOST_LISTED:
                return [*notes, "more times run backwards; only the first are listed."]
        last = event
    return notes


def _minute(at: str) -> str:
    return f"{at[:19].replace('T', ' ')} UTC"


def chain_faults(connection: Connection, *, most: int = MOST_LISTED) -> list[str]:
    """Return what is wrong with the chain, each as a sentence; an empty list if nothing is.

    Detects an event that was edited, removed, inserted or moved, and an end that was cut off.
    """
    faults: list[str] = []
    expected, previous = 1, FIRST
    last = Event(0, "", "", "", "", "", None, None, "", "", FIRST)
    for event in iter_events(connection):
        if event.sequence != expected:
            missing = f"event {expected}"
            if event.sequence > expected + 1:
                missing += f" to {event.sequence - 1}"
            faults.append(f"{missing}: missing.")
        elif event.previous != previous:
            faults.append(f"event {event.sequence}: does not follow from the event before it.")
        if event.computed_hash() != event.hash:
            faults.append(
                f"event {event.sequence} ({event.kind}, {event.subject}, by {event.who}): "
                "its content does not match its hash; it was edited."
            )
        expected, previous, last = event.sequence + 1, event.hash, event
        if len(faults) >= most:
            faults.append("more faults follow; only the first are listed.")
            return faults
    noted = connection.execute(select(head)).all()
    if len(noted) != 1:
        faults.append("the head row, which holds the count of events, is missing or duplicated.")
    elif (noted[0].sequence, noted[0].hash) != (last.sequence, last.hash):
        faults.append(
            f"the end: the head says {noted[0].sequence} events, but the last one found is "
            f"{last.sequence}; the end was cut off, replaced or added by hand."
        )
    return faults


def fingerprint(connection: Connection) -> str:
    """Return count and hash of the last event, short enough for a person to note.

    128 bits of the hash are kept.
    """
    row = connection.execute(select(head.c.sequence, head.c.hash)).one()
    return f"{row.sequence}-{row.hash[:32]}"


def noted_fault(connection: Connection, noted: str) -> str | None:
    """Return a sentence if the record lacks the event from which a fingerprint was taken.

    Raises
    ------
    ValueError
        If `noted` is not a fingerprint.
    """
    match = re.fullmatch(r"\s*(\d{1,18})-([0-9a-f]{32})\s*", noted.lower())
    if match is None:
        raise ValueError(
            f"{noted!r} is not a fingerprint; it must be like 1042- and 32 digits 0 to 9, a to f."
        )
    count, start = int(match[1]), match[2]
    if count == 0:
        return None if start == FIRST[:32] else "fingerprint 0: not that of an empty record."
    hash_there = connection.execute(
        select(events.c.hash).where(events.c.sequence == count)
    ).scalar()
    if hash_there is None:
        return f"fingerprint {noted.strip()}: the record no longer has an event {count}."
    if not str(hash_there).startswith(start):
        return (
            f"fingerprint {noted.strip()}: event {count} is a different one now; the record was "
            "rewritten after the fingerprint was noted."
        )
    return None
