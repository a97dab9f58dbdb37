"""Photographs being uploaded while another page is opened, on a reload, a kill: none is lost."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.browser.conftest import PATIENCE_MS, free_port
from tests.browser.hands import quiet, reading_field, type_reading
from ui.services.sample import sample_folder
from vision.target.print_scale import check_to_dict, load_print_checks

if TYPE_CHECKING:
    from playwright.sync_api import Page

Serve = Callable[..., AbstractContextManager[str]]
FOLDER = sample_folder()
ONE_ARRIVED = re.compile(r"^1 of 8 photographs uploaded, 7 to go")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    assert FOLDER is not None
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("quay crane 2", 22.0), by="Reviewer B")
        for name, check in load_print_checks(FOLDER / "print_checks.json").items():
            record.add_print_check(name, check_to_dict(check), by="Reviewer B")
        stations = tuple(Station(number, 10.0 * number) for number in (1, 2, 3, 4))
        record.add_inspection(
            Inspection("visit", "quay crane 2", date(2026, 11, 2), stations=stations),
            by="Reviewer B",
        )
    return tmp_path


def there(folder: Path) -> OpenInspection:
    with open_record(folder / "record.db") as record:
        return record.inspection("visit")


def give_eight(page: Page, pages: str, folder: Path | None = FOLDER) -> None:
    """Choose the eight photographs of a folder; return once the line counts them."""
    assert folder is not None
    page.set_default_timeout(PATIENCE_MS)
    page.goto(f"{pages}/sheet?inspection=visit")
    eight = sorted(folder.glob("station-*.jpg"))
    assert len(eight) == 8
    into = page.locator(".st-key-photographs-in input[type=file]")
    into.set_input_files([str(path) for path in eight])
    page.get_by_text(re.compile(r"\d of 8 photographs uploaded, \d to go")).wait_for()


def all_are_stored(page: Page) -> None:
    """Wait until the browser has stored everything that it has not sent."""
    words = re.compile("You can continue on any page|uploaded and in the record")
    page.get_by_text(words).first.wait_for(state="attached")  # a phone hides the first of them


class Line:
    """The connection to the server, to be slowed and cut."""

    def __init__(self, page: Page) -> None:
        self._devtools = page.context.new_cdp_session(page)
        self._devtools.send("Network.enable")

    def carries(self, bytes_a_second: float) -> None:
        """Set its capacity from now on: -1 for unlimited, 0 for nothing."""
        conditions = {"offline": bytes_a_second == 0, "latency": 0, "downloadThroughput": -1}
        self._devtools.send(
            "Network.emulateNetworkConditions", {**conditions, "uploadThroughput": bytes_a_second}
        )


def the_second_is_on_its_way(page: Page, pages: str) -> Line:
    """Upload eight over a slow connection; return it once one of them has arrived."""
    page.goto(f"{pages}/sheet?inspection=visit")
    line = Line(page)
    line.carries(400_000)
    give_eight(page, pages)
    page.get_by_text(ONE_ARRIVED).wait_for()
    return line


def follow(page: Page, name: str, title: str) -> None:
    """Open another page by its link in the menu, without reloading the window.

    On a phone the menu covers the page, so it is opened first and must close by itself.
    """
    quiet(page)
    link = page.get_by_test_id("stSidebar").get_by_role("link", name=name)
    if (link.bounding_box() or {"x": -1})["x"] < 0:
        page.get_by_test_id("stExpandSidebarButton").click()
        link.click()
        page.get_by_test_id("stExpandSidebarButton").wait_for()
    else:
        link.click()
    page.get_by_role("heading", name=title, exact=True).wait_for()


def all_figures(folder: Path) -> OpenInspection:
    """Return the inspection once every photograph has its figure; each is stored only once."""
    until = time.monotonic() + 120
    while len(there(folder).results) < 8:
        assert time.monotonic() < until, there(folder).waiting
        time.sleep(0.2)
    now = there(folder)
    assert len(now.photographs) == 8
    assert not now.waiting
    return now


EIGHT = {(station, view) for station in (1, 2, 3, 4) for view in (0, 90)}


def places(now: OpenInspection) -> set[tuple[int | None, int | None]]:
    return {(one.station, one.view_deg) for one in now.results}


@pytest.mark.fault(
    "another page opened while photographs are being uploaded",
    "`1 of 8 photographs uploaded, 7 to go`, on every page; all of them arrive",
)
def test_photographs_being_uploaded_arrive_whatever_page_is_opened(
    page: Page, serve: Serve, folder: Path
) -> None:
    with serve(folder) as pages:
        line = the_second_is_on_its_way(page, pages)
        follow(page, "2 Cards", "2 Cards")
        page.get_by_text(re.compile(r"\d of 8 photographs uploaded, \d to go")).wait_for()
        assert len(there(folder).photographs) < 8
        follow(page, "Start", "Start")  # a page without an inspection
        line.carries(-1)
        page.get_by_text("8 photographs uploaded and in the record").wait_for()
        all_figures(folder)


@pytest.mark.fault(
    "a reload or a lost connection while photographs are being uploaded",
    "the browser keeps them until the server has them: `There is no connection. They are kept"
    " in this browser and will be sent again.`",
)
def test_photographs_being_uploaded_survive_a_reload_and_a_lost_connection(
    page: Page, serve: Serve, folder: Path
) -> None:
    with serve(folder) as pages:
        line = the_second_is_on_its_way(page, pages)
        line.carries(0)
        page.get_by_text("kept in this browser and will be sent again").wait_for()
        line.carries(-1)
        page.on("dialog", lambda dialog: dialog.accept())  # the browser asks before it leaves
        page.goto(f"{pages}/limits")
        assert places(all_figures(folder)) == EIGHT


def test_a_photograph_to_be_looked_at_is_there_when_its_page_is_opened_again(
    page: Page, serve: Serve, folder: Path
) -> None:
    assert FOLDER is not None
    page.set_default_timeout(PATIENCE_MS)
    with serve(folder) as pages:
        page.goto(pages)
        line = Line(page)
        line.carries(400_000)
        field = page.locator(".st-key-quick-look input[type=file]")
        field.set_input_files(str(FOLDER / "bar-16mm.jpg"))
        page.get_by_text("0 of 1 photograph uploaded, 1 to go").wait_for()
        follow(page, "2 Cards", "2 Cards")
        line.carries(-1)
        page.get_by_text("1 photograph uploaded").wait_for()
        follow(page, "Start", "Start")
        # the bar's mesh is 16.00 mm thick (sample_images/truth.csv)
        page.get_by_test_id("stMetricValue").get_by_text(re.compile(r"^1[56]\.\d\d ±")).wait_for()
        assert not there(folder).photographs  # nothing is stored until someone says so


def test_eight_photographs_and_another_page_meanwhile(
    page: Page, serve: Serve, folder: Path
) -> None:
    with serve(folder) as pages:
        began = time.monotonic()
        give_eight(page, pages)
        follow(page, "2 Cards", "2 Cards")  # at once
        page.get_by_text(re.compile(r"\d waiting")).first.wait_for()  # shown there, too
        assert places(all_figures(folder)) == EIGHT
        print(f"all figures after {time.monotonic() - began:.1f} s")
        page.get_by_text(re.compile(r"\d waiting")).first.wait_for(state="detached")


def test_eight_photographs_and_a_reload_meanwhile_figures_appear_by_themselves(
    page: Page, serve: Serve, folder: Path
) -> None:
    with serve(folder) as pages:
        give_eight(page, pages)
        all_are_stored(page)
        page.reload()
        page.get_by_text(re.compile(r"22\.\d\d")).first.wait_for()  # without pressing anything
        all_figures(folder)
        page.get_by_text(re.compile(r"\d waiting")).first.wait_for(state="detached")
        quiet(page)
        assert not page.get_by_text("could not be shown").count()
        give_eight(page, pages)
        page.get_by_text("station-1-view-00.jpg is already in this inspection.").wait_for()


# a browser whose storage never answers, as happens in private windows and after a crash
NO_STORAGE = "indexedDB.open = () => ({})"
ASKS_BEFORE_IT_LEAVES = "!dispatchEvent(new Event('beforeunload', {cancelable: true}))"


@pytest.mark.fault(
    "a browser that has not stored the chosen photographs yet",
    "all are counted, `Keep this window open: they are not yet stored in this browser.`, and the"
    " browser asks before it leaves",
)
def test_photographs_that_the_browser_has_not_stored_are_counted_and_sent(
    page: Page, serve: Serve, folder: Path
) -> None:
    page.add_init_script(NO_STORAGE)
    with serve(folder) as pages:
        page.goto(f"{pages}/sheet?inspection=visit")
        line = Line(page)
        line.carries(100_000)
        give_eight(page, pages)
        page.get_by_text("0 of 8 photographs uploaded, 8 to go").wait_for()
        page.get_by_text("Keep this window open: they are not yet stored").wait_for()
        assert page.evaluate(ASKS_BEFORE_IT_LEAVES)
        line.carries(-1)
        page.get_by_text("8 photographs uploaded and in the record").wait_for()
        assert not page.evaluate(ASKS_BEFORE_IT_LEAVES)
        assert places(all_figures(folder)) == EIGHT


@pytest.mark.fault(
    "the chosen files deleted before they are uploaded",
    "the browser sends its own copies; all arrive",
)
def test_photographs_whose_files_are_deleted_after_choosing_arrive(
    page: Page, serve: Serve, folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    assert FOLDER is not None
    camera = tmp_path_factory.mktemp("camera")
    for path in FOLDER.glob("station-*.jpg"):
        shutil.copy(path, camera)
    with serve(folder) as pages:
        page.goto(f"{pages}/sheet?inspection=visit")
        line = Line(page)
        line.carries(100_000)
        give_eight(page, pages, camera)
        all_are_stored(page)
        shutil.rmtree(camera)
        line.carries(-1)
        page.get_by_text("8 photographs uploaded and in the record").wait_for()
        assert places(all_figures(folder)) == EIGHT


@pytest.mark.fault(
    "a file that can never be a photograph",
    "why, and only the offer to choose another",
)
def test_for_a_file_that_is_no_photograph_only_another_is_offered(
    page: Page, serve: Serve, folder: Path
) -> None:
    page.set_default_timeout(PATIENCE_MS)
    text, empty = folder / "notes.jpg", folder / "empty.jpg"
    text.write_text("station 3: broken wires\n", encoding="utf-8")
    empty.touch()
    with serve(folder) as pages:
        page.goto(f"{pages}/sheet?inspection=visit")
        into = page.locator(".st-key-photographs-in input[type=file]")
        into.set_input_files([str(text), str(empty)])
        page.get_by_text(re.compile("^notes.jpg is not a photograph that can be read")).wait_for()
        page.get_by_text(re.compile("^empty.jpg is empty")).wait_for()
        assert not page.get_by_role("button", name="Try again").count()
        with page.expect_file_chooser():
            page.get_by_role("button", name="Choose another").first.click()
        page.get_by_text(re.compile("^notes.jpg")).wait_for(state="detached")
        page.get_by_role("button", name="Remove empty.jpg").click()
        page.get_by_text(re.compile("^empty.jpg")).wait_for(state="detached")


@pytest.mark.fault(
    "the server stops while readings are being typed",
    "`The server is not responding.`; typing goes on, and what was typed is sent once it answers",
)
def test_readings_are_typed_while_the_server_is_away(
    page: Page, serve: Serve, folder: Path
) -> None:
    page.set_default_timeout(PATIENCE_MS)
    away, port = page.get_by_text("The server is not responding."), free_port()
    with serve(folder, port=port) as pages:
        page.goto(f"{pages}/sheet?inspection=visit")
        reading_field(page, 1, 0).wait_for()
        quiet(page)
    away.wait_for()
    type_reading(page, 1, 0, "22,41")
    with serve(folder, port=port):
        page.get_by_text("Kept. Select the gauge").wait_for()
        away.wait_for(state="hidden")
        assert reading_field(page, 1, 0).input_value() == "22,41"
