"""People of a team, each in a browser: a real login, roles, drafts, addresses, logout."""

from __future__ import annotations

import re
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from tests.browser.hands import fits, quiet, reading_field, type_reading

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, BrowserContext, Page

    from tests.browser.oidc_provider import Provider

PATIENCE_MS = 120_000  # as in conftest.py, for a machine that is busy with other work
SAMPLE = "2026-09-quay-crane-2"
FOREIGN = "2026-10-c-only"
SIZES = [(1280, 900), (360, 780)]


@contextmanager
def browser_of(browser: Browser, size: tuple[int, int]) -> Iterator[Page]:
    """Yield a page of a browser that shares no cookies with any other."""
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=width < 600, is_mobile=width < 600
    )
    context.set_default_timeout(PATIENCE_MS)
    yield context.new_page()
    context.close()


def log_in(page: Page, address: str, email: str) -> None:
    from playwright.sync_api import expect

    page.goto(address)
    expect(page.get_by_text("Log in to see the inspections")).to_be_visible()
    quiet(page)
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("link", name=email).click()  # on the provider's page
    page.wait_for_url(re.compile(f"^{re.escape(address)}"))


def open_sidebar(page: Page) -> None:
    """Open the sidebar on a phone, where it is collapsed."""
    shown = page.get_by_test_id("stExpandSidebarButton")
    if shown.is_visible():
        shown.click()


def log_out(page: Page) -> None:
    from playwright.sync_api import expect

    open_sidebar(page)
    quiet(page)
    page.get_by_role("button", name="Log out").first.click()
    expect(page.get_by_text("Log in to see the inspections")).to_be_visible()


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_two_people_in_two_browsers(
    browser: Browser, team_pages: tuple[str, Provider], size: tuple[int, int]
) -> None:
    from playwright.sync_api import expect

    address, provider = team_pages
    with browser_of(browser, size) as inspector, browser_of(browser, size) as reviewer:
        log_in(inspector, address, "a@example.org")
        expect(inspector.get_by_text("quay crane 2, hoist rope, left").first).to_be_visible()
        expect(inspector.get_by_text("2026-10-c-only")).to_have_count(0)  # not C's
        expect(inspector.get_by_role("link", name="Review")).to_have_count(0)
        open_sidebar(inspector)
        expect(inspector.get_by_text("Inspector A", exact=True)).to_be_visible()
        expect(inspector.get_by_role("link", name="Supervise")).to_have_count(0)

        # someone else's inspection by its address, and pages for other roles by theirs
        inspector.goto(f"{address}/result?inspection={FOREIGN}")
        expect(inspector.get_by_text("that you can see")).to_be_visible()
        expect(inspector.get_by_text("Along the rope")).to_have_count(0)
        for path, role in (("review", "reviewer or supervisor"), ("supervise", "supervisor")):
            inspector.goto(f"{address}/{path}")
            expect(inspector.get_by_text(f"This page is for the {role};")).to_be_visible()
            assert fits(inspector)

        # a draft comes back for the person who typed it, and for nobody else
        inspector.goto(f"{address}/sheet?inspection={SAMPLE}")
        # a different text at each width; implausible, hence a draft
        typed = f"33,{size[0] % 100:02d}"
        type_reading(inspector, 5, 0, typed)
        expect(inspector.get_by_text("Is that correct?")).to_be_visible()
        inspector.goto(f"{address}/sheet?inspection={SAMPLE}")
        expect(reading_field(inspector, 5, 0)).to_have_value(typed)
        log_in(reviewer, address, "b@example.org")
        reviewer.goto(f"{address}/sheet?inspection={SAMPLE}")
        expect(reading_field(reviewer, 5, 0)).to_have_value("")
        quiet(reviewer)
        assert typed not in reviewer.content()

        # a reviewer opens both; only people of the team can download a file
        reviewer.goto(f"{address}/result?inspection={SAMPLE}")
        expect(reviewer.get_by_role("heading", name="Export")).to_be_visible()
        quiet(reviewer)
        with reviewer.expect_download() as waited:
            reviewer.get_by_role("button", name="Readings as CSV").click()
        assert "22.11" in waited.value.path().read_text(encoding="utf-8-sig")
        refuses_strangers(waited.value.url, reviewer.context)

        log_out(inspector)
        inspector.goto(f"{address}/sheet")
        expect(inspector.get_by_text("Log in to see the inspections")).to_be_visible()
    assert provider.refused == []  # the provider had to refuse nothing in the logins


