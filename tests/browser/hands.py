"""What a person does on a page: type into a field, choose from a list, enter their name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page


def quiet(page: Page) -> None:
    """Wait until the script behind the page has finished."""
    page.wait_for_function("!document.querySelector('[data-test-script-state=running]')")


def fits(page: Page) -> bool:
    """Return whether nothing has to be scrolled sideways."""
    return bool(
        page.evaluate(
            """[document.documentElement, document.querySelector('[data-testid=stMain]')]
            .every(one => !one || one.scrollWidth <= innerWidth)"""
        )
    )


def fill(page: Page, label: str, text: str) -> None:
    """Type into a field and leave it."""
    field = page.get_by_label(label, exact=True).first
    field.fill(text)
    field.press("Tab")


def choose(page: Page, label: str, option: str | re.Pattern[str]) -> None:
    """Choose from a list, opening it again if a redrawn page has closed it."""
    from playwright.sync_api import TimeoutError as Late

    wanted = page.get_by_role("option", name=option).first
    for _ in range(6):
        page.get_by_role("combobox", name=label).first.click()
        try:
            wanted.click(timeout=10_000)
            break
        except Late:
            continue
    quiet(page)


def press(page: Page, name: str | re.Pattern[str]) -> None:
    """Press a button once the page is stable: a button being redrawn ignores the press."""
    page.wait_for_timeout(600)  # the last input is still being sent
    quiet(page)
    page.get_by_role("button", name=name).first.click()


def press_until(page: Page, name: str, wanted: Locator) -> None:
    """Press a button, again if a redrawn page ignored the press, until something is there."""
    from playwright.sync_api import TimeoutError as Late

    for _ in range(6):
        press(page, name)
        try:
            wanted.wait_for(timeout=10_000)
            break
        except Late:
            continue


def go_on(page: Page, words: str, title: str) -> None:
    """Follow the link to the next step."""
    from playwright.sync_api import expect

    quiet(page)
    page.get_by_role("link", name=f"Next: {words}").first.click()
    expect(page.get_by_role("heading", name=title)).to_be_visible()
    quiet(page)


COUNT_RUNS = """() => {
    const app = document.querySelector('[data-test-script-state]');
    window.runsEnded = 0;
    new MutationObserver(() => { window.runsEnded += app.dataset.testScriptState === 'notRunning' })
        .observe(app, {attributeFilter: ['data-test-script-state']});
}"""


@contextmanager
def rerun(page: Page) -> Iterator[None]:
    """Wait until the script that an action starts has finished, however late it starts."""
    quiet(page)
    page.evaluate(COUNT_RUNS)
    yield
    page.wait_for_function("window.runsEnded > 0")
    quiet(page)


def become(page: Page, name: str) -> None:
    """Enter the person's name in the sidebar; on a phone the sidebar is opened first."""
    quiet(page)
    phone = (page.viewport_size or {"width": 1280})["width"] < 600
    if phone:
        page.get_by_test_id("stExpandSidebarButton").click()
    if page.get_by_label("Your name", exact=True).first.input_value() != name:
        with rerun(page):  # the next page opened would otherwise still be the last person's
            fill(page, "Your name", name)
    if phone:
        page.get_by_test_id("stSidebarCollapseButton").get_by_role("button").click()
        page.wait_for_timeout(400)  # it slides out; what is below can't be pressed until then


def reading_field(page: Page, station: int, view_deg: int) -> Locator:
    """Return the sheet's field for a gauge reading."""
    return page.get_by_label(f"Gauge reading, station {station}, {view_deg} degrees, mm")


def type_reading(page: Page, station: int, view_deg: int, text: str) -> None:
    """Type a gauge reading into its field and leave it."""
    field = reading_field(page, station, view_deg)
    field.fill(text)
    field.press("Tab")
