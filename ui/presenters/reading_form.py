"""Readings as people type them into a table: parsed, questioned, and saved as a draft."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from inspection.exchange.cells import whole_number
from inspection.model.length_text import parse_length
from inspection.model.readings import Reading
from inspection.record.views import OpenInspection
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
    unit = "in" if opened.rope.units == "inch" else "mm"
    try:
        value = parse_length(row.typed, unit=unit)  # type: ignore[arg-type]
    except ValueError as wrong:
        return ParsedRow(None, f"{where}: {wrong}")
    reading = Reading(row.typed.strip(), value, station, view, gauge, person, at)
    off = 100 * (value - opened.rope.nominal_mm) / opened.rope.nominal_mm
    question = ""
    if abs(off) > ODD_PCT:
        question = (
            f"{where}: {row.typed} is {value:.2f} mm, {off:+z.0f} % off nominal. Is that right?"
        )
    elif any((reading.station, reading.view_deg) == (station, view) for reading in opened.readings):
        question = f"{where} has a reading already; this one stands beside it."
    return ParsedRow(reading, question=question)


def reading_lines(readings: Iterable[Reading]) -> list[str]:
    """Return each reading with what it means in millimetres."""
    return [
        f"station {reading.station}, {reading.view_deg}°: {reading.typed}"
        + ("" if reading.typed == f"{reading.value_mm:.2f}" else f" = {reading.value_mm:.2f} mm")
        for reading in readings
    ]


def empty_rows(opened: OpenInspection) -> tuple[TypedRow, ...]:
    """Return a row for each station and direction that has no reading yet."""
    numbers = {station.number for station in opened.inspection.stations}
    numbers |= {result.station for result in opened.results if result.station is not None}
    read = {(reading.station, reading.view_deg) for reading in opened.readings}
    rows = [
        TypedRow(str(number), str(view), "")
        for number in sorted(numbers or {1, 2})
        for view in (0, 90)
        if (number, view) not in read
    ]
    return tuple(rows) or (TypedRow("", "", ""),)


@dataclass(frozen=True, slots=True)
class ReadingSheet:
    """The table as it was laid out, before anything was typed into it.

    A browser sends what was typed as changes to the rows that its table began with. A page that
    stays open while the server is started anew still means those rows: they are kept with the
    draft, so that its next change is understood.

    Parameters
    ----------
    rows : tuple of TypedRow
        The rows that the table began with.
    entered : int
        How many readings of this person were in the record then; so a table that was entered is
        not taken for the next one, whose rows may be the same.
    """

    rows: tuple[TypedRow, ...]
    entered: int

    @property
    def name(self) -> str:
        """Return a name that the same sheet has in every session."""
        return f"{zlib.crc32(repr((_cells(self.rows), self.entered)).encode())}"


@dataclass(frozen=True, slots=True)
class ReadingDraft:
    """What a person has typed and not yet entered.

    Parameters
    ----------
    rows : tuple of TypedRow
        The rows as typed.
    gauge : str
        The gauge that was chosen; empty without one.
    sheet : ReadingSheet
        What they were typed into.
    """

    rows: tuple[TypedRow, ...]
    gauge: str
    sheet: ReadingSheet


def serialize_drafts(draft: ReadingDraft, *others: ReadingDraft) -> dict[str, object]:
    """Return the draft of one page, and those of the person's other pages, as the record has it."""
    serialized: dict[str, object] = {
        "gauge": draft.gauge,
        "rows": _cells(draft.rows),
        "sheet": _cells(draft.sheet.rows),
        "entered": draft.sheet.entered,
    }
    return (
        serialized | {"others": [serialize_drafts(other) for other in others]}
        if others
        else serialized
    )


def parse_drafts(serialized: object) -> tuple[ReadingDraft, ...]:
    """Return the drafts of a person's pages from their kept form, the newest first.

    What is none is left out; one that says no sheet was typed into the rows that it holds.
    """
    if not isinstance(serialized, dict) or not isinstance(serialized.get("rows"), list):
        return ()
    rows = _rows(serialized["rows"])
    sheet, entered, others = (
        serialized.get("sheet"),
        serialized.get("entered"),
        serialized.get("others"),
    )
    draft = ReadingDraft(
        rows,
        str(serialized.get("gauge", "")),
        ReadingSheet(
            _rows(sheet) if isinstance(sheet, list) else rows,
            entered if isinstance(entered, int) else 0,
        ),
    )
    more = others if isinstance(others, list) else []
    return (draft, *(draft for other in more for draft in parse_drafts(other)[:1]))


def merged_rows(drafts: Sequence[ReadingDraft]) -> tuple[TypedRow, ...]:
    """Return the rows of the first draft, and what was typed in the others beside them.

    Examples
    --------
    >>> sheet = ReadingSheet((), 0)
    >>> one = ReadingDraft((TypedRow("1", "0", "22.4"), TypedRow("1", "90", "")), "", sheet)
    >>> other = ReadingDraft((TypedRow("1", "0", ""), TypedRow("1", "90", "22.3")), "", sheet)
    >>> [row.typed for row in merged_rows([one, other])]
    ['22.4', '22.3']
    """
    rows = list(drafts[0].rows)
    for row in (row for other in drafts[1:] for row in other.rows if row.typed.strip()):
        free = TypedRow(row.station, row.view, "")
        if row not in rows:
            if free in rows:
                rows[rows.index(free)] = row
            else:
                rows.append(row)
    return tuple(rows)


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


def _cells(rows: tuple[TypedRow, ...]) -> list[list[str]]:
    return [[row.station, row.view, row.typed] for row in rows]


def _rows(cells: list[object]) -> tuple[TypedRow, ...]:
    return tuple(
        TypedRow(*(str(cell) for cell in row))
        for row in cells
        if isinstance(row, list) and len(row) == 3
    )
