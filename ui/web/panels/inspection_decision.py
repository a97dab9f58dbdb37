"""The decision about an inspection as a whole, and the link to the next one."""

from __future__ import annotations

import streamlit as st

from inspection.record.views import OpenInspection, ReviewState
from ui.presenters.review.queue import ReviewItem
from ui.text import STATE_MARKS, as_typed
from ui.web.page.clock import local
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.session import entering, get_record, select_inspection, summaries


def decide_inspection(opened: OpenInspection, still: list[ReviewItem]) -> None:
    """Show where the review stands; accept, send back or overrule the whole inspection."""
    st.header("The inspection as a whole")
    st.markdown(f"State: {STATE_MARKS[opened.state]}")
    for review in opened.reviews[-3:]:
        why = f": {as_typed(review.why)}" if review.why else ""
        st.caption(f"{review.state} by {as_typed(review.who)}, {local(review.at)}{why}")
    why = st.text_input(
        "Reason",
        key=f"all {opened.inspection.identity}",
        placeholder="required to send back or overrule",
        help="Recorded with your name.",
    )
    with st.container(horizontal=True):
        accept = st.button(
            "Accept the inspection",
            shortcut="1",
            disabled=bool(still),
            help="Decide every station with findings first.",
        )
        back = st.button("Send the inspection back", shortcut="3")
        overrule = st.button(
            "Overrule the decision",
            shortcut="O",
            disabled=opened.state not in ("reviewed", "sent back"),
        )
    state: ReviewState | None = (
        "accepted" if accept else "sent back" if back else "overruled" if overrule else None
    )
    if state is not None:
        with show_errors():
            get_record().review(
                opened.inspection.identity,
                state,
                by=entering(opened.inspection.identity),
                why=" ".join(why.split()),
                revision=opened.revision,
            )
            flash_success(f"The inspection is {state}.")
            st.rerun()
    waiting = [
        summary
        for summary in summaries()
        if summary.open_findings and summary.state in ("draft", "submitted")
    ]
    others = [one for one in waiting if one.identity != opened.inspection.identity]
    if others and st.button(
        f"Next inspection: {as_typed(others[0].identity)}",
        icon=":material/skip_next:",
        shortcut="I",
    ):
        select_inspection(others[0].identity)
        st.rerun()
