"""Uploads that bypass Streamlit: received completely and stored, or refused with a reason.

Shared by the pages' uploads and the phones'. The answer is JSON: a result or one sentence. Its
status says whether sending again helps (`LATER`) or not.
"""

from __future__ import annotations

import asyncio
import logging
import re
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar
from urllib.parse import unquote

import streamlit as st
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from inspection.model.names import checked_name
from inspection.record.errors import ClosedError, RecordError
from inspection.record.record import Record
from ui.services.access.roles import AccessError
from ui.text import capitalised
from ui.web.page.session import open_for_queue, record_location

T = TypeVar("T")

LATER = 503  # like 4xx except 422: the sender keeps the upload and sends it again
LONGEST_UPLOAD_S = 180.0
_busy: Counter[str] = Counter()
_opened: tuple[str, Record] | None = None


class UnacceptedError(Exception):
    """A refusal: a status and one sentence."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status, self.words = status, words


def answered(handle: Callable[[Request], Awaitable[Any]]) -> Callable[[Request], Any]:
    """Return a handler that answers in JSON; a refusal or failure is a sentence."""

    async def answer(request: Request) -> Response:
        try:
            content = await handle(request)
            return JSONResponse(content, headers={"Cache-Control": "no-store"})
        except UnacceptedError as refused:
            status, words = refused.status, refused.words
        except RecordError as wrong:
            status, words = LATER, capitalised(str(wrong))
        except (ValueError, AccessError) as wrong:
            status, words = 422, capitalised(str(wrong))
        except ClientDisconnect:
            status, words = 400, "The browser disconnected while sending."
        except Exception:
            logging.getLogger(__name__).exception("a request could not be answered")
            status, words = 500, "A program error occurred; nothing that was sent has been lost."
        return JSONResponse({"error": words}, status, headers={"Cache-Control": "no-store"})

    return answer


@contextmanager
def place_for(sender: str, most: int) -> Iterator[None]:
    """Take one of the slots for receiving files: each file is held in memory.

    Parameters
    ----------
    sender : str
        The kind of sender; each kind has its own slots.
    most : int
        How many slots there are.

    Raises
    ------
    UnacceptedError
        If all are taken.
    """
    if _busy[sender] >= most:
        raise UnacceptedError(LATER, "Other uploads are in progress; this one is waiting.")
    _busy[sender] += 1
    try:
        yield
    finally:
        _busy[sender] -= 1


async def received(request: Request, size: int) -> bytes:
    """Return the body of a request, whose stated size is `size` bytes.

    Raises
    ------
    UnacceptedError
        If it is larger or smaller, or takes too long.
    """
    data = bytearray()
    try:
        async with asyncio.timeout(LONGEST_UPLOAD_S):
            async for part in request.stream():
                data += part
                if len(data) > size:
                    raise UnacceptedError(422, "The upload is larger than it stated.")
    except TimeoutError:
        raise UnacceptedError(
            408, "The photograph took too long to arrive; it will be sent again."
        ) from None
    if len(data) < size:
        raise UnacceptedError(400, "The upload was incomplete; it will be sent again.")
    return bytes(data)


def stated_size(request: Request) -> int:
    """Return the stated size of an upload, bytes; refuse one that is too large."""
    most = st.get_option("server.maxUploadSize") * 1024 * 1024
    try:
        size = int(request.headers["content-length"])
    except (KeyError, ValueError):
        raise UnacceptedError(411, "The upload does not state its size.") from None
    if size > most:
        raise UnacceptedError(
            422,
            f"The photograph has {size / 1048576:.0f} MB; the limit is {most / 1048576:.0f} MB.",
        )
    return size


def name_in(request: Request, otherwise: str) -> str:
    """Return a photograph's name in a form that the record allows."""
    given = unquote(request.query_params.get("name", ""))
    name = re.sub(r"[\x00-\x1f\x7f/\\]", " ", given)[:80].strip()
    try:
        return checked_name(name, "photograph")
    except ValueError:
        return otherwise


# ---- the record behind it ----------------------------------------------------------------------


def of_record(ask: Callable[[Record], T]) -> T:
    """Run `ask` on the record; mark a permanent refusal so that it is not sent again.

    A record that was replaced or restarted is reopened at the next request.
    """
    global _opened
    try:
        place = record_location()
        if _opened is None or _opened[0] != place:
            record = open_for_queue()
            if record is None:
                raise RecordError("The record is not available just now.")
            _opened = place, record
        return ask(_opened[1])
    except ClosedError as wrong:
        raise UnacceptedError(422, capitalised(str(wrong))) from wrong
    except RecordError as wrong:
        forget_record()
        logging.getLogger(__name__).warning("an upload has to wait: %s", wrong)
        raise


def forget_record() -> None:
    """Close the record behind the routes; the next request reopens it."""
    global _opened
    if _opened is not None:
        _opened[1].close()
    _opened = None
