"""Start: what there is, what to do first, and the sample inspection by one click."""

from __future__ import annotations

import streamlit as st

from inspection.record import Summary
from ui.door import opens
from ui.page_parts import STATE_MARKS, as_typed, begin, plainly, say_cautions, tell_later
from ui.sample import load_sample, sample_folder
from ui.session import person, record_place, summaries, take_up, the_record


def _first_steps() -> None:
    if not opens("rope"):
        st.info("There is no inspection yet; an inspector begins one.",
                icon=":material/hourglass_empty:")  # fmt: skip
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
        with plainly():
            identity = load_sample(
                the_record(), folder, by=person(), told=lambda at, what: _tell(bar, at, what)
            )
            take_up(identity)
            tell_later("The sample inspection is in the record. Its review is waiting for you.")
            st.rerun()


def _tell(bar: st.delta_generator.DeltaGenerator, at: float, what: str) -> None:
    bar.progress(at, text=what)


def _overview(known: list[Summary]) -> None:
    looks = [one for one in known if one.open_findings]
    columns = st.columns(3)
    columns[0].metric("Inspections", len(known))
    columns[1].metric("With something to look at", len(looks))
    columns[2].metric("Accepted", sum(one.state == "accepted" for one in known))
    for one in known[:12]:
        with st.container(border=True):
            st.markdown(
                f"**{as_typed(one.rope)}** · {one.on:%Y-%m-%d} · {STATE_MARKS[one.state]}  \n"
                f"{one.readings} readings · {one.results} photographs' results · "
                f"{one.open_findings} to look at"
            )
            if one.headline:
                st.markdown(f":material/visibility: {as_typed(one.headline)}")
            with st.container(horizontal=True):
                for screen, words, icon in (
                    ("review", "Review", ":material/rate_review:"),
                    ("readings", "Readings", ":material/edit_note:"),
                    ("result", "Result", ":material/fact_check:"),
                ):
                    if not opens(screen):
                        continue
                    if st.button(words, key=f"{screen} {one.identity}", icon=icon):
                        take_up(one.identity)
                        st.switch_page(f"screens/{screen}.py")
    if len(known) > 12:
        st.caption(f"{len(known) - 12} more are in the list at the side and under Supervise.")


begin("Rope Photo Check", needs_inspection=False)
with plainly():
    everything = summaries()
    if not everything:
        _first_steps()
    else:
        _overview(everything)
        if opens("rope"):
            st.page_link("screens/rope.py", label="Begin another inspection",
                         icon=":material/add:")  # fmt: skip
    if opens("supervise"):
        st.caption(f"Record: {as_typed(record_place().rsplit('@', 1)[-1])}")
    say_cautions()
