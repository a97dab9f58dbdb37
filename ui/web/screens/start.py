"""Start: what there is, what to do first, and the sample inspection by one click."""

from __future__ import annotations

import streamlit as st

from inspection.model.log import counted
from inspection.record.views import Summary
from ui.services.sample import load_sample, sample_folder
from ui.text import STATE_MARKS, as_typed
from ui.web.page.layout import flash_success, page_header, show_cautions, show_errors
from ui.web.page.login import can_open
from ui.web.page.navigation import ICONS, NAMES, Step, here, next_step
from ui.web.page.session import get_record, record_location, select_inspection, summaries, user_name


def _first_steps() -> None:
    if not can_open("rope"):
        st.info(
            "There is no inspection yet; an inspector begins one.",
            icon=":material/hourglass_empty:",
        )
        return
    st.markdown(
        "**Nothing has been entered yet.** Photograph a rope beside a printed card, write down "
        "what the gauge says, and see whether the two agree."
    )
    left, right = st.columns(2)
    with left, st.container(border=True):
        st.subheader("Try it with the sample inspection")
        st.write(
            "One invented crane rope, four stations, ten rendered photographs. One of the eight "
            "readings was typed wrong on purpose: find it."
        )
        _sample_button("primary")
    with right, st.container(border=True):
        st.subheader("Begin with your own rope")
        st.write("Name the rope and its nominal diameter first; the other steps follow from it.")
        st.page_link("screens/rope.py", label="1 Rope", icon=":material/cable:")
        st.page_link("screens/cards.py", label="2 Print cards", icon=":material/print:")


def _sample_button(kind: str) -> None:
    folder = sample_folder()
    if folder is None:
        st.caption("The sample photographs are not beside the program; see the project's folder.")
        return
    if st.button(
        "Load the sample inspection",
        type="primary" if kind == "primary" else "secondary",
        icon=":material/science:",
        help="Takes a few seconds: every photograph is measured on this machine.",
    ):
        bar = st.progress(0.0, text="reading the sample")
        with show_errors():
            identity = load_sample(
                get_record(),
                folder,
                by=user_name(),
                report=lambda at, what: _show_progress(bar, at, what),
            )
            select_inspection(identity)
            flash_success("The sample inspection is in the record. Its review is waiting for you.")
            st.rerun()


def _show_progress(bar: st.delta_generator.DeltaGenerator, at: float, what: str) -> None:
    bar.progress(at, text=what)


def _overview(known: list[Summary]) -> None:
    unsettled = [summary for summary in known if summary.open_findings]
    st.markdown(
        f"**{counted(len(known), 'inspection', 'inspections')}**, {len(unsettled)} with open "
        f"findings, {sum(one.state == 'reviewed' for one in known)} reviewed"
    )
    for one in known[:12]:
        upcoming = next_step(one)
        with st.container(border=True):
            st.markdown(
                f"**{as_typed(one.rope)}** · {one.on:%Y-%m-%d} · {STATE_MARKS[one.state]}  \n"
                f"{counted(one.readings, 'reading', 'readings')} · "
                f"{counted(one.results, 'photograph', 'photographs')} · "
                f"{one.open_findings} to check. {upcoming.words}"
            )
            if one.headline:
                st.markdown(f":material/visibility: {as_typed(one.headline)}")
            with st.container(horizontal=True):
                others: tuple[Step, ...] = ("sheet", "result", "review")
                for step in dict.fromkeys((upcoming.step, *others)):
                    if not can_open(step):
                        continue
                    if st.button(
                        NAMES[step],
                        key=f"{step} {one.identity}",
                        icon=f":material/{ICONS[step]}:",
                        type="primary" if step == upcoming.step else "secondary",
                    ):
                        select_inspection(one.identity)
                        st.switch_page(f"screens/{step}.py", query_params=here())
    if len(known) > 12:
        st.caption(f"{len(known) - 12} more are in the list at the side and under Supervise.")


page_header("Rope Photo Check", needs_inspection=False)
with show_errors():
    everything = summaries()
    if not everything:
        _first_steps()
    else:
        _overview(everything)
        if can_open("rope"):
            st.page_link("screens/rope.py", label="Begin another inspection", icon=":material/add:")
    if can_open("supervise"):
        st.caption(f"Record: {as_typed(record_location().rsplit('@', 1)[-1])}")
    show_cautions()
