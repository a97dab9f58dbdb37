"""Rope: which rope, and which inspection of it; all other steps follow from here."""

from __future__ import annotations

from datetime import date
from typing import get_args

import streamlit as st

from inspection.lengths import parse_length
from inspection.rope import Build, Core, Duty, Inspection, Rope, Service, Tension
from ui.page_parts import STATE_MARKS, as_typed, begin, plainly, tell_later
from ui.session import person, take_up, the_record

NEW = "a new rope"


def _length(text: str, what: str) -> float:
    try:
        return parse_length(text)
    except ValueError as wrong:
        raise ValueError(f"{what}: {wrong}") from wrong


def _rope_form() -> None:
    with st.form("rope"):
        identity = st.text_input(
            "Rope", placeholder="quay crane 2, hoist rope, left",
            help="What the site calls it; unique in this record.",
        )  # fmt: skip
        left, right = st.columns(2)
        nominal = left.text_input(
            "Nominal diameter", placeholder='22 mm or 7/8"',
            help="As the certificate says. Millimetres, or inches with their sign.",
        )  # fmt: skip
        strands = right.number_input(
            "Outer strands", 3, 24, 6, help="Strands in the outer layer: their crowns bear on "
            "the gauge's jaws.",
        )  # fmt: skip
        core = left.selectbox("Core", get_args(Core), index=1, help="Fibre or steel.")
        build = right.selectbox(
            "Build", get_args(Build), help="As the discard tables divide ropes: single-layer, "
            "parallel-closed, or rotation-resistant.",
        )  # fmt: skip
        fibre = st.checkbox("The strands have fibre centres")
        duty = left.selectbox("Duty", get_args(Duty), help="Lift ropes have limits of their own.")
        service = right.selectbox(
            "State", get_args(Service), index=1,
            help="New ropes are held against the tolerance of new ropes, ropes in service "
            "against the discard limits.",
        )  # fmt: skip
        reference = left.text_input(
            "Reference diameter (may be left empty)", placeholder="22,44",
            help="Measured directly after running in, mean of two readings at right angles. "
            "Discard limits start from it; without it they can't be applied.",
        )  # fmt: skip
        taken = right.date_input("Reference taken on", None)
        site = st.text_input("Site", help="Where the rope works.")
        if st.form_submit_button("Keep this rope", type="primary"):
            with plainly():
                rope = Rope(
                    " ".join(identity.split()),
                    _length(nominal, "nominal diameter"),
                    int(strands),
                    core,
                    build,
                    fibre,
                    duty,
                    service,
                    _length(reference, "reference diameter") if reference.strip() else None,
                    taken,
                    site=site.strip(),
                )
                the_record().add_rope(rope, by=person())
                st.session_state["new rope"] = rope.identity
                tell_later(f"The rope {rope.identity} is in the record. Now its inspection.")
                st.rerun()


def _inspection_form(rope: Rope) -> None:
    with st.form("inspection"):
        on = st.date_input("Day of the inspection", date.today())
        identity = st.text_input(
            "Name of the inspection", placeholder="left empty: day and rope",
            help="Unique in this record.",
        )  # fmt: skip
        place = st.text_input("Place", help="Where the rope was measured.")
        tension = st.selectbox(
            "Tension while measuring", get_args(Tension),
            help="A rope under load is thinner; limits say for which tension they are meant.",
        )  # fmt: skip
        left, right = st.columns(2)
        inspector = left.text_input("Inspector", person(), help="Who takes the readings.")
        reviewer = right.text_input("Reviewer", help="Who checks them: somebody else.")
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
    reference = (
        "no reference diameter: discard limits that start from it can't be applied"
        if rope.reference_mm is None
        else f"reference {rope.reference_mm:g} mm"
    )
    st.markdown(
        f"**{as_typed(rope.identity)}** · nominal {rope.nominal_mm:g} mm · {reference} · "
        f"{rope.outer_strands} outer strands, {rope.core} core, {rope.build}, {rope.service}"
    )


there = begin("1 Rope", needs_inspection=False)
with plainly():
    ropes = the_record().ropes()
    if there is not None:
        with st.container(border=True):
            st.caption("Inspection at hand")
            _show_rope(there.rope)
            st.markdown(f"{there.inspection.on:%Y-%m-%d} · {STATE_MARKS[there.state]}")
            st.page_link("screens/cards.py", label="Go on: cards", icon=":material/arrow_forward:")
    st.subheader("Begin an inspection")
    names = [*(rope.identity for rope in ropes), NEW]
    wanted = st.session_state.pop("new rope", None)
    if wanted in names:
        st.session_state["rope"] = wanted
    name = st.selectbox("Of which rope", names, key="rope") if ropes else NEW
    if name == NEW:
        if not ropes:
            st.info("First: name the rope and its nominal diameter.", icon=":material/cable:")
        _rope_form()
    else:
        rope_chosen = next(rope for rope in ropes if rope.identity == name)
        _show_rope(rope_chosen)
        _inspection_form(rope_chosen)
