"""How many presses are needed: for the first figure, and to see a station's previous inspection."""

from __future__ import annotations

import base64
import re
import shutil
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.record.record import open_record
from tests.browser.hands import fits, quiet
from ui.services.sample import sample_folder

if TYPE_CHECKING:
    from playwright.sync_api import Page

SAMPLE = "2026-09-quay-crane-2"
COUNT = """() => {
  window.presses = [];
  for (const what of ['click', 'keydown', 'drop'])
    addEventListener(what, () => presses.push(what), true);
}"""
DROP = """([name, data]) => {
  const bytes = Uint8Array.from(atob(data), one => one.charCodeAt(0)), carried = new DataTransfer();
  carried.items.add(new File([bytes], name, {type: 'image/jpeg'}));
  const zone = document.querySelector('.st-key-quick-look');
  const told = {bubbles: true, cancelable: true, dataTransfer: carried};
  for (const what of ['dragenter', 'dragover', 'drop'])
    zone.dispatchEvent(new DragEvent(what, told));
}"""


def test_the_first_figure_is_one_drop(page: Page, empty_pages: str) -> None:
    """No press: no rope, no form; the page is opened and one photograph dropped."""
    from playwright.sync_api import expect

    folder = sample_folder()
    if folder is None:
        pytest.skip("the sample photographs are not beside the program")
    page.goto(empty_pages)
    expect(page.get_by_text("Measure a photograph of a rope on its card")).to_be_visible()
    quiet(page)
    page.wait_for_timeout(500)
    page.evaluate(COUNT)
    data = base64.b64encode((folder / "station-3-view-90.jpg").read_bytes()).decode()
    page.evaluate(DROP, ["IMG_1.jpg", data])
    figure = page.get_by_test_id("stMetricValue")
    # the sample photograph (sample_images/truth.csv) with an unchecked print: known to 1 % only
    expect(figure).to_have_text(re.compile(r"^2[01]\.\d\d ± 0\.\d\d mm$"), timeout=120_000)
    assert page.evaluate("presses") == ["drop"]
    assert fits(page)


def test_the_same_station_last_time_stands_beside_it(
    page: Page, sample: Path, tmp_path: Path, serve: Callable[..., AbstractContextManager[str]]
) -> None:
    from playwright.sync_api import expect

    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    with open_record(tmp_path / "record.db") as record:
        there = record.inspection(SAMPLE)
        then = replace(there.inspection, identity="2025-09-before", on=date(2025, 9, 20))
        record.add_inspection(then, by="Inspector A")
        mine = [one for one in there.results if one.station == 3]
        for one in mine:
            data = record.photographs.get(one.photo_sha256)
            record.add_photograph(then.identity, data, name=one.photo_name, by="Inspector A")
        record.add_results(then.identity, mine, by="Inspector A")
    with serve(tmp_path) as address:
        page.goto(f"{address}/review?inspection={SAMPLE}&station=3")
        expect(page.get_by_text("Last time, 2025-09-20")).to_be_visible()
        for direction, figure in (("0", "21.46"), ("90", "21.18")):
            name = re.compile(rf"^Station 3 last time, {direction} degrees: .*{figure} ± ")
            before = page.get_by_role("img", name=name)
            expect(before.locator("image")).to_have_attribute("href", re.compile("^blob:"))
        quiet(page)
        assert fits(page)
        if (page.viewport_size or {"width": 0})["width"] > 1000:  # beside it, not below
            now = page.get_by_role("img", name="The rope on its card, 90 degrees").bounding_box()
            then_box = before.bounding_box()
            assert now is not None
            assert then_box is not None
            assert then_box["x"] > now["x"] + now["width"]
        # a station that was not photographed last time has nothing beside it
        page.goto(f"{address}/review?inspection={SAMPLE}&station=1")
        expect(page.get_by_text("Station 1 · agrees")).to_be_visible()
        quiet(page)
        expect(page.get_by_text("Last time, 2025-09-20")).to_have_count(0)
