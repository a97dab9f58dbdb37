"""Points marked on a photograph without a card: by mouse or finger, by arrow keys, and typed."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from inspection.record.record import open_record
from tests.browser.hands import fill, press, quiet

if TYPE_CHECKING:
    from playwright.sync_api import Page

BAR = Path(__file__).resolve().parents[2] / "sample_images" / "bar-16mm.jpg"
# two on the graduations of the card's 100 mm bar, two on the ground beside the 16.00 mm bar
POINTS = ((1411, 989), (2359, 939), (596, 1425), (606, 1775))


def test_four_points_on_a_photograph_give_a_diameter(
    page: Page, sample_pages: str, tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/scale")
    page.locator(".st-key-archive-in input[type=file]").set_input_files(BAR)
    picture = page.get_by_role("group", name="Photograph: set two points")
    expect(picture.locator("image")).to_have_attribute("href", re.compile("^blob:"))
    wide = float(picture.locator("image").get_attribute("width") or 0)
    for done, (x, y) in enumerate(POINTS, start=1):
        quiet(page)
        picture.scroll_into_view_if_needed()
        box = picture.bounding_box()
        assert box is not None
        scale = box["width"] / wide
        spot = {"x": x * scale, "y": y * scale}
        picture.click(position=spot)  # type: ignore[arg-type]
        expect(page.get_by_role("button", name=re.compile("^✓"))).to_have_count(done)
    quiet(page)
    first = page.get_by_role("slider", name="start of length")
    before = first.get_attribute("aria-valuetext") or ""
    first.press("ArrowRight")
    x = float(before.split(",")[0])
    expect(first).to_have_attribute("aria-valuetext", re.compile(f"^{re.escape(f'{x + 1:g}')}, "))
    page.wait_for_timeout(600)  # the new position is still being sent
    quiet(page)
    fill(page, "Length between the two points", "100 mm")
    quiet(page)
    fill(page, "Direction, °", "45")
    press(page, "Measure")
    expect(page.get_by_text(re.compile(r"^1[56]\.\d\d ± \d\.\d\d mm$"))).to_be_visible()
    seen = page.get_by_role("group", name="Photograph with the rule marks")
    expect(seen.locator("image")).to_have_attribute("href", re.compile("^blob:"))
    press(page, "Add to this inspection")
    expect(page.get_by_text("was added to station 1, 45°")).to_be_visible()
    with open_record(tmp_path / "record.db", create=False) as record:
        kept = record.inspection(record.ranked()[0].identity).results[-1]
    assert (kept.photo_name, kept.view_deg) == (BAR.name, 45)
