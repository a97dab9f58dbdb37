"""From a table into the record: all rows, only the good ones on request, or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from inspection.exchange.parse import ParsedTable, ReadingRow, Rejected, StationFacts
from inspection.model.names import checked_name
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.errors import RecordError
from inspection.record.record import Record


class RejectedError(ValueError):
    """Rows of a table were rejected, so nothing was imported.

    Parameters
    ----------
    message : str
        How many, and the first of them.
    rejected : tuple of Rejected
        Each row with its reason.
    """

    def __init__(self, message: str, rejected: tuple[Rejected, ...]) -> None:
        super().__init__(message)
        self.rejected = rejected


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import added.

    Parameters
    ----------
    readings, gauges, inspections, ropes : int
        How many were added of each.
    rejected : tuple of Rejected
        Rows that were left out (only with ``keep_good=True``).
    notes : tuple of str
        What was assumed.
    """

    readings: int
    gauges: int
    inspections: int
    ropes: int
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]


def import_readings(
    record: Record,
    table: ParsedTable[ReadingRow],
    *,
    by: str,
    why: str = "",
    rope: str = "",
    keep_good: bool = False,
) -> Imported:
    """Add a table's readings to the record, with the gauges and inspections they need.

    A row is rejected if the record has the same reading already, so importing a file twice adds
    nothing. An inspection that the record lacks is added where its rope is known (from the
    table or from `rope`), on the table's day or the day of its first reading.

    Parameters
    ----------
    record : Record
        Where they are added.
    table : ParsedTable of ReadingRow
        From `read_readings`.
    by, why : str
        Who imports, and why; `why` defaults to the file's name.
    rope : str, optional
        Rope of new inspections if the table does not say.
    keep_good : bool, optional
        True imports the good rows even if others are rejected.

    Raises
    ------
    RejectedError
        If rows were rejected and `keep_good` is False; nothing was imported.
    """
    why = why or f"imported from {table.name}"
    rejected = list(table.rejected)
    with record.transaction() as batch:
        rows, gauges = _with_known_gauges(batch, table.rows, rejected)
        rows = _not_there_yet(batch, rows, rejected)
        rows, visits = _with_inspections(batch, replace(table, rows=tuple(rows)), rejected, rope)
        rejected.sort(key=lambda row: row.line)
        _refuse(table.name, rejected, keep_good)
        used = {row.reading.gauge for row in rows}
        new_gauges = [gauge for gauge in gauges.values() if gauge.identity in used]
        for gauge in new_gauges:
            batch.add_gauge(gauge, by=by, why=why)
        for visit in visits:
            batch.add_inspection(visit, by=by, why=why)
        for identity, readings in _by_inspection(rows).items():
            batch.add_readings(identity, readings, by=by, why=why)
    return Imported(len(rows), len(new_gauges), len(visits), 0, tuple(rejected), table.notes)


def import_ropes(
    record: Record,
    table: ParsedTable[Rope],
    *,
    by: str,
    why: str = "",
    keep_good: bool = False,
) -> Imported:
    """Add a table's ropes to the record; one that is there already is rejected.

    Raises
    ------
    RejectedError
        If rows were rejected and `keep_good` is False; nothing was imported.
    """
    why = why or f"imported from {table.name}"
    rejected = list(table.rejected)
    added = 0
    with record.transaction() as batch:
        known = {rope.identity for rope in batch.ropes()}
        for line, rope in zip(table.lines, table.rows, strict=True):
            if rope.identity in known:
                reason = (
                    f"the rope {rope.identity!r} is already in the record, or is in this table "
                    "twice."
                )
                rejected.append(Rejected(line, reason, (rope.identity,)))
                continue
            known.add(rope.identity)
            batch.add_rope(rope, by=by, why=why)
            added += 1
        rejected.sort(key=lambda row: row.line)
        _refuse(table.name, rejected, keep_good)
    return Imported(0, 0, 0, added, tuple(rejected), table.notes)


def _refuse(name: str, rejected: list[Rejected], keep_good: bool) -> None:
    if rejected and not keep_good:
        first = rejected[0]
        raise RejectedError(
            f"{name}: {rows_rejected(len(rejected))} and nothing was imported; the first is "
            f"line {first.line}: {first.reason}",
            tuple(rejected),
        )


def rows_rejected(count: int) -> str:
    """Return how many rows were rejected, in words.

    Examples
    --------
    >>> rows_rejected(1), rows_rejected(2)
    ('1 row was rejected', '2 rows were rejected')
    """
    return f"{count} row was rejected" if count == 1 else f"{count} rows were rejected"


def _with_known_gauges(
    record: Record, rows: Iterable[ReadingRow], rejected: list[Rejected]
) -> tuple[list[ReadingRow], dict[str, Gauge]]:
    """Keep rows whose gauge is known or described; return the gauges that are new."""
    known = {gauge.identity: gauge for gauge in record.gauges()}
    new: dict[str, Gauge] = {}
    described = list(rows)
    for row in described:
        gauge = row.reading.gauge
        if row.gauge is not None and gauge not in known:
            new.setdefault(gauge, row.gauge)
    good = []
    for row in described:
        name = row.reading.gauge
        there = known.get(name) or new.get(name)
        if there is None:
            reason = (
                f"gauge {name!r} is not in the record, and the table does not give its kind, "
                "resolution and permissible error: add these columns, or enter the gauge on the "
                "page first."
            )
        elif row.gauge is not None and _facts(row.gauge, there) != _facts(there, row.gauge):
            where = "in the record" if name in known else "in an earlier row"
            reason = (
                f"gauge {name!r} is described differently {where}: {_difference(row.gauge, there)}."
            )
        else:
            good.append(row)
            continue
        rejected.append(Rejected(row.line, reason, row.cells))
    return good, new


