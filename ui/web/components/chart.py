"""Charts on the page: each is made once for its data, then taken from the cache."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import streamlit as st

from inspection.model.rope import Units
from ui.web.page.units import page_units

# One look in both themes: the letters are dark, since a dark page shows charts on white paper.
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
    """Show a chart that a pure function makes of plain data.

    Parameters
    ----------
    make : callable
        From `ui.charts.rope` or `ui.charts.checks`.
    data : object
        What it draws; frozen values, because they are the key of the cache.
    words : str
        What is to be seen, for those who can't.
    width : int or {"stretch", "content"}, optional
        How wide it is shown.
    units : {"mm", "inch"}, optional
        What lengths are drawn in; the page's unless another rope is shown.
    """
    spec = chart_spec(make.__name__, data, units or page_units(), make)
    shown = {**spec, "config": {**spec.get("config", {}), **STYLE}}
    if st.context.theme.type == "dark":  # lines and words are chosen for a light ground
        shown |= PAPER
    st.vega_lite_chart(shown, alt=words, width=cast(Any, width), theme=None)


@st.cache_data(max_entries=256, show_spinner=False)
def chart_spec(name: str, data: Any, units: Units, _make: Callable[..., Any]) -> dict[str, Any]:
    """Return a chart as the page draws it; a chart takes longer to make than to draw."""
    del name  # name, data and units are the key
    from altair.utils.schemapi import debug_mode  # by now it is loaded

    # the charts are ours and tested: looking at each part takes as long again
    with debug_mode(False):
        made: dict[str, Any] = _make(data, units).to_dict(validate=False)
    return made
