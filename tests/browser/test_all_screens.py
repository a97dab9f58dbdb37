"""Every screen at both widths, in both themes: nothing to scroll sideways, no WCAG rule broken.

The rules are those of axe-core, a library that is independent of this program.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Literal

import pytest

from tests.browser.hands import fits, quiet

if TYPE_CHECKING:
    from playwright.sync_api import Page

SCREENS = {
    "": "Start", "rope": "1 Rope", "cards": "2 Cards", "sheet": "3 Stations", "result": "4 Result",
    "scale": "Without the card", "review": "Review", "supervise": "Supervise",
    "condition": "5 Condition and decision", "equipment": "Gauges and phones", "limits": "Limits",
    "record": "Record",
}  # fmt: skip
# Streamlit's upload has a meaningless role, but is still read aloud.
NOT_OURS = {"presentation-role-conflict": "stFileUploader"}


def breaches(page: Page) -> list[str]:
    """Return the violations of a rule, one line each, except in Streamlit's own elements."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-core")
    found: list[dict[str, Any]] = axe.Axe().run(page).response["violations"]
    return [
        f"{rule['id']}: {node['html'][:160]}"
        for rule in found
        for node in rule["nodes"]
        if not (rule["id"] in NOT_OURS and inside(page, node["target"], NOT_OURS[rule["id"]]))
    ]


def inside(page: Page, target: list[Any], test_id: str) -> bool:
    """Return whether an element is inside one of Streamlit's own."""
    if len(target) != 1 or not isinstance(target[0], str):
        return False  # in a picture of this program
    closest = f"one => !!one.closest('[data-testid={test_id}]')"
    return bool(page.locator(target[0]).first.evaluate(closest))


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_screen_fits_and_breaks_no_rule(
    page: Page, sample_pages: str, theme: Literal["light", "dark"]
) -> None:
    from playwright.sync_api import expect

    page.emulate_media(color_scheme=theme)
    for screen, title in SCREENS.items():
        page.goto(f"{sample_pages}/{screen}")
        expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible()
        quiet(page)
        page.wait_for_timeout(1500)  # charts are drawn after the script has finished
        assert fits(page), screen
        assert page.title() == f"{title} · Rope Photo Check"
        assert page.locator("h1").count() == 1, screen
        assert breaches(page) == [], screen


def test_the_rules_find_what_is_hard_to_read(page: Page, sample_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(sample_pages)
    expect(page.get_by_role("heading", name="Start", exact=True)).to_be_visible()
    quiet(page)
    page.evaluate("document.querySelector('h1').style.color = '#ddd'")
    assert any(line.startswith("color-contrast") for line in breaches(page))


@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["desk"])
def test_tab_goes_through_a_decision_in_its_order(page: Page, sample_pages: str) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/review")
    first = page.get_by_role("button", name="Accept reading")
    expect(first).to_be_visible()
    quiet(page)
    page.get_by_role("button", name=re.compile("^90°")).focus()
    for name in ("Accept reading", "Slip: correct to 21.21", "Read again 90°"):
        page.keyboard.press("Tab")
        held = page.locator(":focus")
        assert name in held.inner_text().splitlines()
        seen = "one => (({outlineStyle: o, boxShadow: s}) => [o, s])(getComputedStyle(one))"
        assert held.evaluate(seen) != ["none", "none"]  # keyboard users see the focus
