"""Queries of a record: one inspection opened, the ranked list, entries across inspections."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import date
from itertools import islice
from typing import Any

from sqlalchemy import Connection, Row, Table, func, select

from inspection.model.closing import Closing
from inspection.model.condition import Condition
from inspection.model.names import same_person
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.model.serialization import from_dict, result_from_dict
from inspection.record.errors import RecordError
from inspection.record.storage.schema import (
    conditions,
    findings,
    gauges,
    inspections,
    own_limits,
    people,
    photographs,
    readings,
    results,
    reviews,
    ropes,
    station_reviews,
    stations,
)
from inspection.record.views import (
    LoggedCondition,
    LoggedFinding,
    LoggedReading,
    Manner,
    OpenInspection,
    Photograph,
    Request,
    Review,
    StationReview,
    Summary,
)
from vision.results import Finding


def find_inspection(connection: Connection, identity: str) -> Row[Any] | None:
    """Return the inspection's row; None if there is none."""
    query = select(inspections).where(inspections.c.identity == identity)
    return connection.execute(query).one_or_none()


def read_inspection(connection: Connection, row: Row[Any]) -> OpenInspection:
    """Return everything that belongs to the inspection of a row."""
    identity = row.identity
    logged = tuple(iter_readings(connection, inspection=identity))
    used = {item.reading.gauge for item in logged}
    return OpenInspection(
        inspection=inspection_of(connection, row),
        rope=from_dict(Rope, definition_of(connection, ropes, row.rope)),
        revision=row.revision,
        state=row.state,
        rank=row.rank,
        open_findings=row.open_findings,
        logged=logged,
        gauges=tuple(
            from_dict(Gauge, definition_of(connection, gauges, name)) for name in sorted(used)
        ),
        results=tuple(
            result_from_dict(json.loads(item.data))
            for item in _rows(connection, results, identity)
            if not item.withdrawn
        ),
        findings=logged_findings(connection, identity),
        reviews=tuple(
            Review(item.state, item.who, item.at, item.why, _closing(item.closing))
            for item in _rows(connection, reviews, identity, "event")
        ),
        photographs=tuple(
            Photograph(
                item.sha256, item.name, item.bytes, item.preview, item.width_px, item.height_px
            )
            for item in _rows(connection, photographs, identity, "event")
        ),
        requests=tuple(
            Request(
                item.sha256,
                from_dict(Manner, json.loads(item.how)),
                item.asked,
                item.waiting,
                item.camera_key,
                item.calibration,
            )
            for item in _rows(connection, photographs, identity, "event")
            if item.asked
        ),
        station_reviews=tuple(
            StationReview(
                item.station,
                item.state,
                item.back,
                item.stands,
                item.who,
                item.at,
                item.why,
                item.asks,
                item.view_deg,
            )
            for item in _rows(connection, station_reviews, identity, "event")
        ),
        conditions=tuple(
            LoggedCondition(from_dict(Condition, json.loads(item.data)), item.who, item.at)
            for item in _rows(connection, conditions, identity, "station")
        ),
    )


def _closing(data: str) -> Closing | None:
    return from_dict(Closing, json.loads(data)) if data else None


def logged_findings(connection: Connection, identity: str) -> tuple[LoggedFinding, ...]:
    """Return all findings about an inspection, by position."""
    return tuple(
        LoggedFinding(
            item.key,
            from_dict(Finding, json.loads(item.data)),
            item.current,
            item.settled_by,
            item.settled_at,
            item.settled_how,
            item.settled_value,
        )
        for item in _rows(connection, findings, identity, "position")
    )


def revisions(connection: Connection, row: Row[Any]) -> tuple[int, ...]:
    """Return the events an inspection depends on: its own, its rope's, gauges', own limits'."""
    others = (
        select(ropes.c.revision).where(ropes.c.identity == row.rope),
        select(func.max(gauges.c.revision)),
        select(func.max(own_limits.c.revision)),
    )
    return int(row.revision), *(connection.execute(one).scalar() or 0 for one in others)


