"""Readings and ropes from a table: columns matched leniently, every bad row reported with a reason.

Nothing is guessed silently: every assumption is in the notes, and an ambiguous row is rejected.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Generic, Literal, TypeVar, cast

from inspection.exchange.cells import RowCells, place_m
from inspection.exchange.columns import Columns, find_columns, known_headings
from inspection.exchange.days import day_among, days_come_first
from inspection.exchange.headings import two_figures
from inspection.exchange.spreadsheet import Sheet, read_sheet
from inspection.model.length_text import LengthUnit, parse_length
from inspection.model.names import checked_name, checked_text
from inspection.model.readings import Gauge, GaugeKind, Reading
from inspection.model.rope import (
    Build,
    Core,
    Duty,
    Groove,
    Rope,
    Service,
    Sheaves,
    Tension,
    Units,
    country_code,
)
from inspection.model.serialization import from_dict
from inspection.model.typed import check_types

SAME_MM = 0.001  # a value column may be rounded; a larger difference is a contradiction


@dataclass(frozen=True, slots=True)
class Rejected:
    """A row that was not understood.

    Parameters
    ----------
    line : int
        Line in the file, or row number in a spreadsheet.
    reason : str
        Why, as one sentence.
    cells : tuple of str
        Its cells.
    """

    line: int
    reason: str
    cells: tuple[str, ...]

    @property
    def words(self) -> str:
        """One sentence: which row, and why."""
        return f"row {self.line} of the readings was left out: {self.reason}"


@dataclass(frozen=True, slots=True)
class StationFacts:
    """What a row says about a station and its inspection; used alone if it holds no reading.

    Parameters
    ----------
    line : int
        Line in the file.
    inspection : str
        Which inspection it belongs to.
    rope : str
        Which rope was inspected; empty if the table does not say.
    on : date or None
        Day of the inspection.
    station : int
        Station number.
    position_m : float or None
        The station's position along the rope, m.
    note : str
        What is at the station.
    place, inspector, reviewer, supervisor : str
        Of the inspection; empty if the table does not say.
    tension : str or None
        State of tension; None if the table does not say.
    cells : tuple of str
        The cells in the file.
    """

    line: int
    inspection: str
    rope: str
    on: date | None
    station: int
    position_m: float | None
    note: str
    place: str
    inspector: str
    reviewer: str
    supervisor: str
    tension: Tension | None
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading of a table, with what the row says about its gauge and its station."""

    at: StationFacts
    reading: Reading
    gauge: Gauge | None

    @property
    def line(self) -> int:
        """Line in the file."""
        return self.at.line

    @property
    def inspection(self) -> str:
        """Which inspection it belongs to."""
        return self.at.inspection

    @property
    def on(self) -> date | None:
        """Day of the inspection."""
        return self.at.on

    @property
    def position_m(self) -> float | None:
        """The station's position along the rope, m."""
        return self.at.position_m

    @property
    def cells(self) -> tuple[str, ...]:
        """The cells in the file."""
        return self.at.cells


_Row = TypeVar("_Row")
_YesNo = Literal["yes", "no"]


@dataclass(frozen=True, slots=True)
class ParsedTable(Generic[_Row]):
    """What a table holds.

    Parameters
    ----------
    name : str
        Name of the file.
    rows : tuple of (ReadingRow or Rope)
        The good rows.
    lines : tuple of int
        The line of each in the file.
    rejected : tuple of Rejected
        The others.
    notes : tuple of str
        What was assumed.
    mapping : tuple of (str, str)
        Each heading used and the meaning it was given.
    stations : tuple of StationFacts
        Stations without a reading.
    day : date or None
        Day of the rows that state none.
    no_day : str
        Why the days above the headings can't be used, a sentence; empty if there are none.
    """

    name: str
    rows: tuple[_Row, ...]
    lines: tuple[int, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]
    mapping: tuple[tuple[str, str], ...] = ()
    stations: tuple[StationFacts, ...] = ()
    day: date | None = None
    no_day: str = ""


