"""Import of a table of readings: the column mapping is shown, corrected and saved."""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import replace
from pathlib import Path

import streamlit as st

from inspection.exchange.columns import MissingColumnsError, find_columns, known_headings
from inspection.exchange.import_rows import import_readings, rows_rejected
from inspection.exchange.known_columns import READINGS
from inspection.exchange.parse import ParsedTable, ReadingRow, read_readings
from inspection.exchange.spreadsheet import Sheet, read_sheet
from inspection.model.log import counted
from inspection.record.views import OpenInspection
from ui.services.column_names import keep_columns, kept_columns, kept_names
from ui.text import as_typed, capitalised
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.rescreen import rescreen
from ui.web.page.session import entering, get_record, user_name
from ui.web.panels.gauge import chosen_gauge
from ui.web.panels.station import table as html_table

KINDS = ["csv", "tsv", "txt", "xlsx"]
DIRECTIONS = ("0", "30", "45", "60", "90", "120", "135", "150")
NOT_USED, AS_UNDERSTOOD = "", "as recognised automatically"
SHOWN = 12  # rows of each kind
MEANINGS = {
    NOT_USED: "not used",
    **{way: f"reading at {way}°" for way in DIRECTIONS},
    **{column.name: column.meaning for column in READINGS.values()},
}


def table_is_given() -> bool:
    """Say whether a table has been uploaded and not entered yet."""
    return st.session_state.get(f"table {st.session_state.get('tables', 0)}") is not None


def import_table(opened: OpenInspection) -> None:
    """Draw the import of readings from a CSV or XLSX file into this inspection."""
    turn = st.session_state.setdefault("tables", 0)
    file = st.file_uploader(
        "Table of readings",
        KINDS,
        key=f"table {turn}",
        help="CSV or XLSX with headings in English, German, French, Spanish, Italian or "
        "Portuguese. You see how each column is understood before anything is entered.",
    )
    if file is None:
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / (Path(file.name).name or "table.csv")
        path.write_bytes(file.getvalue())
        digest = hashlib.sha256(file.getvalue()).hexdigest()[:12]
        named = _mapping(path, digest)
        try:
            found = read_readings(
                path,
                inspection=opened.inspection.identity,
                person=user_name(),
                gauge=chosen_gauge(opened),
                named=named,
            )
        except MissingColumnsError as wrong:  # a command's remedy does not help here
            raise ValueError(f"{wrong.fault} Select that column above.") from wrong
    mine = _of_this_inspection(opened, found, digest)
    _preview(mine)
    name = st.text_input(
        "Save this mapping as",
        key=f"mapping name {digest}",
        placeholder="if left blank: not saved",
        help="For further tables of the same kind, here and on the command line (--columns).",
    )
    words = counted(len(mine.rows), "reading", "readings")
    if st.button(f"Enter {words}", type="primary", disabled=not mine.rows):
        _enter(opened, mine, named, name.strip())


def _mapping(path: Path, digest: str) -> dict[str, str]:
    """Show how each heading is understood; return the mapping as selected."""
    sheet = read_sheet(path, known=lambda cells: known_headings(cells, "readings"))
    saved = kept_names()
    chosen = AS_UNDERSTOOD
    if saved:
        chosen = st.selectbox(
            "Mapping",
            [AS_UNDERSTOOD, *saved],
            key=f"mapping {digest}",
            help="A saved mapping, or the program's own reading of the headings.",
        )
    usual = _understood(sheet, {} if chosen == AS_UNDERSTOOD else kept_columns(chosen))
    st.caption("How each column is understood. Correct it here.")
    meant: dict[str, str] = {}
    with st.container(horizontal=True):
        for at, heading in enumerate(sheet.headings):
            if not heading or heading in meant:
                continue
            example = next((row[at] for _, row in sheet.rows if at < len(row) and row[at]), "")
            options = list(dict.fromkeys([*MEANINGS, usual.get(heading, NOT_USED)]))
            meant[heading] = st.selectbox(
                as_typed(f"{heading} (e.g. {example[:24]})" if example else heading),
                options,
                index=options.index(usual.get(heading, NOT_USED)),
                format_func=lambda one: MEANINGS.get(one, f"reading at {one}°"),
                key=f"column {digest} {chosen} {at}",
                help="Meaning of this column in the table.",
                width=240,
            )
    return meant


