"""The server's answers: who gets in, headers on everything, downloads only for their owner."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from tests.ui.asgi_hands import answer_of
from ui import environment
from ui.services.access import logins
from ui.services.access.roles import AccessError
from ui.web.page import door, downloads, security

TEAM = """
[people."a.berg@example.org"]
name = "A. Berg"
roles = ["inspector"]

[people."b@example.org"]
name = "B. Lind"
roles = ["reviewer"]
"""
HOST, ORIGIN = "ropes.example.org", "https://ropes.example.org"
VERIFIED = '{{"is_logged_in": true, "email": "{}", "email_verified": true}}'
BERG = VERIFIED.format("a.berg@example.org")


@pytest.fixture(autouse=True)
def _door(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("ROPE_PHOTO_TEAM", raising=False)
    monkeypatch.setenv(environment.LOGINS_FILE, str(tmp_path / "logins.db"))
    monkeypatch.setenv(environment.ORIGINS, ORIGIN)
    monkeypatch.setenv(environment.TOKEN, "")
    security._uploads.clear()
    security._sockets.clear()
    downloads._owners.clear()


@pytest.fixture
def team_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "team.toml"
    file.write_text(TEAM, encoding="utf-8")
    monkeypatch.setenv("ROPE_PHOTO_TEAM", str(file))
    return file


Reached = list[str]


def asked(
    path: str, cookie: str = "", *, method: str = "GET", query: str = "", sets: str = "",
    reached: Reached | None = None, **headers: str,
) -> tuple[int, dict[str, str], str]:  # fmt: skip
    """Return status, headers and text of an answer, with a stand-in for Streamlit."""

    async def streamlit(scope: Any, receive: Any, send: Any) -> None:
        if reached is not None:
            reached.append(scope["path"])
        set_cookie = [(b"set-cookie", sets.encode())] if sets else []
        await send({"type": "http.response.start", "status": 200, "headers": set_cookie})
        await send({"type": "http.response.body", "body": b"", "more_body": False})

    app = security.security_middleware(streamlit)
    given = {"host": HOST, "cookie": cookie, **headers}
    status, got, body = answer_of(app, method, path, given, query=query)
    return status, got, body.decode()


def answer(path: str, cookie: str = "", **more: Any) -> tuple[int, dict[str, str]]:
    return asked(path, cookie, **more)[:2]


def socket(
    cookie: str = "", messages: tuple[bytes, ...] = (), **headers: str
) -> tuple[bool, list[bytes]]:
    """Return whether a websocket was accepted, and which of its messages were."""
    got: list[bytes] = []
    came: list[bool] = []
    listed = iter([{"type": "websocket.connect"},
                   *({"type": "websocket.receive", "bytes": one} for one in messages),
                   {"type": "websocket.disconnect", "code": 1000}])  # fmt: skip

    async def streamlit(scope: Any, receive: Any, send: Any) -> None:
        came.append(True)
        assert (await receive())["type"] == "websocket.connect"
        while (message := await receive())["type"] == "websocket.receive":
            got.append(message["bytes"])
            if b"log out" in message["bytes"]:
                logins.end_all("a.berg@example.org")

    async def receive() -> dict[str, Any]:
        return next(listed)

    async def send(message: Any) -> None:
        assert message["type"] == "websocket.close"

    given = {"host": HOST, "origin": ORIGIN, "cookie": cookie, **headers}
    scope = {
        "type": "websocket", "path": "/_stcore/stream", "client": ("192.0.2.7", 1234),
        "headers": [(name.encode(), value.encode("latin-1"))
                    for name, value in given.items() if value],
    }  # fmt: skip
    asyncio.run(security.security_middleware(streamlit)(scope, receive, send))
    return bool(came), got


def logged_in(claims: str = BERG) -> str:
    """Return the cookies of somebody who logged in."""
    email = re.search('"email": "([^"]*)"', claims)
    return f"{signed(claims)}; {door.LOGIN_COOKIE}={logins.begin(email[1] if email else '')}"


def test_every_answer_has_the_headers_that_keep_strangers_pages_out() -> None:
    status, headers = answer("/")
    assert status == 200
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert "camera=(), microphone=()" in headers["permissions-policy"]
    assert headers["strict-transport-security"].startswith("max-age=")
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "form-action 'self'" in policy
    assert f"connect-src 'self' wss://{HOST} blob: data:;" in policy
    assert "http" not in policy  # no other address is named
    assert "ws:" not in policy


def test_over_plain_http_nothing_promises_https(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(environment.ORIGINS, "http://127.0.0.1:8501")
    _, headers = answer("/", host="127.0.0.1:8501")
    assert "strict-transport-security" not in headers
    assert "connect-src 'self' ws://127.0.0.1:8501 blob:" in headers["content-security-policy"]


def signed(claims: str) -> str:
    """Return the login's cookie as Streamlit signs it (its own function, its own secret)."""
    from streamlit.web.server.server_util import get_cookie_secret
    from streamlit.web.server.starlette.starlette_app_utils import create_signed_value

    name = USER_COOKIE_NAME
    return f"{name}={create_signed_value(get_cookie_secret(), name, claims).decode()}"


