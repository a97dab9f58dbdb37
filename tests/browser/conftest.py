"""A server with its own record, and a browser; skipped if there is no browser."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.record.record import open_record

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from tests.browser.oidc_provider import Provider

ROOT = Path(__file__).resolve().parents[2]
# No request leaves the machine; a container has neither a GPU nor a sandbox for the browser.
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 60_000  # for a busy machine with two cores; on an idle one nothing takes this long


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    api = pytest.importorskip(
        "playwright.sync_api", reason="the browser tests need the Python package playwright"
    )
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    chromium = chromium or shutil.which("google-chrome")
    if chromium is None:
        pytest.skip("the browser tests need Chromium (apt-get install chromium)")
    api.expect.set_options(timeout=PATIENCE_MS)
    with api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield started
        started.close()


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Path:
    """Return a folder with a record of the sample inspection; tests must not write to it."""
    from ui.services.sample import load_sample, sample_folder

    folder = sample_folder()
    if folder is None:
        pytest.skip("the sample photographs are not beside the program")
    place = tmp_path_factory.mktemp("sample")
    with open_record(place / "record.db") as record:
        load_sample(record, folder, by="Reviewer B")
    return place


@pytest.fixture
def empty_pages(browser: Browser, tmp_path: Path) -> Iterator[str]:
    """Yield the address of the pages on an empty record."""
    yield from _served(tmp_path)


@pytest.fixture
def sample_pages(sample: Path, tmp_path: Path) -> Iterator[str]:
    """Yield the address of the pages on a copy of the sample record."""
    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    yield from _served(tmp_path)


@pytest.fixture
def serve(browser: Browser) -> Callable[..., AbstractContextManager[str]]:
    """Return a function that serves a folder's record during a ``with``; `port` fixes the port."""
    return contextmanager(_served)


TEAM = """
[people."a@example.org"]
name = "Inspector A"
roles = ["inspector"]

[people."c@example.org"]
name = "Inspector C"
roles = ["inspector"]

[people."b@example.org"]
name = "Reviewer B"
roles = ["inspector", "reviewer"]

[people."d@example.org"]
name = "Supervisor D"
roles = ["supervisor"]
"""


@pytest.fixture(scope="module")
def team_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a team's record; team.toml names its people and their roles."""
    return tmp_path_factory.mktemp("team")


@pytest.fixture(scope="module")
def team_pages(sample: Path, team_folder: Path) -> Iterator[tuple[str, Provider]]:
    """Yield the address of a team's pages and the provider where its people log in.

    The sample inspection is Inspector A's; "2026-10-c-only" is Inspector C's.
    """
    provider_of = pytest.importorskip(
        "tests.browser.oidc_provider", reason="the login test needs joserfc"
    )
    pytest.importorskip("authlib", reason="the login needs the extra team")

    folder = team_folder
    shutil.copytree(sample, folder, dirs_exist_ok=True)
    with open_record(folder / "record.db") as record:
        there = record.ranked()[0]
        other = replace(
            record.inspection(there.identity).inspection, identity="2026-10-c-only",
            inspector="Inspector C", on=date(2026, 10, 1),
        )  # fmt: skip
        record.add_inspection(other, by="Inspector C")
    people: dict[str, dict[str, object]] = {
        f"{letter}@example.org": {"email_verified": True} for letter in "abcd"
    }
    people["stranger@example.org"] = {"email_verified": True, "name": "A Stranger"}
    with provider_of.serving(people) as provider:
        port = free_port()
        provider.redirect_uri = f"http://127.0.0.1:{port}/oauth2callback"
        login = {
            "redirect_uri": provider.redirect_uri,
            "cookie_secret": "0123456789abcdef0123456789abcdef",
            "client_id": provider_of.CLIENT,
            "client_secret": provider_of.SECRET,
            "server_metadata_url": f"{provider.issuer}/.well-known/openid-configuration",
        }
        team = folder / "team.toml"
        section = "".join(f'{name} = "{value}"\n' for name, value in login.items())
        team.write_text(f"[auth]\n{section}{TEAM}", encoding="utf-8")
        for address in _served(folder, "--team", str(team), port=port):
            yield address, provider


@pytest.fixture
def nasty_pages(browser: Browser, tmp_path: Path) -> Iterator[str]:
    """Yield the address of pages on a record in which every typed text is markup."""
    from tests.ui.test_access_markup import nasty_record

    nasty_record(tmp_path / "record.db")
    yield from _served(tmp_path)


def free_port() -> int:
    """Return a port of this machine on which nothing listens."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def _served(folder: Path, *more: str, port: int = 0) -> Iterator[str]:
    port = port or free_port()
    environment = os.environ | {
        "ROPE_PHOTO_PERSON_FILE": str(folder / "person.json"),
        "ROPE_PHOTO_COLUMNS": str(folder / "columns.json"),
        "ROPE_PHOTO_CAMERAS": str(folder / "cameras.json"),
    }
    (folder / "person.json").write_text('{"person": "Reviewer B"}', encoding="utf-8")
    command = [sys.executable, "-m", "ui.cli.main", "page", "--no-browser", "--port", str(port)]
    if "--team" not in more:  # the token made at the start has its own test
        command.append("--without-login")
    open_record(folder / "record.db").close()
    server = subprocess.Popen(
        [*command, "--record", str(folder / "record.db"), *more], cwd=ROOT, env=environment,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    address = f"http://127.0.0.1:{port}"
    try:
        _wait(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=20)


def _wait(address: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 240  # a busy machine
    while time.monotonic() < until:
        assert server.poll() is None, "the page server ended before it answered"
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the pages did not answer within four minutes")


@pytest.fixture(params=[(1280, 900), (360, 780)], ids=["desk", "phone"])
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """Yield a page at desktop and at phone width; touch input on the phone."""
    width, height = request.param
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=width < 600, is_mobile=width < 600
    )
    context.set_default_timeout(PATIENCE_MS)
    opened = context.new_page()
    yield opened
    context.close()
