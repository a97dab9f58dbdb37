"""The layer between the network and Streamlit: admission, quotas, and security headers."""

from __future__ import annotations

import os
import re
import time
from collections import Counter, defaultdict, deque
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

import streamlit as st
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from ui.environment import ONLY_HERE, TEAM_FILE, TOKEN
from ui.services.access import logins
from ui.web.page.door import (
    ALWAYS_OPEN,
    LOGIN_COOKIE,
    TOKEN_COOKIE,
    Visitor,
    door_page,
    is_for_phones,
    is_from_this_machine,
    is_https,
    is_own_address,
    is_phones_address,
    phones_origins,
    token_in,
    visitor,
)
from ui.web.page.downloads import owners_of
from ui.web.page.streamlit_internals import claims_set, login_claims, may_be_asked

Message = MutableMapping[str, Any]
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
AsgiApp = Callable[[Scope, Receive, Send], Awaitable[None]]

# Nothing is loaded from or sent to another address, whatever a rope's name contains. The charts
# need 'unsafe-eval' (Vega compiles its expressions); photographs and the rope view need blob:.
POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self' {socket} blob: data:; worker-src 'self' blob:; object-src 'none'; "
    "base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
)
# The capture page is small and self-contained: no inline script and no other source.
PHONE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": (
        "camera=(), microphone=(), geolocation=(), payment=(), usb=(), serial=(), "
        "bluetooth=(), hid=(), midi=(), display-capture=(), browsing-topics=()"
    ),
}
HSTS = "max-age=31536000"

# Quotas for one user, and for all users together.
MOST_SOCKETS, MOST_SOCKETS_EACH = 300, 20
MOST_UPLOADS, MOST_UPLOAD_BYTES, WINDOW_S = 800, 4_000_000_000, 600.0
_sockets: Counter[str] = Counter()
_uploads: defaultdict[str, deque[tuple[float, int]]] = defaultdict(deque)


def security_middleware(app: AsgiApp) -> AsgiApp:
    """Return `app` behind the admission check: only admitted requests reach it.

    A file made for a download is delivered only to the user for whom it was made.
    """

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await _socket(app, scope, receive, send)
        elif scope["type"] == "http":
            await _request(app, scope, receive, _with_headers(scope, send))
        else:
            await app(scope, receive, send)

    return answer


async def _request(app: AsgiApp, scope: Scope, receive: Receive, send: Send) -> None:
    path = _inner_path(scope["path"])
    if path == "/_stcore/health":  # proxies and the starting command use any host name
        await app(scope, receive, send)
        return
    refusal = _refusal(scope, path)
    if refusal is not None:
        await refusal(scope, receive, send)
    elif path in ("/auth/logout", "/oauth2callback"):
        await app(scope, receive, _keeping_logins(scope, path, send))
    else:
        await app(scope, receive, send)


def _refusal(scope: Scope, path: str) -> Response | None:
    """Return the response to a request that is not admitted; None if it is."""
    if is_for_phones(path):
        return _phones_refusal(scope)
    if not is_own_address(scope) or path == "/_stcore/metrics" or _from_outside(scope):
        return PlainTextResponse("These pages do not answer at this address.", 403)
    if path in ALWAYS_OPEN and os.environ.get(TEAM_FILE):
        return None
    if token_in(scope):
        return _let_in(path)
    who = visitor(scope)
    if who.who != "somebody":
        if scope["method"] in ("GET", "HEAD") and "." not in path and not path.startswith("/_"):
            status, page = door_page(who.who)
            return HTMLResponse(page, status, headers={"Cache-Control": "no-store"})
        return PlainTextResponse("Log in first.", 403)
    if path.startswith(("/_stcore/upload_file", "/uploads/")) and scope["method"] == "PUT":
        return _upload_refusal(scope, who)
    made = path.startswith("/media/") and bool(os.environ.get(TEAM_FILE))
    if made and who.key not in owners_of(path):
        return PlainTextResponse("This file belongs to another user.", 403)
    return None


def _phones_refusal(scope: Scope) -> Response | None:
    """Return the response to a capture-page request that is refused outright."""
    if not phones_origins() or not is_phones_address(scope):
        return PlainTextResponse("These pages do not answer at this address.", 403)
    if scope["method"] not in ("GET", "HEAD", "PUT"):
        return PlainTextResponse("The capture page does not use this method.", 405)
    return None


def _from_outside(scope: Scope) -> bool:
    """Say whether pages restricted to this machine are requested from another one."""
    return bool(os.environ.get(ONLY_HERE)) and not is_from_this_machine(scope)


