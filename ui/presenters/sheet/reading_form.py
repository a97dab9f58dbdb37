"""Typed readings: parsed and checked for plausibility; and changes described in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from inspection.exchange.cells import whole_number
from inspection.model.length_text import parse_length
from inspection.model.readings import Reading
from inspection.record.views import OpenInspection
from ui.lengths import length_text, unit_of
from vision.results import Place

MOST_LETTERS = 300  # longest description of a change on a page
IMPLAUSIBLE_PCT = 20.0  # further from nominal than any rope in use: most likely a slip


@dataclass(frozen=True, slots=True)
class TypedRow:
    """One row of the table, as it was typed."""

    station: str
    view: str
    typed: str


@dataclass(frozen=True, slots=True)
class ParsedRow:
    """A parsed row.

    Parameters
    ----------
    reading : Reading or None
        None if it was not understood, or nothing was typed.
    wrong : str
        Why it can't be entered; empty if it can.
    implausible : str
        What to confirm before it is entered; empty if it is plausible.
    """

    reading: Reading | None
    wrong: str = ""
    implausible: str = ""


def parse_row(
    row: TypedRow, opened: OpenInspection, *, gauge: str, person: str, at: datetime
) -> ParsedRow:
    """Return a typed row as a reading of an inspection."""
    if not row.typed.strip():
        return ParsedRow(None)
    try:
        station, view = whole_number(row.station), whole_number(row.view)
        if station < 1 or not 0 <= view < 360:
            raise ValueError
    except ValueError:
        return ParsedRow(None, "enter a station from 1 upwards and a direction from 0 to 359.")
    units = opened.rope.units
    try:
        value = parse_length(row.typed, unit=unit_of(units))
    except ValueError as wrong:
        return ParsedRow(None, str(wrong))
    reading = Reading(row.typed.strip(), value, station, view, gauge, person, at)
    off = 100 * (value - opened.rope.nominal_mm) / opened.rope.nominal_mm
    if abs(off) <= IMPLAUSIBLE_PCT:
        return ParsedRow(reading)
    return ParsedRow(
        reading,
        implausible=f"{row.typed} is {length_text(value, units=units)}, {off:+z.0f} % from "
        "nominal. Is that correct?",
    )


def change_words(change: object) -> str:
    """Return an unsaved change, as kept in the record, in words.

    Examples
    --------
    >>> change_words([{"station": 1, "view_deg": 0, "typed": "22,4"}])
    'station 1, 0 deg: 22,4'
    >>> change_words({"state": "sent back", "station": 3, "why": "read it again"})
    'state: sent back; station: 3; why: read it again'
    """
    parts = [
        one for one in (change if isinstance(change, list) else [change]) if isinstance(one, dict)
    ]
    if parts and all("typed" in part for part in parts):
        parts_text = [
            f"{Place(part['station'], part['view_deg']).words}: {part['typed']}" for part in parts
        ]
    else:
        parts_text = [
            f"{name.replace('_', ' ')}: {value}"
            for part in parts
            for name, value in part.items()
            if isinstance(value, str | int | float) and value != ""
        ]
    return "; ".join(parts_text)[:MOST_LETTERS] or "not known"
