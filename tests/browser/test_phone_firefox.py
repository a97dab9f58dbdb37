"""The phone's page in a second engine, with the server stopped and the browser ended midway."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from inspection.record.record import open_record
from tests.browser.conftest import free_port
from tests.browser.firefox import firefox
from tests.browser.test_phone import FOLDER, Serve, folder, there
from ui.environment import LOGINS_FILE
from ui.services.access import phone_tokens
from ui.services.access.phone_tokens import Grant

GOOD = "document.querySelector('#last li.good')?.innerText.includes('{}')"
assert folder  # a fixture, found by its name


def test_a_server_that_is_gone_and_a_browser_that_is_ended_lose_nothing(
    serve: Serve, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert FOLDER is not None
    monkeypatch.setenv(LOGINS_FILE, str(tmp_path / "logins.db"))
    where = str(folder / "record.db")
    open_record(where).close()
    token = phone_tokens.begin(
        Grant(where, "visit", "Reviewer B", "", "demo-set", time.time() + 3600)
    )
    port, phones = free_port(), ("--phones", "--host", "127.0.0.1")
    with firefox(tmp_path / "profile", free_port()) as tab:
        with serve(folder, *phones, port=port) as pages:
            tab.goto(f"{pages}/phone/#{token}")
            tab.wait("document.querySelector('#next').textContent === 'Station 1 · 0°'")
            tab.give("#camera", FOLDER / "station-1-view-00.jpg")
            tab.wait(GOOD.format("station 1, 0°"))
        tab.give("#camera", FOLDER / "station-1-view-90.jpg")
        tab.run(
            "document.querySelector('#typed').value = '22,24';"
            "document.querySelector('#reading').requestSubmit()"
        )
        tab.wait("document.querySelector('#pending').textContent.startsWith('2 waiting')")
    assert (len(there(folder).photographs), len(there(folder).readings)) == (1, 0)
    with (
        serve(folder, *phones, port=port) as pages,
        firefox(tmp_path / "profile", free_port()) as tab,
    ):
        tab.goto(f"{pages}/phone/")
        tab.wait(GOOD.format("station 1, 90°"))
        tab.wait("document.querySelector('#pending').textContent === ''")
    now = there(folder)
    assert [one.name.partition(" ")[0] for one in now.photographs] == ["phone", "phone"]
    assert [(one.typed, one.station, one.view_deg) for one in now.readings] == [("22,24", 1, 0)]
    assert now.readings[0].blind is True
