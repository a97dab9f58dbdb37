"""The address names the inspection: on every screen, after a reload, and for what is entered."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record

MORE = "2026-10-second"


@pytest.fixture
def two(sample_app: AppTest, tmp_path: Path) -> tuple[AppTest, str]:
    """Return the pages on a record of two inspections, and the name of the more urgent one."""
    with open_record(tmp_path / "record.db", create=False) as record:
        first = record.ranked()[0].identity
        other = replace(
            record.inspection(first).inspection, identity=MORE, on=date(2026, 10, 1), stations=()
        )
        record.add_inspection(other, by="Inspector A")
    return sample_app, first


def test_a_bare_address_is_completed_and_a_given_one_stays(two: tuple[AppTest, str]) -> None:
    at, first = two
    at.run()
    assert at.query_params["inspection"] == first
    at.query_params["inspection"] = MORE
    at.switch_page("screens/result.py").run()
    assert at.query_params["inspection"] == MORE
    assert not at.exception
    assert at.sidebar.selectbox[0].value == MORE


def test_choosing_another_inspection_changes_the_address(two: tuple[AppTest, str]) -> None:
    at, _ = two
    at.run()
    at.sidebar.selectbox[0].set_value(MORE).run()
    assert at.query_params == {"inspection": MORE}
