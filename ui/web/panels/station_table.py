"""The table in which stations are typed: kept as a draft, and laid over what others entered.

As with readings (`ui.web.panels.reading_table`) a browser sends changes to the rows that its table
began with, so the draft says for each open page which rows those were. Where the stations in the
record change meanwhile, the rows that were typed are laid over the new ones, and no others.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from inspection.model.rope import Station
from inspection.record.record import Record
from inspection.record.views import OpenInspection
from ui.web.page.layout import show_errors
from ui.web.page.session import get_record, user_name
from ui.web.panels.reading_table import MOST_PAGES

StationRow = tuple[Any, ...]  # number, place, what is there; None where nothing was typed
COLUMNS = ["station", "position_m", "feature"]
KIND = "stations"


@dataclass(frozen=True, slots=True)
class StationSheet:
    """A page's table.

    Parameters
    ----------
    origin : tuple of StationRow
        The rows that the record gave when it began; what differs from them was typed.
    base : tuple of StationRow
        The rows with which it was laid out, which its browser's changes are about.
    rows : tuple of StationRow
        The rows as they stand.
    saved : tuple of StationRow or None
        Its rows in the record, as this page found or kept them; None before that.
    instead_of : tuple of tuple of StationRow
        What the drafts began with whose rows stand in this table now.
    """

    origin: tuple[StationRow, ...]
    base: tuple[StationRow, ...]
    rows: tuple[StationRow, ...]
    saved: tuple[StationRow, ...] | None = None
    instead_of: tuple[tuple[StationRow, ...], ...] = ()


def rows_of(opened: OpenInspection) -> tuple[StationRow, ...]:
    """Return the stations as rows, and those that photographs or readings name beside them."""
    known = {station.number: station for station in opened.inspection.stations}
    named = {result.station for result in opened.results if result.station} | {
        reading.station for reading in opened.readings
    }
    rows: list[StationRow] = []
    for number in sorted(known.keys() | named):
        one = known.get(number)
        rows.append((number, str(one.position_m) if one else "", one.note if one else ""))
    return tuple(rows) or ((1, "", ""), (2, "", ""))


def merge_rows(rows: Sequence[StationRow], sheet: StationSheet) -> tuple[StationRow, ...]:
    """Return rows of the record with what was typed into a sheet in its place.

    Examples
    --------
    >>> begun = ((1, "", ""), (3, "", ""))
    >>> sheet = StationSheet(begun, begun, ((1, "", ""), (3, "7,5", "")))
    >>> merge_rows([(1, "2", ""), (2, "", ""), (3, "", "")], sheet)
    ((1, '2', ''), (2, '', ''), (3, '7,5', ''))
    """
    left = {str(row[0]) for row in sheet.rows}
    found = [row for row in rows if str(row[0]) in left or row not in sheet.origin]
    for row in (row for row in sheet.rows if row not in sheet.origin):
        at = next((i for i, one in enumerate(found) if str(one[0]) == str(row[0])), len(found))
        found[at : at + 1] = [row]
    return tuple(found)


def show_stations(opened: OpenInspection) -> StationSheet:
    """Show the table as it is typed now, and keep it as the person's draft."""
    notice, place, now = st.empty(), st.empty(), rows_of(opened)
    known: StationSheet | None = st.session_state.get(_page_key(opened))
    drafts = _drafts(get_record(), opened)
    if known is None:
        sheet = _restored(place, opened, drafts)
        st.session_state[_found_key(opened)] = bool(drafts)
    else:
        if _table_key(opened, known.base) not in st.session_state:
            # another screen was looked at, or the record did not answer: the field was forgotten
            known = _fresh_sheet(known, now)
        sheet = replace(known, rows=_draw(place, opened, known.base))
    st.session_state[_page_key(opened)] = sheet
    if st.session_state.get(_found_key(opened)):
        notice.info(
            "What you had typed here was restored; it is in the record once you save these "
            "stations.",
            icon=":material/restore:",
        )
    if sheet.rows != next((draft.rows for draft in drafts if draft.base == sheet.base), sheet.base):
        with show_errors():  # what is typed stands in the table all the same
            sheet, apart = _keep_draft(opened, sheet)
            st.session_state[_page_key(opened)] = sheet
            if apart:
                st.rerun()  # before anything is typed into the rows of both
    if _entered(sheet.origin) != _entered(now):
        # somebody entered stations meanwhile: theirs stand, under what was typed here
        st.session_state[_page_key(opened)] = _fresh_sheet(sheet, now)
        st.rerun()
    return sheet


def enter_stations(
    opened: OpenInspection, sheet: StationSheet, stations: Sequence[Station]
) -> None:
    """Enter stations into the record and forget this page's draft, both or neither.

    Raises
    ------
    RecordError
        If the record can't be written, or somebody else was faster.
    """
    with get_record().transaction() as writing:  # too late: the draft stays
        writing.change_inspection(
            replace(opened.inspection, stations=tuple(stations)),
            by=user_name(),
            why="stations entered",
            revision=opened.revision,
        )
        rest = [
            other
            for other in _others(sheet, _drafts(writing, opened))
            if merge_rows(sheet.rows, other) != sheet.rows
        ]
        _write(writing, opened, rest)
    for key in (_page_key(opened), _found_key(opened)):
        st.session_state.pop(key, None)