def read_readings(
    path: str | Path,
    *,
    inspection: str = "",
    person: str = "",
    gauge: str = "",
    named: Mapping[str, str] | None = None,
    day_first: bool | None = None,
) -> ParsedTable[ReadingRow]:
    """Read a table of gauge readings from CSV or XLSX.

    A row holds one reading with its direction, or one for each direction in separate columns
    (0°, 90°; d1, d2) or in one cell ("22.2 / 22.1", taken as 0 and 90 degrees). Without a column of
    days or times, the day above the headings is used.

    Parameters
    ----------
    path : str or Path
        The file.
    inspection, person, gauge : str, optional
        For tables that have no such column, or leave its cells empty.
    named : mapping of str to str, optional
        What headings mean, as in `inspection.exchange.columns.find_columns`.
    day_first : bool or None, optional
        Whether 03/04/2026 is the third of April; if None, the table's other days may show it.

    Raises
    ------
    ValueError
        One sentence: the file can't be read, or a required column is missing.
    """
    heads = set(named or {})
    sheet = read_sheet(
        path,
        known=lambda cells: known_headings(cells, "readings") + sum(one in heads for one in cells),
    )
    given = {"inspection": inspection, "person": person, "gauge": gauge}
    paired = any(two_figures(cell) for _, cells in sheet.rows[:200] for cell in cells)
    columns = find_columns(
        sheet.headings,
        "readings",
        given=(*(key for key, value in given.items() if value), *(("view_deg",) if paired else ())),
        named=named,
        day_first=day_first,
    )
    if day_first is None:
        columns = replace(columns, day_first=days_come_first(_days(sheet, columns)))
    parsed = _understand(
        Path(path).name,
        sheet,
        columns,
        lambda line, cells: _reading_rows(RowCells(columns, line, cells, given)),
    )
    notes = parsed.notes
    if paired and "view_deg" not in columns.places:
        notes = (*notes, "two figures in one cell were taken as 0 and 90 degrees.")
    table = ParsedTable(
        parsed.name,
        tuple(row for row in parsed.rows if isinstance(row, ReadingRow)),
        tuple(row.line for row in parsed.rows if isinstance(row, ReadingRow)),
        parsed.rejected,
        notes,
        parsed.mapping,
        tuple(row for row in parsed.rows if isinstance(row, StationFacts)),
    )
    if {"on", "logged_at"} & columns.places.keys():
        return table
    try:
        day = day_among(sheet.above, day_first=day_first)
    except ValueError as error:
        return replace(table, no_day=f"Above the headings {error}")
    if day is None:
        return table
    note = f"the day, {day}, was taken from above the headings."
    return replace(table, day=day, notes=(*notes, note))


def _days(sheet: Sheet, columns: Columns) -> Iterator[str]:
    """Yield every cell that should be a day."""
    for field in ("on", "calibration_due", "logged_at"):
        at = columns.places.get(field)
        if at is not None:
            yield from (cells[at] for _, cells in sheet.rows if at < len(cells))


def read_ropes(
    path: str | Path, *, named: Mapping[str, str] | None = None, day_first: bool | None = None
) -> ParsedTable[Rope]:
    """Read a table of ropes from CSV or XLSX; parameters as in `read_readings`.

    Raises
    ------
    ValueError
        One sentence: the file can't be read, or a required column is missing.
    """
    heads = set(named or {})
    sheet = read_sheet(
        path,
        known=lambda cells: known_headings(cells, "ropes") + sum(one in heads for one in cells),
    )
    columns = find_columns(sheet.headings, "ropes", named=named, day_first=day_first)
    return _understand(
        Path(path).name,
        sheet,
        columns,
        lambda line, cells: [_rope(RowCells(columns, line, cells, {}))],
    )


