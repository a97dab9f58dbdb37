"""Supervise: entries that deserve a second look, across ropes, gauges and people."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import streamlit as st

from inspection.agreement import FEWEST, agreement_of
from inspection.case import Judgement
from inspection.crosscheck import Comparison, CrossCheck
from inspection.history import Point, trends
from inspection.record import OpenInspection, Summary
from ui.check_tables import chance_words
from ui.door import download
from ui.entries import (
    MOST_JUDGED,
    Entry,
    by_name,
    chosen,
    entries_of,
    entries_table,
    readings_table,
)
from ui.figure_sources import differences, history, last_digits, limit_lines
from ui.figures import Then
from ui.page_parts import as_typed, begin, plainly, say_cautions
from ui.plots import history_chart
from ui.plots_checks import differences_chart, digits_chart
from ui.session import judged, opened, summaries, the_record

GROUPS = {"all together": "", "gauge": "gauge", "person": "person", "card set": "print_set"}
SHOWN = 20


def _filtered() -> list[Summary]:
    known = summaries()
    days = [one.on for one in known]
    with st.expander("Filter", icon=":material/filter_alt:"):
        ropes = ["all ropes", *sorted({one.rope for one in known})]
        rope = st.selectbox("Rope", ropes, key="filter rope", persist_state="session")
        words = st.text_input("Place contains", key="filter place", persist_state="session",
                              help="Part of the inspection's place, e.g. the quay.")  # fmt: skip
        left, right = st.columns(2)
        since = left.date_input("From", min(days), key="filter since")
        until = right.date_input("To", max(days), key="filter until")
    found = chosen(
        known, rope=None if rope == "all ropes" else rope, words=words, since=since, until=until
    )
    if len(found) > MOST_JUDGED:
        st.info(
            f"{len(found)} inspections are left; the {MOST_JUDGED} that most deserve a look are "
            "shown. Filter by rope or time to see others."
        )
    return found[:MOST_JUDGED]


def _entries(there: list[OpenInspection]) -> None:
    settled = st.toggle("Show settled ones too", key="with settled", persist_state="session")
    entries = entries_of(there, settled=settled)
    if not entries:
        st.info(
            "No entry deserves a look before the others. That does not clear any rope.",
            icon=":material/visibility:",
        )
    for rank, one in enumerate(entries[:SHOWN], start=1):
        _entry(rank, one)
    if len(entries) > SHOWN:
        st.caption(f"{len(entries) - SHOWN} more are in the exported table.")
    with st.container(horizontal=True):
        for suffix, words in ((".csv", "Entries as CSV"), (".xlsx", "Entries as XLSX")):
            download(words, partial(entries_table, entries, suffix), f"entries-to-look-at{suffix}")
        download("All readings as CSV", partial(readings_table, the_record(), ".csv"),
                 "readings.csv")  # fmt: skip


def _entry(rank: int, one: Entry) -> None:
    finding, inspection = one.logged.finding, one.there.inspection
    with st.container(border=True):
        st.markdown(
            f"**{rank}. {as_typed(one.where)}** · {as_typed(one.there.rope.identity)} · "
            f"{inspection.on:%Y-%m-%d}"
        )
        st.markdown(as_typed(finding.seen))
        st.markdown(f":material/arrow_forward: {as_typed(finding.remedy)}")
        chance = (
            "a plain fact"
            if finding.p_value is None
            else f"if nothing is wrong: {chance_words(finding.p_value)}"
        )
        innocent = (
            f" · it may be innocent: {as_typed(finding.innocent)}" if finding.innocent else ""
        )
        st.caption(f"{chance}{innocent}")
        if one.logged.settled_by:
            st.caption(
                f":material/history: {as_typed(one.logged.settled_how)} — "
                f"{as_typed(one.logged.settled_by)}"
            )
        asked = {"inspection": inspection.identity, "look": one.doubt_name}
        st.page_link("screens/review.py", label="See the photograph", icon=":material/photo:",
                     query_params=asked)  # fmt: skip


def _differences(judgements: list[Judgement]) -> None:
    comparisons = [one for judgement in judgements for one in judgement.crosscheck.comparisons]
    if not comparisons:
        st.info("No reading has a photograph of the same place and direction yet.")
        return
    kind = st.pills("Grouped by", list(GROUPS), default="all together", required=True,
                    key="difference group")  # fmt: skip
    group = GROUPS[str(kind)]
    groups = by_name(comparisons, group) if group else {"all": comparisons}
    name = next(iter(groups))
    if len(groups) > 1:
        name = st.selectbox(str(kind).capitalize(), list(groups), key=f"difference {group}")
    elif group:
        st.markdown(f"One {kind} only: **{as_typed(name)}**")
    _difference_plot(judgements[0], groups[name])
    if group:
        for told, members in groups.items():
            st.caption(f"{as_typed(told)}: {_agreement_words(members)}")


def _difference_plot(judgement: Judgement, members: list[Comparison]) -> None:
    told = agreement_of(members) if len(members) >= FEWEST else None
    only = replace(judgement, crosscheck=CrossCheck(tuple(members), (), (), ()), agreement=told)
    st.altair_chart(differences_chart(differences(only)))
    st.caption(_agreement_words(members))


def _agreement_words(members: list[Comparison]) -> str:
    if len(members) < FEWEST:
        return f"{len(members)} comparisons; {FEWEST} are needed for limits of agreement."
    told = agreement_of(members)
    return (
        f"{len(members)} comparisons; photograph minus gauge {told.bias_mm:+.2f} mm on average, "
        f"limits of agreement {told.low_mm:+.2f} to {told.high_mm:+.2f} mm (a wrong entry "
        "widens them)."
    )


def _digits(there: list[OpenInspection]) -> None:
    gauges = {gauge.identity: gauge for one in there for gauge in one.gauges}
    if not gauges:
        st.info("No reading was logged yet.")
        return
    name = st.selectbox("Gauge", sorted(gauges), key="digits gauge")
    readings = [reading for one in there for reading in one.readings if reading.gauge == name]
    data = last_digits(readings, gauges[name].resolution_mm)
    if data is None:
        st.info("The last digits of this gauge's readings say nothing: too few, or its steps do "
                "not show all digits.")  # fmt: skip
        return
    st.altair_chart(digits_chart(data))
    st.caption(
        f"{len(readings)} readings. Real diameters end in every digit about equally often; with "
        "few readings the picture is uneven by chance, and the list above says where it is not."
    )


def _trend(there: list[OpenInspection], judgements: list[Judgement]) -> None:
    ropes = sorted({one.rope.identity for one in there})
    rope = st.selectbox("Rope", ropes, key="trend rope")
    mine = [one for one in judgements if one.log.rope.identity == rope]
    points: dict[int, list[Point]] = {}
    for one in sorted(mine, key=lambda judgement: judgement.log.inspection.on):
        for section in one.photograph_sections or one.gauge_sections:
            if section.station is not None:
                points.setdefault(section.station, []).append(
                    Point(one.log.inspection.on, section.mean_mm, section.mean_budget)
                )
    if max((len(one) for one in points.values()), default=0) < 2:
        st.info("A trend needs two inspections of this rope with stations in two directions.")
        return
    station = st.selectbox("Station", sorted(points), key="trend station")
    limits = limit_lines(one.verdict.limit for one in mine[-1].verdicts if one.station == station)
    trend = trends({station: points[station]})[station]
    then = [
        Then(one.on, one.mean_mm, 2 * sum(term.u_mm**2 for term in one.budget) ** 0.5)
        for one in points[station]
    ]
    st.altair_chart(history_chart(history(station, trend, then, limits=limits)))
    if trend is None:
        st.caption("A line and its prediction band need three inspections.")


begin("Supervise", needs_inspection=False)
with plainly():
    if not summaries():
        st.info("There is no inspection yet; load the sample or enter one.")
        st.page_link("screens/start.py", label="Start", icon=":material/home:")
    else:
        left_over = [opened(one.identity) for one in _filtered()]
        judged_ones = [judged(one) for one in left_over]
        if not left_over:
            st.info("The filter leaves no inspection; widen it.")
        else:
            _entries(left_over)
            st.subheader("Differences")
            with plainly():
                _differences(judged_ones)
            st.subheader("Last digits")
            with plainly():
                _digits(left_over)
            st.subheader("Trend")
            with plainly():
                _trend(left_over, judged_ones)
    say_cautions()
