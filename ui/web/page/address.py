"""The page's address: which inspection, station, direction and photograph it shows.

A page that is reloaded, opened in a second window or reached with Back shows what its address
names, and nothing is entered into an inspection that the address does not name.
"""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

INSPECTION, STATION, VIEW, PHOTO = "inspection", "station", "view", "photo"


@dataclass(frozen=True, slots=True)
class Address:
    """What an address names.

    Parameters
    ----------
    inspection : str
        The inspection; empty if it names none.
    station, view_deg : int or None
        Station and direction.
    photo : str
        The first characters of a photograph's hash.
    """

    inspection: str = ""
    station: int | None = None
    view_deg: int | None = None
    photo: str = ""


def address() -> Address:
    """Return what the address of this page names."""
    query = st.query_params
    return Address(
        query.get(INSPECTION, ""), _number(STATION), _number(VIEW), query.get(PHOTO, "").casefold()
    )


def show_inspection(identity: str) -> None:
    """Make the address name an inspection; on a change the station is dropped from it."""
    if st.query_params.get(INSPECTION) != identity:
        st.query_params.from_dict({INSPECTION: identity})


def show_place(station: int | None = None, view_deg: int | None = None) -> None:
    """Make the address name a station and direction of the same inspection."""
    query = link_query(address().inspection, station, view_deg)
    if query != st.query_params.to_dict():
        st.query_params.from_dict(query)


def link_query(
    inspection: str, station: int | None = None, view_deg: int | None = None, photo: str = ""
) -> dict[str, str]:
    """Return the query of a link, for `st.page_link` and `st.switch_page`.

    Examples
    --------
    >>> link_query("2026-09-quay-crane-2", 3, 0)
    {'inspection': '2026-09-quay-crane-2', 'station': '3', 'view': '0'}
    """
    query = {INSPECTION: inspection, STATION: station, VIEW: view_deg, PHOTO: photo[:12]}
    return {name: str(value) for name, value in query.items() if value not in (None, "")}


def _number(name: str) -> int | None:
    text = st.query_params.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 6 else None
