"""Parts common to all screens: header, current inspection, error messages, cautions."""

from __future__ import annotations

import logging
import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

import streamlit as st
from streamlit.errors import StreamlitAPIException

from inspection.record.errors import RecordError
from inspection.record.views import OpenInspection
from ui.environment import TEAM_FILE
from ui.text import CAUTIONS, STATE_MARKS, as_typed, capitalised
from ui.web.page.login import can_open, current_user, log_out_button, save_own_name
from ui.web.page.navigation import apply_theme
from ui.web.page.rescreen import retry_pending
from ui.web.page.session import load_inspection, select_inspection, selected_inspection, summaries
from ui.web.page.units import set_units
from ui.web.page.waiting import show_waiting

FAULT = (
    "This part of the page could not be shown because of a program error. The record is safe; "
    "the server's log has the details."
)
PHOTOGRAPH = re.compile(r"photograph [0-9a-f]{12}\.\.\.", re.IGNORECASE)
PRESERVED = "preserved widgets"
SHOWN_ERRORS = "shown errors"  # of this run; no message is shown twice
FLASH = "flash message"
MOST_LISTED = 30  # inspections in the sidebar: listing thousands would slow down every page


@contextmanager
def show_errors() -> Iterator[None]:
    """Show an error as one sentence and let the rest of the page be drawn."""
    try:
        yield
    except Exception as wrong:
        words = error_sentence(wrong)
        gist = PHOTOGRAPH.sub("photograph ...", words)  # one message covers all missing ones
        if gist not in st.session_state.setdefault(SHOWN_ERRORS, set()):
            st.session_state[SHOWN_ERRORS].add(gist)
            st.error(as_typed(words), icon=":material/error:")


@contextmanager
def defer_errors() -> Iterator[None]:
    """Run a button's callback; an error in it is shown at the next run of the script."""
    try:
        yield
    except Exception as wrong:
        flash_error(error_sentence(wrong))


def error_sentence(wrong: Exception) -> str:
    """Return an error's message for the user; a program error leaves its traceback in the log."""
    if isinstance(wrong, ValueError):
        return capitalised(str(wrong))
    logging.getLogger(__name__).error("a screen failed", exc_info=wrong)
    return FAULT


def begin_run() -> None:
    """Begin a run of the script: clear the messages and restore preserved widget values.

    The values are set in every run until the widgets are drawn: a browser shows only what the
    current run sets.
    """
    reset_messages()
    for key in st.session_state.get(PRESERVED, ()):
        if key in st.session_state:
            st.session_state[key] = st.session_state[key]


def preserve_widgets() -> None:
    """Preserve the values of widgets that this run did not reach because of an error.

    Streamlit forgets a widget that is not drawn, but what the user typed must survive a moment in
    which the record is unavailable. Called last: a widget can't be set once it has been drawn.
    """
    preserved: set[str] = st.session_state.setdefault(PRESERVED, set())
    unreached = list(st.session_state) if st.session_state.get(SHOWN_ERRORS) else list(preserved)
    for key in unreached:
        value = st.session_state.get(key)
        if isinstance(value, str | int | float | date) and not isinstance(value, bool):
            try:
                st.session_state[key] = value
                preserved.add(str(key))
            except StreamlitAPIException:  # it has been drawn
                preserved.discard(str(key))


def reset_messages() -> None:
    """Forget which errors were shown, at the start of each run and each fragment."""
    st.session_state[SHOWN_ERRORS] = set()


def show_cautions() -> None:
    """Show the cautions on the screens used at the rope; reports carry all of them."""
    for caution in CAUTIONS:
        st.caption(f":material/warning: {caution}")


def flash_success(words: str) -> None:
    """Show a success message at the next run of the script."""
    st.session_state[FLASH] = _Flash(words)


def flash_error(words: str) -> None:
    """Show an error message at the next run of the script."""
    st.session_state[FLASH] = _Flash(capitalised(words), wrong=True)


FLASH_S = 3.0  # runs that cut another one short come within this time


@dataclass(slots=True)
class _Flash:
    """A message for the next run of the script, and for the runs that cut that one short.

    Parameters
    ----------
    words : str
        The message.
    wrong : bool
        Whether it is an error.
    screen : str
        The screen that showed it first; empty until then.
    since_s : float
        When it was first shown, on the monotonic clock.
    """

    words: str
    wrong: bool = False
    screen: str = ""
    since_s: float = 0.0


