"""Working alone: the name is the one that the user gives, and nothing is recorded without one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record

NAMELESS = (
    "Enter your name in the sidebar first (» opens it on a phone): it is recorded with everything "
    "you enter."
)


@pytest.fixture
def nameless(tmp_path: Path, sample_app: AppTest, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    (tmp_path / "person.json").unlink()
    monkeypatch.setenv("LOGNAME", "an-account")  # of the operating system: nobody's name
    return sample_app


def own_name(at: AppTest) -> str:
    return str(next(one for one in at.text_input if one.label == "Your name").value)


def errors(at: AppTest) -> list[str]:
    return [one.value.replace("\\", "") for one in at.error]


def last_event() -> int:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.last_event()


def test_until_a_name_is_given_nothing_is_recorded(nameless: AppTest) -> None:
    before = last_event()
    at = nameless.run()
    assert own_name(at) == ""
    at.button[0].click().run()  # load the sample inspection
    assert errors(at) == [NAMELESS]
    assert last_event() == before

    next(one for one in at.text_input if one.label == "Your name").set_value("C. Holm").run()
    assert (own_name(at), len(at.error)) == ("C. Holm", 0)
    at.switch_page("screens/start.py").run()
    assert own_name(at) == "C. Holm"


@pytest.mark.parametrize("screen", ["rope", "cards", "result", "review", "supervise", "equipment"])
def test_every_screen_can_be_read_without_a_name(nameless: AppTest, screen: str) -> None:
    at = nameless.run().switch_page(f"screens/{screen}.py").run()
    assert not at.error
    assert not at.exception


def test_the_sheet_takes_no_entries_without_a_name(
    nameless: AppTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ui.presenters.sheet.station_sheet import StationSheet
    from ui.web.panels import sheet_fields

    locked: list[bool] = []

    def shown(sheet: StationSheet, *_: object, **__: object) -> str:
        locked.append(sheet.locked)
        return ""

    monkeypatch.setattr(sheet_fields, "show_sheet", shown)
    at = nameless.run().switch_page("screens/sheet.py").run()
    assert NAMELESS in [one.value for one in at.info]
    next(one for one in at.text_input if one.label == "Your name").set_value("C. Holm").run()
    assert NAMELESS not in [one.value for one in at.info]
    assert (locked[0], locked[-1]) == (True, False)


def test_a_name_that_is_emptied_is_no_longer_recorded(sample_app: AppTest) -> None:
    before = last_event()
    at = sample_app.run()
    next(one for one in at.text_input if one.label == "Your name").set_value("  ").run()
    at.button[0].click().run()
    assert errors(at) == [NAMELESS]
    assert last_event() == before
