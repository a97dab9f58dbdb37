"""Stations: where along the rope each card was, and what is there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import streamlit as st

from inspection.model.rope import Station
from inspection.record.views import OpenInspection
from ui.presenters.result_rows import PLACE_HEADS, place_rows
from ui.presenters.whole_rope import whole_rope
from ui.text import as_typed
from ui.web.page.layout import flash_success, page_header, show_cautions, show_errors
from ui.web.page.navigation import next_step_link
from ui.web.page.rescreen import rescreen
from ui.web.page.session import cached_assessment
from ui.web.panels.station import table
from ui.web.panels.station_table import enter_stations, show_stations


def stations_from(rows: Sequence[Sequence[Any]]) -> tuple[Station, ...]:
    """Return the stations that rows of a table say; rows without a place are left out.

    Raises
    ------
    ValueError
        If a number is missing, doubled, or a place is no number.
    """
    found: dict[int, Station] = {}
    for number, position, note in rows:
        if (
            position is None
            or position == ""
            or (isinstance(position, float) and math.isnan(position))
        ):
            continue
        try:
            place = float(str(position).replace(",", ".").replace("m", "").strip())
            station = int(number)
        except (TypeError, ValueError):
            raise ValueError(
                f"station {number!r} at {position!r}: both must be numbers, the place in metres."
            ) from None
        if station < 1 or not math.isfinite(place):
            raise ValueError(f"station {station} at {place}: numbers begin with 1.")
        if station in found:
            raise ValueError(f"station {station} is listed twice; each has one place.")
        text = "" if note is None or (isinstance(note, float) and math.isnan(note)) else str(note)
        found[station] = Station(station, place, text.strip())
    return tuple(found[number] for number in sorted(found))


def _edit(opened: OpenInspection) -> None:
    sheet = show_stations(opened)
    if st.button("Save stations", type="primary"):
        with show_errors():
            stations = stations_from(sheet.rows)
            enter_stations(opened, sheet, stations)
            rescreen(opened.inspection.identity)
            flash_success(f"{len(stations)} stations are in the record.")
            st.rerun()


def _sections(opened: OpenInspection) -> None:
    """Show which positions form a section, and which sections the whole rope's figure."""
    rows = place_rows(opened)
    if not (opened.results or opened.readings):
        return
    st.subheader("Stations measured in two directions")
    st.html(table(PLACE_HEADS, rows, "Photographs and readings by station"))
    st.caption(
        "Mean and ovality need both directions of a station, 0° and 90°, by photographs or by the "
        "gauge; photographs and gauge are not mixed. Photographs of one card that were measured "
        "at different places along it are sections of their own."
    )
    for words in whole_rope(cached_assessment(opened)):
        st.markdown(as_typed(words))


inspection = page_header("4 Stations")
if inspection is not None:
    if not inspection.inspection.stations:
        st.info(
            "First: enter where along the rope each station is, in metres from the drum end. "
            "It says "
            "which stations are neighbours.",
            icon=":material/pin_drop:",
        )
    with show_errors():
        _edit(inspection)
    with show_errors():
        _sections(inspection)
    next_step_link("readings", "readings")
    show_cautions()
