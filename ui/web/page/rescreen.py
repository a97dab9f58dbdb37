"""Look an inspection over after a change, and again where the record took the change only."""

from __future__ import annotations

from contextlib import suppress

import streamlit as st

from inspection.record.errors import RecordError
from ui.services.judge_record import look_over
from ui.text import as_typed
from ui.web.page.session import person, the_record

WAITING = "inspections to look over again"


def look_over_now(identity: str) -> None:
    """Keep what deserves a look in an inspection whose entries have just changed.

    The change itself is saved by then. Where the record can't be written just now, the looking
    over is made up for at the next drawing, so that nobody enters the same again.
    """
    look_over_later(identity)
    with suppress(RecordError):
        look_over(the_record(), identity, by=person())
        st.session_state[WAITING].discard(identity)


def look_over_later(identity: str) -> None:
    """Remember an inspection that is being changed: whatever cuts that short, it is looked over."""
    st.session_state.setdefault(WAITING, set()).add(identity)


def make_up_for_it(identity: str) -> None:
    """Look an inspection over that could not be when it was changed."""
    waiting: set[str] = st.session_state.get(WAITING, set())
    if identity not in waiting:
        return
    try:
        look_over(the_record(), identity, by=person())
        waiting.discard(identity)
    except RecordError as wrong:
        st.warning(
            as_typed(
                "The last change is in the record, but what deserves a look could not be kept "
                f"beside it: {wrong} It is tried again whenever this page is drawn."
            ),
            icon=":material/pending:",
        )
