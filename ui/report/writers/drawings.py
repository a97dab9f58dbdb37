"""The report's figures: the charts of the pages, drawn as SVG for paper.

`ui.charts` makes the chart, so that page and paper can't differ; this module sets its size and
font, and drops its title because the caption below says the same.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, assert_never

import altair as alt
import vl_convert
from altair.utils.schemapi import debug_mode

from inspection.model.rope import Units
from ui.charts.checks import budget_chart, differences_chart, digits_chart
from ui.charts.data import AlongRope, Differences, Digits, History, Roundness
from ui.charts.rope import along_rope_chart, history_chart, roundness_chart
from ui.report.blocks import Plot
from ui.report.writers.letters import CSS_FONTS, FOLDER

WIDTH = 540  # px; printed 176 mm wide, its 10 px type is 9 pt high
HEIGHTS = {AlongRope: 255, Differences: 225, Digits: 170, History: 205}
BARS, BAR = 560, 27  # px, width of a budget's bars, and height of one with its label
DISC = 215  # px, a station seen along the rope, three side by side
CONFIG = {
    "font": CSS_FONTS,
    "background": "white",
    "axis": {"labelFontSize": 9.5, "titleFontSize": 10, "titleFontWeight": "normal",
             "gridColor": "#e6e6e6", "domainColor": "#777777", "tickColor": "#777777"},
    "legend": {"labelFontSize": 9.5},
    "title": {"fontSize": 11, "subtitleFontSize": 9.5, "anchor": "start"},
    "view": {"stroke": "#bbbbbb"},
}  # fmt: skip


@lru_cache(maxsize=256)
def svg_of(plot: Plot | Roundness, units: Units = "mm") -> str:
    """Return a figure as SVG, in the report's font."""
    with debug_mode(False):  # the charts are tested; validating each part doubles the time
        spec = chart_of(plot, units).to_dict(validate=False)
    return drawn_svg(spec)


def drawn_svg(spec: dict[str, Any]) -> str:
    """Return a chart's description as SVG."""
    _register_fonts()
    spec["config"] = {**spec.get("config", {}), **CONFIG}
    svg: str = vl_convert.vegalite_to_svg(spec, vl_version=_version())
    return re.sub(r'<text[^>]* opacity="0"[^>]*>.*?</text>', "", svg)  # axis labels that do not fit


def chart_of(plot: Plot | Roundness, units: Units = "mm") -> alt.LayerChart:
    """Return the pages' chart of a figure's data, in the report's size."""
    untitled = alt.TitleParams("")
    match plot:
        case Roundness():
            size = alt.AutoSizeParams(type="pad", contains="content")
            chart = roundness_chart(plot, units)
            lines = chart.title.subtitle[:-2]  # the last ones repeat the common caption
            title = alt.TitleParams(chart.title.text, subtitle=lines, subtitlePadding=4)
            return _sized(chart, DISC, DISC, title, size)
        case AlongRope():
            chart = along_rope_chart(plot, units)
        case Differences():
            chart = differences_chart(plot, units)
        case Digits():
            chart = digits_chart(plot, units)
        case History():
            chart = history_chart(plot, units)
        case tuple():
            return _sized(budget_chart(plot, units), BARS, BAR * len(plot), untitled)
        case _:
            assert_never(plot)
    size = alt.AutoSizeParams(type="fit", contains="padding")
    return _sized(chart, WIDTH, HEIGHTS[type(plot)], untitled, size)


def _sized(
    chart: alt.LayerChart,
    width: int,
    height: int,
    title: alt.TitleParams,
    autosize: alt.AutoSizeParams | None = None,
) -> alt.LayerChart:
    """Set a chart's size and title in place: its `properties` would copy all its data."""
    chart.width, chart.height, chart.title = width, height, title
    if autosize is not None:
        chart.autosize = autosize
    return chart


@lru_cache(maxsize=1)
def _register_fonts() -> None:
    vl_convert.register_font_directory(str(FOLDER))


@lru_cache(maxsize=1)
def _version() -> str | None:
    """Return the charts' version of Vega-Lite; None if it is not available."""
    wanted = ".".join(alt.SCHEMA_VERSION.lstrip("v").split(".")[:2])
    return wanted if wanted in vl_convert.get_vegalite_versions() else None
