"""What stands beside a download button when its file is refused or can't be made: our sentence.

A file is made when its button is pressed, outside the page's script. Streamlit then has one
sentence of its own for whatever went wrong; here the reason takes its place.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from streamlit.runtime.backend_operation_handler import DeferredFileHandler

Make = Callable[[], bytes | str]

FAULT = (
    "The file could not be made: the program has a fault here. What is in the record is safe; the "
    "server's log says more."
)
GONE = "The file could not be made: the page is from before a restart. Open it again."
_reasons: ContextVar[list[str] | None] = ContextVar("reasons", default=None)


def reporting_error(make: Make) -> Make:
    """Return `make`, which leaves the reason where it fails."""

    def made() -> bytes | str:
        try:
            return make()
        except Exception as wrong:
            said = str(wrong) if isinstance(wrong, ValueError) else FAULT
            reasons = _reasons.get()
            if reasons is not None:
                reasons.append(said[:1].upper() + said[1:])
            raise

    return made


def patch_download_handler() -> None:
    """Let the server say why a file was not handed out; called once, where it is started."""
    really = DeferredFileHandler.handle

    async def handle(self: DeferredFileHandler, request: Any, session_id: str) -> Any:
        reasons: list[str] = []
        token = _reasons.set(reasons)  # the thread that makes the file sees this list
        try:
            answer = await really(self, request, session_id)
        finally:
            _reasons.reset(token)
        if answer.error_msg:
            answer.error_msg = reasons[-1] if reasons else GONE
        return answer

    DeferredFileHandler.handle = handle  # type: ignore[method-assign]
