"""Photographing with a phone: the next place, the button and the result, without scrolling."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import open_record
from tests.browser.conftest import PATIENCE_MS
from tests.browser.hands import fits, reading_field
from ui.services.sample import sample_folder

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

FOLDER = sample_folder() or Path("sample_images")


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    context.set_default_timeout(PATIENCE_MS)
    yield context.new_page()
    context.close()


def test_next_station_photograph_and_result_need_no_scrolling(
    phone: Page, serve: Callable[..., AbstractContextManager[str]], tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("quay crane 2", 22.0), by="Reviewer B")
        stations = tuple(Station(number, 10.0 * number) for number in range(1, 21))
        record.add_inspection(
            Inspection("visit", "quay crane 2", date(2026, 11, 2), stations=stations),
            by="Reviewer B",
        )
    with serve(tmp_path) as pages:
        phone.goto(f"{pages}/sheet?inspection=visit")
        take = phone.get_by_role("button", name="Photograph", exact=True)
        for name, seen, coming in (
            ("station-1-view-00.jpg", r"^Station 1, 0°: 22\.\d\d ± 0\.\d\d mm$", "station 1, 90°"),
            ("station-1-view-90.jpg", r"^Station 1, 90°: 22\.\d\d ± 0\.\d\d mm$", "station 2, 0°"),
            ("refuse-tilted.jpg", "^Station 5, 0°: no diameter$", "station 2, 0°"),
        ):
            expect(take).to_be_in_viewport(ratio=1)
            with phone.expect_file_chooser() as chooser:
                take.click()
            chooser.value.set_files(str(FOLDER / name))
            result = phone.get_by_role("button", name=re.compile(seen))
            expect(result).to_be_in_viewport(ratio=1)
            expect(phone.get_by_text(f"Next: {coming}")).to_be_in_viewport(ratio=1)
        expect(phone.get_by_text("The phone was tilted 48 degrees").first).to_be_visible()
        scrolled = "document.querySelector('[data-testid=stMain]').scrollTop"
        assert phone.evaluate(scrolled) == 0
        assert fits(phone)
        result.click()  # the reading of that place is typed next
        field = reading_field(phone, 5, 0)
        expect(field).to_be_focused()
        expect(field).to_be_in_viewport(ratio=1)
        bar = phone.locator(".bar").bounding_box()
        box = field.bounding_box()
        assert bar is not None
        assert box is not None
        assert box["y"] + box["height"] <= bar["y"]  # the bar does not cover it