def inspection_of(connection: Connection, row: Row[Any]) -> Inspection:
    """Return the inspection of a row with its stations."""
    return Inspection(
        identity=row.identity,
        rope=row.rope,
        on=date.fromisoformat(row.held_on),
        place=row.place,
        inspector=row.inspector,
        reviewer=row.reviewer,
        supervisor=row.supervisor,
        tension=row.tension,
        stations=tuple(
            Station(item.number, item.position_m, item.note)
            for item in _rows(connection, stations, row.identity)
        ),
        remarks=row.remarks,
        next_due=None if row.next_due is None else date.fromisoformat(row.next_due),
    )


def _rows(
    connection: Connection, table: Table, identity: str, order: str = "number"
) -> list[Row[Any]]:
    query = select(table).where(table.c.inspection == identity).order_by(table.c[order])
    return list(connection.execute(query))


def definition_of(connection: Connection, table: Table, identity: str) -> dict[str, Any]:
    """Return the plain values of a rope, a gauge or a print check; KeyError if there is none."""
    data = connection.execute(select(table.c.data).where(table.c.identity == identity)).scalar()
    if data is None:
        raise KeyError(identity)
    values: dict[str, Any] = json.loads(data)
    return values


def require_definition(
    connection: Connection, table: Table, about: str, identity: str
) -> dict[str, Any]:
    """As `definition_of`, but with a RecordError if there is none."""
    try:
        return definition_of(connection, table, identity)
    except KeyError:
        raise RecordError(f"there is no {about} {identity!r} in the record.") from None


def iter_definitions(connection: Connection, table: Table) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield identity and plain values of all ropes, gauges or print checks, by identity."""
    for row in connection.execute(select(table).order_by(table.c.identity)):
        yield row.identity, json.loads(row.data)


def iter_readings(
    connection: Connection,
    *,
    inspection: str | None = None,
    rope: str | None = None,
    gauge: str | None = None,
    person: str | None = None,
) -> Iterator[LoggedReading]:
    """Yield the readings that match everything given, in order of inspection and number."""
    query = select(readings).order_by(readings.c.inspection, readings.c.number)
    if inspection is not None:
        query = query.where(readings.c.inspection == inspection)
    if rope is not None:
        of_rope = select(inspections.c.identity).where(inspections.c.rope == rope)
        query = query.where(readings.c.inspection.in_(of_rope))
    if gauge is not None:
        query = query.where(readings.c.gauge == gauge)
    if person is not None:
        query = query.where(readings.c.person == person)
    with connection.execute(query.execution_options(yield_per=2000)) as rows:
        for row in rows:
            yield LoggedReading(
                row.inspection,
                row.number,
                from_dict(Reading, dict(row._mapping)),
                row.withdrawn,
                row.corrected_by,
                row.event,
            )


def ranked(
    connection: Connection,
    *,
    state: str | None = None,
    rope: str | None = None,
    person: str | None = None,
    identity: str | None = None,
    limit: int | None = None,
) -> list[Summary]:
    """Return inspections, those that most deserve a second look first.

    With `person`, only those that name them as inspector, or in which they entered something.
    """
    query = select(inspections).order_by(inspections.c.rank.desc(), inspections.c.identity)
    if state is not None:
        query = query.where(inspections.c.state == state)
    if rope is not None:
        query = query.where(inspections.c.rope == rope)
    if identity is not None:
        query = query.where(inspections.c.identity == identity)
    if limit is not None and person is None:
        query = query.limit(limit)
    rows: Iterable[Row[Any]] = connection.execute(query)
    if person is not None:
        theirs = select(people.c.inspection).where(people.c.person == person)
        touched = set(connection.execute(theirs).scalars())
        rows = (
            row for row in rows if row.identity in touched or same_person(person, row.inspector)
        )
    return [
        Summary(
            row.identity,
            row.rope,
            row.place,
            row.inspector,
            date.fromisoformat(row.held_on),
            row.state,
            row.readings,
            row.results,
            row.open_findings,
            row.rank,
            row.headline,
            row.changed_at,
        )
        for row in islice(rows, limit)
    ]


def next_number(connection: Connection, table: Table, inspection: str) -> int:
    """Return the number for the inspection's next reading or result."""
    query = select(func.max(table.c.number)).where(table.c.inspection == inspection)
    return (connection.execute(query).scalar() or 0) + 1
