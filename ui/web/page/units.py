"""The units in which a page shows lengths of its rope; the record keeps millimetres."""

from __future__ import annotations

import streamlit as st

from inspection.model.rope import Units
from ui.lengths import in_units
from ui.text import as_minus, as_typed

UNITS = "units of the page"
U_HELP = (
    "U is the expanded uncertainty, k = 2: about 95 % of such figures are within U of the true "
    "value."
)


def set_units(units: Units) -> None:
    """Show the lengths of this page in "mm" or "inch"."""
    st.session_state[UNITS] = units


def page_units() -> Units:
    """Return the units of this page's rope."""
    return "inch" if st.session_state.get(UNITS) == "inch" else "mm"


def in_page_units(words: str) -> str:
    """Return a program message with its lengths in the units of this page's rope."""
    return in_units(words, page_units())


def page_text(words: str, units: Units | None = None) -> str:
    """Return a program message, escaped for markup, in `units` or the page's units."""
    shown = in_units(words, units or page_units())
    return as_typed(as_minus(shown.replace("U (k = 2)", "U")))