def _understood(sheet: Sheet, named: dict[str, str]) -> dict[str, str]:
    """Return heading -> column or direction; empty where two headings seem to mean the same."""
    needed = tuple(name for name, column in READINGS.items() if column.needed)
    there = {heading: meant for heading, meant in named.items() if heading in sheet.headings}
    try:
        found = find_columns(sheet.headings, "readings", given=needed, named=there)
    except ValueError as wrong:
        st.warning(as_typed(str(wrong)), icon=":material/help:")
        return {}
    columns = {sheet.headings[at]: READINGS[meaning].name for meaning, at in found.places.items()}
    return columns | {sheet.headings[at]: str(view) for view, at, _ in found.directions}


def _of_this_inspection(
    opened: OpenInspection, found: ParsedTable[ReadingRow], digest: str
) -> ParsedTable[ReadingRow]:
    """Return the rows of the open inspection; rows of others are reported, not entered."""
    identity = opened.inspection.identity
    found = replace(found, stations=())  # these would start new inspections
    days = {row.on for row in found.rows} | {found.day}
    other = sorted(day for day in days if day is not None and day != opened.inspection.on)
    if other:
        st.warning(
            f"The table is dated {other[0]}, this inspection {opened.inspection.on}: check that it "
            "is the right table.",
            icon=":material/help:",
        )
    others = sorted({row.inspection for row in found.rows} - {identity})
    if not others:
        return found
    names = ", ".join(others[:4])
    if st.checkbox(
        as_typed(f"The table names {names}: all of its rows belong to this inspection"),
        key=f"all rows {digest}",
        help="If the table uses another name for this inspection.",
    ):
        return replace(
            found,
            rows=tuple(replace(row, at=replace(row.at, inspection=identity)) for row in found.rows),
        )
    pairs = [
        (row, line)
        for row, line in zip(found.rows, found.lines, strict=True)
        if row.inspection == identity
    ]
    st.info(
        as_typed(
            f"{counted(len(found.rows) - len(pairs), 'row belongs', 'rows belong')} to other "
            f"inspections ({names}) and will not be entered here. Open those to enter them."
        )
    )
    return replace(
        found, rows=tuple(row for row, _ in pairs), lines=tuple(line for _, line in pairs)
    )


def _preview(found: ParsedTable[ReadingRow]) -> None:
    for note in found.notes:
        st.caption(as_typed(capitalised(note)))
    rows = [
        [
            str(line), str(row.reading.station), f"{row.reading.view_deg}°", row.reading.typed,
            f"{row.reading.value_mm:.2f}", row.reading.gauge, row.reading.person,
        ]
        for row, line in zip(found.rows[:SHOWN], found.lines, strict=False)
    ]  # fmt: skip
    if rows:
        heads = ["line", "station", "direction", "as typed", "mm", "gauge", "read by"]
        st.html(html_table(heads, rows, f"Readings recognised: {len(found.rows)}"))
    if found.rejected:
        rejected = [[str(one.line), one.reason] for one in found.rejected[:SHOWN]]
        words = rows_rejected(len(found.rejected))
        st.html(html_table(["line", "reason"], rejected, capitalised(words)))


def _enter(
    opened: OpenInspection, found: ParsedTable[ReadingRow], named: dict[str, str], name: str
) -> None:
    with show_errors():
        identity = opened.inspection.identity
        done = import_readings(get_record(), found, by=entering(identity), keep_good=True)
        if name:
            keep_columns(name, named)
        rescreen(identity)
        st.session_state["tables"] += 1
        rejected = f" {rows_rejected(len(done.rejected))}." if done.rejected else ""
        flash_success(
            f"{counted(done.readings, 'reading was', 'readings were')} entered.{rejected}"
        )
        st.rerun()
