"""Photographs that the pages send by themselves: stored first, whatever screen is open by then.

Streamlit's own upload belongs to a screen: what is on its way when another one is opened is lost.
So photographs come here, past it. The door (`ui.web.page.security`) has looked at the login, the
address and the budget before; here it is asked whose inspection it is.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections import OrderedDict
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.routing import Route

from inspection.model.names import checked_name
from inspection.record.record import Record
from inspection.record.views import Manner
from ui.services.measuring_queue import PhotoFile, store_photographs
from ui.services.roles import TEAM_FILE, AccessError, Person, local_user, require_role
from ui.web.page.door import member
from ui.web.page.receive import (
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

MOST_AT_ONCE = 16  # of all people: each is held in memory until it is stored
MOST_HELD, HELD_S = 6, 600.0
NOBODY = "You are logged out: log in again, and they are sent."
OTHERS = "They were given by another login, or for another record."
_held: OrderedDict[tuple[str, str], tuple[float, PhotoFile]] = OrderedDict()


def owner_of(person: Person) -> str:
    """Return what tells a person's uploads to this record from all others in a browser's store."""
    return hashlib.sha256(f"{record_location()}\n{person.email}".encode()).hexdigest()[:24]


def take_held(owner: str, sha256: str) -> PhotoFile | None:
    """Return a photograph that came to be looked at, once; None where it was not held so long."""
    found = _held.pop((owner, sha256), None)
    return None if found is None else found[1]


def _sender(request: Request) -> Person:
    """Return who sends; their role is looked up each time."""
    if os.environ.get(TEAM_FILE):
        who = member(login_claims(request.headers.get("cookie", "")))
        if who is None:
            raise UnacceptedError(403, NOBODY)
    else:
        who = local_user(checked_name(request.query_params.get("by", ""), "person"))
    if request.query_params.get("owner") != owner_of(who):
        raise UnacceptedError(403, OTHERS)
    return require_role(who, "sheet")


async def _photograph(request: Request) -> dict[str, Any]:
    """Store a photograph in an inspection; the answer's hash is the record's word for it."""
    who = await run_in_threadpool(_sender, request)
    identity = request.query_params.get("inspection", "")
    manner = Manner(request.query_params.get("print_set", ""))

    def check(record: Record) -> None:
        mine = record.ranked(person=None if who.sees_all else who.name)
        if identity not in {one.identity for one in mine}:
            raise AccessError(NOT_THERE.format(identity))
        if manner.print_set and manner.print_set not in record.print_checks():
            words = f"There is no print check of card set {manner.print_set!r:.60} in the record."
            raise UnacceptedError(422, words)

    await run_in_threadpool(of_record, check)
    with place_for("a page", MOST_AT_ONCE):
        data = await received(request, stated_size(request))
        file = PhotoFile(name_in(request, "photograph.jpg"), data)

        def keep(record: Record) -> dict[str, Any]:
            stored = store_photographs(record, identity, [file], manner, by=who.name)
            if stored.rejected:
                raise UnacceptedError(422, stored.rejected[0])
            return {"sha256": file.sha256, "known": bool(stored.known)}

        return await run_in_threadpool(of_record, keep)


async def _look(request: Request) -> dict[str, Any]:
    """Hold a photograph until the page that shows its diameter takes it."""
    who = await run_in_threadpool(_sender, request)
    with place_for("a page", MOST_AT_ONCE):
        data = await received(request, stated_size(request))
    file, now = PhotoFile(name_in(request, "photograph.jpg"), data), time.monotonic()
    take_held(owner_of(who), file.sha256)
    _held[owner_of(who), file.sha256] = (now, file)
    while len(_held) > MOST_HELD or now - next(iter(_held.values()))[0] > HELD_S:
        _held.popitem(last=False)
    return {"sha256": file.sha256}


ROUTES = [
    Route("/uploads/photographs", answered(_photograph), methods=["PUT"]),
    Route("/uploads/looks", answered(_look), methods=["PUT"]),
]
