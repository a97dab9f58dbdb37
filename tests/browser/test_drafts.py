"""What was typed outlives a cut connection, a closed browser and a server that was started anew."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from inspection.model.rope import Station
from inspection.record.record import open_record
from tests.browser.hands import go_on, press, type_cell

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Route, WebSocketRoute

LOST = re.compile("nothing that you typed until then was lost")
ONE = "Enter 1 reading into the record"
TWO = "Enter 2 readings into the record"
THREE = "Enter 3 readings into the record"


class Line:
    """The line between browser and server, to be cut and mended."""

    def __init__(self, page: Page) -> None:
        self.whole = True
        self.open: list[WebSocketRoute] = []
        page.context.route_web_socket(re.compile("stream"), self._socket)
        page.context.route(re.compile("_stcore/"), self._request)

    def _socket(self, socket: WebSocketRoute) -> None:
        if not self.whole:
            socket.close()
            return
        socket.connect_to_server()
        self.open.append(socket)

    def _request(self, route: Route) -> None:
        route.continue_() if self.whole else route.abort("internetdisconnected")

    def cut(self) -> None:
        self.whole = False
        for socket in self.open:
            socket.close()
        self.open.clear()


def kept_draft(folder: Path) -> list[list[str]]:
    with open_record(folder / "record.db", create=False) as record:
        draft = record.draft(record.ranked()[0].identity, by="Reviewer B")
        assert draft is not None
        rows: Any = draft.data["rows"]
        return [row for row in rows if row[2]]


def test_a_cut_connection_costs_nothing(page: Page, sample_pages: str, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    line = Line(page)
    page.goto(f"{sample_pages}/readings")
    type_cell(page, 3, 0, "22,41")
    expect(page.get_by_role("button", name="Enter 1 reading into")).to_be_enabled()
    line.cut()
    expect(page.get_by_role("button", name="Enter 1 reading into")).to_be_disabled()
    line.whole = True
    expect(page.get_by_role("button", name="Enter 1 reading into")).to_be_enabled()
    type_cell(page, 3, 1, '7/8"')
    expect(page.get_by_role("button", name=TWO)).to_be_enabled()
    # 7/8 in is 22.225 mm, exact by definition
    expect(page.get_by_text(re.compile(r"= 22\.2[23] mm"))).to_be_visible()
    assert [row[2] for row in kept_draft(tmp_path)] == ["22,41", '7/8"']


def test_a_closed_browser_and_a_new_server_find_the_draft(
    browser: Browser,
    page: Page,
    sample: Path,
    tmp_path: Path,
    serve: Callable[..., AbstractContextManager[str]],
) -> None:
    from playwright.sync_api import expect

    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    with serve(tmp_path) as address:
        page.goto(f"{address}/readings")
        type_cell(page, 3, 0, "22,41")
        # a line of its own, below the last one; the button is reached by Tab
        page.get_by_role("button", name="Add row").press("Enter")
        type_cell(page, 1, 2, "6")
        type_cell(page, 2, 2, "90")
        type_cell(page, 3, 2, "22.39")
        expect(page.get_by_role("button", name=TWO)).to_be_enabled()
    port = int(address.rsplit(":", 1)[1])
    with serve(tmp_path, port=port):
        # the page that stayed open finds its server again: the first line typed then is kept,
        # and nothing stands there twice
        expect(page.get_by_role("button", name=TWO)).to_be_enabled()
        type_cell(page, 3, 1, "22.37")
        expect(page.get_by_role("button", name=THREE)).to_be_enabled()
        expect(page.get_by_text(LOST)).to_be_visible()
        expect(page.get_by_test_id("glide-cell-3-1")).to_have_text("22.37")
        assert [row[2] for row in kept_draft(tmp_path)] == ["22,41", "22.37", "22.39"]

        size = page.viewport_size
        page.context.close()
        context = browser.new_context(viewport=size)
        again = context.new_page()
        again.goto(f"{address}/readings")
        expect(again.get_by_text(LOST)).to_be_visible()
        press(again, THREE)
        expect(again.get_by_text("3 readings are in the record.")).to_be_visible()
        context.close()
    with open_record(tmp_path / "record.db", create=False) as record:
        identity = record.ranked()[0].identity
        read = [
            (one.station, one.view_deg, one.typed) for one in record.inspection(identity).readings
        ]
        assert read[-3:] == [(5, 0, "22,41"), (5, 90, "22.37"), (6, 90, "22.39")]
        assert record.draft(identity, by="Reviewer B") is None


def test_two_pages_of_one_person_outlive_a_new_server_and_other_rows(
    page: Page, sample: Path, tmp_path: Path, serve: Callable[..., AbstractContextManager[str]]
) -> None:
    from playwright.sync_api import expect

    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    one, other = page, page.context.new_page()
    first_row, second_row = "glide-cell-3-0", "glide-cell-3-1"
    with serve(tmp_path) as address:
        for opened in (one, other):
            opened.goto(f"{address}/readings")
            expect(opened.get_by_test_id(first_row)).to_be_attached()
        type_cell(one, 3, 0, "22,41")
        expect(one.get_by_role("button", name=ONE)).to_be_enabled()
        type_cell(other, 3, 1, "22,39")
        expect(other.get_by_role("button", name=ONE)).to_be_enabled()
        expect(other.get_by_test_id(second_row)).to_have_text("22,39")
        type_cell(one, 3, 1, "22,40")  # neither writes over the other's draft
        expect(one.get_by_role("button", name=TWO)).to_be_enabled()
    with open_record(tmp_path / "record.db", create=False) as record:
        there = record.inspection(record.ranked()[0].identity)
        stations = (*there.inspection.stations, Station(9, 99.0, "one more"))
        record.change_inspection(
            replace(there.inspection, stations=stations), by="Inspector A", why="one more",
            revision=there.revision,
        )  # fmt: skip
    with serve(tmp_path, port=int(address.rsplit(":", 1)[1])):
        expect(one.get_by_role("button", name=TWO)).to_be_enabled()
        expect(one.get_by_test_id(first_row)).to_have_text("22,41")
        expect(one.get_by_test_id(second_row)).to_have_text("22,40")
        expect(other.get_by_text("Understood")).to_contain_text("22,39")
        press(one, TWO)
        expect(one.get_by_text("2 readings are in the record.")).to_be_visible()
        expect(other.get_by_text("Understood")).to_contain_text("22,39")


def test_stations_outlive_a_new_server_a_new_page_and_a_look_elsewhere(
    page: Page, sample: Path, tmp_path: Path, serve: Callable[..., AbstractContextManager[str]]
) -> None:
    from playwright.sync_api import expect

    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    first, second = page.get_by_test_id("glide-cell-2-0"), page.get_by_test_id("glide-cell-2-1")
    found = page.get_by_text("What you had typed here was found")
    with serve(tmp_path) as address:
        page.goto(f"{address}/stations")
        type_cell(page, 2, 0, "7,5")
    with serve(tmp_path, port=int(address.rsplit(":", 1)[1])):
        expect(page.get_by_role("button", name="Save stations")).to_be_enabled()
        type_cell(page, 2, 1, "32")
        expect(first).to_have_text("7,5")
        page.goto(f"{address}/stations")
        expect(found).to_be_visible()
        expect(second).to_have_text("32")
        go_on(page, "readings", "5 Readings")
        page.go_back()
        expect(page.get_by_role("heading", name="4 Stations")).to_be_visible()
        expect(first).to_have_text("7,5")
        press(page, "Save stations")
        expect(page.get_by_text("4 stations are in the record.")).to_be_visible()
        expect(found).to_have_count(0)
    with open_record(tmp_path / "record.db", create=False) as record:
        there = record.inspection(record.ranked()[0].identity).inspection
    assert [one.position_m for one in there.stations[:2]] == [7.5, 32.0]
