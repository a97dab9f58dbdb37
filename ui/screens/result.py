"""Result: every figure against every limit that applies, and the inspection to take away."""

from __future__ import annotations

from functools import partial
from typing import get_args

import altair as alt
import streamlit as st

from inspection.case import Judgement
from inspection.folder import Folder
from inspection.limits import Limit
from inspection.record import OpenInspection
from ui.door import download, opens
from ui.entries import readings_table
from ui.figure_sources import along_rope, roundness
from ui.page_parts import STATE_MARKS, WORD_MARKS, as_typed, begin, plainly, say_cautions
from ui.plots import along_rope_chart, roundness_chart
from ui.record_log import log_of
from ui.report import Paper, case_of_record, html_report, pdf_report, record_name
from ui.session import judged, record_place, the_record
from ui.station_queue import queue
from ui.station_screen import table


def _bound(limit: Limit) -> str:
    words = []
    if limit.low_mm is not None:
        words.append(f"at least {limit.low_mm:.2f}")
    if limit.high_mm is not None:
        words.append(f"at most {limit.high_mm:.2f}")
    return " and ".join(words)


def _first(there: OpenInspection, judgement: Judgement) -> None:
    open_ones = [one for one in queue(there) if not one.settled]
    st.markdown(f":material/visibility: {as_typed(judgement.first_look)}")
    if open_ones:
        st.warning(
            f"{len(open_ones)} places still wait for the reviewer: "
            f"{', '.join(one.name for one in open_ones[:6])}.",
            icon=":material/rate_review:",
        )
    if there.reviews:
        last = there.reviews[-1]
        st.markdown(f"Review: {STATE_MARKS[there.state]} by {as_typed(last.who)}. "
                    f"{as_typed(last.why)}")  # fmt: skip


def _verdicts(judgement: Judgement) -> None:
    st.subheader("Against the limits")
    if not judgement.verdicts:
        st.info("No verdict yet: a station needs two directions, and the rope a limit that "
                "applies.")  # fmt: skip
    rank = {"outside": 0, "undecided": 1, "within": 2}
    rows = []
    for placed in sorted(judgement.verdicts, key=lambda one: rank[one.verdict.outcome]):
        verdict, rule = placed.verdict, placed.verdict.limit.rule
        rows.append(
            [
                "whole rope" if placed.station is None else str(placed.station), placed.source,
                WORD_MARKS[verdict.outcome], f"{rule.rule_set}, {rule.what}",
                f"{verdict.value_mm:.2f} ± {2 * verdict.u_mm:.2f}", _bound(verdict.limit),
                f"{verdict.margin_mm:+.2f}",
            ]
        )  # fmt: skip
    heads = ["station", "by", "verdict", "limit", "figure ± U mm", "limit mm", "margin mm"]
    if rows:
        st.html(table(heads, rows, "Verdicts; those outside and undecided come first"))
        decision = judgement.verdicts[0].verdict.decision
        st.caption(f"Decision rule: {decision.name}, {decision.source}. U is expanded, k = 2.")
        st.caption("'Within' says that one figure at one place meets one limit, no more.")
    for note in judgement.notes:
        st.caption(as_typed(note))
    if judgement.not_applicable:
        with st.expander("Limits that do not apply, and why"):
            for one in judgement.not_applicable:
                st.markdown(as_typed(one.reason))


def _pictures(judgement: Judgement) -> None:
    if not (judgement.photograph_sections or judgement.gauge_sections):
        return
    st.subheader("Along the rope")
    st.altair_chart(along_rope_chart(along_rope(judgement)))
    sections = {one.station or 0: one for one in judgement.photograph_sections}
    if sections:
        st.subheader("Roundness")
        station = st.selectbox("Station", sorted(sections), key="round station")
        one = sections[station]
        # The plot itself is square, or a round rope would not look round; words come beside it.
        chart = roundness_chart(roundness(one, "photographs")).properties(
            width=290, height=290, autosize=alt.AutoSizeParams(type="pad", contains="content")
        )
        st.altair_chart(chart, width="content")
        st.caption(
            f"Ovality {one.ovality_mm:.2f} ± {2 * one.u_ovality_mm:.2f} mm; a perfectly round rope "
            f"would show {one.round_rope_mm:.2f} mm on average."
        )


def _report(there: OpenInspection) -> None:
    identity = there.inspection.identity
    left, right = st.columns([1, 2], vertical_alignment="bottom")
    paper: Paper = left.selectbox("Paper of the report", get_args(Paper))
    key = f"report {identity} {there.revision} {paper}"
    if right.button("Make the report", type="primary", icon=":material/description:"):
        with st.spinner("Writing the report ..."), plainly():
            read = Folder(log_of(the_record(), identity), (), ())
            case = case_of_record(the_record(), read, name=record_name(record_place()))
            st.session_state[key] = (pdf_report(case, paper=paper), html_report(case))
    made = st.session_state.get(key)
    if made is None:
        return
    pdf, page = made
    name = "".join(letter if letter.isalnum() else "-" for letter in identity)
    with st.container(horizontal=True):
        download("Report as PDF", lambda: pdf, f"{name}.pdf", "application/pdf")
        download("Report as HTML", lambda: page, f"{name}.html", "text/html")


def _take_away(there: OpenInspection) -> None:
    st.subheader("To take away")
    identity = there.inspection.identity
    _report(there)
    with st.container(horizontal=True):
        for suffix in (".csv", ".xlsx"):
            download(
                f"Readings as {suffix[1:].upper()}",
                partial(readings_table, the_record(), suffix, inspection=identity),
                f"readings{suffix}",
            )
    st.caption(
        f"Fingerprint of the record: {the_record().fingerprint()}. Note it: the record can be held "
        "to it later."
    )


inspection = begin("6 Result")
if inspection is not None:
    with plainly():
        if not (inspection.readings or inspection.results):
            st.info("Nothing to judge yet: give photographs and readings first.")
            if opens("photographs"):
                st.page_link("screens/photographs.py", label="Photographs", icon=":material/photo:")
        else:
            found = judged(inspection)
            _first(inspection, found)
            _verdicts(found)
            _pictures(found)
            _take_away(inspection)
    say_cautions()
