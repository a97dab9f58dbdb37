"""The evidence for a rank: differences, last digits, trends towards the limits.

Each is a fragment: selecting another group or rope redraws only that part of the page.
"""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from inspection.assessment import Assessment
from inspection.comparison.bland_altman import FEWEST, limits_of_agreement
from inspection.model.log import counted
from inspection.model.readings import Gauge, Reading
from inspection.record.overview.examinations import ComparedEntry
from ui.charts.checks import differences_chart, digits_chart
from ui.charts.data import Difference, Differences
from ui.charts.rope import history_chart
from ui.charts.sources import last_digits
from ui.lengths import K
from ui.presenters.review.flagged_entries import RankedReader, by_chance
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
    "to check",
    "measured by",
    "latest mean mm",
    "change, mm per year (95 %)",
    "limit mm",
    "limit reached",
]
MOST_POINTS = 1500  # points in a chart; those that disagree are always included
MOST_GROUPS = 60


@st.fragment
def show_differences(compared: Sequence[ComparedEntry]) -> None:
    """Show photograph minus gauge, for all together or by gauge, person, card set or camera."""
    reset_messages()
    with show_errors():
        if not compared:
            st.info("No reading has a photograph of the same place and direction yet.")
            return
        kind = st.pills(
            "Group by",
            list(GROUPS),
            default="all together",
            required=True,
            key="difference group",
            help="A biased gauge, person, card set or camera shows in the mean of its own group.",
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
                help="The group shown in the chart.",
            )
        elif group:
            st.markdown(f"Only one {kind}: **{as_typed(chosen)}**")
        _difference_plot(groups[chosen])
        if len(groups) > 1:
            rows = [[name, *_agreement_cells(groups[name])] for name in sorted(groups)]
            heads = [str(kind), "comparisons", "mean difference mm", "limits of agreement mm"]
            st.html(table(heads, rows[:MOST_GROUPS], f"Photograph minus gauge by {kind}"))


def show_reader(reader: RankedReader, compared: Sequence[ComparedEntry]) -> None:
    """Show the differences of one gauge or person, and how they compare with the others'."""
    mine = [one for one in compared if getattr(one, reader.kind) == reader.name]
    apart = reader.apart
    if apart is None:
        st.caption(
            f"Fewer than {FEWEST} comparisons, or none by others: no comparison with the others is "
            "possible."
        )
    else:
        st.markdown(
            f"{as_typed(apart.words)} Probability if nothing is wrong: "
            f"{by_chance(apart.adjusted)}. {apart.disagree} of {apart.count} disagree; probability "
            f"of so many by chance: {by_chance(apart.p_disagree)}."
        )
    if mine:
        _difference_plot(mine)


def _difference_plot(members: Sequence[ComparedEntry]) -> None:
    agreement = None
    if len(members) >= FEWEST:
        agreement = limits_of_agreement([one.difference_mm for one in members])
    disagree = [one for one in members if one.word == "disagrees"][-MOST_POINTS:]
    rest = [one for one in members if one.word != "disagrees"]
    step = max(1, -(-len(rest) // max(1, MOST_POINTS - len(disagree))))
    shown = [*disagree, *rest[::step]]
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
    if agreement is not None:
        data = Differences(points, agreement.bias_mm, agreement.low_mm, agreement.high_mm)
    words = _agreement_words(members)
    if step > 1:
        words += f" The chart shows all that disagree and one in {step} of the others."
    show_chart(differences_chart, data, words=words)
    st.caption(as_minus(words), help=U_HELP)


def _agreement_words(members: Sequence[ComparedEntry]) -> str:
    if len(members) < FEWEST:
        count = counted(len(members), "comparison", "comparisons")
        return f"{count}; {FEWEST} are needed for limits of agreement."
    agreement = limits_of_agreement([one.difference_mm for one in members])
    return (
        f"{len(members)} comparisons; photograph minus gauge {agreement.bias_mm:+z.2f} mm on "
        f"average, limits of agreement {agreement.low_mm:+z.2f} to {agreement.high_mm:+z.2f} mm "
        "(wrong entries widen them)."
    )


def _agreement_cells(members: Sequence[ComparedEntry]) -> list[str]:
    if len(members) < FEWEST:
        return [str(len(members)), "", f"needs {FEWEST}"]
    agreement = limits_of_agreement([one.difference_mm for one in members])
    return [
        str(len(members)),
        f"{agreement.bias_mm:+z.2f}",
        f"{agreement.low_mm:+z.2f} to {agreement.high_mm:+z.2f}",
    ]


def show_digits(gauge: Gauge, readings: Sequence[Reading]) -> None:
    """Show how often each last digit was typed with a gauge."""
    data = last_digits(readings, gauge.resolution_mm)
    if data is None:
        st.caption(
            "The last digits of this gauge's readings show nothing: there are too few, or its "
            "resolution does not allow every digit."
        )
        return
    words = (
        f"{len(readings)} readings. Real diameters end in every digit about equally often. With "
        "few readings the counts are uneven by chance; the list of entries says where they are "
        "more uneven than that."
    )
    show_chart(digits_chart, data, words=words)
    st.caption(words)


@st.fragment
def show_trends(assessments: Sequence[Assessment]) -> None:
    """Show the trends of a rope's stations, nearest to a limit first, and a chart of one."""
    reset_messages()
    with show_errors():
        trends = nearest_first(station_trends(assessments))
        if not trends:
            st.info("A trend needs a station measured in two directions at two inspections.")
            return
        units = assessments[-1].log.rope.units
        rows = [trend_row(one, units) for one in trends]
        title = "Possible losses of section first, then the station nearest to its limit"
        st.html(table(TREND_HEADS, rows, title, units=units))
        mine: dict[str, StationTrend] = {one.name: one for one in trends}
        station = st.selectbox(
            "Station",
            list(mine),
            key=f"trend station {trends[0].rope}",
            help="In the order of the table.",
        )
        shown = mine[station]
        show_chart(history_chart, shown.data, words=shown.words, units=units)
        st.caption(as_typed(as_minus(shown.words)))
