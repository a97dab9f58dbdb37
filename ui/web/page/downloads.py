"""What stands beside a download button when its file is refused or can't be made: our sentence.

A file is made when its button is pressed, outside the page's script. Streamlit then has one
sentence of its own for whatever went wrong; here the reason takes its place.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from ui.web.page.streamlit_internals import DownloadHandler, wrap_download_handler

Make = Callable[[], bytes | str]

FAULT = (
    "The file could not be made: the program has a fault here. What is in the record is safe; the "
    "server's log says more."
)
GONE = "The file could not be made: the page is from before a restart. Open it again."
_reasons: ContextVar[list[str] | None] = ContextVar("reasons", default=None)


def reporting_error(make: Make) -> Make:
    """Return `make`, which notes the reason where it fails."""

    def make_or_note() -> bytes | str:
        try:
            return make()
        except Exception as wrong:
            reason = str(wrong) if isinstance(wrong, ValueError) else FAULT
            reasons = _reasons.get()
            if reasons is not None:
                reasons.append(reason[:1].upper() + reason[1:])
            raise

    return make_or_note


def patch_download_handler() -> None:
    """Let the server say why a file was not handed out; called once, where it is started."""
    wrap_download_handler(_with_reason)


async def _with_reason(handle: DownloadHandler, request: Any, session_id: str) -> Any:
    reasons: list[str] = []
    token = _reasons.set(reasons)  # the thread that makes the file sees this list
    try:
        response = await handle(request, session_id)
    finally:
        _reasons.reset(token)
    if response.error_msg:
        response.error_msg = reasons[-1] if reasons else GONE
    return response
