"""A server on a record of its own, and a browser before it; skipped where there is no browser."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ROOT = Path(__file__).resolve().parents[2]
# No call leaves the machine; a container has neither a GPU nor a sandbox for the browser.
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 15_000  # a busy machine with two cores; nothing waits that long by itself


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
    """Return a folder with a record of the sample inspection; not to be written to."""
    from inspection.record import open_record
    from ui.sample import load_sample, sample_folder

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


def _served(folder: Path) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = os.environ | {"ROPE_PHOTO_PERSON_FILE": str(folder / "person.json")}
    (folder / "person.json").write_text('{"person": "Reviewer B"}', encoding="utf-8")
    command = [sys.executable, "-m", "ui.cli", "page", "--no-browser", "--port", str(port)]
    server = subprocess.Popen(
        [*command, "--record", str(folder / "record.db")], cwd=ROOT, env=environment,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    told = f"http://127.0.0.1:{port}"
    try:
        _wait(told, server)
        yield told
    finally:
        server.terminate()
        server.wait(timeout=20)


def _wait(address: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        assert server.poll() is None, "the pages ended before they answered"
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the pages did not answer within a minute")


@pytest.fixture(params=[(1280, 900), (360, 780)], ids=["desk", "phone"])
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """Yield a page at desk and at phone width; fingers on the phone."""
    width, height = request.param
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=width < 600, is_mobile=width < 600
    )
    context.set_default_timeout(PATIENCE_MS)
    opened = context.new_page()
    yield opened
    context.close()
