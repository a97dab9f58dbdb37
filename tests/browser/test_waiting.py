"""Photographs that come and are left: another page, a reload, a kill; none vanishes."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.browser.conftest import PATIENCE_MS
from tests.browser.hands import quiet
from ui.services.sample import sample_folder
from vision.target.print_scale import check_to_dict, load_print_checks

if TYPE_CHECKING:
    from playwright.sync_api import Page

Serve = Callable[..., AbstractContextManager[str]]
FOLDER = sample_folder()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    assert FOLDER is not None
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("quay crane 2", 22.0), by="Reviewer B")
        for name, check in load_print_checks(FOLDER / "print_checks.json").items():
            record.add_print_check(name, check_to_dict(check), by="Reviewer B")
        stations = tuple(Station(number, 10.0 * number) for number in (1, 2, 3, 4))
        record.add_inspection(
            Inspection("visit", "quay crane 2", date(2026, 11, 2), stations=stations),
            by="Reviewer B",
        )
    return tmp_path


def there(folder: Path) -> OpenInspection:
    with open_record(folder / "record.db") as record:
        return record.inspection("visit")


def give_eight(page: Page, pages: str) -> None:
    assert FOLDER is not None
    page.set_default_timeout(PATIENCE_MS)
    page.goto(f"{pages}/sheet?inspection=visit")
    eight = sorted(FOLDER.glob("station-*.jpg"))
    assert len(eight) == 8
    page.set_input_files("input[type=file]", [str(path) for path in eight])
    page.get_by_text(re.compile(r"\d waiting")).first.wait_for()


def all_figures(folder: Path) -> None:
    until = time.monotonic() + 120
    while len(there(folder).results) < 8:
        assert time.monotonic() < until, there(folder).waiting
        time.sleep(0.2)
    now = there(folder)
    assert len(now.photographs) == 8
    assert not now.waiting


def test_eight_photographs_and_another_page_meanwhile(
    page: Page, serve: Serve, folder: Path
) -> None:
    with serve(folder) as pages:
        began = time.monotonic()
        give_eight(page, pages)
        page.goto(f"{pages}/cards?inspection=visit")  # away, and at once
        page.get_by_text(re.compile(r"\d waiting")).first.wait_for()  # said there, too
        all_figures(folder)
        print(f"all figures after {time.monotonic() - began:.1f} s")
        page.get_by_text(re.compile(r"\d waiting")).first.wait_for(state="detached")


def test_eight_photographs_and_a_reload_meanwhile_figures_appear_by_themselves(
    page: Page, serve: Serve, folder: Path
) -> None:
    with serve(folder) as pages:
        give_eight(page, pages)
        page.reload()
        page.get_by_text(re.compile(r"22\.\d\d")).first.wait_for()  # nobody pressed anything
        all_figures(folder)
        page.get_by_text(re.compile(r"\d waiting")).first.wait_for(state="detached")
        quiet(page)
        assert not page.get_by_text("could not be shown").count()
