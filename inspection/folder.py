"""A folder of one rope's inspection: tables and descriptions in, a log without results out.

=================  ==========================================================================
file               holds
=================  ==========================================================================
readings.csv       the gauge readings, including earlier inspections (or readings.xlsx)
rope.json          fields of `inspection.model.rope.Rope`; at least identity and nominal_mm
stations.csv       number, position_m and note of the stations; may be left out
inspection.json    fields of `inspection.model.rope.Inspection`, e.g. on and tension; may be left
out =================  ==========================================================================

The photographs are in the same folder; `vision` reads them.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Any

from inspection.exchange.cells import place_m, whole_number
from inspection.exchange.columns import MissingColumnsError
from inspection.exchange.parse import ReadingRow, Rejected, StationFacts, read_readings
from inspection.exchange.spreadsheet import read_sheet
from inspection.model.length_text import parse_length
from inspection.model.log import Earlier, Log, stations_in_words
from inspection.model.readings import Gauge
from inspection.model.rope import Inspection, Rope, Station, country_code
from inspection.model.serialization import from_dict
from inspection.model.typed import check_types
from inspection.record.changes.commands import check_rope, check_stations

READINGS = ("readings.csv", "readings.xlsx")


@dataclass(frozen=True, slots=True)
class Folder:
    """What a folder's tables say.

    Parameters
    ----------
    log : Log
        The inspection asked for, without results of photographs.
    rejected : tuple of Rejected
        Rows of the readings that were not understood.
    notes : tuple of str
        What was assumed.
    """

    log: Log
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]


def rejected_words(rejected: Sequence[Rejected]) -> str:
    """Return the first of the rows that were not understood, and how many more; "" for none."""
    if not rejected:
        return ""
    more = f" And {len(rejected) - 1} more." if len(rejected) > 1 else ""
    return f"{rejected[0].words}{more}"


@dataclass(frozen=True, slots=True)
class _Described:
    """The description of an inspection, apart from its readings.

    Parameters
    ----------
    values : dict
        Fields of inspection.json.
    stations : tuple of Station
        From stations.csv.
    planned : sequence of StationFacts
        Rows of the readings' table that plan a station without a reading.
    """

    values: dict[str, Any]
    stations: tuple[Station, ...]
    planned: Sequence[StationFacts] = ()


def read_folder(path: str | Path, *, inspection: str = "") -> Folder:
    """Read the tables of a folder.

    Parameters
    ----------
    path : str or Path
        The folder.
    inspection : str, optional
        Which inspection of the readings is meant; the latest by default. Earlier ones become
        `Log.earlier`; later ones are left out.

    Raises
    ------
    ValueError
        One sentence: what is missing or wrong, and what to do.
    """
    folder = Path(path)
    rope = _read_rope(folder / "rope.json")
    table = next((folder / name for name in READINGS if (folder / name).is_file()), None)
    if table is None:
        raise ValueError(f"{folder} has no readings.csv: put the gauge readings there.")
    try:
        understood = read_readings(table, inspection=inspection or "inspection")
    except MissingColumnsError as lacks:
        raise ValueError(
            f"{table.name}: {lacks.fault} Name the headings as in the table that `ropephoto "
            "record template` writes."
        ) from lacks
    if not understood.rows:
        reason = understood.rejected[0].reason if understood.rejected else "it has no rows."
        raise ValueError(f"{understood.name} holds no valid reading: {reason}")
    groups: dict[str, list[ReadingRow]] = {}
    for row in understood.rows:
        groups.setdefault(row.inspection, []).append(row)
    order = sorted(groups, key=lambda name: (_day(groups[name]) or date.min, name))
    wanted = inspection or order[-1]
    if wanted not in groups:
        raise ValueError(
            f"{understood.name} has no inspection '{wanted}'; it has {', '.join(order)}."
        )
    stations = _read_stations(folder / "stations.csv")
    notes = list(understood.notes)
    described = _Described(
        _read_inspection(folder / "inspection.json"),
        stations,
        [row for row in understood.stations if row.inspection == wanted],
    )
    current = _inspection(rope, wanted, groups[wanted], described, notes)
    earlier = []
    for name in order[: order.index(wanted)]:
        then = _inspection(rope, name, groups[name], _Described({}, stations), notes)
        # the tension of earlier rows is not recorded; assuming it alike allows a comparison
        then = Inspection(
            then.identity, then.rope, then.on, tension=current.tension, stations=then.stations
        )
        earlier.append(Earlier(then, tuple(row.reading for row in groups[name])))
    if earlier and current.tension != "none":
        notes.append("Earlier readings were assumed to be under the same tension as these.")
    until = order[: order.index(wanted) + 1]
    gauges = _gauges([row for name in until for row in groups[name]])
    readings = tuple(row.reading for row in groups[wanted])
    log = Log(rope, current, readings, gauges, (), tuple(earlier))
    return Folder(log, understood.rejected, tuple(notes))


def _read_rope(path: Path) -> Rope:
    values = _read_json(
        path, Rope, 'describe the rope there, at least {"identity": "hoist rope", "nominal_mm": 22}'
    )
    try:
        rope = from_dict(Rope, _with_lengths_read(values))
        check_types(rope)
        rope = replace(rope, country=country_code(rope.country))
        check_rope(rope)
    except ValueError as error:
        raise ValueError(f"{path.name} does not describe a rope: {error}") from error
    return rope


def _with_lengths_read(values: dict[str, Any]) -> dict[str, Any]:
    """Return a description with its lengths in mm; those written as text can name their unit."""
    read: dict[str, Any] = {}
    for name, value in values.items():
        if name.endswith("_mm") and isinstance(value, str):
            try:
                read[name] = parse_length(value)
            except ValueError as error:
                raise ValueError(f"'{name}' is {value!r}; {error}") from error
        elif isinstance(value, list):
            read[name] = [
                _with_lengths_read(one) if isinstance(one, dict) else one for one in value
            ]
        else:
            read[name] = value
    return read


def _read_inspection(path: Path) -> dict[str, Any]:
    return _read_json(path, Inspection, "") if path.is_file() else {}


def _read_json(path: Path, kind: type, why: str) -> dict[str, Any]:
    """Return the fields of a description; each name must be a field of its type."""
    try:
        values = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ValueError(f"{path.parent} has no {path.name}: {why}.") from None
    except RecursionError:
        raise ValueError(f"{path.name} is nested too deeply.") from None
    except json.JSONDecodeError as error:
        raise ValueError(
            f"{path.name} is not JSON (line {error.lineno}, column {error.colno}): correct it "
            "there."
        ) from error
    except (OSError, ValueError) as error:
        raise ValueError(f"{path.name} can't be read as JSON: {error}.") from error
    if not isinstance(values, dict):
        raise ValueError(f"{path.name} must hold an object: names and values in braces.")
    known = [item.name for item in fields(kind)]
    for name in values:
        if name not in known:
            raise ValueError(
                f"{path.name} has an unknown field '{name}'; known fields are {', '.join(known)}."
            )
    return values


def _read_stations(path: Path) -> tuple[Station, ...]:
    if not path.is_file():
        return ()
    sheet = read_sheet(path)
    names = [heading.strip().lower() for heading in sheet.headings]
    if "number" not in names or "position_m" not in names:
        raise ValueError(f"{path.name} needs the columns number and position_m; it has {names}.")
    stations: dict[int, Station] = {}
    for line, cells in sheet.rows:
        row = dict(zip(names, cells, strict=False))
        try:
            number, position = whole_number(row["number"]), place_m(row["position_m"])
        except (KeyError, ValueError):
            raise ValueError(
                f"{path.name}, line {line}: number and position_m must be numbers; got {cells}."
            ) from None
        if number < 1 or number in stations:
            raise ValueError(
                f"{path.name}, line {line}: each station needs its own number, from 1, and a "
                f"position in m; got {cells}."
            )
        stations[number] = Station(number, position, row.get("note", ""))
    return tuple(stations.values())


def _inspection(
    rope: Rope,
    name: str,
    rows: Sequence[ReadingRow],
    described: _Described,
    notes: list[str],
) -> Inspection:
    on = _day(rows)
    values: dict[str, Any] = {"identity": name, "rope": rope.identity, **described.values}
    if "on" not in values:
        if on is None:
            raise ValueError(
                f"the day of inspection '{name}' is not known: add a column logged_at or on, or "
                "an inspection.json with on."
            )
        values["on"] = on.isoformat()
    if "stations" not in values:
        values["stations"] = []
    try:
        inspection = from_dict(Inspection, values)
        check_types(inspection)
        check_stations(inspection)
    except ValueError as error:
        raise ValueError(f"inspection.json does not describe an inspection: {error}") from error
    facts = [*(row.at for row in rows), *described.planned]
    placed = {station.number: station for station in (*_positions(facts), *described.stations)}
    missing = sorted({row.reading.station for row in rows} - placed.keys())
    if missing and not inspection.stations and not described.values:
        notes.append(
            f"Inspection {name}: {stations_in_words(missing)}: position along the rope unknown."
        )
    return Inspection(
        name,
        rope.identity,
        inspection.on,
        inspection.place,
        inspection.inspector,
        inspection.reviewer,
        inspection.supervisor,
        inspection.tension,
        inspection.stations or tuple(placed.values()),
    )


def _positions(rows: Sequence[StationFacts]) -> list[Station]:
    return [
        Station(row.station, row.position_m, row.note) for row in rows if row.position_m is not None
    ]


def _day(rows: Sequence[ReadingRow]) -> date | None:
    """Return the day of an inspection: as stated in its rows, else when the first was logged."""
    stated = [row.on for row in rows if row.on is not None]
    logged = [row.reading.at.date() for row in rows if row.reading.at is not None]
    return min(stated or logged, default=None)


def _gauges(rows: Sequence[ReadingRow]) -> dict[str, Gauge]:
    """Return the gauges that the rows describe; the last description counts (a new calibration)."""
    return {row.gauge.identity: row.gauge for row in rows if row.gauge is not None}