NOBODY = [
    "", signed(VERIFIED.format("a.berg@example.org")),  # the provider's cookie alone
    f"{door.LOGIN_COOKIE}=made-up", "a=b; c", f"{USER_COOKIE_NAME}=x",
]  # fmt: skip


@pytest.mark.parametrize("cookie", NOBODY)
def test_before_the_login_nothing_reaches_the_pages(team_file: Path, cookie: str) -> None:
    # a websocket without a login could upload without limit, clear everybody's caches and have
    # files prepared (OWASP ASVS 4.0, 4.1.1 and 12.1.1, from memory)
    reached: Reached = []
    status, headers, page = asked("/", cookie, reached=reached)
    assert (status, headers["cache-control"]) == (200, "no-store")
    assert "Log in to see the inspections" in page
    for path in ("/review", "/_stcore/host-config", "/_stcore/stream", "/media/abc.csv",
                 "/_stcore/metrics", "/component/x/index.html", "/static/js/index.js"):  # fmt: skip
        asked(path, cookie, reached=reached)
    for method in ("PUT", "DELETE", "POST"):
        put = asked("/_stcore/upload_file/s/f", cookie, method=method, reached=reached,
                    content_length="9")  # fmt: skip
        assert put[0] == 403
    assert socket(cookie, (b"x",)) == (False, [])
    assert reached == []


def test_strangers_are_told_one_sentence_whatever_the_team_file_holds(team_file: Path) -> None:
    stranger = logged_in(VERIFIED.format("x@example.org"))
    told = asked("/", stranger)
    assert told[0] == 403
    assert "This login has no role here." in told[2]
    team_file.write_text("[people", encoding="utf-8")  # being edited just now
    assert asked("/", stranger)[2] == told[2] == asked("/", logged_in())[2]
    for secret in (str(team_file), "TOML", "example.org", "Berg"):
        assert secret not in told[2]


@pytest.mark.parametrize(
    ("claims", "comes_in"),
    [
        (BERG, True),
        (BERG.replace("a.berg", "A.Berg"), True),
        (BERG.replace('"email_verified": true', '"email_verified": false'), False),
        ('{"is_logged_in": true, "email": "a.berg@example.org"}', False),  # nobody says verified
        (BERG.replace("true, ", "false, ", 1), False),
        ('{"is_logged_in": true, "email_verified": true}', False),
        ("[1]", False),
        ("no json", False),
    ],
)
def test_people_of_the_team_come_in_and_nobody_else(
    team_file: Path, claims: str, comes_in: bool
) -> None:
    reached: Reached = []
    cookie = logged_in(claims)
    asked("/review", cookie, reached=reached)
    assert bool(reached) is comes_in
    assert socket(cookie)[0] is comes_in


def test_an_address_of_which_the_provider_says_nothing_counts_where_the_file_says_so(
    team_file: Path,
) -> None:
    silent = '{"is_logged_in": true, "email": "a.berg@example.org"}'
    team_file.write_text("[login]\naccept_unverified_email = true\n" + TEAM, encoding="utf-8")
    assert socket(logged_in(silent))[0]
    denied = silent.replace("}", ', "email_verified": false}')
    assert not socket(logged_in(denied))[0]


def rerun() -> bytes:
    asked_for = BackMsg()
    asked_for.rerun_script.query_string = ""
    return asked_for.SerializeToString()


def log_out() -> bytes:
    asked_for = BackMsg()
    asked_for.rerun_script.query_string = "log out"
    return asked_for.SerializeToString()


