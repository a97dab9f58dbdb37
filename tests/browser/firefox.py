"""Firefox, driven by the standard that it speaks: WebDriver BiDi (w3.org/TR/webdriver-bidi)."""

from __future__ import annotations

import json
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

PATIENCE_S = 60.0


class Tab:
    """One tab of a Firefox without a window."""

    def __init__(self, socket: Any) -> None:
        self._socket, self._number = socket, 0
        self.ask("session.new", capabilities={})
        self._context = self.ask("browsingContext.create", type="tab")["context"]

    def ask(self, method: str, **params: object) -> dict[str, Any]:
        """Send a command and return its result."""
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": params}))
        while True:
            told = json.loads(self._socket.recv(timeout=PATIENCE_S))
            if told.get("id") == self._number:
                assert told["type"] == "success", told
                result: dict[str, Any] = told["result"]
                return result

    def goto(self, address: str) -> None:
        self.ask("browsingContext.navigate", context=self._context, url=address, wait="complete")

    def run(self, script: str) -> Any:
        """Return what an expression gives in the page: a text, a number, or None."""
        told = self.ask(
            "script.evaluate",
            expression=script,
            target={"context": self._context},
            awaitPromise=True,
        )
        assert told["type"] == "success", told
        return told["result"].get("value")

    def wait(self, script: str) -> None:
        """Wait until an expression is true in the page."""
        until = time.monotonic() + PATIENCE_S
        while not self.run(f"Boolean({script})"):
            assert time.monotonic() < until, self.run("document.body.innerText")
            time.sleep(0.2)

    def give(self, selector: str, file: Path) -> None:
        """Choose a file in a field, as a person does."""
        (found,) = self.ask(
            "browsingContext.locateNodes",
            context=self._context,
            locator={"type": "css", "value": selector},
        )["nodes"]
        element = {"sharedId": found["sharedId"]}
        self.ask("input.setFiles", context=self._context, element=element, files=[str(file)])

    def close(self) -> None:
        self.ask("browsingContext.close", context=self._context)


@contextmanager
def firefox(profile: Path, port: int) -> Iterator[Tab]:
    """Start Firefox with a profile; what it keeps stays there for the next start."""
    client = pytest.importorskip("websockets.sync.client", reason="Firefox is driven by websockets")
    program = shutil.which("firefox-esr") or shutil.which("firefox")
    if program is None:
        pytest.skip("this test needs Firefox (apt-get install firefox-esr)")
    profile.mkdir(exist_ok=True)
    command = [program, "--headless", "--no-remote", f"--remote-debugging-port={port}"]
    started = subprocess.Popen(
        [*command, "--profile", str(profile)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        until = time.monotonic() + PATIENCE_S
        while True:
            try:
                socket = client.connect(f"ws://127.0.0.1:{port}/session", max_size=None)
                break
            except OSError:
                assert time.monotonic() < until, "Firefox did not answer"
                time.sleep(0.2)
        with socket:
            yield Tab(socket)
    finally:
        started.terminate()
        started.wait(timeout=20)
