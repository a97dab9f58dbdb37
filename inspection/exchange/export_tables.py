"""Tables out of the record, and empty ones to fill in: readings and ropes, as CSV or XLSX."""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from inspection.exchange.known_columns import TABLES, What
from inspection.exchange.spreadsheet import write_sheet
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Rope
from inspection.model.serialization import to_dict
from inspection.record.record import Record
from inspection.record.views import OpenInspection


def write_template(path: str | Path, what: What) -> None:
    """Write an empty table with its headings and an example, as .csv or .xlsx.

    Parameters
    ----------
    path : str or Path
        Ends in .csv or .xlsx.
    what : {"readings", "ropes"}
        Which table.
    """
    columns = TABLES[what].values()
    write_sheet(
        path,
        [column.name for column in columns],
        (),
        comments=[[c.example for c in columns], [c.meaning for c in columns]],
    )


def export_readings(record: Record, path: str | Path, *, inspection: str | None = None) -> int:
    """Write the current readings (withdrawn ones left out); return the number of rows.

    A station without a reading has a row of its own. `read_readings` reads the table back, and
    importing it gives the same readings, stations and inspections.
    """
    names = (
        [inspection]
        if inspection is not None
        else sorted(summary.identity for summary in record.ranked())
    )
    headings = [column.name for column in TABLES["readings"].values()]
    rows = (cells for name in names for cells in _inspection_rows(record.inspection(name)))
    return write_sheet(path, headings, rows)


def export_ropes(record: Record, path: str | Path) -> int:
    """Write the ropes; return how many. `read_ropes` reads them back."""
    headings = [column.name for column in TABLES["ropes"].values()]
    return write_sheet(path, headings, map(_rope_cells, record.ropes()))


def _inspection_rows(opened: OpenInspection) -> Iterator[list[str]]:
    """Yield a row for each reading, and for each station without a reading."""
    current = [item for item in opened.logged if not item.withdrawn]
    read = {item.reading.station for item in current}
    for item in current:
        yield _row(opened, item.reading.station, _reading_cells(opened, item.reading))
    for station in opened.inspection.stations:
        if station.number not in read:
            yield _row(opened, station.number, {})


def _row(opened: OpenInspection, number: int, reading: dict[str, str]) -> list[str]:
    """Return the cells of a row, in the order of the columns."""
    visit = opened.inspection
    station = next((one for one in visit.stations if one.number == number), None)
    cells = {
        "inspection": visit.identity,
        "rope": visit.rope,
        "on": visit.on.isoformat(),
        "station": str(number),
        "position_m": "" if station is None else plain_number(station.position_m),
        "note": "" if station is None else station.note,
        "place": visit.place,
        "tension": visit.tension,
        "inspector": visit.inspector,
        "reviewer": visit.reviewer,
        "supervisor": visit.supervisor,
        **reading,
    }
    return [cells.get(key, "") for key in TABLES["readings"]]


def _reading_cells(opened: OpenInspection, reading: Reading) -> dict[str, str]:
    gauge = next(gauge for gauge in opened.gauges if gauge.identity == reading.gauge)
    facts = ("gauge", "gauge_kind", "resolution", "permissible_error", "calibration_due")
    return {
        "view_deg": str(reading.view_deg),
        "typed": reading.typed,
        "value": plain_number(reading.value_mm),
        **dict(zip(facts, _gauge_cells(gauge), strict=True)),
        "person": reading.person,
        "logged_at": "" if reading.at is None else reading.at.isoformat(),
    }


def _gauge_cells(gauge: Gauge) -> list[str]:
    due = gauge.calibration_due
    return [
        gauge.identity,
        gauge.kind,
        plain_number(gauge.resolution_mm),
        plain_number(gauge.permissible_error_mm),
        "" if due is None else due.isoformat(),
    ]


def _rope_cells(rope: Rope) -> list[str]:
    return [
        rope.identity,
        plain_number(rope.nominal_mm),
        str(rope.outer_strands),
        rope.core,
        rope.build,
        "yes" if rope.fibre_centred_strands else "no",
        rope.duty,
        rope.service,
        _or_empty(rope.reference_mm),
        "" if rope.reference_on is None else rope.reference_on.isoformat(),
        rope.reference_how,
        _or_empty(rope.u_reference_mm),
        rope.reference_tension or "",
        _or_empty(rope.baseline_mm),
        _or_empty(rope.lay_mm),
        json.dumps([to_dict(one) for one in rope.grooves], ensure_ascii=False)
        if rope.grooves
        else "",
        rope.country,
        rope.sheaves,
        rope.units,
        rope.site,
    ]


def _or_empty(value: float | None) -> str:
    return "" if value is None else plain_number(value)


def plain_number(value: float) -> str:
    """Return a number with all its digits and without an exponent.

    Examples
    --------
    >>> plain_number(22.0), plain_number(1e-05)
    ('22.0', '0.00001')
    """
    return f"{Decimal(repr(value)):f}"


def summary_rows(record: Record) -> Iterator[list[str]]:
    """Yield one row per inspection, those that most deserve a second look first."""
    for item in record.ranked():
        yield [
            item.identity,
            item.rope,
            item.on.isoformat(),
            item.place,
            item.inspector,
            item.state,
            str(item.readings),
            str(item.results),
            str(item.open_findings),
            plain_number(item.rank),
            item.headline,
        ]


SUMMARY = (
    "inspection", "rope", "date", "place", "inspector", "state", "readings",
    "figures from photographs", "open findings", "urgency", "most urgent finding",
)  # fmt: skip


def export_summary(record: Record, path: str | Path) -> int:
    """Write the ranked list of inspections; return how many."""
    return write_sheet(path, SUMMARY, summary_rows(record))
