"""A download that is refused when its button is pressed: the reason is shown beside it."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import pytest
from streamlit.proto.BackMsg_pb2 import BackendOperationRequest
from streamlit.runtime.backend_operation_handler import DeferredFileHandler
from streamlit.runtime.media_file_manager import MediaFileManager
from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage

from inspection.record.errors import RecordError
from tests.ui.test_access_pages import SAMPLE, As, as_person, sampled, team_of  # noqa: F401
from ui.services.access.roles import Person, read_team
from ui.web.page import downloads, login, session

Press = Callable[[Callable[[], bytes | str]], tuple[str, str]]
TEAM = {"a": ("Inspector A", ("inspector",)), "d": ("Supervisor D", ("supervisor",))}


@pytest.fixture
def press(monkeypatch: pytest.MonkeyPatch) -> Press:
    """Return what presses a download button: Streamlit's own way from the button to the file."""
    monkeypatch.setattr(DeferredFileHandler, "handle", DeferredFileHandler.handle)  # put back
    downloads.patch_download_handler()
    files = MediaFileManager(MemoryMediaFileStorage("/media"))
    handler = DeferredFileHandler(lambda: files)

    def pressed(make: Callable[[], bytes | str]) -> tuple[str, str]:
        name = files.add_deferred(make, "text/csv", "delta", "readings.csv") if make else "gone"
        request = BackendOperationRequest(request_id="1")
        request.deferred_file.file_id = name
        answer = asyncio.run(handler.handle(request, ""))
        return answer.deferred_file.url, answer.error_msg

    return pressed


@pytest.fixture
def team(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "team.toml"
    file.write_text(team_of(TEAM), encoding="utf-8")
    monkeypatch.setenv("ROPE_PHOTO_TEAM", str(file))
    return file


def drawn_for(monkeypatch: pytest.MonkeyPatch, team: Path, letter: str) -> Person:
    person = read_team(str(team))[f"{letter}@example.org"]
    monkeypatch.setattr(login, "authorized_user", lambda: person)
    return person


@pytest.mark.fault(
    "a download by somebody who has lost their role",
    "beside the button: `This page is for the supervisor; ...`",
)
def test_a_lost_role_is_reported_beside_the_button(
    press: Press, team: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn_for(monkeypatch, team, "d")
    make = login.guard_download(lambda: b"the file", "supervise")
    url, told = press(make)
    assert url.startswith("/media/")
    assert told == ""
    team.write_text(team_of({"d": ("Supervisor D", ("inspector",))}), encoding="utf-8")
    url, told = press(make)
    assert url == ""
    assert told.startswith("This page is for the supervisor")


@pytest.mark.fault(
    "a download from an inspection that is no longer theirs",
    "beside the button: `There is no inspection ... that you can see; ...`",
)
def test_an_inspection_that_is_no_longer_theirs_is_reported(
    press: Press,
    sampled: As,  # noqa: F811
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawn_for(monkeypatch, tmp_path / "team.toml", "c")
    make = login.guard_download(
        lambda: b"the file", "result", lambda who: session.require_access(SAMPLE, who)
    )
    url, told = press(make)
    assert url == ""
    assert told.startswith(f"There is no inspection '{SAMPLE}' that you can see")
    drawn_for(monkeypatch, tmp_path / "team.toml", "a")
    make = login.guard_download(
        lambda: b"the file", "result", lambda who: session.require_access(SAMPLE, who)
    )
    assert press(make)[0].startswith("/media/")


@pytest.mark.fault(
    "a download that can't be prepared",
    "beside the button: the record's message, or that there was a program error",
)
def test_a_file_that_can_not_be_made_says_why(
    press: Press, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("ROPE_PHOTO_TEAM", raising=False)
    monkeypatch.setattr(login, "authorized_user", lambda: login.local_user("Reviewer B"))

    def asleep() -> bytes:
        raise RecordError("The record's database x does not answer; is it running?")

    def broken() -> bytes:
        raise KeyError("a fault")

    assert press(login.guard_download(asleep, "result")) == (
        "",
        "The record's database x does not answer; is it running?",
    )
    assert press(login.guard_download(broken, "result")) == ("", downloads.FAULT)


@pytest.mark.fault(
    "a download from a page opened before the server's restart",
    "beside the button: `The file could not be made: the page was opened before a restart. "
    "Open it again.`",
)
def test_a_page_from_before_a_restart_says_to_open_it_again(press: Press) -> None:
    files = press(lambda: b"the file")
    assert files[0].startswith("/media/")
    assert press(None) == ("", downloads.GONE)  # type: ignore[arg-type]


def test_the_server_says_its_reasons(monkeypatch: pytest.MonkeyPatch) -> None:
    before = DeferredFileHandler.handle
    monkeypatch.setattr(DeferredFileHandler, "handle", before)  # put back afterwards
    monkeypatch.delitem(sys.modules, "ui.web.server", raising=False)
    import_module("ui.web.server")
    assert DeferredFileHandler.handle is not before
