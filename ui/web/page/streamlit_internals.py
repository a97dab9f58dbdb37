"""Private parts of Streamlit on which the pages rely, and the version they were tested with.

Streamlit has no public way to say why a download was refused, nor to read its login cookie in a
request outside a page. Both are done here through names that any release may change. So with an
untested release the pages do not start, and a team can download no files. pyproject.toml has the
same bounds. To raise them, test this module, downloads and the login with the new release.
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
    """Return why the installed Streamlit can't be used, as one sentence; empty if it can."""
    installed = version("streamlit")
    if tuple(installed.split(".")[:2]) == tuple(str(part) for part in TESTED):
        return ""
    tested = ".".join(str(part) for part in TESTED)
    return (
        f"the pages were tested with Streamlit {tested}, but {installed} is installed. Login and "
        f"downloads rely on parts of it that may have changed: install 'streamlit=={tested}.*'."
    )


def require_tested_version() -> None:
    """Stop the server before it answers any request if another Streamlit is installed."""
    if fault := version_fault():
        raise SystemExit(f"Error: {fault}")


def login_claims(cookie: str) -> dict[str, Any]:
    """Return the claims in the login's signed cookie; empty if it is missing or forged.

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
    """Return the claims in a login cookie set by a response; empty if it sets none.

    Parameters
    ----------
    cookies : sequence of str
        The response's Set-Cookie headers.
    """
    return login_claims("; ".join(cookie.split(";")[0] for cookie in cookies))


def login_link() -> str | None:
    """Return the address that starts a login; None if the team file's [auth] can't be used."""
    if version_fault():
        return None
    from streamlit.user_info import generate_login_redirect_url

    try:
        return generate_login_redirect_url("default")
    except Exception:  # anything can happen while the file is being edited
        logging.getLogger(__name__).exception("no login is possible")
        return None


# Requests that a browser can make over its connection. Not among them: clearing everybody's
# caches, writing Streamlit's own files, stopping the server.
_ALLOWED = {"rerun_script", "stop_script", "file_urls_request", "app_heartbeat"}
_OPERATIONS = {"deferred_file", "dataframe_chunk"}


def may_be_asked(message: bytes) -> bool:
    """Say whether a browser's message is one that the pages need."""
    from streamlit.proto.BackMsg_pb2 import BackMsg

    try:
        parsed = BackMsg.FromString(message)
    except Exception:  # not a message of the protocol
        return False
    kind = parsed.WhichOneof("type")
    if kind == "backend_operation_request":
        return parsed.backend_operation_request.WhichOneof("payload") in _OPERATIONS
    return kind in _ALLOWED


def session_name() -> str:
    """Return the identifier of this browser session."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    context = get_script_run_ctx(suppress_warning=True)
    return "" if context is None else context.session_id


def wrap_download_handler(answer: Callable[[DownloadHandler, Any, str], Awaitable[Any]]) -> None:
    """Wrap Streamlit's handling of a pressed download button in `answer`.

    Parameters
    ----------
    answer : callable
        Receives Streamlit's own handler, the request and the session, and returns the response,
        whose `error_msg` is shown beside the button.
    """
    from streamlit.runtime.backend_operation_handler import DeferredFileHandler

    original = DeferredFileHandler.handle

    async def handle(self: DeferredFileHandler, request: Any, session_id: str) -> Any:
        async def own(request: Any, session_id: str) -> Any:
            return await original(self, request, session_id)

        return await answer(own, request, session_id)

    DeferredFileHandler.handle = handle  # type: ignore[method-assign]
