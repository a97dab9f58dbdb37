"""The phone at the rope in a browser: no signal, a closed browser or a lost answer lose nothing."""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.model.readings import Gauge
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.browser.conftest import PATIENCE_MS
from ui.services.sample import sample_folder
from vision.target.print_scale import check_to_dict, load_print_checks

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page, Route

Serve = Callable[..., AbstractContextManager[str]]
FOLDER = sample_folder()
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return the folder of a record with an empty inspection of two stations."""
    assert FOLDER is not None
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("quay crane 2", 22.0), by="Reviewer B")
        record.add_gauge(Gauge("caliper 7", "wide-jaw caliper", 0.01, 0.03), by="Reviewer B")
        for name, check in load_print_checks(FOLDER / "print_checks.json").items():
            record.add_print_check(name, check_to_dict(check), by="Reviewer B")
        stations = (Station(1, 6.0), Station(2, 31.5))
        record.add_inspection(
            Inspection("visit", "quay crane 2", date(2026, 11, 2), stations=stations),
            by="Reviewer B",
        )
    return tmp_path


def there(folder: Path) -> OpenInspection:
    with open_record(folder / "record.db") as record:
        return record.inspection("visit")


def link_of(browser: Browser, pages: str) -> str:
    """Press "On a phone" at the desk, and return the link in the code."""
    desk = browser.new_page(viewport={"width": 1440, "height": 900})
    desk.set_default_timeout(PATIENCE_MS)
    desk.goto(f"{pages}/sheet?inspection=visit")
    desk.get_by_role("button", name="On a phone").click()
    link = desk.get_by_text("/phone/#").first.inner_text()
    assert desk.get_by_text("not encrypted").first.is_visible()
    desk.close()
    return link.strip()


def photograph(page: Page, name: str) -> None:
    assert FOLDER is not None
    page.set_input_files("#camera", str(FOLDER / name))


def a_phone(browser: Browser) -> tuple[BrowserContext, Page]:
    """Return a phone with an empty page; the caller closes its context."""
    context = browser.new_context(**PHONE)  # type: ignore[arg-type]
    context.set_default_timeout(PATIENCE_MS)
    return context, context.new_page()


def waiting(page: Page) -> str:
    return page.locator("#pending").inner_text()


def expect(page: Page, selector: str, words: str) -> None:
    page.locator(selector).filter(has_text=re.compile(words)).first.wait_for(timeout=PATIENCE_MS)


def read(page: Page, cell: str, typed: str) -> None:
    expect(page, "#typed-for", cell)
    page.fill("#typed", typed)
    page.get_by_role("button", name="Enter", exact=True).click()


def test_the_whole_path_with_the_network_cut_in_the_middle(
    browser: Browser, serve: Serve, folder: Path
) -> None:
    with serve(folder, "--phones", "--host", "127.0.0.1") as pages:
        context, page = a_phone(browser)
        page.goto(link_of(browser, pages))
        expect(page, "#next", "Station 1 · 0°")
        assert "#" not in page.url  # the token is removed from the address
        began = time.monotonic()
        photograph(page, "station-1-view-00.jpg")
        expect(page, "#last li.good", "Good: station 1, 0°")
        first_s = time.monotonic() - began
        # the figure is hidden until the reading is entered
        assert page.locator("#last").inner_text().count("mm") == 0
        read(page, "Station 1 · 0°", "22,24")
        expect(page, "#last li.good", r"22\.\d\d ± 0\.\d\d mm")
        expect(page, "#next", "Station 1 · 90°")

        context.set_offline(True)  # a dead spot
        photograph(page, "station-1-view-90.jpg")
        expect(page, "#pending", "1 waiting")
        expect(page, "#next", "Station 2 · 0°")
        photograph(page, "station-2-view-00.jpg")
        read(page, "Station 1 · 90°", "22.17")
        expect(page, "#pending", "3 waiting for a signal")
        page.close()  # and the browser is closed
        assert len(there(folder).photographs) == 1

        context.set_offline(False)
        page = context.new_page()
        page.goto(f"{pages}/phone/")  # without the code: the phone remembers it
        expect(page, "#last li.good", "Good: station 2, 0°")
        expect(page, "#next", "Station 2 · 90°")
        assert waiting(page) == ""
        photograph(page, "refuse-tilted.jpg")
        expect(page, "#last li.refused", "tilted 48 degrees")
        expect(page, "#last li.refused", "Hold the phone square")
        expect(page, "#next", "Station 2 · 90°")  # the place is asked for again
        photograph(page, "station-2-view-90.jpg")
        expect(page, "#next", "All stations are photographed")
        read(page, "Station 2 · 0°", "28,9")
        expect(page, "#last li", "from nominal")
        width = """[...document.querySelectorAll("#last p")]
            .find(one => one.textContent.includes("from nominal")).offsetWidth"""
        assert page.evaluate(width) > 200  # beside two buttons it was one letter wide
        page.get_by_role("button", name="It is correct").click()
        read(page, "Station 2 · 90°", "22.19")
        page.locator("#reading").wait_for(state="hidden")
        page.locator("#pending:empty").wait_for(state="attached")
        now = there(folder)
        assert [one.typed for one in now.readings] == ["22,24", "22.17", "28,9", "22.19"]
        assert len(now.photographs) == 5
        assert FOLDER is not None
        sent = {hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() for name in (
            "station-1-view-00.jpg", "station-1-view-90.jpg", "station-2-view-00.jpg",
            "station-2-view-90.jpg", "refuse-tilted.jpg",
        )}  # fmt: skip
        assert {one.sha256 for one in now.photographs} == sent
        assert {request.manner.print_set for request in now.requests} == {"demo-set"}
        print(f"first yes after {first_s:.1f} s")
        context.close()


FULL = """() => {
    window.putAsBefore = IDBObjectStore.prototype.put;
    IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError') };
}"""


@pytest.mark.fault(
    "a phone without room for a photograph",
    "`This phone has no room for the photograph: free some space, then take it again.`, until one"
    " is kept",
)
def test_a_photograph_that_was_not_kept_is_reported_until_the_next_one_is(
    browser: Browser, serve: Serve, folder: Path
) -> None:
    with serve(folder, "--phones", "--host", "127.0.0.1") as pages:
        context, page = a_phone(browser)
        page.goto(link_of(browser, pages))
        expect(page, "#next", "Station 1 · 0°")
        page.evaluate(FULL)
        photograph(page, "station-1-view-00.jpg")
        expect(page, "#message", "This phone has no room for the photograph")
        for _ in range(2):  # the phone asks the server; at the second time the first is drawn
            with page.expect_response(lambda one: "/phone/state" in one.url):
                page.evaluate("() => { dispatchEvent(new Event('online')) }")
        assert page.locator("#message").is_visible()
        page.evaluate("() => { IDBObjectStore.prototype.put = window.putAsBefore }")
        photograph(page, "station-1-view-00.jpg")
        expect(page, "#last li.good", "Good: station 1, 0°")
        assert not page.locator("#message").is_visible()
        context.close()


def test_an_answer_that_gets_lost_brings_nothing_twice(
    browser: Browser, serve: Serve, folder: Path
) -> None:
    with serve(folder, "--phones", "--host", "127.0.0.1") as pages:
        context, page = a_phone(browser)
        lost: list[int] = []

        def lose(route: object) -> None:  # the server gets the request; its answer never arrives
            if len(lost) < 2:
                lost.append(1)
                route.fetch()  # type: ignore[attr-defined]
                route.abort()  # type: ignore[attr-defined]
            else:
                route.continue_()  # type: ignore[attr-defined]

        context.route("**/phone/photographs*", lose)
        context.route("**/phone/readings", lose)
        page.goto(link_of(browser, pages))
        photograph(page, "station-1-view-00.jpg")
        read(page, "Station 1 · 0°", "22,24")
        expect(page, "#last li.good", r"22\.\d\d ± 0\.\d\d mm")
        assert len(lost) == 2
        now = there(folder)
        assert len(now.photographs) == len(now.readings) == 1
        context.close()


def test_a_reading_stays_at_the_place_where_it_was_begun(
    browser: Browser, serve: Serve, folder: Path
) -> None:
    with serve(folder, "--phones", "--host", "127.0.0.1") as pages:
        context, page = a_phone(browser)
        page.goto(link_of(browser, pages))
        read(page, "Station 1 · 0°", "22,24")
        # the next reading is begun before the page has learned the inspection's new state
        held: list[Route] = []
        free = False

        def hold(route: Route) -> None:
            route.continue_() if free else held.append(route)

        page.route("**/phone/state*", hold)
        expect(page, "#last li", "22,24, entered")
        expect(page, "#typed-for", "Station 1 · 90°")  # not the first place again
        page.fill("#typed", "22,")
        free = True
        for route in held:
            route.continue_()
        page.locator("#last li").wait_for(state="detached")
        assert "Station 1 · 90°" in page.locator("#typed-for").inner_text()
        page.fill("#typed", "22,17")
        page.get_by_role("button", name="Enter", exact=True).click()
        expect(page, "#typed-for", "Station 2 · 0°")
        page.locator("#last li").wait_for(state="detached")
        now = there(folder)
        assert [(one.station, one.view_deg, one.typed) for one in now.readings] == [
            (1, 0, "22,24"), (1, 90, "22,17"),
        ]  # fmt: skip
        context.close()


def test_over_plain_http_the_hash_is_the_same_and_it_is_said_how_to_encrypt(
    browser: Browser, serve: Serve, folder: Path
) -> None:
    with serve(folder, "--phones", "--host", "127.0.0.1") as pages:
        page = browser.new_page(**PHONE)  # type: ignore[arg-type]
        page.goto(f"{pages}/phone/")
        expect(page, "#message", "Scan the code")
        page.get_by_text("This connection is not encrypted").click()
        assert page.get_by_text("proxy with a certificate").is_visible()
        # FIPS 180-4's examples (NIST's SHA-256 values of "abc" and of a million times "a"), and
        # every length around the end of a block, compared with Python's hash
        for text in ("", "abc", "a" * 1_000_000, *("x" * n for n in range(50, 70))):
            got = page.evaluate("(text) => sha256(new TextEncoder().encode(text))", text)
            assert got == hashlib.sha256(text.encode()).hexdigest()
        page.close()


def test_the_phones_page_is_fit_for_one_hand_in_gloves(
    browser: Browser, serve: Serve, folder: Path
) -> None:
    with serve(folder, "--phones", "--host", "127.0.0.1") as pages:
        page = browser.new_page(**PHONE)  # type: ignore[arg-type]
        page.goto(link_of(browser, pages))
        expect(page, "#next", "Station 1")
        page.get_by_role("button", name="Other station").click()
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        touched = "button, select, input:not([type=checkbox], [type=file]), label.big, label.check"
        heights = page.evaluate(
            """(touched) => [...document.querySelectorAll(`${touched}, summary`)]
              .filter((one) => one.offsetParent)
              .map((one) => [one.outerHTML.slice(0, 60), one.getBoundingClientRect().height])""",
            touched,
        )
        assert len(heights) > 8
        low = [html for html, height in heights if height < 48]
        assert low == []
        try:
            from axe_playwright_python.sync_playwright import Axe
        except ImportError:
            pytest.skip("axe-playwright-python is not installed")
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        page.close()
