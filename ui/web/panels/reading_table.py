"""The table in which readings are typed: found again after a restart, apart from page to page.

A browser sends what was typed as changes to the rows that its table began with. So the draft in
the record says for each open page which rows those were: after a restart each page is told from
the others by its own changes, and none writes over what was typed on another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from inspection.model.readings import Reading
from inspection.record.record import Record
from inspection.record.views import OpenInspection
from ui.presenters.reading_form import (
    ReadingDraft,
    ReadingSheet,
    TypedRow,
    empty_rows,
    merged_rows,
    parse_drafts,
    serialize_drafts,
)
from ui.web.page.session import get_record, user_name

COLUMNS = ["station", "view", "typed"]
MOST_PAGES = 6  # of one person about one inspection


@dataclass(frozen=True, slots=True)
class Table:
    """What a page knows about its table between two drawings.

    Parameters
    ----------
    sheet : ReadingSheet
        What the table began with.
    rows : tuple of TypedRow
        Its rows as they were typed at the last drawing.
    saved : tuple of TypedRow or None
        Its rows in the record, as this page found or saved them; None before that.
    instead_of : frozenset of str
        Names of the sheets of drafts whose rows stand in this table now.
    """

    sheet: ReadingSheet
    rows: tuple[TypedRow, ...]
    saved: tuple[TypedRow, ...] | None = None
    instead_of: frozenset[str] = frozenset()


def is_open(opened: OpenInspection) -> bool:
    """Say whether this page has had its table before."""
    return _page_key(opened) in st.session_state


def show_table(opened: OpenInspection, drafts: Sequence[ReadingDraft], unit: str) -> Table:
    """Show the table; return it with its rows as they are typed now."""
    place = st.empty()
    known: Table | None = st.session_state.get(_page_key(opened))
    if known is None:
        table = _restored(place, opened, drafts, unit)
    else:
        if _table_key(opened, known.sheet) not in st.session_state:
            # another screen was looked at, or the record did not answer: the field was forgotten
            mine = set() if known.saved is None else {known.sheet.name}
            known = Table(
                ReadingSheet(known.rows, _entered(opened)),
                known.rows,
                instead_of=known.instead_of | mine,
            )
        table = replace(known, rows=_draw(place, opened, known.sheet, unit))
    st.session_state[_page_key(opened)] = table
    return table


def keep_draft(
    opened: OpenInspection, table: Table, drafts: Sequence[ReadingDraft], gauge: str | None
) -> None:
    """Keep what is typed as the draft of this page, beside those of the person's other pages."""
    if _is_kept(table, drafts, gauge):
        return  # most drawings need not wait for leave to write
    by = user_name()
    with get_record().transaction() as writing:
        others = _drafts(writing, opened, by)
        mine = _of_sheet(table.sheet, others)
        apart = mine is not None and mine.rows not in (table.saved, table.rows)
        if apart:  # another page began with the same rows: this one goes on with rows of its own
            table = replace(table, sheet=ReadingSheet(table.rows, _entered(opened)))
        gone = {table.sheet.name, *table.instead_of}
        rest = [other for other in others if other.sheet.name not in gone]
        draft = ReadingDraft(table.rows, gauge or "", table.sheet)
        writing.save_draft(
            opened.inspection.identity,
            serialize_drafts(draft, *rest[: MOST_PAGES - 1]),
            by=by,
            revision=opened.revision,
        )
    st.session_state[_page_key(opened)] = replace(table, saved=table.rows)
    if apart:
        st.rerun()  # before anything is typed into the rows of both


def _is_kept(table: Table, drafts: Sequence[ReadingDraft], gauge: str | None) -> bool:
    mine = _of_sheet(table.sheet, drafts)
    if mine is None:
        return table.rows == table.sheet.rows
    return table.rows == mine.rows and gauge in (None, mine.gauge)


def _of_sheet(sheet: ReadingSheet, drafts: Sequence[ReadingDraft]) -> ReadingDraft | None:
    return next((draft for draft in drafts if draft.sheet.name == sheet.name), None)


def enter_readings(opened: OpenInspection, table: Table, ready: Sequence[Reading]) -> None:
    """Enter readings into the record and forget this page's draft, both or neither.

    Raises
    ------
    RecordError
        If the record can't be written, or somebody else was faster.
    """
    identity, by = opened.inspection.identity, user_name()
    with get_record().transaction() as writing:  # too late: the draft stays
        writing.add_readings(identity, ready, by=by, revision=opened.revision)
        gone = {table.sheet.name, *table.instead_of}
        rest = [draft for draft in _drafts(writing, opened, by) if draft.sheet.name not in gone]
        if rest:
            writing.save_draft(identity, serialize_drafts(*rest), by=by, revision=opened.revision)
        else:
            writing.drop_draft(identity, by=by)
    del st.session_state[_page_key(opened)]


def _restored(
    place: DeltaGenerator, opened: OpenInspection, drafts: Sequence[ReadingDraft], unit: str
) -> Table:
    """Begin this page's table: where its browser outlived the server, with the rows it means."""
    empty = ReadingSheet(empty_rows(opened), _entered(opened))
    # where no browser that stayed open sent what was typed, it begins with all that was
    last = ReadingSheet(merged_rows(drafts), _entered(opened)) if drafts else empty
    others = dict.fromkeys((*(draft.sheet for draft in drafts), empty))
    for sheet in (*(other for other in others if other != last), last):
        rows = _draw(place, opened, sheet, unit)
        if rows != sheet.rows:  # its browser stayed open and means these rows
            mine = _of_sheet(sheet, drafts)
            return Table(sheet, rows, mine.rows if mine else None)
    return Table(last, last.rows, last.rows, frozenset(draft.sheet.name for draft in drafts))


def _draw(
    place: DeltaGenerator, opened: OpenInspection, sheet: ReadingSheet, unit: str
) -> tuple[TypedRow, ...]:
    frame = pd.DataFrame(
        [[r.station, r.view, r.typed] for r in sheet.rows], columns=COLUMNS, dtype="string"
    )
    edited = place.data_editor(
        frame,
        key=_table_key(opened, sheet),
        num_rows="dynamic",
        hide_index=True,
        column_config={
            "station": st.column_config.TextColumn("Station", help="As printed on its card."),
            "view": st.column_config.TextColumn(
                "Direction, °",
                help="0 or 90: the side from which the card's photograph is taken; any from 0 to "
                "359 where you read in more directions.",
            ),
            "typed": st.column_config.TextColumn(
                "Reading",
                help='As the gauge shows it: 22,41 or 22.41 mm or 7/8" or 0.88 in. Without a '
                f"unit it is taken for {unit}.",
            ),
        },
    )
    return tuple(
        TypedRow(*("" if pd.isna(cell) else str(cell) for cell in row))
        for row in edited.itertuples(index=False)
    )


def _drafts(record: Record, opened: OpenInspection, by: str) -> tuple[ReadingDraft, ...]:
    found = record.draft(opened.inspection.identity, by=by)
    return parse_drafts(found.data) if found else ()


def _entered(opened: OpenInspection) -> int:
    return sum(logged.reading.person == user_name() for logged in opened.logged)


def _page_key(opened: OpenInspection) -> str:
    return f"readings page {opened.inspection.identity} {user_name()}"


def _table_key(opened: OpenInspection, sheet: ReadingSheet) -> str:
    return f"readings table {opened.inspection.identity} {user_name()} {sheet.name}"
