"""Private parts of Streamlit that the pages rely on, and the version that they were tried with.

Streamlit has no public way to say why a download was refused, nor to read its login's cookie in a
request outside a page. Both are done here through names that any release may change; so a release
that nobody tried starts no pages, and hands out no file of a team. pyproject.toml has the same
bounds. To raise them: try the tests of this module, downloads and the login with the new release.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Awaitable, Callable, Sequence
from http.cookies import CookieError, SimpleCookie
from importlib.metadata import version
from typing import Any

TESTED = (1, 67)  # major and minor version of Streamlit

DownloadHandler = Callable[[Any, str], Awaitable[Any]]


def version_fault() -> str:
    """Return why the installed Streamlit can't be used, as one sentence; empty where it can."""
    installed = version("streamlit")
    if tuple(installed.split(".")[:2]) == tuple(str(part) for part in TESTED):
        return ""
    tested = ".".join(str(part) for part in TESTED)
    return (
        f"the pages were tried with Streamlit {tested} and {installed} is installed: their login "
        f"and downloads rely on parts of it that may have changed. Install 'streamlit=={tested}.*'."
    )


def require_tested_version() -> None:
    """End the server before it answers anybody, where another Streamlit is installed."""
    if fault := version_fault():
        raise SystemExit(f"Error: {fault}")


def login_claims(cookie: str) -> dict[str, Any]:
    """Return what the login's signed cookie says; nothing where it is missing or forged.

    Parameters
    ----------
    cookie : str
        The request's Cookie header.
    """
    if version_fault():
        return {}
    from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME
    from streamlit.web.server.starlette.starlette_websocket import _get_signed_cookie_with_chunks

    try:
        cookies = {name: morsel.value for name, morsel in SimpleCookie(cookie).items()}
        claims = json.loads(_get_signed_cookie_with_chunks(cookies, USER_COOKIE_NAME) or b"{}")
    except (CookieError, ValueError, AttributeError):
        return {}
    return claims if isinstance(claims, dict) else {}


def claims_set(cookies: Sequence[str]) -> dict[str, Any]:
    """Return what the login's cookie says that an answer sets; nothing where it sets none.

    Parameters
    ----------
    cookies : sequence of str
        The answer's Set-Cookie headers.
    """
    return login_claims("; ".join(cookie.split(";")[0] for cookie in cookies))


def login_link() -> str | None:
    """Return where a login begins; None where the team file's [auth] can't be used."""
    if version_fault():
        return None
    from streamlit.user_info import generate_login_redirect_url

    try:
        return generate_login_redirect_url("default")
    except Exception:  # whatever a file that is being edited brings about
        logging.getLogger(__name__).exception("no login can begin")
        return None


# What a browser may ask of the server over its connection. Not among them: to clear everybody's
# caches, to write Streamlit's own files, to end the server.
_ASKED = {"rerun_script", "stop_script", "file_urls_request", "app_heartbeat"}
_OPERATIONS = {"deferred_file", "dataframe_chunk"}


def may_be_asked(message: bytes) -> bool:
    """Say whether what a browser sends is something that the pages need."""
    from streamlit.proto.BackMsg_pb2 import BackMsg

    try:
        told = BackMsg.FromString(message)
    except Exception:  # not the protocol
        return False
    kind = told.WhichOneof("type")
    if kind == "backend_operation_request":
        return told.backend_operation_request.WhichOneof("payload") in _OPERATIONS
    return kind in _ASKED


def session_name() -> str:
    """Return what tells this browser's session from any other."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    context = get_script_run_ctx(suppress_warning=True)
    return "" if context is None else context.session_id


def wrap_download_handler(answer: Callable[[DownloadHandler, Any, str], Awaitable[Any]]) -> None:
    """Let `answer` stand around what Streamlit does when a download button is pressed.

    Parameters
    ----------
    answer : callable
        Is given Streamlit's own handling, the request and the session, and returns the response,
        whose `error_msg` stands beside the button.
    """
    from streamlit.runtime.backend_operation_handler import DeferredFileHandler

    really = DeferredFileHandler.handle

    async def handle(self: DeferredFileHandler, request: Any, session_id: str) -> Any:
        async def own(request: Any, session_id: str) -> Any:
            return await really(self, request, session_id)

        return await answer(own, request, session_id)

    DeferredFileHandler.handle = handle  # type: ignore[method-assign]
