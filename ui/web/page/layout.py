"""What all screens share: who is here, which inspection, errors as a sentence, the cautions."""

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
from ui.services.roles import TEAM
from ui.text import CAUTIONS, STATE_MARKS, as_typed
from ui.web.page.login import become, log_out_button, opens, the_person
from ui.web.page.navigation import look_alike
from ui.web.page.rescreen import make_up_for_it
from ui.web.page.session import at_hand, opened, person, summaries, take_up

FAULT = (
    "This part of the page could not be shown: the program has a fault here. What is in the "
    "record is safe; the server's log says more."
)
PHOTOGRAPH = re.compile(r"photograph [0-9a-f]{12}\.\.\.", re.IGNORECASE)
HELD = "fields that were not drawn"
SAID = "said in this drawing"  # what went wrong; no sentence need stand there twice


@contextmanager
def plainly() -> Iterator[None]:
    """Show what went wrong as one sentence, and let the rest of the page stand."""
    try:
        yield
    except Exception as wrong:
        words = what_went_wrong(wrong)
        gist = PHOTOGRAPH.sub("photograph ...", words)  # one that is gone stands for all
        if gist not in st.session_state.setdefault(SAID, set()):
            st.session_state[SAID].add(gist)
            st.error(as_typed(words), icon=":material/error:")


@contextmanager
def plainly_later() -> Iterator[None]:
    """Do what a button asks for before the page is drawn, and say there what went wrong."""
    try:
        yield
    except Exception as wrong:
        tell_wrong(what_went_wrong(wrong))


def what_went_wrong(wrong: Exception) -> str:
    """Return the sentence for a person; a fault of the program leaves its trace in the log."""
    if isinstance(wrong, ValueError):
        said = str(wrong)
        return said[:1].upper() + said[1:]
    logging.getLogger(__name__).error("a screen failed", exc_info=wrong)
    return FAULT


def begin_drawing() -> None:
    """Begin a drawing in which nothing has been said; fields that were held get their words back.

    They are set anew until they are drawn: a browser shows what is set in its drawing only.
    """
    say_anew()
    for key in st.session_state.get(HELD, ()):
        if key in st.session_state:
            st.session_state[key] = st.session_state[key]


def hold_typed() -> None:
    """Keep what stands in fields that a drawing did not reach because something went wrong.

    Streamlit forgets a field that is not drawn; a record that does not answer for a moment must
    not cost what somebody typed. Called last: a field must not be set while others are drawn.
    """
    held: set[str] = st.session_state.setdefault(HELD, set())
    unreached = list(st.session_state) if st.session_state.get(SAID) else list(held)
    for key in unreached:
        value = st.session_state.get(key)
        if isinstance(value, str | int | float | date) and not isinstance(value, bool):
            try:
                st.session_state[key] = value
                held.add(str(key))
            except StreamlitAPIException:  # it was drawn
                held.discard(str(key))


def say_anew() -> None:
    """Begin a drawing in which nothing has been said yet."""
    st.session_state[SAID] = set()


def say_cautions() -> None:
    """Show the cautions; every screen with a figure ends with them."""
    with st.container(border=True):
        for caution in CAUTIONS:
            st.caption(f":material/warning: {caution}")


def tell_later(words: str) -> None:
    """Say something after the page has been drawn anew."""
    st.session_state["told"] = _Told(words)


def tell_wrong(words: str) -> None:
    """Say what went wrong after the page has been drawn anew."""
    st.session_state["told"] = _Told(words[:1].upper() + words[1:], wrong=True)


SAID_S = 3.0  # a drawing that is cut short by the next one is over sooner


@dataclass(slots=True)
class _Told:
    """Words for the next drawing, and for the drawings that cut that one short.

    Parameters
    ----------
    words : str
        What is said.
    wrong : bool
        Whether something went wrong.
    screen : str
        Where it was said first; empty until then.
    since_s : float
        When that was, on the process's clock.
    """

    words: str
    wrong: bool = False
    screen: str = ""
    since_s: float = 0.0


def _say_told(screen: str) -> None:
    """Show what is to be said on this screen now."""
    told: _Told | None = st.session_state.get("told")
    if told is None:
        return
    now = time.monotonic()
    if not told.screen:
        told.screen, told.since_s = screen, now
    if told.screen != screen or now - told.since_s > SAID_S:
        del st.session_state["told"]
    elif told.wrong:
        st.session_state[SAID].add(told.words)
        st.error(as_typed(told.words), icon=":material/error:")
    else:
        st.success(as_typed(told.words), icon=":material/check:")


def begin(title: str, *, needs_inspection: bool = True) -> OpenInspection | None:
    """Draw what every screen begins with; return the inspection at hand, None without one."""
    look_alike()
    st.header(title)
    _say_told(title)
    _who()
    unread = False
    with plainly():
        try:
            return _begun(title, needs_inspection=needs_inspection)
        except RecordError:
            unread = True
            raise
    if unread:
        st.button("Try again", icon=":material/refresh:", key="read the record again")
    return None


def _begun(title: str, *, needs_inspection: bool) -> OpenInspection | None:
    identity = _which()
    if identity is not None:
        make_up_for_it(identity)
        there = opened(identity)
        if needs_inspection:
            _where(there)
            if title != "Review":
                _sent_back(there)
        return there
    if needs_inspection and not opens("rope"):
        st.info("There is no inspection yet; an inspector begins one.",
                icon=":material/hourglass_empty:")  # fmt: skip
    elif needs_inspection:
        st.info(
            "There is no inspection yet. Enter the rope and its inspection first, or load "
            "the sample inspection.",
            icon=":material/arrow_back:",
        )
        st.page_link("screens/start.py", label="Load the sample", icon=":material/home:")
        st.page_link("screens/rope.py", label="Enter a rope", icon=":material/cable:")
    return None


def _who() -> None:
    if os.environ.get(TEAM):
        with st.sidebar, st.container(border=True):
            who = the_person()
            st.markdown(f":material/person: **{as_typed(who.name)}**")
            st.caption(", ".join(sorted(who.roles)))
            log_out_button()
        return
    with st.sidebar:
        name = st.text_input(
            "You are",
            value=person(),
            help="Your name as it shall stand beside everything that you enter. Nobody can "
            "review readings that they took themselves.",
        )
        if name != person():
            with plainly():
                become(name)


def _which() -> str | None:
    known = summaries()
    chosen = at_hand()
    if chosen is None:
        return None
    names = [one.identity for one in known]
    with st.sidebar:
        taken = st.selectbox(
            "Inspection",
            names,
            index=names.index(chosen),
            help="All screens are about this inspection. Those that most deserve a look come "
            "first.",
        )
    if taken != chosen:
        take_up(taken)
        st.rerun()
    return chosen


def _where(there: OpenInspection) -> None:
    inspection = there.inspection
    place = f" · {as_typed(inspection.place)}" if inspection.place else ""
    st.markdown(
        f"**{as_typed(there.rope.identity)}** · {inspection.on:%Y-%m-%d}{place} · "
        f"{STATE_MARKS[there.state]}"
    )


def _sent_back(there: OpenInspection) -> None:
    """Show which stations wait for the inspector, and what is asked for."""
    for one in there.station_reviews:
        if one.stands and one.back:
            st.warning(
                f"**Station {one.station} was sent back** by {as_typed(one.who)}: "
                f"{as_typed(one.why)}  \nA new reading or photograph there, or a correction, "
                "brings it before a reviewer again.",
                icon=":material/undo:",
            )
