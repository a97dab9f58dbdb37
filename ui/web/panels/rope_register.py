"""The rope register: search, sort, and rows that open the rope's latest inspection."""

from __future__ import annotations

import streamlit as st

from inspection.model.log import counted
from inspection.record.overview.examinations import RegisteredRope, register
from ui.presenters.register_rows import ORDERS, RegisterRow, find_ropes, in_order, register_row
from ui.web.components.row_list import ListColumn, open_row
from ui.web.page.address import link_query
from ui.web.page.clock import today
from ui.web.page.login import can_open, current_user
from ui.web.page.session import get_record, record_location, select_inspection, visible

COLUMNS = (
    ListColumn("Rope"),
    ListColumn("Nominal", figures=True),
    ListColumn("Worst station"),
    ListColumn("Decrease", figures=True),
    ListColumn("Severity"),
    ListColumn("Trend"),
    ListColumn("Last inspected"),
    ListColumn("Next due"),
    ListColumn("To check", figures=True),
)
NO_BREAK = "\N{NO-BREAK SPACE}"  # a figure stays on one line with its U and unit
SHOWN = 100  # rows sent to the browser; the search finds the others


@st.cache_resource(max_entries=16, show_spinner=False)
def _register(place: str, last_event: int, person: str | None) -> list[RegisteredRope]:
    del place, last_event  # cache key: read again after any event
    among = None if person is None else visible()
    return register(get_record(), among=among)


def show_register() -> None:
    """Draw the register of the ropes that the user is allowed to see."""
    who = current_user()
    ropes = _register(
        record_location(), get_record().last_event(), None if who.sees_all else who.name
    )
    if not ropes:
        st.info(
            "Nothing has been entered yet. "
            + (
                "Drop a photograph above, enter a rope, or load the sample."
                if can_open("rope")
                else "An inspector has to start the first inspection."
            ),
            icon=":material/hourglass_empty:",
        )
        return
    st.header("Ropes")
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    words = left.text_input(
        "Find a rope",
        placeholder="name, site or inspection",
        key="register search",
        help="Finds ropes whose name, site or latest inspection contains all of these words.",
    )
    order = right.selectbox(
        "Sort by",
        ORDERS,
        key="register order",
        help="Urgency: discard first, then entries to check, overdue, not examined yet.",
    )
    found = in_order(find_ropes(ropes, words), order, today())
    if not found:
        st.info("No rope matches the search.")
        return
    rows = {one.identity: register_row(one, today()) for one in found[:SHOWN]}
    more = f" {len(found) - SHOWN} more: use the search." if len(found) > SHOWN else ""
    of = f"{len(found)} of " if words else ""
    st.caption(f"{of}{counted(len(ropes), 'rope', 'ropes')}.{more}")
    opened = open_row(
        "Ropes with their latest figures",
        COLUMNS,
        [(name, _cells(row)) for name, row in rows.items()],
        key="register rows",
    )
    if opened in rows:
        _open(rows[opened])


def _open(row: RegisterRow) -> None:
    if row.inspection:
        select_inspection(row.inspection)
        screen = "sheet" if can_open("sheet") else "result"
        st.switch_page(f"screens/{screen}.py", query_params=link_query(row.inspection))
    elif can_open("rope"):
        st.session_state["wanted rope"] = row.rope
        st.switch_page("screens/rope.py")


def _cells(row: RegisterRow) -> list[str]:
    due = "" if row.next_due is None else row.next_due.isoformat()
    station = "" if row.station is None else f"{row.station}: "
    return [
        row.rope,
        row.nominal,
        station + (row.diameter.replace(" ", NO_BREAK, 3) if "±" in row.diameter else row.diameter),
        "" if row.decrease_pct is None else f"{row.decrease_pct:.1f} %",
        row.severity,
        row.trend,
        "" if row.on is None else f"{row.on.isoformat()} {row.state}",
        f"{due} overdue" if row.overdue else due,
        str(row.open_findings) if row.open_findings else "",
    ]
