"""A change that came too late because somebody else was faster: told until it was seen to."""

from __future__ import annotations

import streamlit as st

from ui.presenters.reading_form import change_words
from ui.text import as_typed
from ui.web.page.session import get_record, user_name


def show_late_change(identity: str) -> None:
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
