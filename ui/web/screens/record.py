"""Record: verify it, back it up, and export it."""

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
        "Fingerprint noted earlier",
        key="noted fingerprint",
        placeholder="1042-0f3a...",
        help="Optional. Only a fingerprint noted elsewhere shows that the whole chain was not "
        "rebuilt.",
    )
    with_photographs = st.checkbox(
        "Check every photograph as well",
        key="verify photographs",
        help="Reads every photograph file; this can take a while.",
    )
    if st.button("Verify the record", type="primary", icon=":material/verified:"):
        with show_errors(), st.spinner("Comparing every event ..."):
            require_action(current_user(), "record")
            found = get_record().verify(noted=noted.strip() or None, photographs=with_photographs)
            _show_verification(found)


def _show_verification(found: Verification) -> None:
    pictures = "" if found.photographs is None else f", {found.photographs} photographs"
    if found.absent:
        pictures += f" ({found.absent} more known to be missing)"
    for note in found.notes:
        st.info(as_typed(note))
    for fault in found.faults:
        st.error(as_typed(fault))
    if found.sound:
        st.success(
            f"Sound: {counted(found.events, 'event', 'events')}{pictures}. Fingerprint: "
            f"`{found.fingerprint}`. Write it down outside this record."
        )
    else:
        st.error(
            f"{counted(len(found.faults), 'fault', 'faults')} in {found.events} events: leave this "
            "record as it is and compare it with the last backup."
        )


def _backup() -> None:
    st.header("Back up")
    st.caption(
        "Copies the record and its photographs to the folder `backups` beside the record, even "
        "while it is in use, and verifies the copy. Copy that folder to another machine."
    )
    if st.button("Back up now", icon=":material/backup:"):
        with show_errors(), st.spinner("Copying ..."):
            require_action(current_user(), "record")
            _show_backup(back_up_now(get_record()))


def _show_backup(made: Backup) -> None:
    st.success(
        as_typed(
            f"{made.path}: verified, {counted(made.photographs, 'photograph', 'photographs')}. "
            f"Fingerprint: {made.fingerprint}"
        )
    )
    for missing in made.missing:
        st.error(as_typed(missing))


def _file(name: str) -> bytes:
    """Return an export as the bytes of a file."""
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
            ("Whole record (JSON)", "record.json"),
            ("Readings (XLSX)", "readings.xlsx"),
            ("Ropes (XLSX)", "ropes.xlsx"),
            ("Inspections (XLSX)", "inspections.xlsx"),
        ):
            download(label, partial(_file, name), name)
    st.caption("The JSON file holds every event and can be restored into an empty record.")


page_header("Record", needs_inspection=False)
with show_errors():
    st.caption(as_typed(record_location().rsplit("@", 1)[-1]))
    _verify()
    _backup()
    _export()
