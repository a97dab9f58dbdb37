"""Rope: choose or enter the rope and start an inspection of it; every other step follows."""

from __future__ import annotations

from datetime import date
from typing import get_args

import streamlit as st

from inspection.model.rope import Inspection, Rope, Tension
from inspection.record.limits import limit_confirmations
from ui.presenters.limit_rows import rope_limits
from ui.presenters.rope_form import not_stated, rope_facts, rope_of
from ui.services.own_limits import own_rules
from ui.text import STATE_MARKS, as_typed
from ui.web.components.facts import show_facts
from ui.web.page.layout import flash_success, page_header, show_errors
from ui.web.page.login import current_user
from ui.web.page.navigation import next_step_link
from ui.web.page.rescreen import rescreen
from ui.web.page.session import get_record, select_inspection, user_name
from ui.web.panels.rope_form import rope_inputs

NEW = "a new rope"


def _new_rope() -> None:
    with st.form("rope"):
        typed = rope_inputs(None, "new rope")
        if st.form_submit_button("Save rope", type="primary"):
            with show_errors():
                rope = rope_of(typed)
                get_record().add_rope(rope, by=user_name())
                st.session_state["wanted rope"] = rope.identity
                flash_success(f"Rope {rope.identity} was saved. Next, start its inspection.")
                st.rerun()


def _change_rope(rope: Rope) -> None:
    with st.expander("Edit this rope", icon=":material/edit:"):
        st.caption(
            "The earlier entries stay in the record. Every inspection of this rope is assessed "
            "again."
        )
        with st.form(f"change {rope.identity}", border=False):
            typed = rope_inputs(rope, f"change {rope.identity}")
            why = st.text_input(
                "Reason",
                key=f"why {rope.identity}",
                placeholder="reference taken from the certificate",
                help="Recorded with the change.",
            )
            if st.form_submit_button("Save change"):
                with show_errors():
                    new = rope_of(typed)
                    if new == rope:
                        raise ValueError("nothing was changed: the record already says this.")
                    get_record().change_rope(new, by=user_name(), why=why)
                    for summary in get_record().ranked(rope=rope.identity):
                        rescreen(summary.identity)
                    flash_success(f"The entries for {rope.identity} were changed.")
                    st.rerun()


def _inspection_form(rope: Rope) -> None:
    # every field has a key, so that its value survives while the record is unavailable
    with st.form("inspection"):
        left, right = st.columns(2)
        on = left.date_input(
            "Inspection date",
            date.today(),
            key="new inspection on",
            help="Date on which the rope is measured.",
        )
        identity = right.text_input(
            "Inspection name",
            placeholder="if left blank: date and rope",
            help="Unique in this record.",
            key="new inspection name",
        )
        left, right = st.columns(2)
        place = left.text_input(
            "Place",
            placeholder="quay 4, boom lowered",
            key="new inspection place",
            help="Where the rope was measured.",
        )
        tension = right.selectbox(
            "Tension while measuring",
            get_args(Tension),
            key="new inspection tension",
            help="A rope under load is thinner; each limit states the tension it applies to.",
        )
        left, right = st.columns(2)
        inspector = left.text_input(
            "Inspector",
            current_user().name,
            help="Who takes the readings.",
            key=f"new inspection inspector {current_user().name}",
        )
        reviewer = right.text_input(
            "Reviewer",
            placeholder="not the inspector",
            key="new inspection reviewer",
            help="Who checks the readings: never the inspector.",
        )
        if st.form_submit_button("Start this inspection", type="primary"):
            with show_errors():
                inspection = Inspection(
                    " ".join(identity.split()) or f"{on:%Y-%m-%d} {rope.identity}",
                    rope.identity,
                    on,
                    place.strip(),
                    inspector.strip(),
                    reviewer.strip(),
                    tension=tension,
                )
                get_record().add_inspection(inspection, by=user_name())
                select_inspection(inspection.identity)
                flash_success(
                    "The inspection was started. Next, print its cards or add photographs."
                )
                st.rerun()


def _show_rope(rope: Rope) -> None:
    st.markdown(f"**{as_typed(rope.identity)}**")
    limits = rope_limits(rope, own_rules(get_record()), limit_confirmations(get_record()))
    show_facts([*rope_facts(rope), ("Checked against", limits)])
    unstated = not_stated(rope)
    if unstated:
        st.caption(
            f"Not stated: {', '.join(unstated)}. Which limits apply depends on this: edit the rope."
        )


opened = page_header("1 Rope", needs_inspection=False)
with show_errors():
    ropes = get_record().ropes()
    if opened is not None:
        with st.container(border=True):
            st.caption("Current inspection")
            _show_rope(opened.rope)
            st.markdown(
                f"{as_typed(opened.inspection.identity)} · {opened.inspection.on:%Y-%m-%d} · "
                f"{STATE_MARKS[opened.state]}"
            )
            next_step_link("cards", "cards")
    st.header("Start an inspection")
    names = [*(rope.identity for rope in ropes), NEW]
    wanted = st.session_state.pop("wanted rope", None)
    if wanted in names:
        st.session_state["rope chosen"] = wanted
    name = (
        st.selectbox("Rope", names, key="rope chosen", help=f"A rope in this record, or '{NEW}'.")
        if ropes
        else NEW
    )
    if name == NEW:
        if not ropes:
            st.info(
                "First enter the rope's name and nominal diameter. The rest can be added later.",
                icon=":material/cable:",
            )
        _new_rope()
    else:
        rope_chosen = next(rope for rope in ropes if rope.identity == name)
        if opened is None or rope_chosen != opened.rope:  # otherwise it is already shown above
            _show_rope(rope_chosen)
        _inspection_form(rope_chosen)
        _change_rope(rope_chosen)
