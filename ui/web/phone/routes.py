"""Requests that a phone can make: the state of its inspection, and adding a photograph or reading.

Every request except those for the page's own files carries the token in a header and is answered
for that token's inspection only. A repeated upload is acknowledged again but stored once, so a
phone can resend until it gets an answer.
"""

from __future__ import annotations

import json
import os
import time
from collections import defaultdict, deque
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from inspection.model.readings import Reading
from inspection.model.rope import Units
from inspection.model.serialization import from_dict
from inspection.record.errors import RecordError
from inspection.record.record import Record
from inspection.record.views import Manner, OpenInspection
from inspection.record.waiting import waiting_count
from ui.environment import TEAM_FILE
from ui.lengths import length_text
from ui.presenters.sheet.capture import capture_state
from ui.presenters.sheet.reading_form import TypedRow, parse_row
from ui.services.access.phone_tokens import Grant, grant_of
from ui.services.access.roles import AccessError, person_named, read_team, require_role
from ui.services.measuring_queue import PhotoFile, ask_screening, store_photographs
from ui.text import capitalised
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
from ui.web.page.session import record_location

HERE = Path(__file__).parent
FILES = {
    "/phone/": ("capture.html", "text/html"),
    "/phone/capture.js": ("capture.js", "text/javascript"),
    "/phone/capture.css": ("capture.css", "text/css"),
    "/phone/offline.js": ("offline.js", "text/javascript"),
}
ENDED = "This link has expired or was withdrawn. Scan a new code from the inspection's page."
NOT_NOW = "The record is not available just now. The phone keeps everything and tries again."
# Limits for one token: more than a person with a phone ever needs.
MOST_ASKED, MOST_SENT, MOST_SENT_BYTES, WINDOW_S = 1_200, 400, 2_000_000_000, 600.0
MOST_AT_ONCE = 4
MOST_READING_BYTES = 4_000
_asked: defaultdict[str, deque[float]] = defaultdict(deque)
_sent: defaultdict[str, deque[tuple[float, int]]] = defaultdict(deque)


def _for_grant(handle: Callable[[Request, Grant], Awaitable[Any]]) -> Callable[[Request], Any]:
    """Return a handler that runs only for a request with a valid grant."""

    async def granted(request: Request) -> Any:
        try:
            return await handle(request, await run_in_threadpool(_grant, request))
        except RecordError as wrong:  # its message contains paths
            raise UnacceptedError(LATER, NOT_NOW) from wrong

    return answered(granted)


def _grant(request: Request) -> Grant:
    """Return what a request's token allows now; the person's role is looked up every time."""
    token = request.headers.get("authorization", "").removeprefix("Bearer ")
    grant = grant_of(token)
    if grant is None or grant.record != record_location():
        raise UnacceptedError(403, ENDED)
    key, now = token[-8:] + grant.inspection, time.monotonic()
    recent = _asked[key]
    while recent and now - recent[0] > WINDOW_S:
        recent.popleft()
    if len(recent) >= MOST_ASKED:
        raise UnacceptedError(429, "Too many requests; continue in ten minutes.")
    recent.append(now)
    file = os.environ.get(TEAM_FILE)
    if file:
        try:
            person = person_named(grant.email, read_team(file))
            if person is None:
                raise AccessError("nobody")
            require_role(person, "rope")
        except AccessError:
            raise UnacceptedError(403, ENDED) from None
    return grant


# ---- the state of the inspection -------------------------------------------------------------


async def _state(request: Request, grant: Grant) -> dict[str, Any]:
    figures = request.query_params.get("figures") == "1"

    def ask(record: Record) -> dict[str, Any]:
        opened = record.inspection(grant.inspection)
        gauges = [gauge.identity for gauge in record.gauges()]
        last = [one.gauge for one in opened.readings][-1:]
        return {
            **capture_state(opened, figures=figures),
            "person": grant.person,
            "ends": grant.ends,
            "gauges": gauges,
            "gauge": last[0] if last else gauges[0] if len(gauges) == 1 else "",
            "problem": waiting_count(record, grant.inspection).problem,
        }

    return await run_in_threadpool(of_record, ask)


# ---- a photograph ----------------------------------------------------------------------------


