"""Entries across thousands of inspections, ranked by rope, by person and by gauge.

Everything comes from the tables of state and the results of examinations
(`examinations`); no inspection is opened or assessed for it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from sqlalchemy import ColumnElement, Row, Select, and_, case, func, or_, select, true

from inspection.model.serialization import from_dict
from inspection.record.overview.examinations import ACCEPTED, ComparedEntry, entry_of
from inspection.record.record import Record
from inspection.record.storage.events import SLIP_CORRECTED, fingerprint
from inspection.record.storage.schema import (
    compared,
    events,
    examinations,
    findings,
    flagged,
    inspections,
    station_reviews,
)
from inspection.record.views import LoggedFinding, StationReview
from vision.results import Finding

Status = Literal["open", "accepted", "settled"]


@dataclass(frozen=True, slots=True)
class InspectionFilter:
    """Which inspections are evaluated together.

    Parameters
    ----------
    rope : str or None
        One rope; None for all.
    words : str
        Part of the inspection's place; empty for all.
    sites : tuple of str
        Ropes whose site contains these words, which are included, too.
    since, until : date or None
        First and last day.
    """

    rope: str | None = None
    words: str = ""
    sites: tuple[str, ...] = ()
    since: date | None = None
    until: date | None = None

    def condition(self) -> ColumnElement[bool]:
        """Return the condition that an inspection's row must fulfil."""
        parts: list[ColumnElement[bool]] = [true()]
        if self.rope is not None:
            parts.append(inspections.c.rope == self.rope)
        if self.words:
            here = func.lower(inspections.c.place).contains(self.words.lower(), autoescape=True)
            parts.append(or_(here, inspections.c.rope.in_(self.sites)))
        if self.since is not None:
            parts.append(inspections.c.held_on >= self.since.isoformat())
        if self.until is not None:
            parts.append(inspections.c.held_on <= self.until.isoformat())
        return and_(*parts)


ALL = InspectionFilter()


@dataclass(frozen=True, slots=True)
class ListedFinding:
    """A finding for the supervisor's list, with where it was found.

    Parameters
    ----------
    inspection, rope, place : str
        Where it was found.
    on : date
        Day of the inspection.
    photographs : bool
        Whether the inspection has results of photographs.
    logged : LoggedFinding
        The finding, and how it was settled.
    """

    inspection: str
    rope: str
    place: str
    on: date
    photographs: bool
    logged: LoggedFinding


@dataclass(frozen=True, slots=True)
class CorrectedSlip:
    """A reading that its reviewer corrected.

    Parameters
    ----------
    inspection : str
        The inspection.
    station, view_deg : int
        Where on the rope.
    before, after : str
        The text typed, and its correction.
    who, at, why : str
        The reviewer, the time (UTC), the reason.
    """

    inspection: str
    station: int
    view_deg: int
    before: str
    after: str
    who: str
    at: str
    why: str


@dataclass(frozen=True, slots=True)
class RopeTally:
    """The inspections of one rope, counted.

    Parameters
    ----------
    rope : str
        The rope.
    inspections, not_examined : int
        How many it has, and how many of them are not examined yet.
    open, accepted : int
        Findings that are open, and that were accepted as they are.
    rank : float
        How much its most urgent inspection deserves a look.
    last : date
        Day of its last inspection.
    """

    rope: str
    inspections: int
    not_examined: int
    open: int
    accepted: int
    rank: float
    last: date


@dataclass(frozen=True, slots=True)
class ReaderTally:
    """Findings about the readings of one gauge or person.

    Parameters
    ----------
    open, accepted : int
        Those that are open, and those that were accepted as they are.
    """

    open: int = 0
    accepted: int = 0


@dataclass(frozen=True, slots=True)
class Totals:
    """How many inspections and findings there are.

    Parameters
    ----------
    inspections, not_examined : int
        All, and those with entries that are not examined yet.
    open, accepted : int
        Findings that are open, and those that were accepted as they are.
    """

    inspections: int
    not_examined: int
    open: int
    accepted: int


