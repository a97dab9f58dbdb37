"""Photographs: each is measured as it arrives, files itself by its card, and can be moved."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from inspection.assessment import Assessment
from inspection.record.views import OpenInspection
from ui.presenters.station import StationView, station_views
from ui.text import as_typed, place
from ui.web.page.layout import flash_success, page_header, show_cautions, show_errors
from ui.web.page.navigation import next_step_link
from ui.web.page.rescreen import rescreen
from ui.web.page.session import cached_assessment, get_record, user_name
from ui.web.panels.manual_edges import manual_corrections
from ui.web.panels.remeasure import offer_later_checks, offer_other_hold
from ui.web.panels.station import photograph_of, show_facts, show_photograph
from ui.web.panels.upload import (
    hold_uploads,
    last_uploaded,
    line_of,
    show_rejected,
    upload_photographs,
)
from vision.results import Estimate, Refusal, Result

DIRECTIONS = (0, 30, 45, 60, 90, 120, 135, 150)  # degrees; cards say 0 and 90, hands the others
PICTURES = 3  # refused photographs that are shown at once; the others by the list


def _refused(opened: OpenInspection) -> None:
    """Show why photographs were refused: those that came last, and those not taken again yet."""
    answered = {
        (result.station, result.view_deg)
        for result in opened.results
        if isinstance(result, Estimate)
    }
    refused = [
        result
        for result in opened.results
        if isinstance(result, Refusal)
        and (
            (result.station, result.view_deg) not in answered
            or result.photo_sha256 in last_uploaded()
        )
    ]
    for number, refusal in enumerate(refused):
        with st.container(border=True):
            where = "" if refusal.station is None else f" ({place(refusal)})"
            name = as_typed(refusal.photo_name + where)
            st.markdown(f":material/no_photography: **{name}** gives no diameter")
            words, picture = st.columns([2, 3])
            for reason in refusal.findings:
                words.markdown(
                    f"**Why:** {as_typed(reason.seen)}  \n**What to do:** {as_typed(reason.remedy)}"
                )
            photograph = photograph_of(opened, refusal)
            unreadable = any(reason.code == "unreadable" for reason in refusal.findings)
            if number < PICTURES and photograph is not None and not unreadable:
                if any(reason.spot_px is not None for reason in refusal.findings):
                    words.caption("The ring on the photograph shows where.")
                with picture, show_errors():
                    show_photograph(
                        photograph,
                        StationView(refusal.view_deg or 0, refusal, None),
                        key=f"refused {refusal.photo_sha256} {refusal.at_mm}",
                    )


def _show(opened: OpenInspection, assessment: Assessment) -> None:
    ordered = sorted(
        opened.results,
        key=lambda result: (result.station or 10**6, result.view_deg or 0, result.at_mm),
    )
    at = st.selectbox(
        "Photograph",
        range(len(ordered)),
        format_func=lambda i: line_of(ordered[i]),
        key=f"photograph {opened.inspection.identity}",
        help="● gives a diameter, ✕ was refused.",
    )
    result = ordered[at]
    view = StationView(result.view_deg or 0, result, None)
    if result.station is not None:
        view = next(
            (
                view
                for view in station_views(opened, assessment, result.station)
                if view.result is result or view.result == result
            ),
            view,
        )
    photograph = photograph_of(opened, result)
    if photograph is not None:
        with show_errors():
            show_photograph(photograph, view, key=f"mine {result.photo_sha256} {result.at_mm}")
    show_facts(opened, assessment, view, result.station or 0)
    if isinstance(result, Estimate) and photograph is not None:
        with show_errors():
            manual_corrections(opened, photograph, result)
    _move(opened, result)


def _move(opened: OpenInspection, result: Result) -> None:
    with st.expander("Assign to another station or direction", icon=":material/drive_file_move:"):
        st.caption(
            "Its card says where it belongs; move it where the wrong card was used, or where the "
            "card's number could not be read."
        )
        left, right = st.columns(2)
        station = left.number_input(
            "Station",
            1,
            999,
            result.station or 1,
            key=f"to {result.photo_sha256}",
            help="Number of the station where it was taken.",
        )
        now = result.view_deg or 0
        directions = sorted({*DIRECTIONS, now})
        view = right.selectbox(
            "Direction",
            directions,
            index=directions.index(now),
            key=f"view {result.photo_sha256}",
            format_func=lambda deg: f"{deg}°",
            help="0 from the front, 90 from the side; others by eye. Three "
            "directions or more give the ellipse of the section.",
        )
        why = st.text_input(
            "Reason",
            key=f"why moved {result.photo_sha256}",
            placeholder="the cards of stations 2 and 3 were mixed up",
            help="Stands in the record beside the move.",
        )
        if st.button("Move it", key=f"move {result.photo_sha256}"):
            with show_errors():
                if not why.strip():
                    raise ValueError("moving a photograph needs a reason: enter it.")
                moved = replace(result, station=int(station), view_deg=int(view))
                get_record().add_results(
                    opened.inspection.identity,
                    [moved],
                    by=user_name(),
                    why=why.strip(),
                    revision=opened.revision,
                )
                rescreen(opened.inspection.identity)
                flash_success(f"{result.photo_name} is at station {station}, {view}° now.")
                st.rerun()


inspection = page_header("3 Photographs")
if inspection is None:
    hold_uploads()
else:
    with show_errors():
        upload_photographs(inspection)
    show_rejected()
    with show_errors():
        offer_later_checks(inspection)
    with show_errors():
        if inspection.results:
            _refused(inspection)
            _show(inspection, cached_assessment(inspection))
            offer_other_hold(inspection)
        else:
            st.info(
                "No photographs yet. Fix the card to the rope, photograph it from two directions "
                "at right angles, and give the files here.",
                icon=":material/add_a_photo:",
            )
    next_step_link("stations", "stations")
    show_cautions()