def _let_in(path: str) -> Response:
    """Move the token from the address to a cookie."""
    answer = RedirectResponse(path, 303)
    answer.set_cookie(TOKEN_COOKIE, os.environ[TOKEN], httponly=True, samesite="strict")
    return answer


def _upload_refusal(scope: Scope, who: Visitor) -> Response | None:
    """Refuse an upload that does not state its size or exceeds the user's quota."""
    try:
        size = int(Headers(scope=scope)["content-length"])
    except (KeyError, ValueError):
        return PlainTextResponse("The upload does not state its size.", 411)
    if size > (st.get_option("server.maxUploadSize") + 1) * 1024 * 1024:
        return PlainTextResponse("The file is too large.", 413)
    sent, now = _uploads[who.key], time.monotonic()
    while sent and now - sent[0][0] > WINDOW_S:
        sent.popleft()
    if len(sent) >= MOST_UPLOADS or size + sum(one for _, one in sent) > MOST_UPLOAD_BYTES:
        return PlainTextResponse("Too many uploads; continue in ten minutes.", 429)
    sent.append((now, size))
    return None


async def _socket(app: AsgiApp, scope: Scope, receive: Receive, send: Send) -> None:
    """Admit a browser's connection for as long as its login lasts."""
    who = visitor(scope)
    # without logins all users behind a proxy look like one
    each = MOST_SOCKETS_EACH if os.environ.get(TEAM_FILE) else MOST_SOCKETS
    full = sum(_sockets.values()) >= MOST_SOCKETS or _sockets[who.key] >= each
    if not is_own_address(scope) or _from_outside(scope) or who.who != "somebody" or full:
        await receive()
        await send({"type": "websocket.close", "code": 1008})  # before acceptance: a 403
        return

    async def receive_checked() -> Message:
        while True:
            message = await receive()
            if message["type"] != "websocket.receive":
                return message
            if visitor(scope).who != "somebody":  # logged out elsewhere, or removed from the team
                await send({"type": "websocket.close", "code": 1008})
                return {"type": "websocket.disconnect", "code": 1008}
            if may_be_asked(message.get("bytes") or b""):
                return message

    _sockets[who.key] += 1
    try:
        await app(scope, receive_checked, send)
    finally:
        _sockets[who.key] -= 1


def _keeping_logins(scope: Scope, path: str, send: Send) -> Send:
    """Return `send` that records a new login, and ends the logins of a user who logs out."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=list(message["headers"]))
            if path == "/auth/logout":
                claims = login_claims(Headers(scope=scope).get("cookie", ""))
                if claims.get("email"):
                    logins.end_all(str(claims["email"]))
            elif email := claims_set(headers.getlist("set-cookie")).get("email"):
                headers.append(
                    "set-cookie",
                    f"{LOGIN_COOKIE}={logins.begin(str(email))}; HttpOnly; SameSite=Lax; Path=/; "
                    f"Max-Age={logins.LONGEST_S}",
                )
            message["headers"] = [
                (name, _shorter(value) if name.lower() == b"set-cookie" else value)
                for name, value in headers.raw
            ]
        await send(message)

    return sending


def _shorter(cookie: bytes) -> bytes:
    """Return a cookie that lasts no longer than a login."""
    lasting = re.compile(rb"max-age=(\d+)", re.IGNORECASE)
    return lasting.sub(lambda found: b"Max-Age=%d" % min(int(found[1]), logins.LONGEST_S), cookie)


def _with_headers(scope: Scope, send: Send) -> Send:
    host = Headers(scope=scope).get("host", "")
    socket = f"{'wss' if is_https() else 'ws'}://{host}" if is_own_address(scope) else ""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=list(message["headers"]))
            phone = is_for_phones(_inner_path(scope["path"]))
            headers["Content-Security-Policy"] = (
                PHONE_POLICY if phone else POLICY.format(socket=socket)
            )
            for name, value in HEADERS.items():
                headers[name] = value
            if is_https():
                headers["Strict-Transport-Security"] = HSTS
            if _inner_path(scope["path"]).startswith("/media/"):
                headers["Cache-Control"] = "no-store"
            message["headers"] = [
                (name, _secure(value) if name.lower() == b"set-cookie" else value)
                for name, value in headers.raw
            ]
        await send(message)

    return sending


def _secure(cookie: bytes) -> bytes:
    if is_https() and b"; secure" not in cookie.lower():
        return cookie + b"; Secure"
    return cookie


def _inner_path(path: str) -> str:
    """Return a path relative to the base address of the pages."""
    base = str(st.get_option("server.baseUrlPath") or "").strip("/")
    return path.removeprefix(f"/{base}") or "/" if base else path
