"""The state of an inspection, and the user's next step: submit, close, withdraw a decision."""

from __future__ import annotations

from datetime import date

import streamlit as st

from inspection.model.closing import DECISIONS, Closing
from inspection.record.views import OpenInspection
from ui.services.access.roles import may_do, require_action
from ui.text import CLEARS_NOTHING, STATE_MARKS, as_typed
from ui.web.page.clock import local
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.login import current_user
from ui.web.page.session import entering, get_record

STEP_WORDS = {
    "submitted": "submitted",
    "open": "decision withdrawn",
    "accepted": "accepted",
    "sent back": "sent back",
    "overruled": "overruled",
    "closed": "closed",
}


def show_state(opened: OpenInspection) -> None:
    """Show the state, the steps that led to it, and the next step."""
    st.markdown(f"Current state: {STATE_MARKS[opened.state]}")
    for step in opened.reviews:
        why = f": {as_typed(step.why)}" if step.why else ""
        st.caption(f"{STEP_WORDS[step.state]} by {as_typed(step.who)}, {local(step.at)}{why}")
    if opened.closing is not None:
        _show_closing(opened.closing)
    who = current_user()
    if opened.state in ("draft", "sent back") and may_do(who, "submit"):
        _submit(opened)
    elif opened.state == "reviewed" and may_do(who, "close"):
        _close(opened)
    if opened.state in ("reviewed", "closed") and may_do(who, "take back"):
        _take_back(opened)


def _show_closing(closing: Closing) -> None:
    with st.container(border=True):
        st.markdown(f"**The rope {as_typed(closing.words)}**")
        st.markdown(f"Decided by {as_typed(closing.competent_person)}, competent person.")
        if closing.remarks:
            st.markdown(as_typed(closing.remarks))


def _submit(opened: OpenInspection) -> None:
    identity = opened.inspection.identity
    with st.form(f"submit {identity}"):
        remark = st.text_input(
            "Note to the reviewer",
            key=f"remark {identity}",
            placeholder="optional",
            help="Recorded with the submission.",
        )
        if st.form_submit_button("Submit for review", type="primary"):
            with show_errors():
                require_action(current_user(), "submit")
                get_record().submit(
                    identity,
                    by=entering(identity),
                    why=" ".join(remark.split()),
                    revision=opened.revision,
                )
                flash_success("The inspection was submitted and is waiting for a reviewer.")
                st.rerun()


def _close(opened: OpenInspection) -> None:
    identity = opened.inspection.identity
    st.header("Decision of the competent person")
    st.caption(CLEARS_NOTHING)
    with st.form(f"close {identity}"):
        decision = st.radio(
            "The rope",
            DECISIONS,
            index=None,
            key=f"decision {identity}",
            help="The competent person's decision; this program makes none.",
        )
        left, middle, right = st.columns(3)
        until = left.date_input(
            "Last day of service",
            None,
            key=f"until {identity}",
            help="Only if the rope stays in service until a given date.",
        )
        due = middle.date_input(
            "Next inspection due",
            opened.inspection.next_due,
            key=f"due {identity}",
            help="Shown in the rope register.",
        )
        person = right.text_input(
            "Competent person",
            current_user().name,
            key=f"competent {identity}",
            help="The person who makes this decision.",
        )
        remarks = st.text_area(
            "Remarks",
            key=f"closing remarks {identity}",
            help="Conditions, work to be done, points to watch.",
        )
        if st.form_submit_button("Close the inspection", type="primary"):
            with show_errors():
                require_action(current_user(), "close")
                if decision is None:
                    raise ValueError("no decision was selected: choose what happens to the rope.")
                closing = Closing(decision, person.strip(), _day(until), _day(due), remarks.strip())
                get_record().close_inspection(
                    identity, closing, by=entering(identity), revision=opened.revision
                )
                flash_success("The inspection is closed and can no longer be changed.")
                st.rerun()


def _day(value: object) -> date | None:
    return value if isinstance(value, date) else None


def _take_back(opened: OpenInspection) -> None:
    identity = opened.inspection.identity
    with (
        st.expander("Withdraw the decision", icon=":material/undo:"),
        st.form(f"take back {identity}", border=False),
    ):
        why = st.text_input(
            "Reason",
            key=f"take back why {identity}",
            help="Recorded with your name. The inspection becomes a draft again.",
        )
        if st.form_submit_button("Make it a draft again"):
            with show_errors():
                require_action(current_user(), "take back")
                get_record().review(
                    identity,
                    "open",
                    by=entering(identity),
                    why=" ".join(why.split()),
                    revision=opened.revision,
                )
                flash_success("The inspection is a draft again.")
                st.rerun()