def test_what_no_page_needs_is_not_passed_on() -> None:
    unwanted = [BackMsg(clear_cache=True), BackMsg(debug_shutdown_runtime=True),
                BackMsg(set_run_on_save=True)]  # fmt: skip
    install = BackMsg()
    install.backend_operation_request.install_skills.SetInParent()
    sent = [one.SerializeToString() for one in (*unwanted, install)]
    assert socket("", (*sent, b"\xff\xff no message", rerun())) == (True, [rerun()])


def test_a_logout_ends_every_connection_at_its_next_word(team_file: Path) -> None:
    cookie = logged_in()
    assert socket(cookie, (rerun(), log_out(), rerun())) == (True, [rerun(), log_out()])
    assert not socket(cookie)[0]


def test_a_login_ends_everywhere_by_logout_and_after_12_hours(
    team_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, there = logged_in(), logged_in()
    other = logged_in(VERIFIED.format("b@example.org"))
    assert socket(here)[0]
    assert socket(there)[0]
    asked("/auth/logout", here)
    assert not socket(here)[0]
    assert not socket(there)[0]  # a copy of the cookie, too
    assert socket(other)[0]
    later = logins.time.time() + 12 * 3600 + 1
    monkeypatch.setattr(logins, "time", SimpleNamespace(time=lambda: later))
    assert not socket(other)[0]


def test_a_login_of_one_person_is_not_anothers(team_file: Path) -> None:
    token = logged_in().split("; ")[1]
    other = signed(VERIFIED.format("b@example.org"))
    assert not socket(f"{other}; {token}")[0]


def test_who_is_taken_out_of_the_team_file_is_out_at_once(team_file: Path) -> None:
    cookie = logged_in()
    assert socket(cookie)[0]
    team_file.write_text(TEAM.replace("a.berg@", "z.berg@"), encoding="utf-8")
    assert not socket(cookie)[0]


def test_a_login_gets_its_token_and_cookies_that_only_the_pages_see(team_file: Path) -> None:
    sets = f"{signed(BERG)}; HttpOnly; Path=/; SameSite=lax; Max-Age=2592000"
    said: list[str] = []

    async def streamlit(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 302,
                    "headers": [(b"set-cookie", sets.encode())]})  # fmt: skip

    async def send(message: Any) -> None:
        said.extend(value.decode() for name, value in message["headers"] if name == b"set-cookie")

    scope = {"type": "http", "method": "GET", "path": "/oauth2callback", "query_string": b"",
             "headers": [(b"host", HOST.encode())], "client": None}  # fmt: skip
    asyncio.run(security.security_middleware(streamlit)(scope, None, send))  # type: ignore[arg-type]
    assert len(said) == 2
    for cookie in said:
        assert "HttpOnly" in cookie
        assert cookie.endswith("; Secure")
        assert "Max-Age=43200" in cookie
    cookies = "; ".join(one.split(";")[0] for one in said)
    assert socket(cookies)[0]


# ---- the one person on one machine ------------------------------------------------------------


@pytest.fixture
def alone(monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv(environment.ORIGINS, "http://127.0.0.1:8501,http://localhost:8501")
    monkeypatch.setenv(environment.TOKEN, "the-token-of-this-start")
    return f"{door.TOKEN_COOKIE}=the-token-of-this-start"


@pytest.mark.fault(
    "one person's pages, requested by another account or by a page on another port",
    "`Open these pages at the address that ropephoto page printed ...` or nothing (403)",
)
def test_only_the_token_of_the_start_gives_access_to_the_record(alone: str) -> None:
    here = "127.0.0.1:8501"
    reached: Reached = []
    for cookie in ("", f"{door.TOKEN_COOKIE}=guess", f"{door.TOKEN_COOKIE}="):
        status, _, page = asked("/", cookie, host=here, reached=reached)
        assert status == 403
        assert "at the address that `ropephoto page` printed" in page
        assert asked("/media/a.csv", cookie, host=here, reached=reached)[0] == 403
        assert not socket(cookie, host=here, origin=f"http://{here}")[0]
    assert asked("/", "", host=here, query="token=guess", reached=reached)[0] == 403
    assert reached == []
    status, headers, _ = asked("/", "", host=here, query="token=the-token-of-this-start")
    assert (status, headers["location"]) == (303, "/")
    assert "HttpOnly" in headers["set-cookie"]
    assert "SameSite=strict" in headers["set-cookie"]
    assert asked("/", alone, host=here, reached=reached)[0] == 200
    assert socket(alone, host=here, origin=f"http://{here}")[0]


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        ("127.0.0.1:8501", "http://127.0.0.1:9000"),  # a page of another port
        ("127.0.0.1:8501", "https://127.0.0.1:8501"),
        ("127.0.0.1:8501", "http://evil.example"),
        ("127.0.0.1:8501", "null"),
        ("127.0.0.1:8501", ""),
        ("evil.example", "http://evil.example"),  # a name that leads here (DNS rebinding)
        ("evil.example:8501", "http://127.0.0.1:8501"),
        ("127.0.0.1", "http://127.0.0.1"),
    ],
)
def test_pages_of_other_addresses_talk_to_nobody_here(alone: str, host: str, origin: str) -> None:
    assert not socket(alone, host=host, origin=origin)[0]
    if origin:
        assert answer("/", alone, host=host, origin=origin)[0] == 403
    elif host != "127.0.0.1:8501":
        assert answer("/", alone, host=host)[0] == 403


