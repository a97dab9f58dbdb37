"""Drafts: text being typed, or a change that could not be saved. Not entries, hence not events.

The kind "typed" is stored by a page during typing; "unsaved" is a change that came too late
because someone else was faster. Neither overwrites the other.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, delete, insert, select

from inspection.model.names import checked_name, checked_text
from inspection.model.serialization import canonical
from inspection.record.storage.events import now_utc
from inspection.record.storage.schema import drafts


@dataclass(frozen=True, slots=True)
class Draft:
    """A person's unsaved text about an inspection.

    Parameters
    ----------
    data : object
        Plain values, as given.
    revision : int
        The inspection's revision that the person saw while typing; 0 if not known.
    saved_at : str
        When it was kept, UTC.
    """

    data: Any
    revision: int
    saved_at: str


def save(
    connection: Connection,
    person: str,
    inspection: str,
    data: Any,
    revision: int,
    *,
    kind: str = "typed",
) -> None:
    """Store a draft, replacing the person's last one of its kind about the inspection."""
    checked_name(person, "person")
    checked_name(inspection, "inspection")
    checked_text(data, longest=None)  # only the entry is refused; what was typed stays
    drop(connection, person, inspection, kind=kind)
    connection.execute(
        insert(drafts).values(
            person=person,
            inspection=inspection,
            kind=kind,
            revision=revision,
            saved_at=now_utc(),
            data=canonical(data),
        )
    )


def find(
    connection: Connection, person: str, inspection: str, *, kind: str = "typed"
) -> Draft | None:
    """Return the person's draft about the inspection."""
    row = connection.execute(select(drafts).where(_matches(person, inspection, kind))).one_or_none()
    return None if row is None else Draft(json.loads(row.data), row.revision, row.saved_at)


def drop(connection: Connection, person: str, inspection: str, *, kind: str = "typed") -> None:
    """Delete the person's draft about the inspection."""
    connection.execute(delete(drafts).where(_matches(person, inspection, kind)))


def _matches(person: str, inspection: str, kind: str) -> ColumnElement[bool]:
    return and_(drafts.c.person == person, drafts.c.inspection == inspection, drafts.c.kind == kind)
