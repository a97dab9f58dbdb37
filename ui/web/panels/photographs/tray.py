"""An upload field for photographs that belong to no inspection, and the contents of its tray."""

from __future__ import annotations

from typing import NamedTuple

import streamlit as st

from ui.services.trays import MOST, Tray, TrayPhotograph, empty_tray, in_tray
from ui.text import as_typed
from ui.web.components.uploads import UploadField, upload_field
from ui.web.page.login import current_user
from ui.web.page.upload_routes import owner_of
from ui.web.panels.photographs.upload import ACCEPT, most_mb


class TrayWords(NamedTuple):
    """A tray field's label, its help, and the text shown while a file is dragged over the page."""

    label: str
    help: str
    veil: str


def tray_owner() -> str:
    """Return the owner of the trays that the page shows."""
    return owner_of(current_user())


def tray_field(tray: Tray, words: TrayWords) -> tuple[TrayPhotograph, ...]:
    """Draw the field; return the photographs in the tray.

    An upload continues whatever page is opened meanwhile; the page is redrawn when the photograph
    has arrived.
    """
    owner = tray_owner()
    field = UploadField(
        owner, current_user().name, f"trays/{tray}", *words, ACCEPT, most_mb(), many=MOST[tray] > 1
    )
    with st.container(key=f"{tray}-in"):
        upload_field(field, key=f"tray {tray}")
    there = in_tray(owner, tray)
    if tray != "looks" and there:
        names = {one.sha256: one.name for one in there}
        st.pills(
            f"{len(there)} uploaded",
            list(names),
            format_func=lambda one: as_typed(names[one]),
            key=f"in tray {tray} {len(there)}",
            on_change=_take_out,
            args=(owner, tray, f"in tray {tray} {len(there)}"),
            help="Select one to remove it. They are kept for one day, or until they are used.",
        )
    return there


def _take_out(owner: str, tray: Tray, key: str) -> None:
    if chosen := st.session_state.get(key):
        empty_tray(owner, tray, only=chosen)
