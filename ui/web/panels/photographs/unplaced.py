"""Photographs without a figure or without a station: why, and a form to file them."""

from __future__ import annotations

import streamlit as st

from inspection.record.views import OpenInspection
from ui.presenters.review.station import StationView
from ui.presenters.sheet.station_sheet import StationSheet
from ui.text import as_typed, place
from ui.web.page.layout import show_errors
from ui.web.panels.photographs.refile import file_elsewhere, set_aside
from ui.web.panels.photographs.upload import last_uploaded
from ui.web.panels.station import photograph_of, show_photograph
from vision.results import Estimate, Refusal, Result

PICTURES = 3  # how many refused photographs are shown with their picture


def show_refused(opened: OpenInspection, sheet: StationSheet) -> None:
    """Show the photographs that need replacing or filing: the latest, and those still open."""
    answered = {
        (result.station, result.view_deg)
        for result in opened.results
        if isinstance(result, Estimate)
    }
    unresolved = [
        result
        for result in opened.results
        if result in sheet.unplaced
        or (
            isinstance(result, Refusal)
            and (
                (result.station, result.view_deg) not in answered
                or result.photo_sha256 in last_uploaded()
            )
        )
    ]
    for number, result in enumerate(unresolved):
        _show(opened, result, picture=number < PICTURES)


def _show(opened: OpenInspection, result: Result, *, picture: bool) -> None:
    where = "" if result.station is None else f" ({place(result)})"
    gives = "gives no diameter" if isinstance(result, Refusal) else "has no card number"
    with st.expander(
        f":material/no_photography: **{as_typed(result.photo_name + where)}** {gives}",
        expanded=result.photo_sha256 in last_uploaded(),
    ):
        words, right = st.columns([2, 3])
        for reason in result.findings:
            words.markdown(
                f"**Why:** {as_typed(reason.seen)}  \n**What to do:** {as_typed(reason.remedy)}"
            )
        photograph = photograph_of(opened, result)
        unreadable = any(reason.code == "unreadable" for reason in result.findings)
        if picture and photograph is not None and not unreadable:
            if any(reason.spot_px is not None for reason in result.findings):
                words.caption("The ring on the photograph marks the spot.")
            with right, show_errors():
                show_photograph(
                    photograph,
                    StationView(result.view_deg or 0, result, None),
                    key=f"refused {result.photo_sha256} {result.at_mm}",
                )
        with words:
            file_elsewhere(opened, result)
            set_aside(opened, result)
