"""The message beside a download button when its file is refused or can't be made.

A file is made when its button is pressed, outside the page's script. Streamlit shows one fixed
message for every failure; this module replaces it with the reason.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from ui.services.access.roles import AccessError
from ui.text import capitalised
from ui.web.page.streamlit_internals import DownloadHandler, wrap_download_handler

Make = Callable[[], bytes | str]

FAULT = (
    "The file could not be made because of a program error. The record is safe; the server's log "
    "has the details."
)
GONE = "The file could not be made: the page was opened before a restart. Open it again."
FOREIGN = "this file belongs to another user's page"
_owners: defaultdict[str, set[str]] = defaultdict(set)
_asking: ContextVar[str] = ContextVar("asking", default="")
_made_for: ContextVar[list[str] | None] = ContextVar("made for", default=None)
_reasons: ContextVar[list[str] | None] = ContextVar("reasons", default=None)


def reporting_error(make: Make) -> Make:
    """Return `make`, noting the reason if it fails."""

    def make_or_note() -> bytes | str:
        try:
            return make()
        except Exception as wrong:
            reason = str(wrong) if isinstance(wrong, ValueError) else FAULT
            reasons = _reasons.get()
            if reasons is not None:
                reasons.append(capitalised(reason))
            raise

    return make_or_note


def owners_of(path: str) -> frozenset[str]:
    """Return the e-mail addresses of the users for whom a file was made."""
    return frozenset(_owners.get(path.rsplit("/", 1)[-1], ()))


def note_owner(email: str, session: str) -> None:
    """Note the owner of the file being made; called where it is made.

    Raises
    ------
    AccessError
        If the request comes from another session than the one in which the button was drawn.
    """
    if _asking.get() not in ("", session):
        raise AccessError(f"{FOREIGN}.")
    owners = _made_for.get()
    if owners is not None:
        owners.append(email)


def patch_download_handler() -> None:
    """Make the server say why a file was not delivered; called once, at its start."""
    wrap_download_handler(_with_reason)


async def _with_reason(handle: DownloadHandler, request: Any, session_id: str) -> Any:
    reasons: list[str] = []
    owners: list[str] = []
    # these are visible in the thread that makes the file
    tokens = _reasons.set(reasons), _made_for.set(owners), _asking.set(session_id)
    try:
        response = await handle(request, session_id)
    finally:
        _reasons.reset(tokens[0])
        _made_for.reset(tokens[1])
        _asking.reset(tokens[2])
    if url := response.deferred_file.url:
        _owners[url.rsplit("/", 1)[-1]].update(owners)
    if response.error_msg:
        response.error_msg = reasons[-1] if reasons else GONE
    return response