def _keep_draft(opened: OpenInspection, sheet: StationSheet) -> tuple[StationSheet, bool]:
    """Keep a page's draft beside others; return the page, and whether it got a table of its own."""
    with get_record().transaction() as writing:
        drafts = _drafts(writing, opened)
        mine = next((draft for draft in drafts if draft.base == sheet.base), None)
        apart = mine is not None and mine.rows not in (sheet.saved, sheet.rows)
        if apart:  # another page began with the same rows: this one goes on with rows of its own
            sheet = replace(sheet, base=sheet.rows)
        _write(writing, opened, [sheet, *_others(sheet, drafts)[: MOST_PAGES - 1]])
    return replace(sheet, saved=sheet.rows), apart


def _others(sheet: StationSheet, drafts: Sequence[StationSheet]) -> list[StationSheet]:
    return [draft for draft in drafts if draft.base not in (sheet.base, *sheet.instead_of)]


def _fresh_sheet(sheet: StationSheet, now: tuple[StationRow, ...]) -> StationSheet:
    """Return a page with a new table: what was typed, laid over what the record says now."""
    mine = () if sheet.saved is None else (sheet.base,)
    rows = merge_rows(now, sheet)
    return StationSheet(now, rows, rows, instead_of=(*sheet.instead_of, *mine))


def _entered(rows: Sequence[StationRow]) -> list[StationRow]:
    """Return rows without those that stand there only because a photograph names them."""
    return [row for row in rows if row[1] != ""]


def _restored(
    place: DeltaGenerator, opened: OpenInspection, drafts: Sequence[StationSheet]
) -> StationSheet:
    """Begin this page's table: where its browser outlived the server, with the rows it means."""
    now = rows_of(opened)
    last = now
    for draft in reversed(drafts):  # with no browser that stayed open: all that was typed
        last = merge_rows(last, draft)
    drawn = {last}  # each table once
    for one in (*drafts, StationSheet(now, now, now)):
        if one.base not in drawn:
            drawn.add(one.base)
            rows = _draw(place, opened, one.base)
            if rows != one.base:
                return replace(one, rows=rows, saved=one.rows if one in drafts else None)
    gone = tuple(draft.base for draft in drafts if draft.base != last)
    saved = next((draft.rows for draft in drafts if draft.base == last), None)
    return StationSheet(now, last, _draw(place, opened, last), saved, gone)


def _draw(
    place: DeltaGenerator, opened: OpenInspection, base: Sequence[StationRow]
) -> tuple[StationRow, ...]:
    frame = pd.DataFrame(base, columns=COLUMNS).astype(
        {"station": "Int64", "position_m": "string", "feature": "string"}
    )
    edited = place.data_editor(
        frame,
        key=_table_key(opened, base),
        num_rows="dynamic",
        hide_index=True,
        column_config={
            "station": st.column_config.NumberColumn(
                "Station", min_value=1, step=1, help="As printed on the card."
            ),
            "position_m": st.column_config.TextColumn(
                "Distance from the drum end, m",
                help="Along the rope, from the drum end or another fixed end; 31,5.",
            ),
            "feature": st.column_config.TextColumn(
                "Feature", help="e.g. crossover, over the head sheave at pick-up height"
            ),
        },
    )
    return tuple(
        (None if pd.isna(number) else int(number), *(None if pd.isna(one) else one for one in more))
        for number, *more in edited.itertuples(index=False)
    )


def _drafts(record: Record, opened: OpenInspection) -> list[StationSheet]:
    found = record.draft(opened.inspection.identity, by=user_name(), kind=KIND)
    return (
        [StationSheet(*(tuple(map(tuple, rows)) for rows in one)) for one in found.data]
        if found
        else []
    )


def _write(record: Record, opened: OpenInspection, sheets: Sequence[StationSheet]) -> None:
    identity, by = opened.inspection.identity, user_name()
    if sheets:
        data = [[sheet.origin, sheet.base, sheet.rows] for sheet in sheets]
        record.save_draft(identity, data, by=by, revision=opened.revision, kind=KIND)
    else:
        record.drop_draft(identity, by=by, kind=KIND)


def _page_key(opened: OpenInspection) -> str:
    return f"stations page {opened.inspection.identity} {user_name()}"


def _found_key(opened: OpenInspection) -> str:
    return f"stations found {opened.inspection.identity} {user_name()}"


def _table_key(opened: OpenInspection, base: Sequence[StationRow]) -> str:
    return f"stations {opened.inspection.identity} {zlib.crc32(repr(tuple(base)).encode())}"
