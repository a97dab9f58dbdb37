"""Routes for photographs that the pages upload in the background, whatever screen is open.

Streamlit's own upload belongs to a screen: an upload in progress is lost when another screen is
opened. So photographs bypass it and come here. `ui.web.page.security` has checked the login, the
address and the quota already; this module checks access to the inspection.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.routing import Route

from inspection.model.names import checked_name
from inspection.record.record import Record
from inspection.record.views import Manner
from ui.environment import TEAM_FILE
from ui.services.access.roles import AccessError, Person, local_user, require_role
from ui.services.measuring_queue import PhotoFile, store_photographs
from ui.services.trays import Tray, put_in_tray, tray_of
from ui.web.page.door import member
from ui.web.page.receive import (
    LATER,
    UnacceptedError,
    answered,
    name_in,
    of_record,
    place_for,
    received,
    stated_size,
)
from ui.web.page.session import NOT_THERE, record_location
from ui.web.page.streamlit_internals import login_claims
from vision.photo.containers import PhotoError, kind_of

UNUSABLE = 415  # RFC 9110, 15.5.16; the page then offers only to choose another file
MOST_AT_ONCE = 16  # for all users together: each file is held in memory until it is stored
# the screen on which each tray is used
SCREEN_OF: Mapping[Tray, str] = {
    "boards": "equipment", "bars": "cards", "archive": "scale", "looks": "sheet",
}  # fmt: skip
NOBODY = "You are logged out. Log in again to send them."
OTHERS = "They were added under another login or for another record."


def owner_of(person: Person) -> str:
    """Return an identifier for a person's uploads to this record in the browser's storage."""
    return hashlib.sha256(f"{record_location()}\n{person.email}".encode()).hexdigest()[:24]


def _sender(request: Request, screen: str) -> Person:
    """Return the sender; their role is looked up every time."""
    if os.environ.get(TEAM_FILE):
        who = member(login_claims(request.headers.get("cookie", "")))
        if who is None:
            raise UnacceptedError(403, NOBODY)
    else:
        who = local_user(request.query_params.get("by", ""))
    if request.query_params.get("owner") != owner_of(who):
        raise UnacceptedError(403, OTHERS)
    return require_role(who, screen)


async def _photograph_in(request: Request) -> PhotoFile:
    """Return the photograph that a request carries.

    Raises
    ------
    UnacceptedError
        With `UNUSABLE` if the file is no photograph: sending it again never helps.
    """
    data = await received(request, stated_size(request))
    file = PhotoFile(name_in(request, "photograph.jpg"), data)
    try:
        kind_of(file.data)
    except PhotoError as wrong:  # the message begins with the file's name, unchanged
        raise UnacceptedError(UNUSABLE, f"{file.name} {wrong}.") from wrong
    return file


async def _photograph(request: Request) -> dict[str, Any]:
    """Store a photograph in an inspection; the hash in the answer confirms it."""
    who = await run_in_threadpool(_sender, request, "sheet")
    checked_name(who.name, "person")
    identity = request.query_params.get("inspection", "")
    manner = Manner(request.query_params.get("print_set", ""))

    def check(record: Record) -> None:
        person = None if who.sees_all else who.name
        if not record.ranked(identity=identity, person=person):
            raise AccessError(NOT_THERE.format(identity))
        if manner.print_set and manner.print_set not in record.print_checks():
            words = f"The record has no print check of card set {manner.print_set!r:.60}."
            raise UnacceptedError(422, words)

    await run_in_threadpool(of_record, check)
    with place_for("a page", MOST_AT_ONCE):
        file = await _photograph_in(request)

        def keep(record: Record) -> dict[str, Any]:
            stored = store_photographs(record, identity, [file], manner, by=who.name)
            if stored.rejected:
                raise UnacceptedError(422, stored.rejected[0])
            return {"sha256": file.sha256, "known": bool(stored.known)}

        return await run_in_threadpool(of_record, keep)


async def _into_tray(request: Request) -> dict[str, Any]:
    """Store a photograph that belongs to no inspection for the page that requested it."""
    tray = tray_of(request.path_params["tray"])
    who = await run_in_threadpool(_sender, request, SCREEN_OF[tray])
    with place_for("a page", MOST_AT_ONCE):
        file = await _photograph_in(request)
        try:
            await run_in_threadpool(put_in_tray, owner_of(who), tray, file)
        except ValueError as wrong:  # this message, too
            raise UnacceptedError(422, str(wrong)) from wrong
        except OSError as wrong:
            raise UnacceptedError(
                LATER, f"The server can't store it just now: {wrong.strerror}."
            ) from wrong
    return {"sha256": file.sha256}


ROUTES = [
    Route("/uploads/photographs", answered(_photograph), methods=["PUT"]),
    Route("/uploads/trays/{tray}", answered(_into_tray), methods=["PUT"]),
]