def _understand(
    name: str,
    sheet: Sheet,
    columns: Columns,
    understand: Callable[[int, tuple[str, ...]], list[_Row]],
) -> ParsedTable[_Row]:
    rows: list[_Row] = []
    lines: list[int] = []
    rejected: list[Rejected] = []
    for line, cells in sheet.rows:
        try:
            if len(cells) > len(sheet.headings):
                raise ValueError(
                    f"the row has {len(cells)} cells, but there are {len(sheet.headings)} "
                    "headings; put text that contains a separator (a decimal comma) in quotes."
                )
            made = understand(line, cells)
            rows += made
            lines += [line] * len(made)
        except ValueError as error:
            rejected.append(Rejected(line, str(error), cells))
    return ParsedTable(
        name,
        tuple(rows),
        tuple(lines),
        tuple(rejected),
        (*sheet.notes, *columns.notes),
        columns.mapping,
    )


def _reading_rows(row: RowCells) -> list[ReadingRow | StationFacts]:
    """Return the readings of a row, or its station alone if there are none."""
    at = _station_row(row)
    made: list[ReadingRow | StationFacts] = []
    for view_deg, one in _one_by_one(row):
        typed, value_mm = _typed(one)
        gauge = checked_name(row.needed("gauge"), "gauge")
        person = checked_name(row.needed("person"), "person")
        moment = row.moment("logged_at")
        reading = Reading(typed, value_mm, at.station, view_deg, gauge, person, moment)
        made.append(ReadingRow(at, reading, _gauge(row, gauge)))
    return made or [at]


def _one_by_one(row: RowCells) -> list[tuple[int, RowCells]]:
    """Return each direction of a row, with the row reduced to that direction."""
    columns = row.columns
    if columns.directions:
        return [
            (
                view_deg,
                replace(
                    row,
                    columns=replace(
                        columns,
                        places={**columns.places, "typed": at},
                        units={**columns.units, **({"typed": unit} if unit else {})},
                    ),
                ),
            )
            for view_deg, at, unit in columns.directions
            if at < len(row.cells) and row.cells[at].strip()
        ]
    field = "typed" if "typed" in columns.places else "value"
    figures = two_figures(row.raw(field))
    if figures is not None:
        if row.text("view_deg"):
            raise ValueError(
                f"{columns.heading(field)} {row.text(field)!r} holds two figures for one "
                "direction; give each its own row, or leave the direction empty."
            )
        at = columns.places[field]
        return [
            (90 * n, replace(row, cells=(*row.cells[:at], text, *row.cells[at + 1 :])))
            for n, text in enumerate(figures)
        ]
    if not (row.text(field) or row.text("view_deg") or row.text("person")):
        return []  # a station without a reading
    view_deg = row.whole("view_deg")
    if not 0 <= view_deg < 360:
        raise ValueError(f"the direction is {view_deg} degrees; it must be from 0 to 359.")
    return [(view_deg, row)]


def _station_row(row: RowCells) -> StationFacts:
    station = row.whole("station")
    if station < 1:
        raise ValueError(f"the station is {station}; stations are numbered from 1.")
    position = row.text("position_m")
    tension = row.choice("tension", Tension, "")
    return StationFacts(
        line=row.line,
        inspection=checked_name(row.needed("inspection"), "inspection"),
        rope=row.text("rope"),
        on=row.day("on"),
        station=station,
        position_m=place_m(position) if position else None,
        note=row.text("note"),
        place=row.text("place"),
        inspector=row.text("inspector"),
        reviewer=row.text("reviewer"),
        supervisor=row.text("supervisor"),
        tension=cast(Tension, tension) if tension else None,
        cells=row.cells,
    )


