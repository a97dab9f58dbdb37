"""Filing a photograph under another station or direction, or setting it aside."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from inspection.record.views import OpenInspection
from ui.web.page.address import address, show_place
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.rescreen import rescreen
from ui.web.page.session import entering, get_record
from vision.results import Result

DIRECTIONS = (0, 30, 45, 60, 90, 120, 135, 150)  # degrees; cards have 0 and 90 only


def file_elsewhere(opened: OpenInspection, result: Result) -> None:
    """Draw the form that files a photograph's result under another station or direction."""
    key = f"{result.photo_sha256} {result.at_mm} {opened.revision}"  # fields start anew on a change
    with st.popover("File elsewhere", icon=":material/drive_file_move:"):
        st.caption(
            "Photographs are filed by the number on their card. File this one elsewhere if the "
            "wrong card was used or the card's number could not be read."
        )
        left, right = st.columns(2)
        station = left.number_input(
            "Station",
            1,
            999,
            result.station or 1,
            key=f"to {key}",
            help="Number of the station where it was taken.",
        )
        now = result.view_deg or 0
        directions = sorted({*DIRECTIONS, now})
        view = right.selectbox(
            "Direction",
            directions,
            index=directions.index(now),
            key=f"view {key}",
            format_func=lambda deg: f"{deg}°",
            help="0 from the front, 90 from the side; estimate others by eye. Three or more "
            "directions give the ellipse of the section.",
        )
        why = st.text_input(
            "Reason",
            key=f"why moved {key}",
            placeholder="the cards of stations 2 and 3 were mixed up",
            help="Recorded with the move.",
        )
        if st.button("File there", key=f"move {key}", type="primary"):
            with show_errors():
                if not why.strip():
                    raise ValueError("filing a photograph elsewhere needs a reason: enter it.")
                moved = replace(result, station=int(station), view_deg=int(view))
                _change(opened, result, moved, why.strip())
                flash_success(f"{result.photo_name} is now at station {station}, {view}°.")
                if address().station is not None:
                    show_place(int(station), int(view))
                st.rerun()


def set_aside(opened: OpenInspection, result: Result) -> None:
    """Draw the form that sets a photograph aside: it stays in the record, but no longer counts."""
    key = f"{result.photo_sha256} {result.at_mm} {opened.revision}"
    with st.popover("Set aside", icon=":material/visibility_off:"):
        st.caption("The photograph stays in the record, but its figure no longer counts.")
        why = st.text_input(
            "Reason",
            key=f"why aside {key}",
            placeholder="grease on the crowns; taken again",
            help="Recorded with your name.",
        )
        if st.button("Set it aside", key=f"aside {key}", type="primary"):
            with show_errors():
                if not why.strip():
                    raise ValueError("setting a photograph aside needs a reason: enter it.")
                _change(opened, result, None, why.strip())
                flash_success(f"{result.photo_name} was set aside.")
                if address().station is not None:
                    show_place()
                st.rerun()


def _change(opened: OpenInspection, before: Result, after: Result | None, why: str) -> None:
    identity = opened.inspection.identity
    get_record().replace_result(
        identity, before, after, by=entering(identity), why=why, revision=opened.revision
    )
    rescreen(identity)
