"""The units in which the lengths of the page's rope are shown; the record keeps millimetres."""

from __future__ import annotations

import streamlit as st

from ui.text import as_typed, in_units

UNITS = "units of the page"


def set_units(units: str) -> None:
    """Show the lengths of this page in "mm" or "inch"."""
    st.session_state[UNITS] = units


def page_units() -> str:
    """Return the units of this page's rope."""
    return str(st.session_state.get(UNITS, "mm"))


def in_page_units(words: str) -> str:
    """Return a sentence of the program with its lengths in the units of this page's rope."""
    return in_units(words, page_units())


def told(words: str) -> str:
    """Return a sentence of the program, in the page's units, safe from being read as markup."""
    return as_typed(in_page_units(words))
