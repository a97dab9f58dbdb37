"""What a browser sends by itself, past Streamlit: received whole and kept, or told why not.

What is shared by the pages' uploads and the phones': the answer is JSON, a yes or one sentence, and
its status says whether it helps to send again (`LATER`) or not.
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
from inspection.record.errors import RecordError
from inspection.record.record import Record
from ui.services.access.roles import AccessError
from ui.web.page.session import open_for_queue, record_location

T = TypeVar("T")

LATER = 503  # and 4xx but 422: what is sent is kept where it is, and sent again
LONGEST_UPLOAD_S = 180.0
_busy: Counter[str] = Counter()
_opened: tuple[str, Record] | None = None


class UnacceptedError(Exception):
    """An answer other than yes: a status and one sentence."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status, self.words = status, words


def answered(handle: Callable[[Request], Awaitable[Any]]) -> Callable[[Request], Any]:
    """Return a handler whose answer is JSON; what it refuses or can't do is a sentence."""

    async def answer(request: Request) -> Response:
        try:
            said = await handle(request)
            return JSONResponse(said, headers={"Cache-Control": "no-store"})
        except UnacceptedError as refused:
            status, words = refused.status, refused.words
        except RecordError as wrong:
            status, words = LATER, _begun(str(wrong))
        except (ValueError, AccessError) as wrong:
            status, words = 422, _begun(str(wrong))
        except ClientDisconnect:
            status, words = 400, "The browser went away while it was sending."
        except Exception:
            logging.getLogger(__name__).exception("what was sent could not be answered")
            status, words = 500, "The program has a fault here; nothing that was sent is let go of."
        return JSONResponse({"error": words}, status, headers={"Cache-Control": "no-store"})

    return answer


def _begun(words: str) -> str:
    return words[:1].upper() + words[1:]


@contextmanager
def place_for(sender: str, most: int) -> Iterator[None]:
    """Take one of the places in which files are received: each is held in memory.

    Parameters
    ----------
    sender : str
        What kind of sender it is; each kind has places of its own.
    most : int
        How many.

    Raises
    ------
    UnacceptedError
        If all are taken.
    """
    if _busy[sender] >= most:
        raise UnacceptedError(LATER, "Others are sending; this one waits for its turn.")
    _busy[sender] += 1
    try:
        yield
    finally:
        _busy[sender] -= 1


async def received(request: Request, size: int) -> bytes:
    """Return what a request carries, which says that it is `size` bytes.

    Raises
    ------
    UnacceptedError
        If it is more or less, or takes too long.
    """
    data = bytearray()
    try:
        async with asyncio.timeout(LONGEST_UPLOAD_S):
            async for part in request.stream():
                data += part
                if len(data) > size:
                    raise UnacceptedError(422, "More came than was said.")
    except TimeoutError:
        raise UnacceptedError(
            408, "The photograph took too long to come; it is tried again."
        ) from None
    if len(data) < size:
        raise UnacceptedError(400, "Not all of it came; it is tried again.")
    return bytes(data)


def stated_size(request: Request) -> int:
    """Return how large an upload says it is, bytes, where that is not too large."""
    most = st.get_option("server.maxUploadSize") * 1024 * 1024
    try:
        size = int(request.headers["content-length"])
    except (KeyError, ValueError):
        raise UnacceptedError(411, "An upload says how large it is.") from None
    if size > most:
        raise UnacceptedError(
            422,
            f"The photograph has {size / 1048576:.0f} MB and {most / 1048576:.0f} MB are taken.",
        )
    return size


def name_in(request: Request, otherwise: str) -> str:
    """Return a photograph's name as it may stand in the record."""
    given = unquote(request.query_params.get("name", ""))
    told = re.sub(r"[\x00-\x1f\x7f/\\]", " ", given)[:80].strip()
    try:
        return checked_name(told, "photograph")
    except ValueError:
        return otherwise


# ---- the record behind it ----------------------------------------------------------------------


def of_record(ask: Callable[[Record], T]) -> T:
    """Ask the record, or enter into it; what it refuses for good is not sent again.

    One that was replaced or restarted is opened anew at the next request.
    """
    global _opened
    try:
        place = record_location()
        if _opened is None or _opened[0] != place:
            record = open_for_queue()
            if record is None:
                raise RecordError("There is no record here just now.")
            _opened = place, record
        return ask(_opened[1])
    except RecordError as wrong:
        if "is closed" in str(wrong):  # an inspection
            raise UnacceptedError(422, _begun(str(wrong))) from wrong
        forget_record()
        logging.getLogger(__name__).warning("what was sent has to wait: %s", wrong)
        raise


def forget_record() -> None:
    """Close the record behind the routes; the next request opens it anew."""
    global _opened
    if _opened is not None:
        _opened[1].close()
    _opened = None
