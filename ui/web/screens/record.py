"""Record: is it what was saved, a copy of it, and all of it in one file."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import streamlit as st

from inspection.exchange.export_json import export_json
from inspection.exchange.export_tables import export_readings, export_ropes, export_summary
from inspection.model.log import counted
from inspection.record.integrity.verify import Backup, Verification
from inspection.record.record import Record
from ui.services.access.roles import require_action
from ui.services.backups import back_up_now
from ui.text import as_typed
from ui.web.page.layout import page_header, show_errors
from ui.web.page.login import current_user, download
from ui.web.page.session import get_record, record_location


def _verify() -> None:
    st.header("Verify")
    noted = st.text_input(
        "Fingerprint that was noted earlier",
        key="noted fingerprint",
        placeholder="1042-0f3a...",
        help="May stay empty. Only a fingerprint that was noted elsewhere shows that nobody made a "
        "whole new chain.",
    )
    with_photographs = st.checkbox(
        "Read every photograph, too",
        key="verify photographs",
        help="Takes as long as reading them all.",
    )
    if st.button("Verify the record", type="primary", icon=":material/verified:"):
        with show_errors(), st.spinner("Comparing every event ..."):
            require_action(current_user(), "record")
            found = get_record().verify(noted=noted.strip() or None, photographs=with_photographs)
            _tell(found)


def _tell(found: Verification) -> None:
    pictures = "" if found.photographs is None else f", {found.photographs} photographs"
    for note in found.notes:
        st.info(as_typed(note))
    for fault in found.faults:
        st.error(as_typed(fault))
    if found.sound:
        st.success(
            f"Sound: {counted(found.events, 'event', 'events')}{pictures}. Fingerprint: "
            f"`{found.fingerprint}`. Note it elsewhere."
        )
    else:
        st.error(
            f"{counted(len(found.faults), 'fault', 'faults')} among {found.events} events: keep "
            "this record as it is, and compare it with the last backup."
        )


def _backup() -> None:
    st.header("Back up")
    st.caption(
        "Record and photographs are copied into the folder `backups` beside the record, while it "
        "is in use, and the copy is verified. Copy that folder to another machine."
    )
    if st.button("Back up now", icon=":material/backup:"):
        with show_errors(), st.spinner("Copying ..."):
            require_action(current_user(), "record")
            _tell_backup(back_up_now(get_record()))


def _tell_backup(made: Backup) -> None:
    st.success(
        as_typed(
            f"{made.path}: verified, {counted(made.photographs, 'photograph', 'photographs')}. "
            f"Fingerprint: {made.fingerprint}"
        )
    )
    for missing in made.missing:
        st.error(as_typed(missing))


def _file(name: str) -> bytes:
    """Return an export as a file's bytes."""
    makers: dict[str, Callable[[Record, Path], object]] = {
        "record.json": export_json,
        "readings.xlsx": export_readings,
        "ropes.xlsx": export_ropes,
        "inspections.xlsx": export_summary,
    }
    with tempfile.TemporaryDirectory(prefix="export-") as folder:
        path = Path(folder) / name
        makers[name](get_record(), path)
        return path.read_bytes()


def _export() -> None:
    st.header("Export")
    with st.container(horizontal=True):
        for label, name in (
            ("All of it (JSON)", "record.json"),
            ("Readings (XLSX)", "readings.xlsx"),
            ("Ropes (XLSX)", "ropes.xlsx"),
            ("Inspections (XLSX)", "inspections.xlsx"),
        ):
            download(label, partial(_file, name), name)
    st.caption("The JSON holds every event; it can be restored into an empty record.")


page_header("Record", needs_inspection=False)
with show_errors():
    st.caption(as_typed(record_location().rsplit("@", 1)[-1]))
    _verify()
    _backup()
    _export()
