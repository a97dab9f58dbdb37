"""Reviewer and supervisor in a real browser: the wrong entry, decisions, mouse, and keys alone."""

from __future__ import annotations

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
from tests.browser.hands import become, fits, quiet

SAMPLE = "2026-09-quay-crane-2"

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page


def seen_part(picture: Locator) -> list[float]:
    """Return the part of the photograph that is shown: x, y, width, height, px."""
    return [float(text) for text in (picture.get_attribute("viewBox") or "").split()]


def station(page: Page) -> str:
    """Return the station being reviewed."""
    return str(page.locator(".st-key-strip label[data-selected=true]").inner_text())


def press(page: Page, words: str) -> None:
    """Press a decision's button once the page is idle."""
    quiet(page)
    page.get_by_role("button", name=re.compile(rf"^{words}(?! the)")).first.click()


def drag(page: Page, handle: Locator, right: float, down: float) -> None:
    """Drag a handle by a number of screen px."""
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
    expect(page.get_by_text("2. station 3, 90 deg")).to_be_visible()
    expect(page.get_by_text("22.11 was logged").first).to_be_visible()
    quiet(page)  # a link that is drawn anew while it is pressed does nothing
    assert fits(page)
    page.get_by_role("link", name="Open the photograph").first.click()
    expect(page).to_have_url(re.compile("/review"))

    # figures over both photographs, both pairs of lines, all edges magnified with a ruler
    expect(page.get_by_text("22.11 logged, the photograph shows 21.18").first).to_be_visible()
    for direction, figure, logged in (("0", "21.46", "21.50"), ("90", "21.18", "22.11")):
        shown = page.get_by_role("img", name=f"The rope on its card, {direction} degrees")
        expect(shown.locator("image")).to_have_attribute("href", re.compile("^blob:"))
        for pair in ("logged", "photograph"):
            expect(shown.locator(f"polyline.{pair}")).to_have_count(2)
        expect(page.get_by_text(f"{direction}° · {figure}")).to_be_visible()
        expect(page.get_by_text(f"logged {logged}", exact=True).first).to_be_visible()
    for edge in ("left", "right"):
        magnified = page.get_by_role("img", name=f"The {edge} edge, magnified")
        expect(magnified).to_have_count(2)
        apart = magnified.last.get_by_text(re.compile(r"logged 0\.4\d mm outside"))
        expect(apart).to_be_visible()
        tenth_px = magnified.last.evaluate(
            "svg => 6.4 * svg.clientWidth / svg.viewBox.baseVal.width"
        )
        assert tenth_px >= 1.8  # a tenth of a millimetre is visible (64 px per mm in the crop)
    expect(page.get_by_text("Neighbours", exact=True)).to_be_visible()
    expect(page.get_by_text("Last time", exact=True)).to_be_visible()
    assert fits(page)
    picture = page.get_by_role("img", name="The rope on its card, 90 degrees")

    # zoomed in by keyboard
    before = seen_part(picture)
    picture.focus()
    page.keyboard.press("+")
    nearer = seen_part(picture)
    assert nearer[2] < before[2]
    page.keyboard.press("ArrowRight")
    assert seen_part(picture)[0] > nearer[0]
    page.get_by_role("button", name="Whole photograph").last.click()
    x, y, wide, high = seen_part(picture)  # of 4000 x 3000 px, in a wider window
    assert x <= 0
    assert y <= 0
    assert x + wide >= 3999
    assert y + high >= 2999


