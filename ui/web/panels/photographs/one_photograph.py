"""One station and direction in detail: photograph, readings, and every possible correction."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import streamlit as st

from inspection.record.views import LoggedReading, OpenInspection
from ui.presenters.review.queue import budget_in_words
from ui.presenters.review.station import StationView, budget_shares, station_views
from ui.presenters.sheet.entry import standing_reading
from ui.presenters.sheet.reading_form import TypedRow, parse_row
from ui.presenters.sheet.station_sheet import results_at
from ui.text import as_typed
from ui.web.page.address import address, link_query
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.rescreen import rescreen
from ui.web.page.session import cached_assessment, entering, get_record
from ui.web.panels.photographs.manual_edges import manual_corrections
from ui.web.panels.photographs.refile import file_elsewhere, set_aside
from ui.web.panels.sheet_fields import BLIND, witness
from ui.web.panels.station import (
    photograph_of,
    show_comparison,
    show_entries,
    show_photograph,
    show_places,
    show_refusal,
)
from vision.results import Estimate, Result


def show_place_large(opened: OpenInspection) -> None:
    """Show the station and direction that the address names."""
    station, way = address().station or 0, address().view_deg or 0
    _links(opened, station, way)
    results = results_at(opened, station, way)
    st.header(f"Station {station}, {way}°", anchor=False)
    if st.session_state.get(BLIND) and not standing_reading(opened, station, way, witness(opened)):
        st.info(
            "The photograph's figure is hidden until you enter your reading of this place in the "
            "sheet.",
            icon=":material/visibility_off:",
        )
        return
    if not results:
        st.info("No photograph of this place yet. Add it under Stations.", icon=":material/photo:")
    photographs = {one.photo_sha256: one.photo_name for one in results}
    if len(photographs) > 1:
        _choose_photograph(opened, photographs)
    for result in _selected(results):
        _show_result(opened, result, station)
    _readings(opened, station, way)


def _choose_photograph(opened: OpenInspection, photographs: dict[str, str]) -> None:
    """Draw a link to each photograph of the place that the address names."""
    here = address()
    with st.container(horizontal=True):
        for sha256, name in photographs.items():
            st.page_link(
                "screens/sheet.py",
                label=as_typed(name),
                icon=":material/photo:",
                query_params=link_query(
                    opened.inspection.identity, here.station, here.view_deg, sha256
                ),
            )


def _selected(results: list[Result]) -> list[Result]:
    """Return the results of the photograph that the address names, else of the first one."""
    photo = address().photo
    named = [one for one in results if photo and one.photo_sha256.startswith(photo)]
    return named or [one for one in results if one.photo_sha256 == results[0].photo_sha256]


def _links(opened: OpenInspection, station: int, way: int) -> None:
    """Draw the links back to the sheet and to the neighbouring places."""
    identity = opened.inspection.identity
    places = sorted(
        {
            (one.station, one.view_deg)
            for one in opened.results
            if one.station is not None and one.view_deg is not None
        }
        | {(station, way)}
    )
    at = places.index((station, way))
    with st.container(horizontal=True):
        st.page_link(
            "screens/sheet.py",
            label="Back to the stations",
            icon=":material/arrow_back:",
            query_params=link_query(identity),
        )
        for to, words in ((at - 1, "Previous"), (at + 1, "Next")):
            if 0 <= to < len(places):
                there = places[to]
                st.page_link(
                    "screens/sheet.py",
                    label=f"{words}: {there[0]}, {there[1]}°",
                    query_params=link_query(identity, *there),
                )


def _show_result(opened: OpenInspection, result: Result, station: int) -> None:
    assessment = cached_assessment(opened)
    views = station_views(opened, assessment, station)
    usual = StationView(result.view_deg or 0, result, None)
    view = next((one for one in views if one.result == result), usual)
    photograph = photograph_of(opened, result)
    if isinstance(result, Estimate):
        show_comparison(view, result)
    else:
        show_refusal(result)
    if photograph is not None:
        with show_errors():
            show_photograph(photograph, view, key=f"large {result.photo_sha256} {result.at_mm}")
    with st.container(horizontal=True):
        file_elsewhere(opened, result)
        set_aside(opened, result)
    if isinstance(result, Estimate) and photograph is not None:
        with show_errors():
            manual_corrections(opened, photograph, result)
    if isinstance(result, Estimate):
        st.markdown(f":material/functions: {budget_in_words(budget_shares(result))}")
    show_entries(opened, view, station)
    show_places(opened, assessment, station)


def _readings(opened: OpenInspection, station: int, way: int) -> None:
    """Draw a form to correct or withdraw each reading of the place."""
    for logged in opened.logged:
        reading = logged.reading
        if (reading.station, reading.view_deg) == (station, way) and not logged.withdrawn:
            with st.expander(
                f"Correct or withdraw {as_typed(reading.typed)} by {as_typed(reading.person)}",
                icon=":material/edit:",
            ):
                _correct(opened, logged)


def _correct(opened: OpenInspection, logged: LoggedReading) -> None:
    key = f"{logged.number} {logged.event}"
    typed = st.text_input(
        "Corrected reading",
        logged.reading.typed,
        key=f"correct {key}",
        help="As shown by the gauge.",
    )
    why = st.text_input(
        "Reason",
        key=f"why correct {key}",
        placeholder="read again on the rope",
        help="Recorded with the correction.",
    )
    st.caption("The original entry stays in the record with the correction.")
    with st.container(horizontal=True):
        correct = st.button("Correct", key=f"do correct {key}")
        withdraw = st.button("Withdraw", key=f"do withdraw {key}")
    if not (correct or withdraw):
        return
    with show_errors():
        identity = opened.inspection.identity
        by = entering(identity)
        if correct:
            reading = logged.reading
            row = TypedRow(str(reading.station), str(reading.view_deg), typed)
            at = reading.at or datetime.now()
            new = parse_row(row, opened, gauge=reading.gauge, person=reading.person, at=at)
            if new.reading is None:
                raise ValueError(new.wrong or "enter what the gauge showed.")
            fixed = replace(reading, typed=new.reading.typed, value_mm=new.reading.value_mm)
            get_record().correct_reading(
                identity, logged.number, fixed, by=by, why=why, revision=opened.revision
            )
        else:
            get_record().withdraw_reading(
                identity, logged.number, by=by, why=why, revision=opened.revision
            )
        rescreen(identity)
        flash_success(f"Reading {logged.number} was {'corrected' if correct else 'withdrawn'}.")
        st.rerun()