def mark(record: Record) -> str:
    """Return a text that changes whenever any answer of this module does."""
    query = select(func.count(), func.max(examinations.c.at)).select_from(examinations)
    with record.access.reading() as connection:
        count, last = connection.execute(query).one()
        return f"{fingerprint(connection)} {count} {last}"


_OPEN = findings.c.current.is_(True) & (findings.c.settled_by == "")
_ACCEPTED = (
    findings.c.current.is_(True)
    & (findings.c.settled_by != "")
    & findings.c.settled_how.startswith(ACCEPTED)
)
_SETTLED = findings.c.current.is_(True) & (findings.c.settled_by != "")
_STATUS: dict[Status, ColumnElement[bool]] = {
    "open": _OPEN,
    "accepted": _ACCEPTED,
    "settled": _SETTLED,
}
_UNKNOWN = examinations.c.inspection.is_(None) & (
    inspections.c.readings + inspections.c.results > 0
)


def totals(record: Record, scope: InspectionFilter = ALL) -> Totals:
    """Return how many inspections and findings match a filter."""
    examined = (
        select(func.count(), func.coalesce(func.sum(case((_UNKNOWN, 1), else_=0)), 0))
        .select_from(inspections.outerjoin(examinations))
        .where(scope.condition())
    )
    found = (
        select(
            func.coalesce(func.sum(case((_OPEN, 1), else_=0)), 0),
            func.coalesce(func.sum(case((_ACCEPTED, 1), else_=0)), 0),
        )
        .select_from(findings.join(inspections))
        .where(scope.condition())
    )
    with record.access.reading() as connection:
        count, unknown = connection.execute(examined).one()
        waiting, accepted = connection.execute(found).one()
    return Totals(int(count), int(unknown), int(waiting), int(accepted))


def ranked_findings(
    record: Record, status: Status, scope: InspectionFilter = ALL, *, limit: int | None = None
) -> list[ListedFinding]:
    """Return the findings that match a filter, those of the most urgent inspections first.

    Parameters
    ----------
    record : Record
        The record.
    status : {"open", "accepted", "settled"}
        The open ones, those that a reviewer accepted as they are, or all that are settled.
    scope : InspectionFilter, optional
        From which inspections.
    limit : int or None, optional
        Maximum number.
    """
    query = _listing(scope).where(_STATUS[status])
    order = [inspections.c.rank.desc()] if status == "open" else [findings.c.settled_at.desc()]
    query = query.order_by(*order, findings.c.inspection, findings.c.position)
    if limit is not None:
        query = query.limit(limit)
    with record.access.reading() as connection:
        return [_listed(row) for row in connection.execute(query)]


def findings_about(record: Record, kind: str, name: str, *, limit: int) -> list[ListedFinding]:
    """Return the findings about the readings of a gauge or person, open ones first."""
    mine = select(flagged.c.inspection, flagged.c.key).where(flagged.c[kind] == name).distinct()
    about = mine.subquery()
    query = (
        _listing(ALL)
        .join(
            about, and_(about.c.inspection == findings.c.inspection, about.c.key == findings.c.key)
        )
        .where(or_(_OPEN, _ACCEPTED))
        .order_by(case((_OPEN, 0), else_=1), inspections.c.rank.desc(), findings.c.position)
        .limit(limit)
    )
    with record.access.reading() as connection:
        return [_listed(row) for row in connection.execute(query)]


def _listing(scope: InspectionFilter) -> Select[Any]:
    columns = (
        findings,
        inspections.c.rope,
        inspections.c.place,
        inspections.c.held_on,
        inspections.c.results,
    )
    return select(*columns).select_from(findings.join(inspections)).where(scope.condition())


def _listed(row: Row[Any]) -> ListedFinding:
    logged = LoggedFinding(
        row.key,
        from_dict(Finding, json.loads(row.data)),
        row.current,
        row.settled_by,
        row.settled_at,
        row.settled_how,
        row.settled_value,
    )
    on = date.fromisoformat(row.held_on)
    return ListedFinding(row.inspection, row.rope, row.place, on, bool(row.results), logged)