def test_a_reviewer_sends_back_accepts_and_another_overrules(page: Page, sample_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/review")
    expect(page.get_by_text("0 of 6 decided")).to_be_visible()
    press(page, "Read again 90")
    expect(page.get_by_text("Station 3: sent back to be read again.")).to_be_visible()
    expect(page.get_by_text("1 of 6 decided")).to_be_visible()
    assert "Station 3" not in station(page)  # the next station is open
    assert fits(page)

    # it waits for the inspector; another person overrules the decision
    quiet(page)
    become(page, "Supervisor C")
    page.goto(f"{sample_pages}/review?inspection={SAMPLE}&station=3")
    expect(page.get_by_text("Waiting for the inspector.")).to_be_visible()
    press(page, "Overrule")
    reason = page.get_by_label("Why overrule the decision?", exact=True)
    expect(reason).to_be_focused()
    page.keyboard.type("the reading was a slip, the photographs stand")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Station 3: overruled.")).to_be_visible()


@pytest.mark.parametrize("page", [(1440, 900)], indirect=True, ids=["desk"])
def test_a_station_is_decided_by_keys_without_scrolling(page: Page, sample_pages: str) -> None:
    """Nothing is clicked from the first station to the signed-off inspection."""
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/review")
    expect(page.get_by_text("0 of 6 decided")).to_be_visible()
    quiet(page)
    page.wait_for_timeout(1000)  # until the pictures have their places
    main = page.get_by_test_id("stMain")
    assert main.evaluate("one => one.scrollHeight <= one.clientHeight")
    bar = page.locator(".st-key-decisions").bounding_box()
    assert bar is not None
    assert bar["y"] + bar["height"] <= 900
    assert "Station 3" in station(page)

    # a disagreement has no default: one key asks why, and nothing is decided without a reason
    page.keyboard.press("1")
    reason = page.get_by_label("Why accept it although it disagrees?", exact=True)
    expect(reason).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_text("give a reason for accepting it")).to_be_visible()
    expect(page.get_by_text("0 of 6 decided")).to_be_visible()
    quiet(page)
    page.keyboard.press("Escape")
    expect(page.get_by_role("button", name="Accept reading")).to_be_visible()
    quiet(page)

    # a key chooses the direction; the correction is offered, to be confirmed
    page.keyboard.press("0")
    expect(page).to_have_url(re.compile("view=0"))
    quiet(page)
    page.keyboard.press("9")
    expect(page).to_have_url(re.compile("view=90"))
    quiet(page)
    page.keyboard.press("2")
    meant = page.get_by_label("Correct 22.11 at 90° to", exact=True)
    expect(meant).to_be_focused()
    expect(meant).to_have_value("21.21")
    page.keyboard.press("Enter")
    expect(page.get_by_text("station 3, 90 deg: 22.11 was corrected to 21.21.")).to_be_visible()
    quiet(page)

    # what may be a loss of section still needs a decision with a reason
    assert "Station 3" in station(page)
    page.keyboard.press("1")
    expect(reason).to_be_focused()
    page.keyboard.type("rope looked at, competent person told")
    page.keyboard.press("Enter")
    expect(page.get_by_text("1 of 6 decided")).to_be_visible()

    # the rest agrees, or was refused beside a good photograph: one key each, then the next opens
    for done in range(2, 7):
        quiet(page)
        page.keyboard.press("1")
        expect(page.get_by_text(f"{done} of 6 decided")).to_be_visible()
    quiet(page)
    page.keyboard.press("1")
    expect(page.get_by_text("The inspection is")).to_be_visible()


def test_the_supervisors_list_never_goes_silent(
    page: Page, sample: Path, tmp_path: Path, serve: Callable[..., AbstractContextManager[str]]
) -> None:
    """Accepted findings stay with their reason; an imported inspection is marked not examined."""
    from playwright.sync_api import expect

    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    with open_record(tmp_path / "record.db") as record:
        there = record.inspection(SAMPLE)
        later = replace(there.inspection, identity="imported", on=date(2027, 3, 1))
        record.add_inspection(later, by="Inspector A")
        record.add_readings("imported", there.readings, by="Inspector A")
    with serve(tmp_path) as address:
        page.goto(f"{address}/review?inspection={SAMPLE}&station=3")
        press(page, "Accept reading")
        reason = page.get_by_label("Why accept it although it disagrees?", exact=True)
        expect(reason).to_be_visible()
        reason.fill("a raised wire under the jaw")
        reason.press("Enter")
        expect(page.get_by_text("1 of 6 decided")).to_be_visible()
        quiet(page)

        page.goto(f"{address}/supervise")
        expect(page.get_by_text("accepted although it disagrees").first).to_be_visible()
        expect(page.get_by_text("a raised wire under the jaw").first).to_be_visible()
        expect(page.get_by_text("1 not examined yet.")).to_be_visible()
        assert fits(page)
        quiet(page)
        page.get_by_role("button", name="Examine 1 now").click()
        expect(page.get_by_text("1 inspection was examined.")).to_be_visible()
        expect(page.get_by_text("1 not examined yet.")).to_have_count(0)
        expect(page.get_by_text("2027-03-01").first).to_be_visible()  # it is in the list now


def test_an_edge_and_a_station_are_dragged(page: Page, sample_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/sheet?inspection={SAMPLE}&station=1&view=0")
    page.get_by_text("Correct an edge by hand").click()
    edge = page.get_by_role("slider", name="left edge by hand")
    drag(page, edge, 0, -12)
    expect(page.get_by_text("moved +0.00 mm")).to_have_count(1)  # the right edge has not moved
    quiet(page)
    page.get_by_label("What misled the measurement", exact=True).fill("grease")
    page.get_by_label("What misled the measurement", exact=True).press("Enter")
    quiet(page)
    page.get_by_role("button", name="Save these edges").click()
    expect(page.get_by_text("corrected by hand.")).to_be_visible()
    expect(page.get_by_text("moved the left edge by +")).to_be_visible()

    quiet(page)
    page.get_by_text("Move the station along the rope").click()
    place = page.get_by_role("slider", name="place along the rope")
    drag(page, place, 30, 20)  # across the rope it has no effect: the ring keeps to its line
    expect(page.get_by_text("+0.0 mm along the card")).to_have_count(0)
    quiet(page)
    page.get_by_role("button", name="Measure here instead").click()
    expect(page.get_by_text(re.compile(r"^At [+-]\d"))).to_be_visible()
    quiet(page)
    # one figure per photograph, as before: moved, not doubled, and the mean with it
    page.get_by_role("link", name="Back to the stations").click()
    expect(page.get_by_text(re.compile(r"^at [+-]\S+ mm on the card$"))).to_have_count(2)
    expect(page.get_by_text("places on this card")).to_have_count(0)
    expect(page.get_by_text("needs 90°")).to_have_count(0)
