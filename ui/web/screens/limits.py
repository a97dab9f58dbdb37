"""Limits: the published sets as entered in this program, who confirmed them, and your own."""

from __future__ import annotations

from datetime import date

import streamlit as st

from inspection.limits.confirmed import confirmation_words, figures_of, standing_confirmation
from inspection.limits.standards import BANDS_SURE, ISO_4309_2017, RULE_SETS
from inspection.model.confirmation import Confirmation
from inspection.model.length_text import parse_length
from inspection.record.limits import confirm_limits, keep_own_limits, limit_confirmations
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
    unconfirmed = [name for name in RULE_SETS if standing_confirmation(name, known) is None]
    st.markdown(
        f"**{len(RULE_SETS) - len(unconfirmed)} of {len(RULE_SETS)} sets are confirmed.** Compare "
        "each set with your own copy once. Until then every report says that nobody has confirmed "
        "it.",
        help="The figures were taken from public copies, or from memory where there was no public "
        "copy.",
    )
    name = st.selectbox(
        "Set of limits",
        list(RULE_SETS),
        format_func=lambda one: one if one in unconfirmed else f"{one}, confirmed",
        key="limit set",
        help="The sets that apply to a rope depend on its country and use.",
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
            help="The document with which the figures were compared.",
        )
        left, right = st.columns(2)
        person = left.text_input(
            "Compared by",
            current_user().name,
            key=f"compared by {name}",
            help="Who compared the figures.",
        )
        on = right.date_input(
            "On", today(), key=f"compared on {name}", help="Date of the comparison."
        )
        why = ""
        if again:
            why = st.text_input(
                "Reason", key=f"confirm why {name}", help="Reason for confirming again."
            )
        all_compared = st.checkbox(
            "I compared every figure above, and all of them are the same",
            key=f"compared {name}",
            help="If a figure differs, don't confirm the set: enter your figure as your own limit.",
        )
        if st.form_submit_button("Confirm these limits", type="primary"):
            with show_errors():
                require_action(current_user(), "limits")
                if not all_compared:
                    raise ValueError(
                        "limits can be confirmed only after every figure has been compared."
                    )
                if not isinstance(on, date):
                    raise ValueError("enter the date on which the figures were compared.")
                confirmation = Confirmation(
                    name, " ".join(copy.split()), person.strip(), on, figures_of(name)
                )
                confirm_limits(get_record(), confirmation, by=user_name(), why=why.strip())
                flash_success(f"{name} is confirmed. Reports say so from now on.")
                st.rerun()


def _own() -> None:
    known = own_sets(get_record())
    if known:
        st.html(table(OWN_HEADS, own_rows(known), "Your own limits"))
    else:
        st.caption("No limits of your own: ropes are checked against the published limits only.")
    if not may_do(current_user(), "limits"):
        return
    with st.form("own limits"):
        name = st.text_input(
            "Name of the set",
            key="own name",
            placeholder="site rule 4",
            help="Using an existing name replaces that set; the old set stays in the record.",
        )
        ropes = st.multiselect(
            "Ropes",
            [rope.identity for rope in get_record().ropes()],
            placeholder="all ropes",
            key="own ropes",
            help="Ropes to which the set applies; all of them if none is chosen.",
        )
        left, right = st.columns(2)
        what = left.text_input(
            "What is limited",
            "minimum diameter",
            key="own what",
            help="In words, as it should appear in the report.",
        )
        source = right.text_input(
            "Source",
            key="own source",
            placeholder="site rule 4.2, 2026",
            help="Document and clause that set this limit.",
        )
        left, right = st.columns(2)
        least = left.text_input(
            "Minimum mean diameter",
            key="own least",
            placeholder="38.5 mm",
            help="Discard below it. Enter either this or the maximum decrease.",
        )
        decrease = right.number_input(
            "Maximum decrease from nominal, %",
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
            help="A JSON list as described in ui/USING.md; it replaces the fields above.",
        )
        why = st.text_input("Reason", key="own why", help="Required to replace or withdraw a set.")
        left, right = st.columns(2)
        save = left.form_submit_button("Save limits", type="primary")
        withdraw = right.form_submit_button("Withdraw this set")
        if save or withdraw:
            with show_errors():
                require_action(current_user(), "limits")
                called = " ".join(name.split())
                if not called:
                    raise ValueError("the set needs a name.")
                if withdraw:
                    keep_own_limits(
                        get_record(), called, {"rules": []}, by=user_name(), why=why.strip()
                    )
                    flash_success(f"{called} was withdrawn.")
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
                flash_success(f"{called}: {count} limits were saved.")
                st.rerun()


def _of_one_rope(opened: OpenInspection | None) -> None:
    """Show the limits of one rope, in figures."""
    ropes = {rope.identity: rope for rope in get_record().ropes()}
    if not ropes:
        st.info("No rope has been entered yet.", icon=":material/cable:")
        return
    names = list(ropes)
    first = names.index(opened.rope.identity) if opened and opened.rope.identity in ropes else 0
    name = st.selectbox(
        "Rope", names, index=first, key="limits of rope", help="Rope whose limits are shown."
    )
    rope = ropes[name]
    rows, reasons = rope_limit_rows(
        rope, own_rules(get_record()), limit_confirmations(get_record())
    )
    if rows:
        st.html(table(ROPE_HEADS, rows, "Limits for the unloaded rope", units=rope.units))
    else:
        st.info("No limit applies to this rope as entered.", icon=":material/rule:")
    unstated = not_stated(rope)
    if unstated:
        st.caption(f"Not stated: {', '.join(unstated)}. Other or further limits may apply.")
    if reasons:
        with st.expander(f"Limits that do not apply, and why ({len(reasons)})"):
            for reason in reasons:
                st.markdown(as_typed(in_units(reason, rope.units)))


opened = page_header("Limits", needs_inspection=False)
with show_errors():
    names = ["One rope", "Published", "Your own"]
    one_rope, published, own = st.tabs(names, key="whose limits", on_change="rerun")
    with one_rope, show_errors():
        _of_one_rope(opened)
    with published, show_errors():
        _published()
    with own, show_errors():
        _own()
