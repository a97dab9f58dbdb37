"""Private parts of Streamlit: an untested release starts no pages and serves no file of a team."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path

import pytest

from tests.ui.test_access_answers import _door, answer, logged_in, team_file  # noqa: F401
from ui.web.page import downloads, streamlit_internals


def other_release(monkeypatch: pytest.MonkeyPatch, installed: str) -> None:
    monkeypatch.setattr(streamlit_internals, "version", lambda _: installed)


@pytest.mark.parametrize("installed", ["1.67.0", "1.67.3"])
def test_the_tested_release_and_its_bug_fixes_will_do(
    installed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    other_release(monkeypatch, installed)
    assert not streamlit_internals.version_fault()
    streamlit_internals.require_tested_version()


@pytest.mark.parametrize("installed", ["1.66.9", "1.68.0", "2.67.0", "1.6", "1.67rc1"])
def test_another_release_ends_the_server_with_one_sentence(
    installed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    other_release(monkeypatch, installed)
    with pytest.raises(
        SystemExit, match=rf"tested with Streamlit 1\.67, but {installed} is install"
    ):
        streamlit_internals.require_tested_version()


@pytest.mark.usefixtures("team_file")
def test_another_release_hands_out_no_file_of_a_team(monkeypatch: pytest.MonkeyPatch) -> None:
    cookie = logged_in()
    monkeypatch.setitem(downloads._owners, "abc.csv", {"a.berg@example.org"})
    assert answer("/media/abc.csv", cookie)[0] == 200
    other_release(monkeypatch, "1.68.0")
    assert answer("/media/abc.csv", cookie)[0] == 403


def test_the_server_asks_for_the_release_before_anything_else(tmp_path: Path) -> None:
    script = (
        "import ui.web.page.streamlit_internals as internals\n"
        "internals.TESTED = (1, 0)\n"
        "import ui.web.server"
    )
    project = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=project, capture_output=True, text=True
    )
    assert done.returncode == 1
    assert done.stderr.startswith("Error: the pages were tested with Streamlit 1.0")
    assert "Traceback" not in done.stderr


def test_the_private_parts_are_as_they_were_when_they_were_wrapped() -> None:
    from streamlit.runtime.backend_operation_handler import DeferredFileHandler
    from streamlit.web.server.starlette.starlette_websocket import _get_signed_cookie_with_chunks

    assert list(inspect.signature(_get_signed_cookie_with_chunks).parameters) == [
        "cookies",
        "cookie_name",
    ]
    assert inspect.iscoroutinefunction(DeferredFileHandler.handle)
    assert list(inspect.signature(DeferredFileHandler.handle).parameters) == [
        "self",
        "request",
        "session_id",
    ]
