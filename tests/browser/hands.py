"""What a person does with a page: type into a table, choose from a list, say who they are."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page


def quiet(page: Page) -> None:
    """Wait until the script behind the page has run to its end."""
    page.wait_for_function("!document.querySelector('[data-test-script-state=running]')")


def fits(page: Page) -> bool:
    """Say whether nothing has to be scrolled sideways."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


def fill(page: Page, label: str, text: str) -> None:
    """Type into a field and leave it."""
    field = page.get_by_label(label, exact=True).first
    field.fill(text)
    field.press("Tab")


def choose(page: Page, label: str, option: str | re.Pattern[str]) -> None:
    """Choose from a list; one that a redrawn page has closed is opened again."""
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
    """Press a button once the page stands still: one that is drawn anew meanwhile hears nothing."""
    page.wait_for_timeout(600)  # what was typed last is on its way
    quiet(page)
    page.get_by_role("button", name=name).first.click()


def go_on(page: Page, words: str, title: str) -> None:
    """Follow the link to the next step."""
    from playwright.sync_api import expect

    quiet(page)
    page.get_by_role("link", name=f"Next: {words}").first.click()
    expect(page.get_by_role("heading", name=title)).to_be_visible()
    quiet(page)


def become(page: Page, name: str) -> None:
    """Say at the side who sits here; on a phone the side is opened first."""
    quiet(page)
    phone = (page.viewport_size or {"width": 1280})["width"] < 600
    if phone:
        page.get_by_test_id("stExpandSidebarButton").click()
    fill(page, "Your name", name)
    quiet(page)
    if phone:
        page.get_by_test_id("stSidebarCollapseButton").get_by_role("button").click()
        page.wait_for_timeout(400)  # it slides out; what lies below can't be pressed before


def type_cell(page: Page, column: int, row: int, text: str) -> None:
    """Type into a cell of the table on the page, by keyboard alone.

    The table is a canvas; beside it stands a hidden one for screen readers, whose cells have the
    focus: columns count from 1 (0 is the box for choosing rows), rows from 0.
    """
    from playwright.sync_api import expect

    expect(page.get_by_test_id(f"glide-cell-{column}-{row}")).to_be_attached()
    page.wait_for_timeout(1000)  # a page that is still being drawn would take the entry along
    quiet(page)
    at, down = _cell(page)
    while (at, down) != (column, row):
        if at != column:
            at, key = (at + 1, "ArrowRight") if at < column else (at - 1, "ArrowLeft")
        else:
            down, key = (down + 1, "ArrowDown") if down < row else (down - 1, "ArrowUp")
        page.keyboard.press(key)
        # the hidden table follows a third of a second later: a key pressed too early goes too far
        page.wait_for_function(f"document.activeElement.id === 'glide-cell-{at}-{down}'")
    page.keyboard.press("Enter")
    entry = page.locator("#portal input, #portal textarea")
    entry.fill(text)
    page.wait_for_timeout(300)  # no hand is quicker; the entry takes over what stands there then
    entry.press("Enter")
    expect(page.get_by_test_id(f"glide-cell-{column}-{row}")).to_have_text(text)
    quiet(page)


def _cell(page: Page) -> tuple[int, int]:
    """Give the table the focus, and return column and row once it stays where it is."""
    here = "document.activeElement.id"
    seen, since = "", 0
    for _ in range(600):
        now = str(page.evaluate(here))
        since = since + 1 if now == seen else 0
        seen = now
        if since >= 6 and now.startswith("glide-cell-"):
            return int(now.split("-")[2]), int(now.split("-")[3])
        if since >= 6:
            canvas = page.get_by_test_id("data-grid-canvas").first
            if page.evaluate("document.activeElement.tagName") == "CANVAS":
                # it has the focus, but no cell has it; a layer for scrolling lies above it
                box = canvas.bounding_box() or {"x": 0, "y": 0}
                page.mouse.click(box["x"] + 80, box["y"] + 52)
            else:
                canvas.focus()
            since = 0
        page.wait_for_timeout(100)
    raise AssertionError(f"the table never had the focus; {seen!r} has it")
