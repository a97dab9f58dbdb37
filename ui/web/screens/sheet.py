"""The station sheet: photographs, gauge readings and how well they agree, in one place."""

from __future__ import annotations

import streamlit as st

from inspection.record.views import OpenInspection
from ui.web.page.address import address
from ui.web.page.layout import page_header, show_cautions, show_errors
from ui.web.page.login import current_user
from ui.web.page.navigation import next_step_link
from ui.web.page.session import NAMELESS
from ui.web.panels.gauge import choose_gauge
from ui.web.panels.on_a_phone import offer_phone
from ui.web.panels.photographs.one_photograph import show_place_large
from ui.web.panels.photographs.remeasure import (
    offer_calibration,
    offer_later_checks,
    offer_other_hold,
)
from ui.web.panels.photographs.unplaced import show_refused
from ui.web.panels.photographs.upload import upload_photographs
from ui.web.panels.sheet_fields import draw_sheet, show_late_change, show_switches
from ui.web.panels.table_import import import_table, table_is_given


def _sheet(opened: OpenInspection) -> None:
    offer_phone(opened)
    notes = st.container()  # messages appear and disappear here without moving the sheet
    with notes, show_errors():
        if not current_user().name:
            st.info(NAMELESS, icon=":material/person:")
        show_late_change(opened.inspection.identity)
    with show_errors():
        sheet = draw_sheet(opened)
        show_refused(opened, sheet)
    with st.container(key="photographs-in"), show_errors():
        if current_user().name:
            upload_photographs(opened)
        offer_later_checks(opened)
    with st.container(border=True, key="gauge-in"), show_errors():
        choose_gauge(opened)
        show_switches(opened)
    with show_errors():
        offer_calibration(opened)
        offer_other_hold(opened)
    with (
        st.expander(
            "Import a table",
            icon=":material/table_view:",
            expanded=table_is_given(),  # a table dropped on the sheet opens it
        ),
        st.container(key="table-in"),
        show_errors(),
    ):
        import_table(opened)


inspection = page_header("3 Stations")
if inspection is not None and address().station is not None and address().view_deg is not None:
    with show_errors():
        show_place_large(inspection)
elif inspection is not None:
    _sheet(inspection)
    next_step_link("result", "result")
    show_cautions()
