"""Charts on the page: each is made once for its data and then cached."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import streamlit as st

from inspection.model.rope import Units
from ui.web.page.units import page_units

# The same style in both themes: text is dark, because a dark page shows charts on white.
INK, FAINT = "#31333F", "#4A4C57"
STYLE = {
    "font": "Source Sans, sans-serif",
    "title": {"anchor": "start", "fontSize": 16, "color": INK, "subtitleFontSize": 13,
              "subtitleColor": FAINT},
    "axis": {"labelFontSize": 12, "titleFontSize": 12, "titleFontWeight": "normal",
             "gridColor": "#E6EAF1", "domainColor": "#8A8C97", "tickColor": "#8A8C97",
             "labelColor": FAINT, "titleColor": FAINT},
    "legend": {"labelFontSize": 12, "labelColor": INK},
    "text": {"color": INK},
    "view": {"stroke": None},
}  # fmt: skip
PAPER = {"background": "#FFFFFF", "padding": dict.fromkeys(("left", "top", "right", "bottom"), 12)}


def show_chart(
    make: Callable[..., Any],
    data: Any,
    *,
    words: str,
    width: int | str = "stretch",
    units: Units | None = None,
) -> None:
    """Show a chart made from plain data by a pure function.

    Parameters
    ----------
    make : callable
        From `ui.charts.rope` or `ui.charts.checks`.
    data : object
        The data; frozen values, because they are the cache key.
    words : str
        Text alternative for screen readers.
    width : int or {"stretch", "content"}, optional
        Width on the page.
    units : {"mm", "inch"}, optional
        Units of lengths; the page's units by default.
    """
    spec = chart_spec(make.__name__, data, units or page_units(), make)
    shown = {**spec, "config": {**spec.get("config", {}), **STYLE}}
    if st.context.theme.type == "dark":  # colours are chosen for a light background
        shown |= PAPER
    st.vega_lite_chart(shown, alt=words, width=cast(Any, width), theme=None)


@st.cache_data(max_entries=256, show_spinner=False)
def chart_spec(name: str, data: Any, units: Units, _make: Callable[..., Any]) -> dict[str, Any]:
    """Return a chart's specification; making it takes longer than drawing it."""
    del name  # name, data and units are the cache key
    from altair.utils.schemapi import debug_mode  # already loaded by now

    # our charts are tested: validating every part would double the time
    with debug_mode(False):
        made: dict[str, Any] = _make(data, units).to_dict(validate=False)
    return made
