"""Limits: the published sets as this program holds them, who confirmed them, and one's own."""

from __future__ import annotations

from datetime import date

import streamlit as st

from inspection.limits.confirmed import confirmation_words, figures_of, standing_confirmation
from inspection.limits.standards import BANDS_SURE, ISO_4309_2017, RULE_SETS
from inspection.model.confirmation import Confirmation
from inspection.model.length_text import parse_length
from inspection.record.kept_limits import (
    confirm_limits,
    keep_own_limits,
    limit_confirmations,
)
from inspection.record.views import OpenInspection
from ui.lengths import in_units
from ui.presenters.limit_rows import (
    HEADS,
    OWN_HEADS,
    ROPE_HEADS,
    at_the_edge,
    band_heads,
    band_rows,
    limit_rows,
    own_rows,
    rope_limit_rows,
)
from ui.presenters.rope_form import not_stated
from ui.services.access.roles import may_do, require_action
from ui.services.own_limits import keep_rules, one_rule, own_rules, own_sets
from ui.text import as_typed
from ui.web.page.clock import today
from ui.web.page.layout import flash_success, page_header, show_errors
from ui.web.page.login import current_user
from ui.web.page.session import get_record, user_name
from ui.web.panels.station import table


def _published() -> None:
    known = limit_confirmations(get_record())
    open_ones = [name for name in RULE_SETS if standing_confirmation(name, known) is None]
    st.markdown(
        f"**{len(RULE_SETS) - len(open_ones)} of {len(RULE_SETS)} sets are confirmed.** Hold each "
        "against your own copy once; until then every report says that nobody has.",
        help="The figures were written down from public copies, and where there was none from "
        "memory.",
    )
    name = st.selectbox(
        "Set of limits",
        list(RULE_SETS),
        format_func=lambda one: one if one in open_ones else f"{one}, confirmed",
        key="limit set",
        help="Which sets a rope is held against follows from its country and use.",
    )
    rules = RULE_SETS[name]
    st.html(table(HEADS, limit_rows(rules), f"Figures of {name}"))
    st.caption(at_the_edge(rules))
    if rules == ISO_4309_2017:
        st.html(table(band_heads(), band_rows(), "Severity of uniform decrease"))
        st.caption(f"Bands {BANDS_SURE}.")
    for sure in dict.fromkeys(rule.sure for rule in rules):
        st.caption(f"{name}, {rules[0].edition}: {sure}.")
    st.markdown(as_typed(confirmation_words(name, known)))
    if may_do(current_user(), "limits"):
        _confirm(name, again=name in known)


def _confirm(name: str, *, again: bool) -> None:
    with st.form(f"confirm {name}"):
        copy = st.text_input(
            "Your own copy",
            key=f"copy {name}",
            placeholder="edition, language, where it is kept",
            help="Which document the figures were compared with.",
        )
        left, right = st.columns(2)
        person = left.text_input(
            "Compared by", user_name(), key=f"compared by {name}", help="Who compared every figure."
        )
        on = right.date_input("On", today(), key=f"compared on {name}", help="The day.")
        why = ""
        if again:
            why = st.text_input("Reason", key=f"confirm why {name}", help="Why once more.")
        all_of_it = st.checkbox(
            "Every figure above was compared, and is the same",
            key=f"compared {name}",
            help="A figure that differs is not confirmed: enter yours as limits of your own.",
        )
        if st.form_submit_button("Confirm these limits", type="primary"):
            with show_errors():
                require_action(current_user(), "limits")
                if not all_of_it:
                    raise ValueError("limits are confirmed only once every figure was compared.")
                if not isinstance(on, date):
                    raise ValueError("say on which day the figures were compared.")
                confirmation = Confirmation(
                    name, " ".join(copy.split()), person.strip(), on, figures_of(name)
                )
                confirm_limits(get_record(), confirmation, by=user_name(), why=why.strip())
                flash_success(f"{name} is confirmed; reports say so from now on.")
                st.rerun()


