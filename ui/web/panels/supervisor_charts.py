"""The supervisor's pictures: differences by group, last digits, trends towards the limits.

Each is a fragment of its own: another group or rope is shown without the rest of the page.
"""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from inspection.assessment import Assessment
from inspection.comparison.bland_altman import FEWEST, agreement_of
from inspection.comparison.crosscheck import Comparison, CrossCheck
from inspection.record.examinations import compared_entries
from inspection.record.views import OpenInspection
from ui.charts.checks import differences_chart, digits_chart
from ui.charts.rope import history_chart
from ui.charts.sources import differences, last_digits
from ui.presenters.flagged_entries import APART_HEADINGS, apart_rows, by_name
from ui.presenters.trends import StationTrend, nearest_first, station_trends, trend_row
from ui.text import as_typed
from ui.web.components.chart import show_chart
from ui.web.page.layout import show_errors
from ui.web.page.session import get_record
from ui.web.panels.station import table

GROUPS = {
    "all together": "",
    "gauge": "gauge",
    "person": "person",
    "card set": "print_set",
    "camera": "camera",
}
TREND_HEADS = [
    "rope",
    "station",
    "measured by",
    "last mean mm",
    "mm per year (95 %)",
    "limit mm",
    "limit reached",
]


@st.fragment
def show_differences(assessments: list[Assessment]) -> None:
    """Show photograph minus gauge, all together or by who or what measured."""
    with show_errors():
        comparisons = [
            comparison for case in assessments for comparison in case.crosscheck.comparisons
        ]
        if not comparisons:
            st.info("No reading has a photograph of the same place and direction yet.")
            return
        kind = st.pills(
            "Grouped by",
            list(GROUPS),
            default="all together",
            required=True,
            key="difference group",
            help="A gauge, a person, a print of cards or a camera that is off shows in "
            "its own mean.",
        )
        group = GROUPS[str(kind)]
        groups = by_name(comparisons, group) if group else {"all": comparisons}
        name = next(iter(groups))
        if len(groups) > 1:
            name = st.selectbox(
                str(kind).capitalize(),
                list(groups),
                key=f"difference {group}",
                help="Whose comparisons are drawn.",
            )
        elif group:
            st.markdown(f"One {kind} only: **{as_typed(name)}**")
        _difference_plot(assessments[0], groups[name])
        if len(groups) > 1:
            rows = [[told, *_agreement_cells(members)] for told, members in groups.items()]
            heads = [str(kind), "comparisons", "mean difference mm", "limits of agreement mm"]
            st.html(table(heads, rows, f"Photograph minus gauge by {kind}"))
        apart = apart_rows(compared_entries(get_record()))
        if apart:
            told = "Each gauge and person against all others"
            st.html(table(list(APART_HEADINGS), apart, told))
            st.caption(
                "Of the names that stand apart, 5 % at most do so by chance "
                "(Benjamini-Hochberg). A gauge and the person who reads it can't be told apart."
            )


def _difference_plot(assessment: Assessment, members: list[Comparison]) -> None:
    told = agreement_of(members) if len(members) >= FEWEST else None
    only = replace(assessment, crosscheck=CrossCheck(tuple(members), (), (), ()), agreement=told)
    words = _agreement_words(members)
    show_chart(differences_chart, differences(only), words=words)
    st.caption(words)


def _agreement_words(members: list[Comparison]) -> str:
    if len(members) < FEWEST:
        return f"{len(members)} comparisons; {FEWEST} are needed for limits of agreement."
    told = agreement_of(members)
    return (
        f"{len(members)} comparisons; photograph minus gauge {told.bias_mm:+z.2f} mm on average, "
        f"limits of agreement {told.low_mm:+z.2f} to {told.high_mm:+z.2f} mm (a wrong entry "
        "widens them)."
    )


def _agreement_cells(members: list[Comparison]) -> list[str]:
    if len(members) < FEWEST:
        return [str(len(members)), "", f"needs {FEWEST}"]
    told = agreement_of(members)
    return [
        str(len(members)),
        f"{told.bias_mm:+z.2f}",
        f"{told.low_mm:+z.2f} to {told.high_mm:+z.2f}",
    ]


@st.fragment
def show_digits(inspections: list[OpenInspection]) -> None:
    """Show how often each last digit was typed, gauge by gauge."""
    with show_errors():
        gauges = {gauge.identity: gauge for opened in inspections for gauge in opened.gauges}
        if not gauges:
            st.info("No reading was logged yet.")
            return
        name = st.selectbox(
            "Gauge", sorted(gauges), key="digits gauge", help="Whose readings are counted."
        )
        readings = [
            reading
            for opened in inspections
            for reading in opened.readings
            if reading.gauge == name
        ]
        data = last_digits(readings, gauges[name].resolution_mm)
        if data is None:
            st.info(
                "The last digits of this gauge's readings say nothing: too few, or its steps "
                "do not show all digits."
            )
            return
        told = (
            f"{len(readings)} readings. Real diameters end in every digit about equally often; "
            "with few readings the picture is uneven by chance, and the list above says where it "
            "is not."
        )
        show_chart(digits_chart, data, words=told)
        st.caption(told)


@st.fragment
def show_trends(assessments: list[Assessment]) -> None:
    """Show each rope's stations on their way to the limits, the nearest first, and one of them."""
    with show_errors():
        trends = nearest_first(station_trends(assessments))
        if not trends:
            st.info("A trend needs two inspections of a rope with stations in two directions.")
            return
        worst: dict[str, StationTrend] = {}
        for one in trends:
            worst.setdefault(one.rope, one)
        rows = [trend_row(one) for one in worst.values()]
        st.html(table(TREND_HEADS, rows, "The station of each rope that is nearest to its limit"))
        left, right = st.columns(2)
        rope = left.selectbox(
            "Rope", list(worst), key="trend rope", help="The one nearest to its limit comes first."
        )
        mine = {one.station: one for one in trends if one.rope == rope}
        station = right.selectbox(
            "Station",
            list(mine),
            key=f"trend station {rope}",
            help="The station that is nearest to its limit comes first.",
        )
        shown = mine[station]
        show_chart(history_chart, shown.data, words=shown.words)
        st.caption(as_typed(shown.words))
