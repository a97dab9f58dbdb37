"""What proves a rank: differences, last digits, trends towards the limits.

Each is a fragment of its own: another group or rope is shown without the rest of the page.
"""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from inspection.assessment import Assessment
from inspection.comparison.bland_altman import FEWEST, limits_of_agreement
from inspection.model.log import counted
from inspection.model.readings import Gauge, Reading
from inspection.record.examinations import ComparedEntry
from ui.charts.checks import differences_chart, digits_chart
from ui.charts.data import Difference, Differences, K
from ui.charts.rope import history_chart
from ui.charts.sources import last_digits
from ui.presenters.flagged_entries import RankedReader, by_chance
from ui.presenters.trends import StationTrend, nearest_first, station_trends, trend_row
from ui.text import as_minus, as_typed
from ui.web.components.chart import show_chart
from ui.web.page.layout import reset_messages, show_errors
from ui.web.page.units import U_HELP
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
    "change, mm per year (95 %)",
    "limit mm",
    "limit reached",
]
MOST_POINTS = 1500  # a chart shows no more; those that disagree are always among them
MOST_GROUPS = 60


@st.fragment
def show_differences(compared: Sequence[ComparedEntry]) -> None:
    """Show photograph minus gauge, all together or by who or what measured."""
    reset_messages()
    with show_errors():
        if not compared:
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
        groups: dict[str, list[ComparedEntry]] = {}
        for one in compared:
            name = str(getattr(one, group)) or "not named" if group else "all"
            groups.setdefault(name, []).append(one)
        chosen = next(iter(groups))
        if len(groups) > 1:
            chosen = st.selectbox(
                str(kind).capitalize(),
                sorted(groups),
                key=f"difference {group}",
                help="Whose comparisons are drawn.",
            )
        elif group:
            st.markdown(f"One {kind} only: **{as_typed(chosen)}**")
        _difference_plot(groups[chosen])
        if len(groups) > 1:
            rows = [[told, *_agreement_cells(groups[told])] for told in sorted(groups)]
            heads = [str(kind), "comparisons", "mean difference mm", "limits of agreement mm"]
            st.html(table(heads, rows[:MOST_GROUPS], f"Photograph minus gauge by {kind}"))


def show_reader(reader: RankedReader, compared: Sequence[ComparedEntry]) -> None:
    """Show the differences of one gauge or person, and what they come to against the others'."""
    mine = [one for one in compared if getattr(one, reader.kind) == reader.name]
    apart = reader.apart
    if apart is None:
        st.caption(
            f"Fewer than {FEWEST} comparisons, or nobody else's to hold them against: nothing can "
            "be said of this one against the others."
        )
    else:
        st.markdown(
            f"{as_typed(apart.words)} If nothing is wrong: {by_chance(apart.adjusted)}. "
            f"{apart.disagree} of {apart.count} disagree; so many by chance: "
            f"{by_chance(apart.p_disagree)}."
        )
    if mine:
        _difference_plot(mine)


def _difference_plot(members: Sequence[ComparedEntry]) -> None:
    told = None
    if len(members) >= FEWEST:
        told = limits_of_agreement([one.difference_mm for one in members])
    odd = [one for one in members if one.word == "disagrees"][-MOST_POINTS:]
    rest = [one for one in members if one.word != "disagrees"]
    step = max(1, -(-len(rest) // max(1, MOST_POINTS - len(odd))))
    shown = [*odd, *rest[::step]]
    points = tuple(
        Difference(
            f"{one.inspection}, station {one.station}, {one.view_deg} deg",
            0.5 * (one.photo_mm + one.gauge_mm),
            one.difference_mm,
            K * one.u_mm,
            one.word,
        )
        for one in shown
    )
    data = Differences(points)
    if told is not None:
        data = Differences(points, told.bias_mm, told.low_mm, told.high_mm)
    words = _agreement_words(members)
    if step > 1:
        words += f" Drawn: all that disagree, and one in {step} of the others."
    show_chart(differences_chart, data, words=words)
    st.caption(as_minus(words), help=U_HELP)


def _agreement_words(members: Sequence[ComparedEntry]) -> str:
    if len(members) < FEWEST:
        count = counted(len(members), "comparison", "comparisons")
        return f"{count}; {FEWEST} are needed for limits of agreement."
    told = limits_of_agreement([one.difference_mm for one in members])
    return (
        f"{len(members)} comparisons; photograph minus gauge {told.bias_mm:+z.2f} mm on average, "
        f"limits of agreement {told.low_mm:+z.2f} to {told.high_mm:+z.2f} mm (a wrong entry "
        "widens them)."
    )


def _agreement_cells(members: Sequence[ComparedEntry]) -> list[str]:
    if len(members) < FEWEST:
        return [str(len(members)), "", f"needs {FEWEST}"]
    told = limits_of_agreement([one.difference_mm for one in members])
    return [
        str(len(members)),
        f"{told.bias_mm:+z.2f}",
        f"{told.low_mm:+z.2f} to {told.high_mm:+z.2f}",
    ]


def show_digits(gauge: Gauge, readings: Sequence[Reading]) -> None:
    """Show how often each last digit was typed with a gauge."""
    data = last_digits(readings, gauge.resolution_mm)
    if data is None:
        st.caption(
            "The last digits of this gauge's readings say nothing: too few, or its steps do not "
            "show all digits."
        )
        return
    told = (
        f"{len(readings)} readings. Real diameters end in every digit about equally often; with "
        "few readings the picture is uneven by chance, and the list of entries says where it is "
        "not."
    )
    show_chart(digits_chart, data, words=told)
    st.caption(told)


@st.fragment
def show_trends(assessments: Sequence[Assessment]) -> None:
    """Show a rope's stations on their way to the limits, the nearest first, and one of them."""
    reset_messages()
    with show_errors():
        trends = nearest_first(station_trends(assessments))
        if not trends:
            st.info("A trend needs two inspections of a rope with stations in two directions.")
            return
        units = assessments[-1].log.rope.units
        rows = [trend_row(one, units) for one in trends]
        title = "The station that is nearest to its limit first"
        st.html(table(TREND_HEADS, rows, title, units=units))
        mine: dict[int, StationTrend] = {one.station: one for one in trends}
        station = st.selectbox(
            "Station",
            list(mine),
            key=f"trend station {trends[0].rope}",
            help="The station that is nearest to its limit comes first.",
        )
        shown = mine[station]
        show_chart(history_chart, shown.data, words=shown.words, units=units)
        st.caption(as_typed(shown.words))
