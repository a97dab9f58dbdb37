"""What the address says: which inspection, station, direction and photograph are looked at.

A page that is loaded again, opened in a second window or reached by Back shows what its address
says, and nothing is entered into an inspection that the address does not name.
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
        The inspection; empty where it names none.
    station, view_deg : int or None
        Station and direction.
    photo : str
        The first letters of a photograph's hash.
    """

    inspection: str = ""
    station: int | None = None
    view_deg: int | None = None
    photo: str = ""


def address() -> Address:
    """Return what the address of this page names."""
    said = st.query_params
    return Address(
        said.get(INSPECTION, ""), _number(STATION), _number(VIEW), said.get(PHOTO, "").casefold()
    )


def show_inspection(identity: str) -> None:
    """Let the address name an inspection; of another one it names no station."""
    if st.query_params.get(INSPECTION) != identity:
        st.query_params.from_dict({INSPECTION: identity})


def show_place(station: int | None = None, view_deg: int | None = None, photo: str = "") -> None:
    """Let the address name a station, its direction and a photograph of the same inspection."""
    said = link_query(address().inspection, station, view_deg, photo)
    if said != st.query_params.to_dict():
        st.query_params.from_dict(said)


def link_query(
    inspection: str, station: int | None = None, view_deg: int | None = None, photo: str = ""
) -> dict[str, str]:
    """Return what a link's address says, for `st.page_link` and `st.switch_page`.

    Examples
    --------
    >>> link_query("2026-09-quay-crane-2", 3, 0)
    {'inspection': '2026-09-quay-crane-2', 'station': '3', 'view': '0'}
    """
    said = {INSPECTION: inspection, STATION: station, VIEW: view_deg, PHOTO: photo[:12]}
    return {name: str(value) for name, value in said.items() if value not in (None, "")}


def _number(name: str) -> int | None:
    said = st.query_params.get(name, "")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 6 else None
