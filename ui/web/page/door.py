"""Who may talk to the server at all, decided from a request before Streamlit sees it.

One person on one machine: whoever has the token that `ropephoto page` made when it started, from a
page of the server's own address. A team: whoever is logged in and named by the team file. Without
a login, as `--without-login` says: everybody who reaches the server under a name that was stated.
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

from ui.services.access import logins
from ui.services.access.roles import (
    TEAM_FILE,
    AccessError,
    Person,
    accepts_unverified,
    person_of,
    read_team,
)
from ui.web.page.streamlit_internals import login_claims, login_link

Scope = MutableMapping[str, Any]
Who = Literal["nobody", "a stranger", "somebody"]

ORIGINS = "ROPE_PHOTO_ORIGINS"  # addresses of the pages, e.g. https://ropes.example.org
PHONES = "ROPE_PHOTO_PHONES"  # addresses for phones at the rope; empty where none may come
ONLY_HERE = "ROPE_PHOTO_ONLY_HERE"  # not empty: the pages are for this machine, phones' aside
TOKEN = "ROPE_PHOTO_TOKEN"  # of the one person on one machine; empty where anybody may come
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
# What the door itself is made of, and what a proxy asks for.
ALWAYS_OPEN = ("/_stcore/health", "/auth/login", "/auth/logout", "/oauth2callback")
NOT_NOW = "Nobody can log in just now. Tell whoever keeps these pages."


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who sends a request.

    Parameters
    ----------
    who : {"nobody", "a stranger", "somebody"}
        Without a login, with one that has no place here, or one who may come in.
    key : str
        What tells them from others: an e-mail address, or where they come from.
    """

    who: Who
    key: str


def origins() -> tuple[str, ...]:
    """Return the addresses under which the pages answer."""
    return tuple(one for one in os.environ.get(ORIGINS, "").split(",") if one)


def phones_origins() -> tuple[str, ...]:
    """Return the addresses under which phones reach the capture page; none where they may not."""
    return tuple(one for one in os.environ.get(PHONES, "").split(",") if one)


def is_for_phones(path: str) -> bool:
    """Say whether a path is one of the capture page's, which knows tokens of its own."""
    return path in PHONE_PATHS


def is_phones_address(scope: Scope) -> bool:
    """Say whether a request is for one of the addresses that phones use, and from such a page."""
    return _is_among(scope, (*phones_origins(), *origins()))


def is_from_this_machine(scope: Scope) -> bool:
    """Say whether a request comes from this machine, or from a proxy on it."""
    place = str((scope.get("client") or ("",))[0])
    try:
        return ip_address(place.split("%")[0]).is_loopback
    except ValueError:
        return False


def is_https() -> bool:
    """Say whether the pages are reached over HTTPS, by a proxy in front of them."""
    return any(one.startswith("https://") for one in origins())


def is_own_address(scope: Scope) -> bool:
    """Say whether a request is for one of the pages' addresses, and from one of their pages.

    A page of another port of this machine is another site's; only a websocket must say where it
    comes from (RFC 6455, 10.2), other requests say so where it matters.
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
    """Return a request's cookies; none where they can't be read."""
    try:
        read = SimpleCookie(Headers(scope=scope).get("cookie", ""))
    except CookieError:
        return {}
    return {name: one.value for name, one in read.items()}


def visitor(scope: Scope) -> Visitor:
    """Return who sends a request."""
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
    """Return whom of the team a login's claims mean; None while the team file can't be used."""
    try:
        file = os.environ[TEAM_FILE]
        return person_of(claims, read_team(file), unverified=accepts_unverified(file))
    except AccessError as wrong:
        logging.getLogger(__name__).error("%s", wrong)
        return None


def token_in(scope: Scope) -> bool:
    """Say whether a request's address carries the token of the one person."""
    token = os.environ.get(TOKEN, "")
    given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [""])[0]
    return bool(token and hmac.compare_digest(token.encode(), given.encode()))


def door_page(who: Who) -> tuple[int, str]:
    """Return status and page for somebody who does not come in: the same for whoever asks."""
    if not os.environ.get(TEAM_FILE):
        return 403, _page(
            "Open these pages by the address that `ropephoto page` printed when it started."
        )
    if who == "a stranger":
        return 403, _page(
            "This login has no role here. Ask whoever keeps the team file to enter its e-mail "
            "address, then open the page again.",
            ("/auth/logout", "Log out and come as somebody else"),
        )
    link = login_link()
    if link is None:
        return 503, _page(NOT_NOW)
    return 200, _page(
        "Log in to see the inspections that are yours to take, review or supervise.",
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
