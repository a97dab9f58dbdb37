"""Times and dates in the time zone of the browser."""

from __future__ import annotations

from datetime import UTC, date, datetime

import streamlit as st

from ui.text import in_zone, local_time


def local(at: str) -> str:
    """Return a recorded time (UTC) in the browser's time zone, with the zone's name."""
    return local_time(at, st.context.timezone)


def today() -> date:
    """Return today's date in the browser's time zone."""
    return in_zone(datetime.now(UTC), st.context.timezone).date()
