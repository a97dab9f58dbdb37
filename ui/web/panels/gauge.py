"""The gauge in use: selected once, and applied to every reading typed from then on."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from inspection.model.length_text import parse_length
from inspection.model.readings import Gauge, GaugeKind
from inspection.record.views import OpenInspection
from ui.web.page.layout import show_errors
from ui.web.page.login import current_user
from ui.web.page.session import get_record, user_name

NEW = "another gauge"
KEY = "gauge"


def chosen_gauge(opened: OpenInspection) -> str:
    """Return the selected gauge; at first the one last used in this inspection."""
    known = [gauge.identity for gauge in get_record().gauges()]
    wanted = st.session_state.pop("new gauge", None)
    if wanted in known:
        st.session_state[KEY] = wanted
    if st.session_state.get(KEY) not in (*known, NEW):
        st.session_state[KEY] = _usual(opened, known)
    chosen = str(st.session_state[KEY])
    return "" if chosen == NEW else chosen


def _usual(opened: OpenInspection, known: list[str]) -> str:
    own = [one.gauge for one in opened.readings if one.person == current_user().name]
    used = own or [one.gauge for one in opened.readings]
    last = used[-1] if used else ""
    return last if last in known else known[0] if len(known) == 1 else NEW


def choose_gauge(opened: OpenInspection) -> None:
    """Draw the list of gauges, and a form for another one."""
    known = [gauge.identity for gauge in get_record().gauges()]
    st.selectbox(
        "Gauge",
        [*known, NEW],
        key=KEY,
        persist_state="session",
        help="Its number as marked on the instrument. It applies to every reading typed from now "
        "on.",
    )
    if chosen_gauge(opened):
        return
    st.info(
        "Enter the gauge used for the readings. Its resolution and permissible error are part of "
        "every uncertainty. Readings typed before that are kept until it is entered.",
        icon=":material/straighten:",
    )
    _gauge_form()


def _gauge_form() -> None:
    with st.form("gauge form"):
        identity = st.text_input(
            "Gauge number",
            placeholder="caliper 7",
            key="new gauge number",
            help="As marked on the instrument or its certificate.",
        )
        kind = st.selectbox(
            "Kind",
            get_args(GaugeKind),
            key="new gauge kind",
            help="Wide jaws bear on two or more crowns, as rope standards require; plain jaws can "
            "miss the crowns.",
        )
        left, right = st.columns(2)
        step = left.text_input(
            "Resolution",
            "0.01 mm",
            key="new gauge step",
            help="Step of the last digit, or finest graduation.",
        )
        error = right.text_input(
            "Permissible error",
            "0.03 mm",
            key="new gauge error",
            help="As stated by its maker or its calibration certificate.",
        )
        due = st.date_input(
            "Calibration due",
            None,
            key="new gauge due",
            help="Readings taken after this date are flagged to be checked.",
        )
        if st.form_submit_button("Save gauge", type="primary"):
            with show_errors():
                gauge = Gauge(
                    " ".join(identity.split()), kind, parse_length(step), parse_length(error), due
                )
                get_record().add_gauge(gauge, by=user_name())
                st.session_state["new gauge"] = gauge.identity
                st.rerun()