async def _photograph(request: Request, grant: Grant) -> dict[str, Any]:
    """Store a photograph; the hash in the answer confirms that the record has it."""
    data = await _body(request, grant)
    file = PhotoFile(name_in(request, "from a phone.jpg"), data)
    manner = Manner(grant.print_set)

    def keep(record: Record) -> dict[str, Any]:
        stored = store_photographs(record, grant.inspection, [file], manner, by=grant.person)
        if stored.rejected:
            raise UnacceptedError(422, stored.rejected[0])
        return {"sha256": file.sha256}

    return await run_in_threadpool(of_record, keep)


async def _body(request: Request, grant: Grant) -> bytes:
    """Return the bytes that a phone sends, within its budget of bytes, number and time."""
    size = stated_size(request)
    sent, now = _sent[grant.inspection], time.monotonic()
    while sent and now - sent[0][0] > WINDOW_S:
        sent.popleft()
    if len(sent) >= MOST_SENT or size + sum(one for _, one in sent) > MOST_SENT_BYTES:
        raise UnacceptedError(429, "Too many requests; continue in ten minutes.")
    with place_for("a phone", MOST_AT_ONCE):
        sent.append((now, size))
        return await received(request, size)


# ---- a reading -------------------------------------------------------------------------------


async def _reading(request: Request, grant: Grant) -> dict[str, Any]:
    """Enter a reading as typed; an implausible one has to be confirmed first."""
    data = bytearray()
    async for part in request.stream():
        data += part
        if len(data) > MOST_READING_BYTES:
            raise UnacceptedError(422, "The reading is too long; type it again.")
    try:
        sent = json.loads(data)
        row = TypedRow(str(sent["station"]), str(sent["view_deg"]), str(sent["typed"])[:40])
        gauge = str(sent["gauge"])
        at = datetime.fromisoformat(str(sent["at"])).replace(microsecond=0, tzinfo=None)
        sure, blind = sent.get("sure") is True, sent.get("blind") is True
    except (ValueError, KeyError, TypeError, RecursionError):
        raise UnacceptedError(422, "The reading could not be understood; type it again.") from None

    def enter(record: Record) -> dict[str, Any]:
        opened = record.inspection(grant.inspection)
        if gauge not in {one.identity for one in record.gauges()}:
            raise UnacceptedError(422, f"The record has no gauge {gauge!r:.60}.")
        parsed = parse_row(row, opened, gauge=gauge, person=grant.person, at=at)
        if parsed.reading is None:
            raise UnacceptedError(422, capitalised(parsed.wrong) or "Nothing was typed.")
        if _was_entered(record, opened, parsed.reading):
            return {"means": _means(parsed.reading, opened.rope.units)}
        reading = parsed.reading
        doubt = parsed.implausible
        if not doubt and any(one.place == reading.place for one in opened.readings):
            doubt = "This place already has a reading; this one will be recorded beside it."
        if doubt and not sure:
            raise UnacceptedError(409, doubt)
        # whoever read there before has seen the figure since
        before = any(
            (one.reading.person, one.reading.place) == (reading.person, reading.place)
            for one in opened.logged
        )
        reading = replace(reading, blind=blind and not before)
        record.add_readings(grant.inspection, [reading], by=grant.person)
        ask_screening(record, grant.inspection, by=grant.person)
        return {"means": _means(parsed.reading, opened.rope.units)}

    return await run_in_threadpool(of_record, enter)


def _was_entered(record: Record, opened: OpenInspection, reading: Reading) -> bool:
    """Say whether this very reading was entered before, even if it was corrected since."""
    events = record.events(about="inspection", subject=opened.inspection.identity)
    return any(
        from_dict(Reading, values) == reading
        for event in events
        if event.kind == "readings added"
        for values in event.new_value
    )


def _means(reading: Reading, units: Units) -> str:
    return length_text(reading.value_mm, units=units)


# ---- the page itself -------------------------------------------------------------------------


def _file(name: str, kind: str) -> Callable[[Request], Any]:
    async def hand_out(_: Request) -> Response:
        return FileResponse(HERE / name, media_type=kind, headers={"Cache-Control": "no-cache"})

    return hand_out


ROUTES = [
    *(Route(path, _file(name, kind)) for path, (name, kind) in FILES.items()),
    Route("/phone/state", _for_grant(_state)),
    Route("/phone/photographs", _for_grant(_photograph), methods=["PUT"]),
    Route("/phone/readings", _for_grant(_reading), methods=["PUT"]),
]
