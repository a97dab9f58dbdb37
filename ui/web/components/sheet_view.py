"""The station sheet in the browser: plain fields that lose no keystroke, and thumbnails.

Two mounts of one component, as in `ui.web.components.rope_view`: one receives the thumbnails'
bytes, the other the contents of the sheet. The browser keeps what was typed until the server
confirms, by the number sent with it, that it was processed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import streamlit as st

from ui.presenters.sheet.entry import SheetDraft, TypedField
from ui.presenters.sheet.station_sheet import StationSheet
from ui.web.components.made import component
from ui.web.components.rope_view import packed

_component = component("sheet_view", "<section></section>", after=("view_parts.js", "still.js"))


@dataclass(frozen=True, slots=True)
class TypedPage:
    """What was typed in one page of a browser.

    Parameters
    ----------
    page : str
        Identifier of the page.
    fields : tuple of TypedField
        Fields that the user has left and that, as far as the page knows, are not processed yet.
    """

    page: str
    fields: tuple[TypedField, ...]


def send_thumbnails(pictures: Mapping[str, bytes], *, key: str) -> None:
    """Send thumbnails to the page, except those that it already has."""
    _component(data=packed({f"t-{name}": data for name, data in pictures.items()}), key=key)


def typed_page(key: str) -> TypedPage:
    """Return what was typed in the browser into the sheet with this key."""
    edit: Any = (st.session_state.get(key) or {}).get("edit") or {}
    fields = edit.get("fields") or {}
    return TypedPage(
        str(edit.get("page", ""))[:40],
        tuple(
            TypedField(
                str(name), int(one["seq"]), str(one["text"]).strip(),
                sure=bool(one.get("sure")), why=str(one.get("why", "")).strip(),
                seen=bool(one["seen"]) if "seen" in one else None,
            )
            for name, one in fields.items()
        ),
    )  # fmt: skip


def show_sheet(
    sheet: StationSheet, draft: SheetDraft, *, inspection: str, key: str, go: int | None
) -> str:
    """Show the sheet; return the place, such as "3/90", whose photograph the user opened.

    Parameters
    ----------
    sheet : StationSheet
        Contents of the sheet.
    draft : SheetDraft
        The draft, with what was processed from each page.
    inspection : str
        The inspection.
    key : str
        Key of this mount, and the name under which the browser stores what was typed.
    go : int or None
        The station to scroll to at first.
    """
    data = asdict(sheet) | {
        "inspection": inspection,
        "store": key,
        "done": draft.done,
        "go": go,
        "following": max((row.station for row in sheet.rows), default=0) + 1,
    }
    del data["unplaced"]
    result = _component(
        data=data, key=key, on_edit_change=lambda: None, on_open_change=lambda: None
    )
    return str(getattr(result, "open", None) or "")
