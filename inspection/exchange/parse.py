"""Readings and ropes out of a table: columns matched kindly, every bad row told with its reason.

Nothing is guessed silently: what was taken for granted is among the notes, and a row that can
be understood in two ways is rejected.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Generic, Literal, TypeVar, cast

from inspection.exchange.columns import Columns, RowCells, find_columns, place_m
from inspection.exchange.spreadsheet import Sheet, read_sheet
from inspection.model.length_text import LengthUnit, parse_length
from inspection.model.readings import Gauge, GaugeKind, Reading
from inspection.model.rope import Build, Core, Duty, Rope, Service, Tension, Units
from inspection.record.serialization import checked_name, checked_text

SAME_MM = 0.001  # a value column may be rounded; further off it says something else


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
        What stands there.
    """

    line: int
    reason: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One row of a table of readings.

    Parameters
    ----------
    line : int
        Line in the file.
    inspection : str
        Which inspection it belongs to.
    reading : Reading
        The entry.
    gauge : Gauge or None
        What the row says about the gauge; None where it only names it.
    rope : str
        Which rope was inspected; empty where the table does not say.
    on : date or None
        Day of the inspection.
    position_m : float or None
        The station's place along the rope, m.
    cells : tuple of str
        What stands in the file.
    """

    line: int
    inspection: str
    reading: Reading
    gauge: Gauge | None
    rope: str
    on: date | None
    position_m: float | None
    cells: tuple[str, ...]


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
        Where each of them stands in the file.
    rejected : tuple of Rejected
        The others.
    notes : tuple of str
        What was taken for granted.
    """

    name: str
    rows: tuple[_Row, ...]
    lines: tuple[int, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]


def read_readings(
    path: str | Path, *, inspection: str = "", person: str = "", gauge: str = ""
) -> ParsedTable[ReadingRow]:
    """Read a table of gauge readings from CSV or XLSX.

    Parameters
    ----------
    path : str or Path
        The file.
    inspection, person, gauge : str, optional
        For tables that have no such column, or leave its cells empty.

    Raises
    ------
    ValueError
        One sentence: the file can't be read, or a column that is needed is missing.
    """
    sheet = read_sheet(path)
    given = {"inspection": inspection, "person": person, "gauge": gauge}
    columns = find_columns(
        sheet.headings, "readings", given=tuple(key for key, value in given.items() if value)
    )
    row = lambda line, cells: _reading_row(RowCells(columns, line, cells, given))  # noqa: E731
    return _understand(Path(path).name, sheet, columns, row)


def read_ropes(path: str | Path) -> ParsedTable[Rope]:
    """Read a table of ropes from CSV or XLSX.

    Raises
    ------
    ValueError
        One sentence: the file can't be read, or a column that is needed is missing.
    """
    sheet = read_sheet(path)
    columns = find_columns(sheet.headings, "ropes")
    row = lambda line, cells: _rope(RowCells(columns, line, cells, {}))  # noqa: E731
    return _understand(Path(path).name, sheet, columns, row)


def _understand(
    name: str,
    sheet: Sheet,
    columns: Columns,
    understand: Callable[[int, tuple[str, ...]], _Row],
) -> ParsedTable[_Row]:
    rows: list[_Row] = []
    lines: list[int] = []
    rejected: list[Rejected] = []
    for line, cells in sheet.rows:
        try:
            if len(cells) > len(sheet.headings):
                raise ValueError(
                    f"the row has {len(cells)} cells and the headings {len(sheet.headings)}; put "
                    "text with a separator in it (a decimal comma) in quotes."
                )
            rows.append(understand(line, cells))
            lines.append(line)
        except ValueError as error:
            rejected.append(Rejected(line, str(error), cells))
    return ParsedTable(
        name, tuple(rows), tuple(lines), tuple(rejected), (*sheet.notes, *columns.notes)
    )


def _reading_row(row: RowCells) -> ReadingRow:
    inspection = checked_name(row.needed("inspection"), "inspection")
    station, view_deg = row.whole("station"), row.whole("view_deg")
    if station < 1:
        raise ValueError(f"the station is {station}; stations are numbered from 1.")
    if not 0 <= view_deg < 360:
        raise ValueError(f"the view is {view_deg} degrees; it lies from 0 to 359.")
    typed, value_mm = _typed(row)
    gauge = checked_name(row.needed("gauge"), "gauge")
    reading = Reading(
        typed,
        value_mm,
        station,
        view_deg,
        gauge,
        checked_name(row.needed("person"), "person"),
        row.moment("logged_at"),
    )
    position = row.text("position_m")
    return ReadingRow(
        line=row.line,
        inspection=inspection,
        reading=reading,
        gauge=_gauge(row, gauge),
        rope=row.text("rope"),
        on=row.day("on"),
        position_m=place_m(position) if position else None,
        cells=row.cells,
    )


def _typed(row: RowCells) -> tuple[str, float]:
    """Return what was typed, with the heading's unit where the text names none, and its mm."""
    both = "typed" in row.columns.places and "value" in row.columns.places
    field = "typed" if "typed" in row.columns.places else "value"
    text = row.raw(field)
    row.needed(field)
    checked_text(text)
    unit = cast(LengthUnit, row.columns.units.get(field, "mm"))
    value_mm = row.told(field, lambda: parse_length(text, unit=unit))
    if unit != "mm" and parse_length(text) != value_mm:
        text = f"{text.strip()} {unit}"
    if both and row.text("value"):
        said = row.length("value")
        if abs(said - value_mm) > SAME_MM:
            raise ValueError(
                f"{row.columns.heading('typed')} {text!r} means {value_mm:g} mm, but "
                f"{row.columns.heading('value')} says {said:g} mm."
            )
    return text, value_mm


def _gauge(row: RowCells, identity: str) -> Gauge | None:
    facts = ("gauge_kind", "resolution", "permissible_error")
    told = [bool(row.text(field)) for field in facts]
    if not any(told):
        return None
    if not all(told):
        missing = [
            row.columns.heading(f) for f, is_told in zip(facts, told, strict=True) if not is_told
        ]
        raise ValueError(f"about gauge {identity!r} the row lacks {', '.join(missing)}.")
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
    )


def _length_or_none(row: RowCells, field: str) -> float | None:
    length_mm = row.length(field) if row.text(field) else None
    if length_mm == 0 and field != "u_reference":
        raise ValueError(f"{row.columns.heading(field)} must be more than 0; leave it empty.")
    return length_mm