def _show_flash(screen: str) -> None:
    """Show the message waiting for this screen."""
    flash: _Flash | None = st.session_state.get(FLASH)
    if flash is None:
        return
    now = time.monotonic()
    if not flash.screen:
        flash.screen, flash.since_s = screen, now
    if flash.screen != screen or now - flash.since_s > FLASH_S:
        del st.session_state[FLASH]
    elif flash.wrong:
        st.session_state[SHOWN_ERRORS].add(flash.words)
        st.error(as_typed(flash.words), icon=":material/error:")
    else:
        st.success(as_typed(flash.words), icon=":material/check:")


def page_header(title: str, *, needs_inspection: bool = True) -> OpenInspection | None:
    """Draw the header of a screen; return the selected inspection, or None."""
    apply_theme()
    st.title(title, anchor=False)
    _show_flash(title)
    _show_user()
    unread = False
    with show_errors():
        try:
            return _header_inspection(title, needs_inspection=needs_inspection)
        except RecordError:
            unread = True
            raise
    if unread:
        st.button("Try again", icon=":material/refresh:", key="read the record again")
    return None


def _header_inspection(title: str, *, needs_inspection: bool) -> OpenInspection | None:
    identity = _choose_inspection()
    if identity is not None:
        retry_pending(identity)
        opened = load_inspection(identity)
        show_waiting(identity, opened.revision)
        set_units(opened.rope.units if needs_inspection else "mm")
        if needs_inspection:
            _show_inspection(opened)
            if title not in ("Review", "4 Result"):  # these list it themselves
                _show_sent_back(opened)
        return opened
    if needs_inspection and not can_open("rope"):
        st.info(
            "There is no inspection yet. An inspector has to start one.",
            icon=":material/hourglass_empty:",
        )
    elif needs_inspection:
        st.info(
            "There is no inspection yet. Enter a rope and start its inspection, or load the sample "
            "inspection.",
            icon=":material/arrow_back:",
        )
        st.page_link("screens/start.py", label="Load the sample", icon=":material/home:")
        st.page_link("screens/rope.py", label="Enter a rope", icon=":material/cable:")
    return None


def _show_user() -> None:
    if os.environ.get(TEAM_FILE):
        with st.sidebar, st.container(border=True):
            who = current_user()
            st.markdown(f":material/person: **{as_typed(who.name)}**")
            st.caption(", ".join(sorted(who.roles)))
            log_out_button()
        return
    with st.sidebar:
        name = st.text_input(
            "Your name",
            value=current_user().name,
            placeholder="needed to save anything",
            help="Recorded with everything you enter. Nobody can review readings that they took "
            "themselves.",
        )
        if name != current_user().name:
            with show_errors():
                save_own_name(name)


def _choose_inspection() -> str | None:
    chosen = selected_inspection()
    if chosen is None:
        return None
    urgent = [one.identity for one in summaries()[:MOST_LISTED]]
    names = urgent if chosen in urgent else [chosen, *urgent]
    with st.sidebar:
        taken = st.selectbox(
            "Inspection",
            names,
            index=names.index(chosen),
            help="The inspection shown on all screens. The most urgent ones are listed here; find "
            "the others under Start.",
        )
    if taken != chosen:
        select_inspection(taken)
        st.rerun()
    return chosen


def _show_inspection(opened: OpenInspection) -> None:
    inspection = opened.inspection
    place = f" · {as_typed(inspection.place)}" if inspection.place else ""
    with st.container(key="shown-inspection"):
        st.markdown(
            f"**{as_typed(opened.rope.identity)}** · {inspection.on:%Y-%m-%d}{place} · "
            f"{STATE_MARKS[opened.state]}"
        )


def _show_sent_back(opened: OpenInspection) -> None:
    """Show which stations are waiting for the inspector, and what is requested."""
    for review in opened.station_reviews:
        if review.stands and review.back:
            st.warning(
                f"**Station {review.station} was sent back** by {as_typed(review.who)}: "
                f"{as_typed(review.why)}  \nIt returns to the reviewer after a new reading, a new "
                "photograph or a correction.",
                icon=":material/undo:",
            )