def _facts(gauge: Gauge, other: Gauge) -> Gauge:
    """Return the gauge without its calibration if one of the two does not state it."""
    if None in (gauge.calibration_due, other.calibration_due):
        return replace(gauge, calibration_due=None)
    return gauge


def _difference(here: Gauge, there: Gauge) -> str:
    for name in ("kind", "resolution_mm", "permissible_error_mm", "calibration_due"):
        if getattr(here, name) != getattr(there, name):
            return f"{name} {getattr(here, name)} here, {getattr(there, name)} there"
    return "no difference"


def _not_there_yet(
    record: Record, rows: list[ReadingRow], rejected: list[Rejected]
) -> list[ReadingRow]:
    """Keep rows that the record lacks; rows with a time must not be repeated in the table."""
    there: dict[str, set[Reading]] = {}
    first_line: dict[tuple[str, Reading], int] = {}
    good = []
    for row in rows:
        if row.inspection not in there:
            try:
                there[row.inspection] = set(record.inspection(row.inspection).readings)
            except RecordError:
                there[row.inspection] = set()
        key = (row.inspection, row.reading)
        if row.reading in there[row.inspection]:
            reason = "the record already has this reading."
        elif row.reading.at is not None and key in first_line:
            reason = f"the row is the same as line {first_line[key]}."
        else:
            first_line[key] = row.line
            good.append(row)
            continue
        rejected.append(Rejected(row.line, reason, row.cells))
    return good


def _with_inspections(
    record: Record, table: ParsedTable[ReadingRow], rejected: list[Rejected], rope: str
) -> tuple[list[ReadingRow], list[Inspection]]:
    """Keep rows whose inspection is known or can be added; return the new inspections.

    Stations without a reading are added to new inspections only.
    """
    bare = table.stations
    known = {summary.identity: summary for summary in record.ranked()}
    ropes = {item.identity for item in record.ropes()}
    good: list[ReadingRow] = []
    visits: list[Inspection] = []
    grouped = _grouped(table.rows)
    for one in bare:
        grouped.setdefault(one.inspection, [])
    for identity, group in grouped.items():
        stations = [row.at for row in group] + [one for one in bare if one.inspection == identity]
        named = {row.rope or rope for row in stations} - {""}
        reason = ""
        if identity in known:
            if named - {known[identity].rope}:
                reason = f"inspection {identity!r} is of rope {known[identity].rope!r}."
        elif len(named) != 1:
            reason = f"inspection {identity!r} is not in the record, and its rope is " + (
                "not stated; name it." if not named else "stated in two ways."
            )
        elif not named <= ropes:
            reason = f"rope {named.pop()!r} is not in the record; import the ropes first."
        else:
            try:
                people = {row.reading.person for row in group}
                logged = [row.reading.at.date() for row in group if row.reading.at is not None]
                days = {row.on for row in stations} - {None}
                on = days.pop() if len(days) == 1 else table.day or min(logged, default=None)
                if days or on is None:
                    raise ValueError(
                        f"inspection {identity!r} is new and needs one day; give it with --day, or "
                        f"in a column date or logged_at. {table.no_day}".strip()
                    )
                visits.append(_new_inspection(identity, named.pop(), stations, people, on))
            except ValueError as error:
                reason = str(error)
        if reason:
            rejected += [Rejected(row.line, reason, row.cells) for row in stations]
        else:
            good += group
    return good, visits


def _new_inspection(
    identity: str, rope: str, group: Sequence[StationFacts], people: set[str], on: date
) -> Inspection:
    """Return an inspection that the record lacks, from a table's rows."""
    checked_name(identity, "inspection")
    positions: dict[int, float] = {}
    notes: dict[int, str] = {}
    for row in group:
        if row.position_m is not None:
            at = positions.setdefault(row.station, row.position_m)
            if at != row.position_m:
                raise ValueError(
                    f"station {row.station} is at {at:g} m in one row and at "
                    f"{row.position_m:g} m in another."
                )
        notes[row.station] = notes.get(row.station) or row.note
    inspector = _only(identity, "inspector", (row.inspector for row in group))
    return Inspection(
        identity,
        rope,
        on,
        _only(identity, "place", (row.place for row in group)),
        inspector or (next(iter(people)) if len(people) == 1 else ""),
        _only(identity, "reviewer", (row.reviewer for row in group)),
        _only(identity, "supervisor", (row.supervisor for row in group)),
        next((row.tension for row in group if row.tension is not None), "none"),
        tuple(Station(number, at, notes[number]) for number, at in sorted(positions.items())),
    )


def _only(identity: str, what: str, values: Iterable[str]) -> str:
    """Return the one value that the rows state; empty if none does."""
    named = {one for one in values if one}
    if len(named) > 1:
        raise ValueError(
            f"the {what} of inspection {identity!r} is stated in two ways: "
            f"{' and '.join(sorted(named)[:2])}."
        )
    return named.pop() if named else ""


def _grouped(rows: Iterable[ReadingRow]) -> dict[str, list[ReadingRow]]:
    groups: dict[str, list[ReadingRow]] = {}
    for row in rows:
        groups.setdefault(row.inspection, []).append(row)
    return groups


def _by_inspection(rows: Iterable[ReadingRow]) -> dict[str, list[Reading]]:
    return {identity: [row.reading for row in group] for identity, group in _grouped(rows).items()}
