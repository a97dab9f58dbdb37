"""The pages in a real browser, few and whole: load the sample, supervise, review, look closer."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page


def quiet(page: Page) -> None:
    """Wait until the script behind the page has run to its end."""
    page.wait_for_function("!document.querySelector('[data-test-script-state=running]')")


def seen_part(picture: Locator) -> list[float]:
    """Return the part of the photograph that is shown: x, y, width, height, px."""
    return [float(text) for text in (picture.get_attribute("viewBox") or "").split()]


@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["desk"])
def test_one_click_loads_the_sample_into_an_empty_record(page: Page, empty_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(empty_pages)
    page.get_by_role("button", name="Load the sample inspection").click()
    expect(page.get_by_text("The sample inspection is in the record")).to_be_visible(timeout=60_000)
    expect(page.get_by_text("22.11 was logged")).to_be_visible()


def test_supervisor_leads_to_the_wrong_entry_and_reviewer_decides(
    page: Page, sample_pages: str
) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/supervise")
    expect(page.get_by_text("1. station 3, 90 deg")).to_be_visible()
    quiet(page)  # a link that is drawn anew while it is pressed does nothing
    page.get_by_role("link", name="See the photograph").first.click()
    expect(page).to_have_url(re.compile("/review"))

    # both pairs of lines on the photograph, both edges magnified, nothing wider than the screen
    expect(page.get_by_text("logged 22.11 = 22.11")).to_be_visible()
    picture = page.get_by_role("img", name="The rope on its card")
    expect(picture.locator("image")).to_have_attribute("href", re.compile("^blob:"))
    for pair in ("logged", "photograph"):
        expect(picture.locator(f"polyline.{pair}")).to_have_count(2)
    for edge in ("left", "right"):
        expect(page.get_by_role("img", name=f"The {edge} edge, magnified")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")

    # looked at from nearer, by keyboard
    before = seen_part(picture)
    picture.focus()
    page.keyboard.press("+")
    nearer = seen_part(picture)
    assert nearer[2] < before[2]
    page.keyboard.press("ArrowRight")
    assert seen_part(picture)[0] > nearer[0]
    page.get_by_role("button", name="Whole photograph").first.click()
    assert seen_part(picture)[2] == pytest.approx(4000, rel=0.01)

    # sent back with a reason; the next one is there at once, and is accepted
    quiet(page)
    page.get_by_label("Reason", exact=True).fill("read it again")
    page.get_by_label("Reason", exact=True).press("Enter")
    quiet(page)
    page.get_by_role("button", name=re.compile("^Send back")).click()
    expect(page.get_by_text("Station 3: sent back.")).to_be_visible()
    quiet(page)
    page.get_by_role("button", name=re.compile(r"^Accept(?! the)")).click()
    expect(page.get_by_text(": accepted.")).to_be_visible()
    expect(page.get_by_text("2 of 3 decided")).to_be_visible()


def test_an_edge_and_a_station_are_dragged(page: Page, sample_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/photographs")
    page.get_by_text("Correct an edge by hand").click()
    edge = page.get_by_role("slider", name="left edge by hand")
    drag(page, edge, 0, -12)
    expect(page.get_by_text("moved +0.00 mm")).to_have_count(1)  # the right edge stayed
    quiet(page)
    page.get_by_label("What misled the tool").fill("grease")
    page.get_by_label("What misled the tool").press("Enter")
    quiet(page)
    page.get_by_role("button", name="Keep the edges as they are set").click()
    expect(page.get_by_text("by hand now.")).to_be_visible()
    expect(page.get_by_text("moved the left edge by +")).to_be_visible()

    quiet(page)
    page.get_by_text("Measure at another place along the rope").click()
    place = page.get_by_role("slider", name="place along the rope")
    drag(page, place, 30, 20)  # across the rope it has no effect: the ring stays on its track
    expect(page.get_by_text("+0.0 mm along the card")).to_have_count(0)
    quiet(page)
    page.get_by_role("button", name="Measure here").click()
    expect(page.get_by_text(re.compile(r"^At [+-]\d"))).to_be_visible()


def drag(page: Page, handle: Locator, right: float, down: float) -> None:
    """Drag a handle by so many px of the screen."""
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + right, y + down, steps=5)
    page.mouse.up()
