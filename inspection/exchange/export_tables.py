"""Tables out of the record, and empty ones to fill in: readings and ropes, as CSV or XLSX."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from inspection.exchange.columns import TABLES, What
from inspection.exchange.spreadsheet import write_sheet
from inspection.model.readings import Gauge
from inspection.model.rope import Rope
from inspection.record.record import Record
from inspection.record.views import LoggedReading, OpenInspection


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
    """Write readings as they stand now (withdrawn ones left out); return how many.

    `read_readings` reads the table back.
    """
    names = (
        [inspection]
        if inspection is not None
        else sorted(summary.identity for summary in record.ranked())
    )
    headings = [column.name for column in TABLES["readings"].values()]
    rows = (
        _reading_cells(there, item)
        for name in names
        for there in [record.inspection(name)]
        for item in there.logged
        if not item.withdrawn
    )
    return write_sheet(path, headings, rows)


def export_ropes(record: Record, path: str | Path) -> int:
    """Write the ropes without their grooves; return how many. `read_ropes` reads them back."""
    headings = [column.name for column in TABLES["ropes"].values()]
    return write_sheet(path, headings, map(_rope_cells, record.ropes()))


def _reading_cells(there: OpenInspection, item: LoggedReading) -> list[str]:
    reading = item.reading
    gauge = next(gauge for gauge in there.gauges if gauge.identity == reading.gauge)
    visit = there.inspection
    at = next((s.position_m for s in visit.stations if s.number == reading.station), None)
    return [
        visit.identity,
        visit.rope,
        visit.on.isoformat(),
        str(reading.station),
        "" if at is None else plain_number(at),
        str(reading.view_deg),
        reading.typed,
        plain_number(reading.value_mm),
        *_gauge_cells(gauge),
        reading.person,
        "" if reading.at is None else reading.at.isoformat(),
    ]


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
    """Yield one row for each inspection, those that most deserve a second look first."""
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
    "inspection", "rope", "on", "place", "inspector", "state", "readings", "results",
    "open_findings", "rank", "headline",
)  # fmt: skip


def export_summary(record: Record, path: str | Path) -> int:
    """Write the ranked list of inspections; return how many."""
    return write_sheet(path, SUMMARY, summary_rows(record))
