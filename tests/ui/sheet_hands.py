"""What a browser sends from the sheet of stations, for tests without one."""

from __future__ import annotations

import itertools

from streamlit.testing.v1 import AppTest

SAMPLE = "2026-09-quay-crane-2"
_numbers = itertools.count(1)


def sent(
    at: AppTest,
    typed: dict[str, str],
    *,
    by: str = "Reviewer B",
    identity: str = SAMPLE,
    page: str = "one page",
    sure: bool = False,
    why: str = "",
    second: bool = False,
    seen: bool = True,
) -> AppTest:
    """Send these texts as if typed into fields of the sheet; the caller redraws the page."""
    fields = {
        name: {"seq": next(_numbers), "text": text, "sure": sure, "why": why, "seen": seen}
        for name, text in typed.items()
    }
    key = f"sheet {identity} {by}{' second' if second else ''}"
    at.session_state[key] = {"edit": {"page": page, "fields": fields}}
    return at


def open_place(at: AppTest, station: int, view_deg: int, identity: str = SAMPLE) -> AppTest:
    """Open a place of the sheet by its address."""
    at.query_params["inspection"] = identity
    at.query_params["station"] = str(station)
    at.query_params["view"] = str(view_deg)
    return at.switch_page("screens/sheet.py").run()