def refuses_strangers(url: str, context: BrowserContext) -> None:
    assert context.request.get(url).status == 200
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(url)
    assert refused.value.code == 403
    refused.value.close()


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_a_stranger_is_told_what_to_do_and_comes_back_as_somebody_else(
    browser: Browser, team_pages: tuple[str, Provider], size: tuple[int, int]
) -> None:
    from playwright.sync_api import expect

    address, _ = team_pages
    with browser_of(browser, size) as page:
        page.goto(address)
        expect(page.get_by_role("button", name="Log in")).to_be_visible(timeout=PATIENCE_MS)
        assert fits(page)
        log_in(page, address, "stranger@example.org")
        expect(page.get_by_text("This login has no role here")).to_be_visible()
        assert fits(page)
        page.goto(f"{address}/review?inspection={SAMPLE}")
        expect(page.get_by_text("has no role here")).to_be_visible()
        assert "22.11" not in page.content()
        log_out(page)
        log_in(page, address, "d@example.org")
        quiet(page)
        page.goto(f"{address}/supervise")
        expect(page.get_by_text("2. station 3, 90 deg")).to_be_visible()


@pytest.mark.parametrize("size", SIZES, ids=["desk", "phone"])
def test_names_full_of_code_run_nothing_and_ask_no_other_address(
    browser: Browser, nasty_pages: str, size: tuple[int, int]
) -> None:
    from playwright.sync_api import expect

    requested: list[str] = []
    ran: list[str] = []
    with browser_of(browser, size) as page:
        page.on("request", lambda one: requested.append(one.url))
        page.on("dialog", lambda one: (ran.append(one.message), one.dismiss()))
        page.on("pageerror", lambda one: ran.append(str(one)))
        for path in ("", "rope", "sheet", "result", "review",
                     "supervise"):  # fmt: skip
            page.goto(f"{nasty_pages}/{path}")
            expect(page.get_by_role("heading").first).to_be_visible()
            expect(
                page.get_by_text("Secure the load").or_(page.get_by_role("button")).first
            ).to_be_visible()
            quiet(page)
            for made in ("img[src=x]", "img[alt=pixel]", "a[href^=javascript]", "main script",
                         ".katex"):  # fmt: skip
                assert page.locator(made).count() == 0, f"{path}: {made}"
            assert fits(page), path
        # shown exactly as typed
        page.goto(nasty_pages)
        expect(page.get_by_text("<script>alert(1)</script>").first).to_be_visible()
    elsewhere = {url for url in requested if not url.startswith((nasty_pages, "data:", "blob:"))}
    assert elsewhere == set()
    assert ran == []


def test_a_download_that_is_refused_when_it_is_pressed_says_why(
    browser: Browser, team_pages: tuple[str, Provider], team_folder: Path
) -> None:
    from playwright.sync_api import expect

    address, _ = team_pages
    team = (team_folder / "team.toml").read_text(encoding="utf-8")
    with browser_of(browser, SIZES[0]) as page:
        log_in(page, address, "d@example.org")
        page.goto(f"{address}/result?inspection={SAMPLE}")
        expect(page.get_by_role("heading", name="Export")).to_be_visible()
        quiet(page)
        without_role = team.replace('name = "Supervisor D"\nroles = ["supervisor"]',
                            'name = "Supervisor D"\nroles = []')  # fmt: skip
        assert without_role != team
        try:
            (team_folder / "team.toml").write_text(without_role, encoding="utf-8")
            page.get_by_role("button", name="Readings as CSV").click()
            error = page.get_by_test_id("stDownloadButtonError")
            expect(error).to_contain_text("Supervisor D is here as no role")
            expect(error).to_contain_text("This page is for the")
        finally:
            (team_folder / "team.toml").write_text(team, encoding="utf-8")
