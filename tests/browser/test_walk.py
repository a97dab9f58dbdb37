"""The first step in a browser: the sample inspection is loaded with one click."""

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
    expect(page.get_by_role("heading", name="3 Stations")).to_be_visible(timeout=120_000)
    expect(page.get_by_text("0.93 apart").first).to_be_visible()  # the mistyped reading
    assert page.evaluate("location.search") == "?inspection=2026-09-quay-crane-2"
