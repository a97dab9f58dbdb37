"""Supervise: entries to check, across ropes, gauges and people."""

from __future__ import annotations

from functools import partial

import streamlit as st

from inspection.assessment import Assessment
from inspection.record.examinations import compared_entries
from inspection.record.views import OpenInspection, Summary
from ui.presenters.flagged_entries import (
    MOST_ASSESSED,
    FlaggedEntry,
    apart_table,
    entries_table,
    filtered,
    flagged_entries,
    readings_table,
)
from ui.text import as_typed, chance_words
from ui.web.page.layout import page_header, show_cautions, show_errors
from ui.web.page.login import download
from ui.web.page.session import cached_assessment, get_record, load_inspection, summaries
from ui.web.panels.supervisor_charts import show_differences, show_digits, show_trends

SHOWN = 20


def _filtered() -> list[Summary]:
    known = summaries()
    days = [one.on for one in known]
    with st.expander("Filter", icon=":material/filter_alt:"):
        ropes = ["all ropes", *sorted({one.rope for one in known})]
        rope = st.selectbox(
            "Rope",
            ropes,
            key="filter rope",
            persist_state="session",
            help="One rope, or all that are in the record.",
        )
        words = st.text_input(
            "Site or place contains",
            key="filter place",
            persist_state="session",
            help="Part of the rope's site or of the inspection's place, e.g. the quay.",
        )
        left, right = st.columns(2)
        since = left.date_input(
            "From", min(days), key="filter since", help="First day of inspection that counts."
        )
        until = right.date_input(
            "To", max(days), key="filter until", help="Last day of inspection that counts."
        )
    sites = {rope.identity: rope.site for rope in get_record().ropes()}
    wanted = None if rope == "all ropes" else rope
    found = filtered(known, sites, rope=wanted, words=words, since=since, until=until)
    if len(found) > MOST_ASSESSED:
        st.info(
            f"{len(found)} inspections are left; the {MOST_ASSESSED} that are most urgent are "
            "shown. Filter by rope or time to see others."
        )
    return found[:MOST_ASSESSED]


def _entries(inspections: list[OpenInspection], assessments: list[Assessment]) -> None:
    settled = st.toggle(
        "Show closed findings too",
        key="with settled",
        persist_state="session",
        help="Entries that a reviewer has decided about, with what was decided.",
    )
    entries = flagged_entries(inspections, assessments, settled=settled)
    if not entries:
        st.info(
            "No entry stands out. That does not clear any rope.",
            icon=":material/visibility:",
        )
    for rank, entry in enumerate(entries[:SHOWN], start=1):
        _entry(rank, entry)
    if len(entries) > SHOWN:
        st.caption(f"{len(entries) - SHOWN} more are in the exported table.")
    with st.container(horizontal=True):
        for suffix, words in ((".csv", "Entries as CSV"), (".xlsx", "Entries as XLSX")):
            download(words, partial(entries_table, entries, suffix), f"entries-to-look-at{suffix}")
        for suffix, words in ((".csv", "All readings as CSV"), (".xlsx", "All readings as XLSX")):
            download(words, partial(readings_table, get_record(), suffix), f"readings{suffix}")
        download(
            "Gauges and people as CSV",
            partial(apart_table, compared_entries(get_record()), ".csv"),
            "apart.csv",
        )


def _entry(rank: int, entry: FlaggedEntry) -> None:
    finding, inspection = entry.logged.finding, entry.opened.inspection
    asked = {"inspection": inspection.identity, "look": entry.item_name}
    with st.container(border=True):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(
                f"**{rank}. {as_typed(entry.where)}** · {as_typed(entry.opened.rope.identity)} · "
                f"{inspection.on:%Y-%m-%d}"
            )
            words, icon = (
                ("Open the photograph", "photo")
                if entry.opened.photographs
                else ("Open it", "visibility")
            )
            st.page_link(
                "screens/review.py",
                label=words,
                width="content",
                icon=f":material/{icon}:",
                query_params=asked,
            )
        st.markdown(as_typed(finding.seen))
        for line in entry.evidence:
            st.markdown(f":material/straighten: {as_typed(line)}")
        st.markdown(f":material/arrow_forward: {as_typed(finding.remedy)}")
        chance = (
            "not a matter of chance"
            if finding.p_value is None
            else f"if nothing is wrong: {chance_words(finding.p_value)}"
        )
        innocent = (
            f" · possible innocent cause: {as_typed(finding.innocent)}" if finding.innocent else ""
        )
        st.caption(f"{chance}{innocent}")
        if entry.logged.settled_by:
            st.caption(
                f":material/history: {as_typed(entry.logged.settled_how)} — "
                f"{as_typed(entry.logged.settled_by)}"
            )
        sent = entry.sent_back
        if sent is not None:
            st.caption(f":material/undo: sent back by {as_typed(sent.who)}: {as_typed(sent.why)}")


page_header("Supervise", needs_inspection=False)
with show_errors():
    if not summaries():
        st.info("There is no inspection yet; load the sample or enter one.")
        st.page_link("screens/start.py", label="Start", icon=":material/home:")
    else:
        left_over = [load_inspection(one.identity) for one in _filtered()]
        assessments = [cached_assessment(one) for one in left_over]
        if not left_over:
            st.info("The filter leaves no inspection; widen it.")
        else:
            _entries(left_over, assessments)
            st.header("Differences")
            show_differences(assessments)
            st.header("Last digits")
            show_digits(left_over)
            st.header("Trend towards the limits")
            show_trends(assessments)
    show_cautions()
