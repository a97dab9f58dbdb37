"""What the server adds to Streamlit's answers: safe headers, and files for the team only."""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

import streamlit as st
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse

from ui.services.roles import TEAM_FILE, AccessError, person_of, read_team
from ui.web.page.streamlit_internals import login_claims

Message = MutableMapping[str, Any]
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
AsgiApp = Callable[[Scope, Receive, Send], Awaitable[None]]

# Nothing from another address is loaded or told, whatever stands in a rope's name. The charts
# need 'unsafe-eval' (Vega compiles its expressions), photographs and the rope's view need blob:.
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        "connect-src 'self' ws: wss: blob: data:; worker-src 'self' blob:; object-src 'none'; "
        "base-uri 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
}


def security_middleware(app: AsgiApp) -> AsgiApp:
    """Return `app` with `HEADERS` on every answer, and with made files for the team only.

    A file that was made for a download lies under an address that can't be guessed, but could be
    passed on: with a team file it is handed only to whoever the login's cookie names with a role.
    """

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await app(scope, receive, send)
            return

        async def send_safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(raw=message["headers"])
                for name, value in HEADERS.items():
                    headers[name] = value
                if _is_made_file(scope["path"]):
                    headers["Cache-Control"] = "no-store"
                message["headers"] = headers.raw
            await send(message)

        closed = scope["path"].endswith("/_stcore/metrics") or (
            _is_made_file(scope["path"]) and not _has_role(Headers(scope=scope).get("cookie", ""))
        )
        refusal = PlainTextResponse("This is for people of the team; log in first.", 403)
        await (refusal if closed else app)(scope, receive, send_safely)

    return answer


def _is_made_file(path: str) -> bool:
    base = str(st.get_option("server.baseUrlPath") or "").strip("/")
    return path.startswith(f"/{base}/media/" if base else "/media/")


def _has_role(cookie: str) -> bool:
    """Say whether a request comes from a person with a role; everybody's is without a team file."""
    file = os.environ.get(TEAM_FILE)
    if not file:
        return True
    claims = login_claims(cookie)
    try:
        person = person_of(claims, read_team(file)) if claims.get("is_logged_in") else None
    except AccessError:
        return False
    return person is not None and bool(person.roles)