def _own() -> None:
    known = own_sets(get_record())
    if known:
        st.html(table(OWN_HEADS, own_rows(known), "Limits of your own"))
    else:
        st.caption("No limits of your own: ropes are held against the published ones only.")
    if not may_do(current_user(), "limits"):
        return
    with st.form("own limits"):
        name = st.text_input(
            "Name of the set",
            key="own name",
            placeholder="site rule 4",
            help="The same name again replaces the set; what it was stays in the record.",
        )
        ropes = st.multiselect(
            "Ropes",
            [rope.identity for rope in get_record().ropes()],
            placeholder="all ropes",
            key="own ropes",
            help="The ropes that it is for; all where none is chosen.",
        )
        left, right = st.columns(2)
        what = left.text_input(
            "What is limited",
            "least diameter",
            key="own what",
            help="In words, as they stand in the report.",
        )
        source = right.text_input(
            "Where it stands", key="own source", placeholder="site rule 4.2, 2026", help="Document."
        )
        left, right = st.columns(2)
        least = left.text_input(
            "Least mean diameter",
            key="own least",
            placeholder="38.5 mm",
            help="Discard below it. Either this or the largest decrease.",
        )
        decrease = right.number_input(
            "Largest decrease from nominal, %",
            0.0,
            50.0,
            None,
            key="own decrease",
            help="Discard beyond it.",
        )
        file = st.file_uploader(
            "Or a file of limits",
            ["json"],
            key="own file",
            help="A list in JSON, as ui/USING.md describes it; then the fields above don't count.",
        )
        why = st.text_input("Reason", key="own why", help="Asked where a set is replaced.")
        left, right = st.columns(2)
        kept = left.form_submit_button("Save limits", type="primary")
        dropped = right.form_submit_button("Give this set up")
        if kept or dropped:
            with show_errors():
                require_action(current_user(), "limits")
                called = " ".join(name.split())
                if not called:
                    raise ValueError("the set needs a name.")
                if dropped:
                    keep_own_limits(
                        get_record(), called, {"rules": []}, by=user_name(), why=why.strip()
                    )
                    flash_success(f"{called} is given up.")
                    st.rerun()
                text = (
                    one_rule(
                        called,
                        what.strip(),
                        source.strip(),
                        least_mm=parse_length(least) if least.strip() else None,
                        least_pct=decrease,
                        ropes=ropes,
                    )
                    if file is None
                    else file.getvalue().decode("utf-8-sig", errors="replace")
                )
                count = keep_rules(get_record(), called, text, by=user_name(), why=why.strip())
                flash_success(f"{called}: {count} limits are in the record.")
                st.rerun()


def _of_one_rope(opened: OpenInspection | None) -> None:
    """Show what one rope is held against, in figures."""
    ropes = {rope.identity: rope for rope in get_record().ropes()}
    if not ropes:
        st.info("No rope has been entered yet.", icon=":material/cable:")
        return
    names = list(ropes)
    first = names.index(opened.rope.identity) if opened and opened.rope.identity in ropes else 0
    name = st.selectbox(
        "Rope", names, index=first, key="limits of rope", help="Whose limits are shown."
    )
    rope = ropes[name]
    rows, reasons = rope_limit_rows(
        rope, own_rules(get_record()), limit_confirmations(get_record())
    )
    if rows:
        st.html(table(ROPE_HEADS, rows, "Limits that apply, the rope unloaded", units=rope.units))
    else:
        st.info("No limit applies to this rope as it is written down.", icon=":material/rule:")
    open_ones = not_stated(rope)
    if open_ones:
        st.caption(f"Not stated: {', '.join(open_ones)}. More or other limits may apply.")
    if reasons:
        with st.expander(f"Limits that do not apply, and why ({len(reasons)})"):
            for reason in reasons:
                st.markdown(as_typed(in_units(reason, rope.units)))


opened = page_header("Limits", needs_inspection=False)
with show_errors():
    names = ["One rope", "Published", "Our own"]
    one_rope, published, own = st.tabs(names, key="whose limits", on_change="rerun")
    with one_rope, show_errors():
        _of_one_rope(opened)
    with published, show_errors():
        _published()
    with own, show_errors():
        _own()
