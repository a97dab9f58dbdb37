"""A table of readings on the page: its mapping is shown, corrected, saved and reused."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.ui.sheet_hands import SAMPLE
from ui.services.column_names import kept_columns

# headings of an invented site that no list of headings knows; a decimal comma as it is typed
TABLE = b"Nr;vorn;seitlich\n7;22,24;22,17\n8;22,03;22,19\n"


@pytest.fixture
def sheet(sample_app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """Return the sheet of the sample inspection, with no mapping kept yet."""
    monkeypatch.setenv("ROPE_PHOTO_COLUMNS", str(tmp_path / "columns.json"))
    return clean(sample_app.run().switch_page("screens/sheet.py").run())


def clean(at: AppTest) -> AppTest:
    assert not at.exception
    assert not [one.value for one in at.error]
    return at


def kept() -> OpenInspection:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.inspection(SAMPLE)


def give(at: AppTest, data: bytes) -> AppTest:
    at.file_uploader[0].upload("yard.csv", data, "text/csv")
    return at.run()


def column(at: AppTest, heading: str) -> Any:
    return next(one for one in at.selectbox if one.label.startswith(heading))


def test_headings_are_corrected_and_the_mapping_is_kept_by_name(sheet: AppTest) -> None:
    at = give(sheet, TABLE)
    assert "column" in at.error[0].value
    assert "--column" not in at.error[0].value  # that is the command line's remedy
    column(at, "Nr").set_value("station")
    column(at, "vorn").set_value("0")
    column(at, "seitlich").set_value("90")
    at = clean(at.run())
    before = len(kept().readings)
    next(one for one in at.text_input if one.label == "Save this mapping as").set_value("yard")
    at = at.run()
    next(one for one in at.button if one.label == "Enter 4 readings").click()
    at = clean(at.run())
    added = kept().readings[before:]
    assert [(one.station, one.view_deg, one.typed) for one in added] == [
        (7, 0, "22,24"), (7, 90, "22,17"), (8, 0, "22,03"), (8, 90, "22,19")
    ]  # fmt: skip
    assert {one.person for one in added} == {"Reviewer B"}
    assert kept_columns("yard") == {"Nr": "station", "vorn": "0", "seitlich": "90"}

    at = give(at, TABLE)  # the next one of its kind
    next(one for one in at.selectbox if one.label == "Mapping").set_value("yard")
    at = clean(at.run())
    next(one for one in at.button if one.label == "Enter 4 readings").click()
    at = clean(at.run())
    assert any("4 rows were rejected" in one.value for one in at.success)
    assert len(kept().readings) == before + 4  # they are there already


def test_rows_of_other_inspections_are_left_out(sheet: AppTest) -> None:
    table = (
        "inspection,station,view_deg,typed\n"
        f"{SAMPLE},7,0,22.24\n"
        "2026-10-elsewhere,7,0,22.5\n"
    )  # fmt: skip
    before = len(kept().readings)
    at = clean(give(sheet, table.encode()))
    assert any("1 row belongs to other inspections" in one.value for one in at.info)
    next(one for one in at.button if one.label == "Enter 1 reading").click()
    clean(at.run())
    assert [one.typed for one in kept().readings[before:]] == ["22.24"]
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert [one.identity for one in record.ranked()] == [SAMPLE]
