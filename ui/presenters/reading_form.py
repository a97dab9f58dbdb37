"""Readings as people type them: parsed and questioned, and changes told in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from inspection.exchange.cells import whole_number
from inspection.model.length_text import parse_length
from inspection.model.readings import Reading
from inspection.record.views import OpenInspection
from ui.lengths import length_text, unit_of
from vision.results import Place

MOST_WORDS = 300  # letters of a change that is told; a page is no place for more
ODD_PCT = 20.0  # further from nominal than any rope in use: a slip of the pen, most likely


@dataclass(frozen=True, slots=True)
class TypedRow:
    """One row of the table, as it was typed."""

    station: str
    view: str
    typed: str


@dataclass(frozen=True, slots=True)
class ParsedRow:
    """What a row means.

    Parameters
    ----------
    reading : Reading or None
        None where it is not understood, or nothing was typed.
    wrong : str
        Why it can't be entered; empty where it can.
    question : str
        Why it should be looked at before it is entered; empty where nothing is odd.
    """

    reading: Reading | None
    wrong: str = ""
    question: str = ""


def parse_row(
    row: TypedRow, opened: OpenInspection, *, gauge: str, person: str, at: datetime
) -> ParsedRow:
    """Return what a typed row means for an inspection."""
    if not row.typed.strip():
        return ParsedRow(None)
    where = f"station {row.station or '?'}, {row.view or '?'}°"
    try:
        station, view = whole_number(row.station), whole_number(row.view)
        if station < 1 or not 0 <= view < 360:
            raise ValueError
    except ValueError:
        return ParsedRow(None, f"{where}: enter station (from 1) and direction (0 to 359).")
    units = opened.rope.units
    try:
        value = parse_length(row.typed, unit=unit_of(units))
    except ValueError as wrong:
        return ParsedRow(None, f"{where}: {wrong}")
    reading = Reading(row.typed.strip(), value, station, view, gauge, person, at)
    off = 100 * (value - opened.rope.nominal_mm) / opened.rope.nominal_mm
    question = ""
    if abs(off) > ODD_PCT:
        question = (
            f"{where}: {row.typed} is {length_text(value, units=units)}, {off:+z.0f} % off "
            "nominal. Is that right?"
        )
    elif any((reading.station, reading.view_deg) == (station, view) for reading in opened.readings):
        question = f"{where} has a reading already; this one stands beside it."
    return ParsedRow(reading, question=question)


def change_words(change: object) -> str:
    """Return a change that was not saved in words, as it is kept in the record.

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
    return "; ".join(parts_text)[:MOST_WORDS] or "not known"
