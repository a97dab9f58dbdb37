"""Stations: where along the rope each card was, and what is there."""

from __future__ import annotations

import math
import zlib
from dataclasses import replace
from typing import Any

import pandas as pd
import streamlit as st

from inspection.record import OpenInspection
from inspection.rope import Station
from ui.look_again import look_over_now
from ui.page_parts import as_typed, begin, plainly, say_cautions, tell_later
from ui.result_tables import PLACE_HEADS, place_rows
from ui.session import judged, person, the_record
from ui.station_screen import table
from ui.steps import go_on
from ui.whole_rope import whole_rope

COLUMNS = ["station", "at m", "what is there"]


def rows_of(there: OpenInspection) -> list[list[Any]]:
    """Return the stations as rows, and those that photographs or readings name beside them."""
    known = {one.number: one for one in there.inspection.stations}
    named = {one.station for one in there.results if one.station} | {
        one.station for one in there.readings
    }
    rows: list[list[Any]] = []
    for number in sorted(known.keys() | named):
        one = known.get(number)
        rows.append([number, one.position_m if one else "", one.note if one else ""])
    return rows or [[1, "", ""], [2, "", ""]]


def with_new(typed: list[list[Any]] | None, rows: list[list[Any]]) -> list[list[Any]]:
    """Return the rows that were typed, and those of stations that are not among them yet."""
    if not typed:
        return rows
    there = {str(row[0]) for row in typed}
    return typed + [row for row in rows if str(row[0]) not in there]


def stations_from(rows: list[list[Any]]) -> tuple[Station, ...]:
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
            raise ValueError(f"station {station} stands here twice; each has one place.")
        text = "" if note is None or (isinstance(note, float) and math.isnan(note)) else str(note)
        found[station] = Station(station, place, text.strip())
    return tuple(found[number] for number in sorted(found))


def _edit(there: OpenInspection) -> None:
    # The table is drawn anew only where the stations themselves have changed: a photograph that
    # somebody else adds meanwhile is no reason to forget what was typed.
    name = zlib.crc32(repr(there.inspection.stations).encode())
    key = f"stations {there.inspection.identity} {name}"
    base_key, typed_key = f"base of {key}", f"typed in {key}"
    if key not in st.session_state or base_key not in st.session_state:
        st.session_state[base_key] = with_new(st.session_state.get(typed_key), rows_of(there))
    base = pd.DataFrame(st.session_state[base_key], columns=COLUMNS).astype(
        {"station": "Int64", "at m": "string", "what is there": "string"}
    )
    edited = st.data_editor(
        base, key=key, num_rows="dynamic", hide_index=True,
        column_config={
            "station": st.column_config.NumberColumn(
                "Station", min_value=1, step=1, help="As printed on the card."
            ),
            "at m": st.column_config.TextColumn(
                "Place, m", help="Distance along the rope from its origin, e.g. the drum; 31,5."
            ),
            "what is there": st.column_config.TextColumn(
                "What is there", help="e.g. crossover, over the head sheave at pick-up height"
            ),
        },
    )  # fmt: skip
    rows = [
        [None if pd.isna(cell) else cell for cell in row] for row in edited.itertuples(index=False)
    ]
    st.session_state[typed_key] = rows  # for who looks at another screen and comes back
    if st.button("Keep these stations", type="primary"):
        with plainly():
            stations = stations_from(rows)
            the_record().change_inspection(
                replace(there.inspection, stations=stations), by=person(),
                why="stations entered", revision=there.revision,
            )  # fmt: skip
            del st.session_state[typed_key]
            look_over_now(there.inspection.identity)
            tell_later(f"{len(stations)} stations are in the record.")
            st.rerun()


def _sections(there: OpenInspection) -> None:
    """Show which positions form a section, and which sections the whole rope's figure."""
    rows = place_rows(there)
    if not (there.results or there.readings):
        return
    st.subheader("Which positions form a section")
    st.html(table(PLACE_HEADS, rows, "A section is one station in two directions"))
    st.caption(
        "Mean and ovality need both directions of a station, 0° and 90°, by photographs or by the "
        "gauge; photographs and gauge are not mixed. Photographs of one card that were measured "
        "at different places along it are sections of their own."
    )
    for words in whole_rope(judged(there)):
        st.markdown(as_typed(words))


inspection = begin("4 Stations")
if inspection is not None:
    if not inspection.inspection.stations:
        st.info(
            "First: say where along the rope each station is, in metres from one end or from the "
            "drum. Neighbours are compared by it.",
            icon=":material/pin_drop:",
        )
    with plainly():
        _edit(inspection)
    with plainly():
        _sections(inspection)
    go_on("readings", "readings")
    say_cautions()
