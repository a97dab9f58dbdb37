"""Rope: which rope, and which inspection of it; all other steps follow from here."""

from __future__ import annotations

from datetime import date
from typing import get_args

import streamlit as st

from inspection.model.rope import Inspection, Rope, Tension
from ui.presenters.rope_form import rope_in_words, rope_of
from ui.text import STATE_MARKS, as_typed
from ui.web.page.layout import begin, plainly, tell_later
from ui.web.page.navigation import go_on
from ui.web.page.rescreen import look_over_now
from ui.web.page.session import person, take_up, the_record
from ui.web.panels.rope_form import ask

NEW = "a new rope"


def _new_rope() -> None:
    with st.form("rope"):
        typed = ask(None, "new rope")
        if st.form_submit_button("Keep this rope", type="primary"):
            with plainly():
                rope = rope_of(typed)
                the_record().add_rope(rope, by=person())
                st.session_state["wanted rope"] = rope.identity
                tell_later(f"The rope {rope.identity} is in the record. Now its inspection.")
                st.rerun()


def _change_rope(rope: Rope) -> None:
    with st.expander("Change what is written about this rope", icon=":material/edit:"):
        st.caption(
            "What was written before stays in the record. Every inspection of this rope is judged "
            "anew."
        )
        with st.form(f"change {rope.identity}", border=False):
            typed = ask(rope, f"change {rope.identity}")
            why = st.text_input("Reason", key=f"why {rope.identity}",
                                placeholder="reference taken from the certificate",
                                help="Stands in the record beside the change.")  # fmt: skip
            if st.form_submit_button("Keep the change"):
                with plainly():
                    new = rope_of(typed)
                    if new == rope:
                        raise ValueError("nothing was changed: the record says the same already.")
                    the_record().change_rope(new, by=person(), why=why)
                    for one in the_record().ranked(rope=rope.identity):
                        look_over_now(one.identity)
                    tell_later(f"What is written about {rope.identity} was changed.")
                    st.rerun()


def _inspection_form(rope: Rope) -> None:
    # every field has a key: what stands in it is held where the record does not answer
    with st.form("inspection"):
        left, right = st.columns(2)
        on = left.date_input("Day of the inspection", date.today(), key="new inspection on",
                             help="The day on which the rope is measured.")  # fmt: skip
        identity = right.text_input(
            "Name of the inspection", placeholder="left empty: day and rope",
            help="Unique in this record.", key="new inspection name",
        )  # fmt: skip
        left, right = st.columns(2)
        place = left.text_input("Place", placeholder="quay 4, boom lowered",
                                key="new inspection place",
                                help="Where the rope was measured.")  # fmt: skip
        tension = right.selectbox(
            "Tension while measuring", get_args(Tension), key="new inspection tension",
            help="A rope under load is thinner; limits say for which tension they are meant.",
        )  # fmt: skip
        left, right = st.columns(2)
        inspector = left.text_input("Inspector", person(), help="Who takes the readings.",
                                    key=f"new inspection inspector {person()}")  # fmt: skip
        reviewer = right.text_input("Reviewer", placeholder="somebody else",
                                    key="new inspection reviewer",
                                    help="Who checks them: never the inspector.")  # fmt: skip
        if st.form_submit_button("Begin this inspection", type="primary"):
            with plainly():
                inspection = Inspection(
                    " ".join(identity.split()) or f"{on:%Y-%m-%d} {rope.identity}",
                    rope.identity,
                    on,
                    place.strip(),
                    inspector.strip(),
                    reviewer.strip(),
                    tension=tension,
                )
                the_record().add_inspection(inspection, by=person())
                take_up(inspection.identity)
                tell_later("The inspection has begun. Print its cards next, or go to photographs.")
                st.rerun()


def _show_rope(rope: Rope) -> None:
    st.markdown(f"**{as_typed(rope.identity)}**  \n{as_typed(' '.join(rope_in_words(rope)))}")


there = begin("1 Rope", needs_inspection=False)
with plainly():
    ropes = the_record().ropes()
    if there is not None:
        with st.container(border=True):
            st.caption("Inspection at hand")
            _show_rope(there.rope)
            st.markdown(
                f"{as_typed(there.inspection.identity)} · {there.inspection.on:%Y-%m-%d} · "
                f"{STATE_MARKS[there.state]}"
            )
            go_on("cards", "cards")
    st.subheader("Begin an inspection")
    names = [*(rope.identity for rope in ropes), NEW]
    wanted = st.session_state.pop("wanted rope", None)
    if wanted in names:
        st.session_state["rope chosen"] = wanted
    name = (
        st.selectbox("Of which rope", names, key="rope chosen",
                     help=f"A rope of this record, or '{NEW}'.")
        if ropes else NEW
    )  # fmt: skip
    if name == NEW:
        if not ropes:
            st.info(
                "First: name the rope and its nominal diameter. The rest may be filled in later.",
                icon=":material/cable:",
            )
        _new_rope()
    else:
        rope_chosen = next(rope for rope in ropes if rope.identity == name)
        if there is None or rope_chosen != there.rope:  # else it stands above already
            _show_rope(rope_chosen)
        _inspection_form(rope_chosen)
        _change_rope(rope_chosen)
