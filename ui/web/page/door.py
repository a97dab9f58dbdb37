"""Admission to the server, decided from a request before Streamlit sees it.

One person on one machine: a request is admitted with the token that `ropephoto page` made when it
started, from a page of the server's own address. A team: the user must be logged in and listed in
the team file. With `--without-login`: anybody who reaches the server under one of its stated names.
"""

from __future__ import annotations

import hmac
import html
import logging
import os
from collections.abc import MutableMapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import Any, Literal
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers

from ui.environment import ORIGINS, PHONES, TEAM_FILE, TOKEN
from ui.services.access import logins
from ui.services.access.roles import AccessError, Person, accepts_unverified, person_of, read_team
from ui.web.page.streamlit_internals import login_claims, login_link

Scope = MutableMapping[str, Any]
Who = Literal["nobody", "a stranger", "somebody"]

TOKEN_COOKIE, LOGIN_COOKIE = "rope_photo_page", "rope_photo_login"
PHONE_PATHS = frozenset(
    f"/phone/{name}"
    for name in (
        "",
        "capture.js",
        "capture.css",
        "offline.js",
        "state",
        "photographs",
        "readings",
    )
)
# The login itself, and the health check of a proxy.
ALWAYS_OPEN = ("/_stcore/health", "/auth/login", "/auth/logout", "/oauth2callback")
NOT_NOW = "Login is not available just now. Tell the administrator of these pages."


@dataclass(frozen=True, slots=True)
class Visitor:
    """The sender of a request.

    Parameters
    ----------
    who : {"nobody", "a stranger", "somebody"}
        Not logged in, logged in without a role here, or admitted.
    key : str
        Identifies the sender: an e-mail address or a network address.
    """

    who: Who
    key: str


def origins() -> tuple[str, ...]:
    """Return the addresses under which the pages answer."""
    return tuple(one for one in os.environ.get(ORIGINS, "").split(",") if one)


def phones_origins() -> tuple[str, ...]:
    """Return the addresses under which phones reach the capture page; none without access."""
    return tuple(one for one in os.environ.get(PHONES, "").split(",") if one)


def is_for_phones(path: str) -> bool:
    """Say whether a path belongs to the capture page, which has tokens of its own."""
    return path in PHONE_PATHS


def is_phones_address(scope: Scope) -> bool:
    """Say whether a request is for one of the phones' addresses, and from a page there."""
    return _is_among(scope, (*phones_origins(), *origins()))


def is_from_this_machine(scope: Scope) -> bool:
    """Say whether a request comes from this machine, or from a proxy on it."""
    place = str((scope.get("client") or ("",))[0])
    try:
        return ip_address(place.split("%")[0]).is_loopback
    except ValueError:
        return False


def is_https() -> bool:
    """Say whether the pages are reached over HTTPS, through a proxy in front of them."""
    return any(one.startswith("https://") for one in origins())


def is_own_address(scope: Scope) -> bool:
    """Say whether a request is for one of the pages' addresses, and from a page there.

    A page on another port of this machine counts as another site. Only a websocket must state its
    origin (RFC 6455, 10.2); other requests state it where it matters.
    """
    return _is_among(scope, origins())


def _is_among(scope: Scope, known: tuple[str, ...]) -> bool:
    headers = Headers(scope=scope)
    if headers.get("host", "").lower() not in {urlsplit(one).netloc.lower() for one in known}:
        return False
    origin = headers.get("origin")
    if origin is None:
        return bool(scope["type"] != "websocket")
    return origin.lower() in {one.lower() for one in known}


def cookies_of(scope: Scope) -> dict[str, str]:
    """Return a request's cookies; none if they can't be read."""
    try:
        read = SimpleCookie(Headers(scope=scope).get("cookie", ""))
    except CookieError:
        return {}
    return {name: one.value for name, one in read.items()}


def visitor(scope: Scope) -> Visitor:
    """Return the sender of a request."""
    place = str((scope.get("client") or ("somewhere",))[0])
    if os.environ.get(TEAM_FILE):
        return _of_team(scope, place)
    token = os.environ.get(TOKEN, "")
    given = cookies_of(scope).get(TOKEN_COOKIE, "")
    if token and not hmac.compare_digest(token.encode(), given.encode()):
        return Visitor("nobody", place)
    return Visitor("somebody", place)


def _of_team(scope: Scope, place: str) -> Visitor:
    claims = login_claims(Headers(scope=scope).get("cookie", ""))
    email = str(claims.get("email") or "")
    token = cookies_of(scope).get(LOGIN_COOKIE, "")
    if not (claims.get("is_logged_in") and token and logins.goes_on(token, email)):
        return Visitor("nobody", place)
    return Visitor("somebody" if member(claims) else "a stranger", email)


def member(claims: MutableMapping[str, Any]) -> Person | None:
    """Return the team member a login's claims identify; None if the team file can't be used."""
    try:
        file = os.environ[TEAM_FILE]
        return person_of(claims, read_team(file), unverified=accepts_unverified(file))
    except AccessError as wrong:
        logging.getLogger(__name__).error("%s", wrong)
        return None


def token_in(scope: Scope) -> bool:
    """Say whether a request's address contains the token of the single user."""
    token = os.environ.get(TOKEN, "")
    given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [""])[0]
    return bool(token and hmac.compare_digest(token.encode(), given.encode()))


def door_page(who: Who) -> tuple[int, str]:
    """Return status and page for a visitor who is not admitted, whatever they asked for."""
    if not os.environ.get(TEAM_FILE):
        return 403, _page(
            "Open these pages at the address that `ropephoto page` printed when it started."
        )
    if who == "a stranger":
        return 403, _page(
            "This login has no role here. Ask the keeper of the team file to add its e-mail "
            "address, then open the page again.",
            ("/auth/logout", "Log out and use another login"),
        )
    link = login_link()
    if link is None:
        return 503, _page(NOT_NOW)
    return 200, _page(
        "Log in to see the inspections that you carry out, review or supervise.",
        (link, "Log in"),
    )


def _page(words: str, button: tuple[str, str] | None = None) -> str:
    shown = ""
    if button is not None:
        link, label = (html.escape(one, quote=True) for one in button)
        shown = f'<p><a role="button" href="{link}">{label}</a></p>'
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<title>Rope Photo Check</title><style>body{font:16px/1.5 sans-serif;max-width:34rem;"
        "margin:10vh auto;padding:0 1rem;color:#262730}a{display:inline-block;padding:.7rem 1.2rem;"
        "background:#0B5FA5;color:#fff;text-decoration:none;border-radius:.4rem}</style></head>"
        f"<body><main><h1>Rope Photo Check</h1><p>{html.escape(words)}</p>{shown}</main></body>"
        "</html>"
    )
