"""The first step in a real browser: the sample inspection by one click."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page


@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["desk"])
def test_one_click_loads_the_sample_into_an_empty_record(page: Page, empty_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(empty_pages)
    page.get_by_role("button", name="Load the sample inspection").click()
    expect(page.get_by_text("The sample inspection is in the record")).to_be_visible(timeout=60_000)
    expect(page.get_by_text("22.11 was logged")).to_be_visible()
