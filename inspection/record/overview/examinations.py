"""The results of examining each inspection, stored so that thousands can be ranked quickly.

They are calculated from the entries, hence they are not events: whatever changes an entry removes
them (`changes.projection`), and the inspection is "not examined yet" until it is examined again.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy import Row, delete, insert, select

from inspection.model.loss import BEFORE_OTHERS
from inspection.model.rope import Units
from inspection.model.serialization import canonical, to_dict
from inspection.record.changes.commands import require_inspection
from inspection.record.record import Record
from inspection.record.storage.events import now_utc
from inspection.record.storage.schema import compared, examinations, flagged, inspections, ropes
from inspection.record.views import InspectionState

ACCEPTED = "accepted"  # `settled_how` begins with it if a finding was accepted as it is


@dataclass(frozen=True, slots=True)
class ComparedEntry:
    """A gauge reading against its photograph, as found when the inspection was examined.

    Parameters
    ----------
    inspection : str
        The inspection.
    station, view_deg : int
        Where on the rope.
    photo_mm, gauge_mm, difference_mm : float
        Photograph, reading, and photograph minus reading, mm.
    u_mm : float
        Standard uncertainty of the difference, mm.
    u_own_mm : float
        The part of it that no other comparison shares, mm.
    shared : tuple of (str, float)
        The rest by its source, signed, mm; the same source elsewhere is the same unknown.
    word : str
        "agrees", "doubtful", "disagrees" or "cannot say".
    gauge, person, print_set, camera : str
        Gauge and person of the reading, print and camera of the photograph.
    """

    inspection: str
    station: int
    view_deg: int
    photo_mm: float
    gauge_mm: float
    difference_mm: float
    u_mm: float
    u_own_mm: float
    shared: tuple[tuple[str, float], ...]
    word: str
    gauge: str
    person: str
    print_set: str = ""
    camera: str = ""


@dataclass(frozen=True, slots=True)
class KeyFigures:
    """The worst station of an inspection by its last screening: a line of the register.

    Parameters
    ----------
    station : int
        Station number.
    diameter_mm, u_mm : float
        Its diameter and standard uncertainty, mm.
    directions : int
        Number of directions measured.
    decrease_pct : float or None
        Decrease from the reference diameter, % of nominal; None where no reference is known.
    band : str
        Severity of that decrease, e.g. "medium"; empty if there is none.
    severity_pct : int or None
        The same towards discard, %.
    rate_mm_per_year : float or None
        Change of diameter at the station that loses most, from earlier inspections; None if
        there are too few.
    loses : bool
        Whether that loss is certain.
    doubted : bool
        Whether the figure depends on an entry that deserves a second look.
    """

    station: int
    diameter_mm: float
    u_mm: float
    directions: int
    decrease_pct: float | None = None
    band: str = ""
    severity_pct: int | None = None
    rate_mm_per_year: float | None = None
    loses: bool = False
    doubted: bool = False


@dataclass(frozen=True, slots=True)
class RegisteredRope:
    """A rope with the state of its last inspection.

    Parameters
    ----------
    identity, site : str
        Which rope, and where it works.
    nominal_mm : float
        Its nominal diameter, mm.
    units : {"mm", "inch"}
        How its lengths are shown.
    inspections : int
        How many there are.
    last : str
        Its last inspection with an entry, else its last one; empty if there is none.
    on : date or None
        Date of that inspection.
    state : str or None
        State of that inspection.
    examined : bool
        Whether that inspection was examined with its current entries.
    figures : KeyFigures or None
        Its worst station; None if nothing was measured, or it was not examined.
    next_due : date or None
        When it is to be inspected again, as last stated.
    open_findings : int
        Entries of all its inspections that deserve a look and are not settled.
    may_have_lost : bool
        Whether one of them may be a loss of section.
    """

    identity: str
    site: str
    nominal_mm: float
    units: Units
    inspections: int = 0
    last: str = ""
    on: date | None = None
    state: InspectionState | None = None
    examined: bool = False
    figures: KeyFigures | None = None
    next_due: date | None = None
    open_findings: int = 0
    may_have_lost: bool = False


@dataclass(frozen=True, slots=True)
class ReadBy:
    """Gauge and person of the readings that a finding concerns.

    Parameters
    ----------
    key : str
        The finding's key in its inspection.
    gauge, person : str
        The gauge, and the person who read it.
    """

    key: str
    gauge: str
    person: str


def keep_examination(
    record: Record,
    inspection: str,
    entries: Sequence[ComparedEntry],
    hands: Sequence[ReadBy],
    figures: KeyFigures | None = None,
) -> None:
    """Store the results of examining an inspection, replacing earlier ones."""
    with record.access.writing() as connection:
        require_inspection(connection, inspection)
        for table in (examinations, compared, flagged):
            connection.execute(delete(table).where(table.c.inspection == inspection))
        worst = "" if figures is None else canonical(to_dict(figures))
        connection.execute(
            insert(examinations).values(inspection=inspection, at=now_utc(), figures=worst)
        )
        rows = [
            {
                "inspection": inspection,
                "number": number,
                **{name: getattr(entry, name) for name in _PLAIN},
                "shared": canonical([list(part) for part in entry.shared]),
            }
            for number, entry in enumerate(entries)
        ]
        if rows:
            connection.execute(insert(compared), rows)
        if about := {(hand.key, hand.gauge, hand.person) for hand in hands}:
            connection.execute(
                insert(flagged),
                [
                    {"inspection": inspection, "key": key, "gauge": gauge, "person": person}
                    for key, gauge, person in sorted(about)
                ],
            )


_PLAIN = (
    "station", "view_deg", "photo_mm", "gauge_mm", "difference_mm", "u_mm", "u_own_mm", "word",
    "gauge", "person", "print_set", "camera",
)  # fmt: skip


def is_examined(record: Record, inspection: str) -> bool:
    """Return whether an inspection was examined with its current entries."""
    query = select(examinations.c.at).where(examinations.c.inspection == inspection)
    with record.access.reading() as connection:
        return connection.execute(query).first() is not None


def not_examined(record: Record) -> list[str]:
    """Return the inspections whose current entries nobody has examined, oldest first."""
    query = (
        select(inspections.c.identity)
        .outerjoin(examinations, examinations.c.inspection == inspections.c.identity)
        .where(
            examinations.c.inspection.is_(None), inspections.c.readings + inspections.c.results > 0
        )
        .order_by(inspections.c.held_on, inspections.c.identity)
    )
    with record.access.reading() as connection:
        return list(connection.execute(query).scalars())


def entry_of(row: Row[Any]) -> ComparedEntry:
    """Return the comparison that a row of the table holds."""
    return ComparedEntry(
        inspection=row.inspection,
        shared=tuple((str(source), float(u)) for source, u in json.loads(row.shared)),
        **{name: getattr(row, name) for name in _PLAIN},
    )


def register(record: Record, *, among: Collection[str] | None = None) -> list[RegisteredRope]:
    """Return every rope, by name.

    Parameters
    ----------
    record : Record
        The record.
    among : collection of str, optional
        The inspections to include; ropes without any of them are left out.
    """
    visits = (
        select(
            inspections.c.identity,
            inspections.c.rope,
            inspections.c.held_on,
            inspections.c.state,
            inspections.c.open_findings,
            inspections.c.rank,
            inspections.c.next_due,
            (inspections.c.readings + inspections.c.results).label("entries"),
            examinations.c.figures,
        )
        .outerjoin(examinations, examinations.c.inspection == inspections.c.identity)
        .order_by(inspections.c.held_on, inspections.c.identity)
    )
    with record.access.reading() as connection:
        by_rope: dict[str, list[Any]] = {}
        for row in connection.execute(visits.execution_options(yield_per=5000)):
            if among is None or row.identity in among:
                by_rope.setdefault(row.rope, []).append(row)
        known = [
            (row.identity, json.loads(row.data))
            for row in connection.execute(select(ropes).order_by(ropes.c.identity))
            if among is None or row.identity in by_rope
        ]
    return [_line(identity, values, by_rope.get(identity, [])) for identity, values in known]


def _line(identity: str, rope: dict[str, Any], visits: list[Any]) -> RegisteredRope:
    known = RegisteredRope(
        identity, rope.get("site", ""), rope["nominal_mm"], rope.get("units", "mm")
    )
    if not visits:
        return known
    last = next((one for one in reversed(visits) if one.entries), visits[-1])
    due = next((one.next_due for one in reversed(visits) if one.next_due), None)
    return replace(
        known,
        inspections=len(visits),
        last=last.identity,
        on=date.fromisoformat(last.held_on),
        state=last.state,
        examined=last.figures is not None,
        figures=KeyFigures(**json.loads(last.figures)) if last.figures else None,
        next_due=None if due is None else date.fromisoformat(due),
        open_findings=sum(one.open_findings for one in visits),
        may_have_lost=any(one.rank >= BEFORE_OTHERS for one in visits),
    )
