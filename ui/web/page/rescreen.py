"""Screen an inspection again after a change, and retry where the record could not be written."""

from __future__ import annotations

from contextlib import suppress

import streamlit as st

from inspection.record.errors import RecordError
from ui.services.assess_record import screen_inspection
from ui.text import as_typed
from ui.web.page.session import get_record, user_name

PENDING = "inspections to screen again"


def rescreen(identity: str) -> None:
    """Screen an inspection whose entries have just changed, and save the findings.

    The change itself has been saved by then. If the record can't be written, screening is retried
    at the next run of the script, so that nobody enters the same thing twice.
    """
    mark_pending(identity)
    with suppress(RecordError):
        screen_inspection(get_record(), identity, by=user_name())
        st.session_state[PENDING].discard(identity)


def mark_pending(identity: str) -> None:
    """Remember an inspection that is being changed, so that it is screened even if interrupted."""
    st.session_state.setdefault(PENDING, set()).add(identity)


def retry_pending(identity: str) -> None:
    """Screen an inspection that could not be screened when it was changed."""
    waiting: set[str] = st.session_state.get(PENDING, set())
    if identity not in waiting:
        return
    try:
        screen_inspection(get_record(), identity, by=user_name())
        waiting.discard(identity)
    except RecordError as wrong:
        st.warning(
            as_typed(
                "The last change is in the record, but its findings could not be saved: "
                f"{wrong} This is retried whenever the page is refreshed."
            ),
            icon=":material/pending:",
        )
