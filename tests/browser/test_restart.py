"""The database server stopped and restarted while pages are open in a browser."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.record.record import open_record
from tests.browser.hands import press, press_until, reading_field, type_reading
from tests.inspection.conftest import hand, new_database, postgres, server  # noqa: F401

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.inspection.conftest import Server


@pytest.mark.fault(
    "the database server restarts, in a browser",
    "the record's message, and `Try again`; once it answers, every field shows what was typed",
)
def test_typed_text_is_restored_once_the_database_is_back(
    page: Page,
    serve: Callable[..., AbstractContextManager[str]],
    server: Server,  # noqa: F811
    new_database: str,  # noqa: F811
    tmp_path: Path,
) -> None:
    from playwright.sync_api import expect

    from ui.services.sample import load_sample, sample_folder

    folder = sample_folder()
    if folder is None:
        pytest.skip("the sample photographs are not beside the program")
    store = tmp_path / "photographs"
    with open_record(new_database, photographs=store) as record:
        identity = load_sample(record, folder, by="Reviewer B")
    no_answer = page.get_by_text("does not answer")
    with serve(tmp_path, "--record", new_database, "--photographs", str(store)) as address:
        page.goto(f"{address}/review")
        page.get_by_role("button", name="Send back").first.click()
        reason = page.get_by_label("What should the inspector do?", exact=True)
        expect(reason).to_be_visible()
        page.wait_for_timeout(1000)  # a redraw would discard the words
        reason.fill("read station 3 again")
        server.stop()
        try:
            page.get_by_role("button", name="Send back").first.click()
            expect(no_answer).to_be_visible()
            press(page, "Try again")
            expect(no_answer).to_have_count(1)
        finally:
            server.start()
        press_until(page, "Try again", reason)
        expect(reason).to_have_value("read station 3 again")
        page.wait_for_timeout(1000)
        page.get_by_role("button", name="Send back").first.click()
        expect(page.get_by_text("Station 3: sent back.")).to_be_visible()

        page.goto(f"{address}/sheet")
        expect(reading_field(page, 5, 0)).to_be_visible()
        server.stop()
        try:
            type_reading(page, 5, 0, "22,41")
            expect(no_answer).to_be_visible()
        finally:
            server.start()
        press_until(page, "Try again", reading_field(page, 5, 0))
        expect(reading_field(page, 5, 0)).to_have_value("22,41")  # the browser kept it
        type_reading(page, 5, 90, "22,39")
        expect(page.get_by_text("saving …")).to_have_count(0)
    with open_record(new_database, photographs=store) as record:
        there = record.inspection(identity)
        assert there.station_reviews[-1].why == "read station 3 again"
        assert [one.typed for one in there.readings[-2:]] == ["22,41", "22,39"]
        assert record.verify().sound