def stations_sent_back(record: Record) -> dict[tuple[str, int], StationReview]:
    """Return the stations that wait for their inspectors, with the decision that sent them back."""
    table = station_reviews.c
    query = select(station_reviews).where(table.stands.is_(True), table.back.is_(True))
    with record.access.reading() as connection:
        return {
            (row.inspection, row.station): StationReview(
                row.station, row.state, row.back, row.stands, row.who, row.at, row.why,
                row.asks, row.view_deg,
            )
            for row in connection.execute(query.order_by(table.event))
        }  # fmt: skip


def rope_tallies(record: Record, scope: InspectionFilter = ALL) -> list[RopeTally]:
    """Return every rope with the counts of its inspections, the most urgent first."""
    accepted = (
        select(inspections.c.rope, func.count().label("accepted"))
        .select_from(findings.join(inspections))
        .where(_ACCEPTED, scope.condition())
        .group_by(inspections.c.rope)
    )
    query = (
        select(
            inspections.c.rope,
            func.count().label("held"),
            func.sum(case((_UNKNOWN, 1), else_=0)).label("unknown"),
            func.sum(inspections.c.open_findings).label("open"),
            func.max(inspections.c.rank).label("rank"),
            func.max(inspections.c.held_on).label("last"),
        )
        .select_from(inspections.outerjoin(examinations))
        .where(scope.condition())
        .group_by(inspections.c.rope)
        .order_by(func.max(inspections.c.rank).desc(), inspections.c.rope)
    )
    with record.access.reading() as connection:
        accepted_of = {row.rope: int(row.accepted) for row in connection.execute(accepted)}
        return [
            RopeTally(
                row.rope,
                int(row.held),
                int(row.unknown),
                int(row.open),
                accepted_of.get(row.rope, 0),
                float(row.rank),
                date.fromisoformat(row.last),
            )
            for row in connection.execute(query)
        ]


def reader_tallies(
    record: Record, kind: Literal["gauge", "person"], scope: InspectionFilter = ALL
) -> dict[str, ReaderTally]:
    """Return how many findings are about the readings of each gauge or person."""
    column = flagged.c[kind]
    one_each = (
        select(flagged.c.inspection, flagged.c.key, column.label("name")).distinct().subquery()
    )
    query = (
        select(
            one_each.c.name,
            func.sum(case((_OPEN, 1), else_=0)).label("open"),
            func.sum(case((_ACCEPTED, 1), else_=0)).label("accepted"),
        )
        .select_from(
            one_each.join(
                findings,
                and_(
                    findings.c.inspection == one_each.c.inspection,
                    findings.c.key == one_each.c.key,
                ),
            ).join(inspections, inspections.c.identity == findings.c.inspection)
        )
        .where(scope.condition())
        .group_by(one_each.c.name)
    )
    with record.access.reading() as connection:
        return {
            row.name: ReaderTally(int(row.open), int(row.accepted))
            for row in connection.execute(query)
        }


def compared_entries(record: Record, scope: InspectionFilter = ALL) -> list[ComparedEntry]:
    """Return every comparison of the examined inspections that match a filter."""
    query = (
        select(compared)
        .select_from(compared.join(inspections))
        .where(scope.condition())
        .order_by(compared.c.inspection, compared.c.number)
    )
    with record.access.reading() as connection:
        return [
            entry_of(row) for row in connection.execute(query.execution_options(yield_per=5000))
        ]


def corrected_slips(record: Record, *, limit: int | None = None) -> list[CorrectedSlip]:
    """Return the readings that their reviewers corrected, the latest first."""
    query = (
        select(events)
        .where(events.c.about == "inspection", events.c.kind == SLIP_CORRECTED)
        .order_by(events.c.sequence.desc())
        .limit(limit)
    )
    with record.access.reading() as connection:
        return [
            CorrectedSlip(
                row.subject,
                new["station"],
                new["view_deg"],
                old["typed"],
                new["typed"],
                row.who,
                row.at,
                row.why,
            )
            for row in connection.execute(query)
            for old, new in [(json.loads(row.old), json.loads(row.new))]
        ]