def _typed(row: RowCells) -> tuple[str, float]:
    """Return the text typed, with the heading's unit if it names none, and its value in mm."""
    both = "typed" in row.columns.places and "value" in row.columns.places
    field = "typed" if "typed" in row.columns.places else "value"
    text = row.raw(field)
    row.needed(field)
    checked_text(text)
    unit = cast(LengthUnit, row.columns.units.get(field, "mm"))
    value_mm = row.read_with(field, lambda: parse_length(text, unit=unit))
    if unit != "mm" and parse_length(text) != value_mm:
        text = f"{text.strip()} {unit}"
    if both and row.text("value"):
        stated = row.length("value")
        if abs(stated - value_mm) > SAME_MM:
            raise ValueError(
                f"{row.columns.heading('typed')} {text!r} means {value_mm:g} mm, but "
                f"{row.columns.heading('value')} says {stated:g} mm."
            )
    return text, value_mm


def _gauge(row: RowCells, identity: str) -> Gauge | None:
    facts = ("gauge_kind", "resolution", "permissible_error")
    given = [bool(row.text(field)) for field in facts]
    if not any(given):
        return None
    if not all(given):
        missing = [
            row.columns.heading(f) for f, is_given in zip(facts, given, strict=True) if not is_given
        ]
        raise ValueError(f"the row's details of gauge {identity!r} lack {', '.join(missing)}.")
    kind = cast(GaugeKind, row.choice("gauge_kind", GaugeKind, ""))
    resolution_mm = row.length("resolution")
    if resolution_mm <= 0:
        raise ValueError(f"the resolution of gauge {identity!r} must be more than 0.")
    return Gauge(
        identity, kind, resolution_mm, row.length("permissible_error"), row.day("calibration_due")
    )


def _rope(row: RowCells) -> Rope:
    strands = row.text("outer_strands")
    nominal_mm = row.length("nominal")
    if nominal_mm <= 0:
        raise ValueError("the nominal diameter must be more than 0.")
    return Rope(
        identity=checked_name(row.needed("identity"), "rope"),
        nominal_mm=nominal_mm,
        outer_strands=row.whole("outer_strands") if strands else 6,
        core=cast(Core, row.choice("core", Core, "steel")),
        build=cast(Build, row.choice("build", Build, "single-layer")),
        fibre_centred_strands=row.choice("fibre_centred", _YesNo, "no") == "yes",
        duty=cast(Duty, row.choice("duty", Duty, "general")),
        service=cast(Service, row.choice("service", Service, "in-service")),
        reference_mm=_length_or_none(row, "reference"),
        reference_on=row.day("reference_on"),
        reference_how=row.text("reference_how"),
        u_reference_mm=_length_or_none(row, "u_reference"),
        reference_tension=(
            cast(Tension, row.choice("reference_tension", Tension, "none"))
            if row.text("reference_tension")
            else None
        ),
        baseline_mm=_length_or_none(row, "baseline"),
        lay_mm=_length_or_none(row, "lay"),
        units=cast(Units, row.choice("units", Units, "mm")),
        site=row.text("site"),
        grooves=_grooves(row),
        country=country_code(row.text("country")),
        sheaves=cast(Sheaves, row.choice("sheaves", Sheaves, "not stated")),
    )


def _grooves(row: RowCells) -> tuple[Groove, ...]:
    """Return the drum and sheaves from a JSON cell."""
    text = row.text("grooves")
    if not text:
        return ()
    try:
        listed = json.loads(text)
        grooves = tuple(from_dict(Groove, one) for one in listed)
        for groove in grooves:
            check_types(groove)
    except (ValueError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(
            f"{row.columns.heading('grooves')} is not a JSON list of grooves ({error}); leave it "
            "empty, or copy it from an export."
        ) from error
    return grooves


def _length_or_none(row: RowCells, field: str) -> float | None:
    length_mm = row.length(field) if row.text(field) else None
    if length_mm == 0 and field != "u_reference":
        raise ValueError(
            f"{row.columns.heading(field)} must be more than 0; leave it empty if it is not known."
        )
    return length_mm
