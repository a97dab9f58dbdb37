"""Readings: typed as people type, checked while typing, kept as a draft until entered."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import get_args

import streamlit as st

from inspection.model.length_text import parse_length
from inspection.model.readings import Gauge, GaugeKind, Reading
from inspection.record.views import LoggedReading, OpenInspection
from ui.presenters.reading_form import (
    TypedRow,
    change_words,
    parse_drafts,
    parse_row,
    reading_lines,
)
from ui.text import WORD_MARKS, as_typed
from ui.web.page.layout import flash_success, page_header, show_cautions, show_errors
from ui.web.page.navigation import next_step_link
from ui.web.page.rescreen import rescreen
from ui.web.page.session import cached_assessment, get_record, user_name
from ui.web.panels.reading_table import Table, enter_readings, is_open, keep_draft, show_table
from ui.web.panels.station import table

NEW = "another gauge"


def _gauge(usual: str) -> str | None:
    known = [gauge.identity for gauge in get_record().gauges()]
    names = [*known, NEW]
    wanted = st.session_state.pop("new gauge", None)
    if wanted in names:
        st.session_state["gauge"] = wanted
    elif "gauge" not in st.session_state and usual in names:
        st.session_state["gauge"] = usual
    chosen = st.selectbox(
        "Gauge", names, key="gauge", help="Its number, as it stands on the instrument."
    )
    if chosen != NEW:
        return str(chosen)
    if not known:
        st.info(
            "First: enter the gauge that the readings are taken with. Its resolution and "
            "permissible error are part of every uncertainty.",
            icon=":material/straighten:",
        )
    with st.form("gauge form"):
        identity = st.text_input(
            "Gauge number",
            placeholder="caliper 7",
            key="new gauge number",
            help="As it stands on the instrument or its certificate.",
        )
        kind = st.selectbox(
            "Kind",
            get_args(GaugeKind),
            key="new gauge kind",
            help="Wide jaws bear on two crowns or more, as the rope standards "
            "ask; plain jaws may miss the crowns.",
        )
        left, right = st.columns(2)
        step = left.text_input(
            "Resolution",
            "0.01 mm",
            key="new gauge step",
            help="The step of its last digit, or its finest graduation.",
        )
        error = right.text_input(
            "Permissible error",
            "0.03 mm",
            key="new gauge error",
            help="As its maker or its calibration states.",
        )
        due = st.date_input(
            "Calibration due",
            None,
            key="new gauge due",
            help="A reading taken with a gauge that is overdue has to be checked.",
        )
        if st.form_submit_button("Save gauge", type="primary"):
            with show_errors():
                gauge = Gauge(
                    " ".join(identity.split()), kind, parse_length(step), parse_length(error), due
                )
                get_record().add_gauge(gauge, by=user_name())
                st.session_state["new gauge"] = gauge.identity
                st.rerun()
    return None


def _type(opened: OpenInspection) -> None:
    identity, by = opened.inspection.identity, user_name()
    found = get_record().draft(identity, by=by)
    drafts = parse_drafts(found.data) if found else ()
    found_key = f"draft found {identity} {by}"
    if found and drafts and not is_open(opened):
        st.session_state[found_key] = found.saved_at
    found_at = st.session_state.get(found_key)
    if found_at:  # said until it is entered: a page that finds its server again is drawn twice
        st.info(
            f"Your draft of {found_at[:16].replace('T', ' ')} UTC was found: nothing that you "
            "typed until then was lost. Check that your last line is there.",
            icon=":material/restore:",
        )
    gauge = _gauge(drafts[0].gauge if drafts else "")
    unit = "inch" if opened.rope.units == "inch" else "mm"
    st.caption(
        "One line a reading, as the gauge shows it; the direction is the one on the card. Lines "
        "without a reading are not entered, new ones go below the last."
    )
    typed = show_table(opened, drafts, unit)
    with show_errors():  # what is typed stands in the table all the same
        keep_draft(opened, typed, drafts, gauge)
    understood = [
        parse_row(
            row, opened, gauge=gauge or "", person=by, at=datetime.now().replace(microsecond=0)
        )
        for row in typed.rows
    ]
    for one in understood:
        if one.wrong:
            st.error(one.wrong, icon=":material/error:")
        if one.question:
            st.warning(one.question, icon=":material/help:")
    ready = [one.reading for one in understood if one.reading is not None]
    if ready:
        st.markdown(f":material/check: Understood: {as_typed('; '.join(reading_lines(ready)))}.")
    wrong = any(one.wrong for one in understood)
    st.caption(
        "What you type is kept as your draft, line by line, until you enter it: a lost connection "
        "or a closed browser costs nothing."
    )
    if st.button(
        f"Enter {_readings(len(ready)) if ready else 'readings'} into the record",
        type="primary",
        disabled=not ready or wrong or gauge is None,
    ):
        _enter(opened, typed, ready)


def _enter(opened: OpenInspection, typed: Table, ready: list[Reading]) -> None:
    with show_errors():
        enter_readings(opened, typed, ready)
        rescreen(opened.inspection.identity)
        st.session_state.pop(f"draft found {opened.inspection.identity} {user_name()}", None)
        flash_success(
            f"{_readings(len(ready))} {'is' if len(ready) == 1 else 'are'} in the record."
        )
        st.rerun()


def _readings(count: int) -> str:
    return f"{count} reading{'' if count == 1 else 's'}"


def _logged(opened: OpenInspection) -> None:
    if not opened.logged:
        return
    st.subheader("In the record")
    words = {
        (
            comparison.station or 0,
            comparison.view_deg,
            comparison.typed,
        ): f"{WORD_MARKS[comparison.word]} ({comparison.difference_mm:+z.2f})"
        for comparison in cached_assessment(opened).crosscheck.comparisons
    }
    rows = [
        [
            str(logged.number),
            f"{logged.reading.station}, {logged.reading.view_deg}°",
            logged.reading.typed,
            f"{logged.reading.value_mm:.2f}",
            "withdrawn" if logged.withdrawn else words.get(_place(logged.reading), "no photograph"),
            logged.reading.person,
        ]
        for logged in opened.logged
    ]
    heads = ["no.", "station", "typed", "mm", "photograph minus gauge", "read by"]
    st.html(table(heads, rows, "Readings"))
    with st.expander("Correct or withdraw a reading", icon=":material/edit:"):
        standing = [logged for logged in opened.logged if not logged.withdrawn]
        at = st.selectbox(
            "Which",
            range(len(standing)),
            format_func=lambda i: _name(standing[i]),
            help="Number, station and direction, and what was typed.",
        )
        if at is not None:
            _correct(opened, standing[at])


def _place(reading: Reading) -> tuple[int, int, str]:
    return reading.station, reading.view_deg, reading.typed


def _name(logged: LoggedReading) -> str:
    reading = logged.reading
    return f"{logged.number}: station {reading.station}, {reading.view_deg}°, {reading.typed}"


def _correct(opened: OpenInspection, logged: LoggedReading) -> None:
    typed = st.text_input(
        "Correct reading",
        logged.reading.typed,
        key=f"correct {logged.number} {logged.event}",
        help="As the gauge showed it.",
    )
    why = st.text_input(
        "Reason",
        key=f"why correct {logged.number}",
        placeholder="read again on the rope",
        help="Stands in the record beside the correction.",
    )
    st.caption("What was typed first stays in the record beside the correction.")
    with st.container(horizontal=True):
        correct = st.button("Correct it")
        withdraw = st.button("Withdraw it")
    if not (correct or withdraw):
        return
    with show_errors():
        identity = opened.inspection.identity
        if correct:
            reading = logged.reading
            row = TypedRow(str(reading.station), str(reading.view_deg), typed)
            new = parse_row(
                row,
                opened,
                gauge=reading.gauge,
                person=reading.person,
                at=reading.at or datetime.now(),
            )
            if new.reading is None:
                raise ValueError(new.wrong or "type what the gauge showed.")
            fixed = replace(logged.reading, typed=new.reading.typed, value_mm=new.reading.value_mm)
            get_record().correct_reading(
                identity, logged.number, fixed, by=user_name(), why=why, revision=opened.revision
            )
        else:
            get_record().withdraw_reading(
                identity, logged.number, by=user_name(), why=why, revision=opened.revision
            )
        rescreen(identity)
        flash_success(f"Reading {logged.number} was {'corrected' if correct else 'withdrawn'}.")
        st.rerun()


def _show_stale_change(identity: str) -> None:
    """Show the change that came too late until the person has seen to it."""
    late = get_record().draft(identity, by=user_name(), kind="unsaved")
    if late is None:
        return
    st.warning(
        as_typed(
            "A change of yours came too late because somebody else was faster: "
            f"{change_words(late.data)}. It is not in the record; make it again if it is still "
            "right, then forget it here."
        ),
        icon=":material/history:",
    )
    if st.button("Forget this change", help="What is in the record stays as it is."):
        get_record().drop_draft(identity, by=user_name(), kind="unsaved")
        st.rerun()


inspection = page_header("5 Readings")
if inspection is not None:
    with show_errors():
        _show_stale_change(inspection.inspection.identity)
        _type(inspection)
    with show_errors():
        _logged(inspection)
    next_step_link("result", "result")
    show_cautions()
