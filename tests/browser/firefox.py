"""Firefox, driven through the standard WebDriver BiDi (w3.org/TR/webdriver-bidi)."""

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
CONTROL, TAB = "\ue009", "\ue004"  # as WebDriver names keys (w3.org/TR/webdriver2, 17.4.2)
# Helpers that look into shadow roots, too: `deep` finds elements by selector, `named` gives an
# element's name, `seen` says whether it is visible, `words` gives all the text.
DEEP = """
const deep = (selector, root = document) => [...root.querySelectorAll(selector),
  ...[...root.querySelectorAll('*')].filter(one => one.shadowRoot)
    .flatMap(one => deep(selector, one.shadowRoot))];
const named = one => (one.getAttribute('aria-label') || one.innerText || '').trim();
const seen = one => one.getClientRects().length && getComputedStyle(one).visibility !== 'hidden';
const words = () => [document.body, ...deep('section')].map(one => one.innerText).join('\\n')
"""
QUIET = "!document.querySelector('[data-test-script-state=running]')"


class Tab:
    """One tab of a headless Firefox."""

    def __init__(self, socket: Any) -> None:
        self._socket, self._number = socket, 0
        self.ask("session.new", capabilities={})
        self._context = self.ask("browsingContext.create", type="tab")["context"]

    def ask(self, method: str, **params: object) -> dict[str, Any]:
        """Send a command and return its result."""
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": params}))
        while True:
            reply = json.loads(self._socket.recv(timeout=PATIENCE_S))
            if reply.get("id") == self._number:
                assert reply["type"] == "success", reply
                result: dict[str, Any] = reply["result"]
                return result

    def goto(self, address: str) -> None:
        self.ask("browsingContext.navigate", context=self._context, url=address, wait="complete")

    def run(self, script: str) -> Any:
        """Return the value of an expression in the page: a text, a number, or None."""
        reply = self.ask(
            "script.evaluate",
            expression=script,
            target={"context": self._context},
            awaitPromise=True,
        )
        assert reply["type"] == "success", reply
        return reply["result"].get("value")

    def sees(self, script: str) -> bool:
        """Return whether an expression is true in the page."""
        return bool(self.run(f"(() => {{ {DEEP}; return Boolean({script}); }})()"))

    def wait(self, script: str) -> None:
        """Wait until an expression is true in the page."""
        until = time.monotonic() + PATIENCE_S
        while not self.sees(script):
            assert time.monotonic() < until, (script, self.words())
            time.sleep(0.2)

    def words(self) -> str:
        """Return the text on the page."""
        return str(self.run(f"(() => {{ {DEEP}; return words(); }})()"))

    def give(self, selector: str, *files: Path) -> None:
        """Choose files in a file field, as a person does."""
        element = self._node(f"deep({selector!r})[0]")
        named = [str(file) for file in files]
        self.ask("input.setFiles", context=self._context, element=element, files=named)

    def press(self, name: str) -> None:
        """Press the button or link whose name matches a pattern, once the page is idle."""
        time.sleep(0.6)  # the last input is still being sent
        self.wait(QUIET)
        self._point(f"deep('button, a').filter(seen).find(one => /{name}/.test(named(one)))")

    def fill(self, label: str, text: str) -> None:
        """Type into the field with this label, and leave it."""
        field = f"deep('input, textarea').filter(seen).find(one => named(one) === {label!r})"
        for _ in range(5):  # a redraw of the page may move it away from the pointer
            self._point(field)
            if self.sees(f"{field}?.getRootNode().activeElement === {field}"):
                break
        held = [("keyDown", CONTROL), ("keyDown", "a"), ("keyUp", "a"), ("keyUp", CONTROL)]
        typed = [(what, key) for key in (*text, TAB) for what in ("keyDown", "keyUp")]
        keys = [{"type": what, "value": key} for what, key in (*held, *typed)]
        self._act({"type": "key", "id": "keys", "actions": keys})

    def says(self, pattern: str) -> None:
        """Wait until a text appears on the page."""
        self.wait(f"/{pattern}/.test(words())")

    def _point(self, expression: str) -> None:
        self.wait(expression)
        node = self._node(expression, "node.scrollIntoView({block: 'center'})")
        at = {"type": "pointerMove", "x": 0, "y": 0, "origin": {"type": "element", "element": node}}
        press = [{"type": what, "button": 0} for what in ("pointerDown", "pointerUp")]
        self._act({"type": "pointer", "id": "mouse", "actions": [at, *press]})

    def _act(self, source: dict[str, Any]) -> None:
        self.ask("input.performActions", context=self._context, actions=[source])

    def _node(self, expression: str, act: str = "") -> dict[str, str]:
        script = f"(() => {{ {DEEP}; const node = {expression}; {act}; return node; }})()"
        reply = self.ask(
            "script.evaluate",
            expression=script,
            target={"context": self._context},
            awaitPromise=False,
        )
        assert reply["type"] == "success", reply
        return {"sharedId": reply["result"]["sharedId"]}

    def close(self) -> None:
        self.ask("browsingContext.close", context=self._context)


@contextmanager
def firefox(profile: Path, port: int) -> Iterator[Tab]:
    """Start Firefox with a profile, which keeps its data for the next start."""
    client = pytest.importorskip("websockets.sync.client", reason="Firefox is driven by websockets")
    program = shutil.which("firefox-esr") or shutil.which("firefox")
    if program is None:
        pytest.skip("this test needs Firefox (apt-get install firefox-esr)")
    profile.mkdir(exist_ok=True)
    (profile / "user.js").write_text(
        f'user_pref("browser.download.folderList", 2);\n'
        f'user_pref("browser.download.dir", "{profile}");\n'
        'user_pref("pdfjs.disabled", true);\n'
        'user_pref("browser.helperApps.neverAsk.saveToDisk", "application/pdf");\n',
        encoding="utf-8",
    )
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
