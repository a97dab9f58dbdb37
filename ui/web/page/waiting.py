"""Notice of photographs waiting to be measured, on every page; figures appear as they arrive."""

from __future__ import annotations

import streamlit as st

from inspection.model.log import counted
from inspection.record.errors import RecordError
from inspection.record.waiting import waiting_count
from ui.services.access import phone_tokens
from ui.text import as_typed
from ui.web.page.session import get_record, record_location

DRAWN = "revision that the page shows of"
LOOK_S = 1.0  # polling interval while photographs are waiting
PHONE_S = 3.0  # and while a phone has access


def show_waiting(identity: str, revision: int) -> None:
    """Show how many photographs of an inspection are waiting; rerun when a figure arrives.

    Parameters
    ----------
    identity : str
        The inspection that the page shows.
    revision : int
        As the page shows it.
    """
    st.session_state[f"{DRAWN} {identity}"] = revision
    waits = waiting_count(get_record(), identity).photographs > 0
    phones = phone_tokens.live(record_location(), identity) > 0
    every = LOOK_S if waits else PHONE_S if phones else None
    st.fragment(_line, run_every=every)(identity)


def _line(identity: str) -> None:
    try:
        wait = waiting_count(get_record(), identity)
        now = get_record().revisions(identity)[0]
    except RecordError:  # the page itself reports it
        return
    if now != st.session_state.get(f"{DRAWN} {identity}"):
        st.rerun()
    if not wait.photographs:
        return
    with st.container(key="waiting"):  # above the title, where it moves nothing
        st.markdown(f":material/hourglass_top: **{wait.photographs} waiting** to be measured")
    if wait.problem:
        words = counted(wait.photographs, "photograph waits", "photographs wait")
        st.warning(as_typed(f"{words} on: {wait.problem}"), icon=":material/pending:")
