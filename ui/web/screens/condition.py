"""Condition and decision: criteria other than diameter, remarks, next due date, and closing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import streamlit as st

from inspection.record.views import OpenInspection
from ui.services.access.roles import may_do
from ui.web.page.address import address
from ui.web.page.layout import flash_success, page_header, show_errors
from ui.web.page.login import current_user
from ui.web.page.session import cached_assessment, entering, get_record
from ui.web.panels.conditions import enter_conditions, show_conditions, stations_of
from ui.web.panels.states import show_state


def _remarks(opened: OpenInspection) -> None:
    identity, was = opened.inspection.identity, opened.inspection
    with st.form(f"remarks {identity}"):
        left, right = st.columns([3, 1])
        remarks = left.text_area(
            "Remarks",
            was.remarks,
            key=f"remarks {identity}",
            help="What the report should say about this inspection, besides its figures.",
        )
        due = right.date_input(
            "Next inspection due",
            was.next_due,
            key=f"next due {identity}",
            help="Shown in the rope register; the competent person can set another date.",
        )
        if st.form_submit_button("Save remarks"):
            with show_errors():
                new = replace(
                    was,
                    remarks=remarks.strip(),
                    next_due=due if isinstance(due, date) else None,
                )
                if new == was:
                    raise ValueError("nothing was changed: the record already says this.")
                get_record().change_inspection(
                    new, by=entering(identity), why="remarks", revision=opened.revision
                )
                flash_success("The remarks were saved.")
                st.rerun()


opened = page_header("5 Condition and decision")
if opened is not None:
    with show_errors():
        changes = opened.state != "closed" and may_do(current_user(), "observe")
        stations = stations_of(opened)
        st.header("Criteria other than diameter")
        show_conditions(opened, cached_assessment(opened))
        if changes and stations:
            named = address().station
            station = st.selectbox(
                "Station",
                stations,
                index=stations.index(named) if named in stations else 0,
                key=f"condition station {opened.inspection.identity}",
                help="Where it was observed.",
            )
            enter_conditions(opened, station)
        st.header("Remarks and next inspection")
        if changes:
            _remarks(opened)
        else:
            due = opened.inspection.next_due
            st.text(opened.inspection.remarks or "No remarks.")
            st.text(f"Next due {due.isoformat()}" if due else "No due date set.")
        st.header("State")
        show_state(opened)
