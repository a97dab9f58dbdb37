"""Reviewer and supervisor in a real browser: the wrong entry, decisions, hands, keys alone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from tests.browser.hands import become, fits, quiet

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page


def seen_part(picture: Locator) -> list[float]:
    """Return the part of the photograph that is shown: x, y, width, height, px."""
    return [float(text) for text in (picture.get_attribute("viewBox") or "").split()]


def station(page: Page) -> str:
    """Return which station is looked at."""
    return page.get_by_role("combobox", name="Station").first.input_value()


def press(page: Page, words: str) -> None:
    """Press a button of the decision once the page stands still."""
    quiet(page)
    page.get_by_role("button", name=re.compile(rf"^{words}(?! the)")).first.click()


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


def test_the_supervisors_list_leads_with_the_wrong_entry_and_to_its_photograph(
    page: Page, sample_pages: str
) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/supervise")
    expect(page.get_by_text("1. station 3, 90 deg")).to_be_visible()
    expect(page.get_by_text("22.11 was logged").first).to_be_visible()
    quiet(page)  # a link that is drawn anew while it is pressed does nothing
    assert fits(page)
    page.get_by_role("link", name="Open the photograph").first.click()
    expect(page).to_have_url(re.compile("/review"))

    # both pairs of lines on the photograph, both edges magnified with a ruler in tenths
    expect(page.get_by_text("logged 22.11 = 22.11")).to_be_visible()
    picture = page.get_by_role("img", name="The rope on its card")
    expect(picture.locator("image")).to_have_attribute("href", re.compile("^blob:"))
    for pair in ("logged", "photograph"):
        expect(picture.locator(f"polyline.{pair}")).to_have_count(2)
    for edge in ("left", "right"):
        magnified = page.get_by_role("img", name=f"The {edge} edge, magnified")
        expect(magnified).to_be_visible()
        expect(magnified.get_by_text("1 mm in tenths")).to_be_visible()
        expect(magnified.get_by_text(re.compile(r"logged: 0\.4\d mm farther out"))).to_be_visible()
        tenth_px = magnified.evaluate("svg => 6.4 * svg.clientWidth / svg.viewBox.baseVal.width")
        assert tenth_px >= 3  # a tenth of a millimetre can be seen (64 px a mm in the cut)
    expect(page.get_by_test_id("stMarkdown").get_by_text("uncertainty comes")).to_be_visible()
    expect(page.get_by_text("Neighbouring stations")).to_be_visible()
    assert fits(page)

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


def test_a_reviewer_sends_back_accepts_and_another_overrules(page: Page, sample_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/review")
    expect(page.get_by_text("0 of 3 decided")).to_be_visible()
    press(page, "Send back")
    expect(page.get_by_text("is sent back with a reason: say why")).to_be_visible()
    quiet(page)
    page.get_by_label("Reason", exact=True).fill("read it again")
    press(page, "Send back")
    expect(page.get_by_text("Station 3: sent back.")).to_be_visible()
    expect(page.get_by_text("1 of 3 decided, 1 with the inspector")).to_be_visible()
    assert station(page) != "↩ Station 3"  # the next one is there
    press(page, "Accept")
    expect(page.get_by_text(": accepted.")).to_be_visible()
    expect(page.get_by_text("2 of 3 decided, 1 with the inspector")).to_be_visible()

    # the inspector sees it; another person turns the decision round
    quiet(page)
    page.goto(f"{sample_pages}/readings")
    expect(page.get_by_text("Station 3 was sent back")).to_be_visible()
    become(page, "Supervisor C")
    page.goto(f"{sample_pages}/review?look=Station+3")
    expect(page.get_by_text("It waits for the inspector.")).to_be_visible()
    quiet(page)
    page.get_by_label("Reason", exact=True).fill("the reading was a slip, the photographs stand")
    press(page, "Overrule")
    expect(page.get_by_text("Station 3: overruled.")).to_be_visible()
    expect(page.get_by_text("2 of 3 decided", exact=True)).to_be_visible()


@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["desk"])
def test_keys_alone_are_enough(page: Page, sample_pages: str) -> None:
    """A phone has no keys; at the desk nothing is clicked from the first station to the last."""
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/review")
    expect(page.get_by_text("Keys: Alt+A accept")).to_be_visible()
    quiet(page)
    first = station(page)
    shown = page.get_by_role("combobox", name="Station").first
    seen = [first]
    for _ in range(3):  # round the queue, to where it began; a key counts once its page is there
        page.keyboard.press("Alt+n")
        expect(shown).not_to_have_value(seen[-1])
        quiet(page)
        seen.append(station(page))
    assert len(set(seen[:3])) == 3
    assert seen[3] == first
    for _ in range(60):  # by Tab to the reason, as somebody without a mouse gets there
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('aria-label')") == "Reason":
            break
    page.keyboard.type("read it again")
    page.keyboard.press("Alt+b")  # counts although the field was not left
    expect(page.get_by_text("Station 3: sent back.")).to_be_visible()
    for done in (2, 3):
        quiet(page)
        page.keyboard.press("Alt+a")
        expect(page.get_by_text(f"{done} of 3 decided")).to_be_visible()


def test_an_edge_and_a_station_are_dragged(page: Page, sample_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/photographs")
    page.get_by_text("Correct an edge by hand").click()
    edge = page.get_by_role("slider", name="left edge by hand")
    drag(page, edge, 0, -12)
    expect(page.get_by_text("moved +0.00 mm")).to_have_count(1)  # the right edge stayed
    quiet(page)
    page.get_by_label("What misled the measurement", exact=True).fill("grease")
    page.get_by_label("What misled the measurement", exact=True).press("Enter")
    quiet(page)
    page.get_by_role("button", name="Save these edges").click()
    expect(page.get_by_text("by hand now.")).to_be_visible()
    expect(page.get_by_text("moved the left edge by +")).to_be_visible()

    quiet(page)
    page.get_by_text("Move the station along the rope").click()
    place = page.get_by_role("slider", name="place along the rope")
    drag(page, place, 30, 20)  # across the rope it has no effect: the ring stays on its track
    expect(page.get_by_text("+0.0 mm along the card")).to_have_count(0)
    quiet(page)
    page.get_by_role("button", name="Measure here instead").click()
    expect(page.get_by_text(re.compile(r"^At [+-]\d"))).to_be_visible()
    quiet(page)
    # one figure for this photograph, as before: it was moved, not doubled
    # by the arrow key: a click has to scroll up to the list first, and scrolling closes it
    listed = page.get_by_role("option", name=re.compile("station-1-view-00"))
    for _ in range(5):  # a late redraw closes the list again
        page.get_by_role("combobox", name=re.compile("Photograph$")).press("ArrowDown")
        page.wait_for_timeout(1000)
        if listed.count():
            break
    expect(listed).to_have_count(1)
