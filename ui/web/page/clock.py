"""Times as the clock on the reader's wall shows them."""

from __future__ import annotations

from datetime import UTC, date, datetime

import streamlit as st

from ui.text import in_zone, local_time


def local(at: str) -> str:
    """Return a time of the record (UTC) in the time zone of the browser, with its zone."""
    return local_time(at, st.context.timezone)


def today() -> date:
    """Return the day where the browser is."""
    return in_zone(datetime.now(UTC), st.context.timezone).date()