# ---- how much ------------------------------------------------------------------------------


def put(cookie: str, size: int | str) -> int:
    return asked("/_stcore/upload_file/s/f", cookie, method="PUT", content_length=str(size))[0]


def test_uploads_have_a_budget_of_bytes_and_of_number(
    team_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cookie, other = logged_in(), logged_in(VERIFIED.format("b@example.org"))
    assert put(cookie, "") == 411
    assert put(cookie, "many") == 411
    assert put(cookie, 300_000_000) == 413
    monkeypatch.setattr(security, "MOST_UPLOAD_BYTES", 100_000_000)
    assert [put(cookie, 39_000_000) for _ in range(3)] == [200, 200, 429]
    assert put(other, 39_000_000) == 200
    monkeypatch.setattr(security, "MOST_UPLOADS", 2)
    assert put(other, 1) == 200
    assert put(other, 1) == 429
    later = security.time.monotonic() + security.WINDOW_S + 1
    monkeypatch.setattr(security, "time", SimpleNamespace(monotonic=lambda: later))
    assert put(other, 1) == 200


def test_connections_are_counted(team_file: Path) -> None:
    cookie = logged_in()
    security._sockets["a.berg@example.org"] = security.MOST_SOCKETS_EACH - 1
    assert socket(cookie)[0]
    security._sockets["a.berg@example.org"] = security.MOST_SOCKETS_EACH
    assert not socket(cookie)[0]
    assert socket(logged_in(VERIFIED.format("b@example.org")))[0]
    security._sockets["others"] = security.MOST_SOCKETS
    assert not socket(logged_in(VERIFIED.format("b@example.org")))[0]


# ---- made files --------------------------------------------------------------------------------


@pytest.mark.fault(
    "the address of a prepared download, opened by another team member or without a login",
    "nothing (403)",
)
def test_a_prepared_download_belongs_to_one_person(team_file: Path) -> None:
    # one inspector could download another's table by its link
    downloads._owners["abc.csv"].add("a.berg@example.org")
    assert answer("/media/abc.csv", logged_in())[0] == 200
    assert answer("/media/abc.csv", logged_in(VERIFIED.format("b@example.org")))[0] == 403
    assert answer("/media/other.csv", logged_in())[0] == 403
    assert answer("/media/abc.csv")[0] == 403


def test_a_file_is_made_for_the_session_that_its_button_was_drawn_in() -> None:
    async def handle(request: Any, session_id: str) -> Any:
        downloads.note_owner("a.berg@example.org", "session 1")
        return SimpleNamespace(error_msg="", deferred_file=SimpleNamespace(url="/media/new.csv"))

    asyncio.run(downloads._with_reason(handle, None, "session 1"))
    assert downloads.owners_of("/media/new.csv") == {"a.berg@example.org"}
    with pytest.raises(AccessError, match="belongs to another user"):
        asyncio.run(downloads._with_reason(handle, None, "session 2"))


def test_without_a_team_files_are_handed_out_and_figures_about_the_server_are_not() -> None:
    status, headers = answer("/media/abc.csv")
    assert (status, headers["cache-control"]) == (200, "no-store")
    assert answer("/_stcore/metrics")[0] == 403
