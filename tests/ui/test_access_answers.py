"""The server's answers: headers on all of them, and made files for people of the team only."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

from ui.web.page import security

TEAM = """
[people."a.berg@example.org"]
name = "A. Berg"
roles = ["inspector"]
"""


@pytest.fixture
def team_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "team.toml"
    file.write_text(TEAM, encoding="utf-8")
    monkeypatch.setenv("ROPE_PHOTO_TEAM", str(file))
    return file


def answer(path: str, cookie: str = "") -> tuple[int, dict[str, str]]:
    """Return status and headers of what the server says with a stand-in for Streamlit."""
    said: list[Any] = []

    async def streamlit(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"", "more_body": False})

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        said.append(message)

    scope = {"type": "http", "method": "GET", "path": path, "headers": []}
    if cookie:
        scope["headers"] = [(b"cookie", cookie.encode("latin-1"))]
    asyncio.run(security.security_middleware(streamlit)(scope, receive, send))
    headers = {name.decode().lower(): value.decode() for name, value in said[0]["headers"]}
    return said[0]["status"], headers


def test_every_answer_has_the_headers_that_keep_strangers_pages_out() -> None:
    status, headers = answer("/")
    assert status == 200
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "http" not in policy  # no other address is named


def signed(claims: str) -> str:
    """Return the login's cookie as Streamlit signs it (its own function, its own secret)."""
    from streamlit.web.server.server_util import get_cookie_secret
    from streamlit.web.server.starlette.starlette_app_utils import create_signed_value

    name = USER_COOKIE_NAME
    return f"{name}={create_signed_value(get_cookie_secret(), name, claims).decode()}"


@pytest.mark.parametrize(
    ("claims", "status"),
    [
        ('{"is_logged_in": true, "email": "a.berg@example.org"}', 200),
        ('{"is_logged_in": false, "email": "a.berg@example.org"}', 403),
        ('{"is_logged_in": true, "email": "stranger@example.org"}', 403),
        ('{"is_logged_in": true}', 403),
        ("[1]", 403),
        ("no json", 403),
    ],
)
def test_a_made_file_is_handed_to_people_of_the_team_only(
    team_file: Path, claims: str, status: int
) -> None:
    assert answer("/media/abc.csv", signed(claims))[0] == status
    assert answer("/static/media/font.woff2")[0] == 200  # what the login page itself is made of


def test_a_forged_cookie_opens_nothing(team_file: Path) -> None:
    good = signed('{"is_logged_in": true, "email": "a.berg@example.org"}')
    forged = good[:-3] + ("AAA" if good[-3:] != "AAA" else "BBB")
    for cookie in ("", forged, "a=b; c", f"{USER_COOKIE_NAME}=x"):
        assert answer("/media/abc.csv", cookie)[0] == 403
    team_file.write_text("[people", encoding="utf-8")  # being edited just now
    assert answer("/media/abc.csv", good)[0] == 403


def test_without_a_team_files_are_handed_out_and_figures_about_the_server_are_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("ROPE_PHOTO_TEAM", raising=False)
    status, headers = answer("/media/abc.csv")
    assert (status, headers["cache-control"]) == (200, "no-store")
    assert answer("/_stcore/metrics")[0] == 403
