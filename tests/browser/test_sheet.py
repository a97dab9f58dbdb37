"""The sheet in a real browser: no input is lost, addresses work, dropped files find their cells."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from inspection.model.readings import Gauge
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import open_record
from tests.browser.hands import become, choose, fill, fits, press, quiet
from tests.browser.hands import reading_field as field
from ui.services.sample import sample_folder

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route, WebSocketRoute

SAMPLE = "2026-09-quay-crane-2"
FIRST, OTHER = "2026-11-visit", "2026-11-other"
# as in sample_images/readings.csv; with commas and points, as people type them
TYPED = ("22,24", "22.17", "22.03", "22,19", "21.50", "22.11", "22,18", "22.17")


@pytest.fixture
def empty_sheet(
    tmp_path: Path, serve: Callable[..., AbstractContextManager[str]]
) -> Iterator[tuple[str, Path]]:
    """Yield the address of the pages and the record: two inspections of four planned stations."""
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("crane 2, left", 22.0, reference_mm=22.44), by="Reviewer B")
        record.add_gauge(Gauge("caliper 7", "wide-jaw caliper", 0.01, 0.03), by="Reviewer B")
        stations = tuple(Station(number, 10.0 * number) for number in (1, 2, 3, 4))
        for name, day in ((OTHER, 3), (FIRST, 2)):
            visit = Inspection(name, "crane 2, left", date(2026, 11, day), stations=stations)
            record.add_inspection(visit, by="Reviewer B")
    with serve(tmp_path) as address:
        yield address, tmp_path / "record.db"


def readings(record: Path, identity: str = FIRST) -> list[tuple[int, int, str]]:
    with open_record(record, create=False) as opened:
        there = opened.inspection(identity).readings
        return [(one.station, one.view_deg, one.typed) for one in there]


def wait_for(page: Page, record: Path, count: int, identity: str = FIRST) -> None:
    for _ in range(300):
        if len(readings(record, identity)) >= count:
            return
        page.wait_for_timeout(100)
    raise AssertionError(readings(record, identity))


PLACES = [(station, view) for station in (1, 2, 3, 4) for view in (0, 90)]


def test_eight_readings_are_eight_taps_and_no_key_is_lost(
    page: Page, empty_sheet: tuple[str, Path]
) -> None:
    from playwright.sync_api import expect

    address, record = empty_sheet
    page.goto(f"{address}/sheet?inspection={FIRST}")
    expect(field(page, 1, 0)).to_be_visible()
    assert field(page, 1, 0).get_attribute("inputmode") == "decimal"
    taps = 0
    for (station, view), typed in zip(PLACES, TYPED, strict=True):
        # at once, while the page is redrawn for the reading before
        field(page, station, view).tap() if page.viewport_size["width"] < 600 else field(
            page, station, view
        ).click()
        taps += 1
        page.keyboard.type(typed, delay=0)
    page.keyboard.press("Tab")
    wait_for(page, record, 8)
    assert readings(record) == [
        (station, view, typed) for (station, view), typed in zip(PLACES, TYPED, strict=True)
    ]
    assert taps <= 12
    quiet(page)
    for (station, view), typed in zip(PLACES, TYPED, strict=True):
        expect(field(page, station, view)).to_have_value(typed)
    expect(page.get_by_text(re.compile("^Station 3 is thinnest"))).to_be_visible()
    assert fits(page)


def test_what_comes_above_moves_no_field_that_is_typed_into(
    page: Page, empty_sheet: tuple[str, Path]
) -> None:
    from playwright.sync_api import expect

    def top(station: int, view: int) -> float:
        return float(field(page, station, view).evaluate("it => it.getBoundingClientRect().top"))

    address, _ = empty_sheet
    page.goto(f"{address}/sheet?inspection={FIRST}")
    for (station, view), typed in list(zip(PLACES, TYPED, strict=True))[:2]:
        field(page, station, view).click()
        page.keyboard.type(typed, delay=0)
    field(page, 2, 0).click()  # both readings of station 1 are being sent
    held, following = top(2, 0), top(2, 90)
    expect(page.get_by_text(re.compile("^Station 1 is thinnest"))).to_be_visible()
    quiet(page)
    assert abs(top(2, 0) - held) < 2
    assert abs(top(2, 90) - following) < 2  # the next field to be tapped


def test_enter_goes_from_field_to_field(page: Page, empty_sheet: tuple[str, Path]) -> None:
    from playwright.sync_api import expect

    address, record = empty_sheet
    page.goto(f"{address}/sheet?inspection={FIRST}")
    field(page, 1, 0).click()
    for typed in TYPED:
        page.keyboard.type(typed, delay=0)
        page.keyboard.press("Enter")
    wait_for(page, record, 8)
    assert [one[2] for one in readings(record)] == list(TYPED)
    # an implausible reading waits at its field; a wrong one is corrected there
    field(page, 1, 0).fill("2.24")
    field(page, 1, 0).press("Enter")
    expect(page.get_by_text("22,24 is in the record. Correct it to 2.24?")).to_be_visible()
    page.get_by_role("button", name="Keep the old one").click()
    expect(field(page, 1, 0)).to_have_value("22,24")
    field(page, 3, 90).fill("21.21")
    field(page, 3, 90).press("Enter")
    page.get_by_role("button", name="Correct it").click()
    expect(page.get_by_text("22.11 is in the record.")).to_have_count(0)
    assert (3, 90, "21.21") in readings(record)
    assert len(readings(record)) == 8


class Line:
    """The connection between browser and server, to be cut, restored, and delayed."""

    def __init__(self, page: Page) -> None:
        self.whole = self.answers = True
        self.open: list[WebSocketRoute] = []
        self.held: list[tuple[WebSocketRoute, str | bytes]] = []
        page.context.route_web_socket(re.compile("stream"), self._socket)
        page.context.route(re.compile("_stcore/"), self._request)

    def _socket(self, socket: WebSocketRoute) -> None:
        if not self.whole:
            socket.close()
            return
        socket.connect_to_server().on_message(lambda told: self._answer(socket, told))
        self.open.append(socket)

    def _answer(self, socket: WebSocketRoute, told: str | bytes) -> None:
        socket.send(told) if self.answers else self.held.append((socket, told))

    def _request(self, route: Route) -> None:
        route.continue_() if self.whole else route.abort("internetdisconnected")

    def answer(self) -> None:
        """Release the delayed answers."""
        self.answers = True
        for socket, told in self.held:
            socket.send(told)
        self.held.clear()

    def cut(self) -> None:
        self.whole = False
        for socket in self.open:
            socket.close()
        self.open.clear()


@pytest.mark.fault(
    "the connection between browser and server is lost while readings are typed into the sheet",
    "`saving ...` beside them; they are entered exactly once, when it is back",
)
def test_readings_typed_while_offline_are_entered_afterwards(
    page: Page, empty_sheet: tuple[str, Path]
) -> None:
    from playwright.sync_api import expect

    address, record = empty_sheet
    line = Line(page)
    page.goto(f"{address}/sheet?inspection={FIRST}")
    field(page, 1, 0).fill("22,41")
    field(page, 1, 0).press("Enter")
    wait_for(page, record, 1)
    line.cut()
    field(page, 1, 90).fill("22.39")
    field(page, 1, 90).press("Enter")
    page.keyboard.type("22,3")
    expect(page.get_by_text("saving …").first).to_be_visible()
    page.wait_for_timeout(1500)
    assert len(readings(record)) == 1
    line.whole = True
    wait_for(page, record, 2)
    expect(field(page, 2, 0)).to_have_value("22,3")
    field(page, 2, 0).press("Tab")
    wait_for(page, record, 3)
    assert readings(record) == [(1, 0, "22,41"), (1, 90, "22.39"), (2, 0, "22,3")]


@pytest.mark.fault(
    "the page reloaded while a reading is half typed",
    "it is still in its field, marked `not entered yet`",
)
def test_a_half_typed_reading_survives_a_reload(page: Page, empty_sheet: tuple[str, Path]) -> None:
    from playwright.sync_api import expect

    address, record = empty_sheet
    page.goto(f"{address}/sheet?inspection={FIRST}")
    field(page, 1, 0).fill("22,4")  # without leaving the field
    page.wait_for_timeout(300)
    page.reload()
    expect(field(page, 1, 0)).to_have_value("22,4")
    expect(page.get_by_text("not entered yet")).to_be_visible()
    assert readings(record) == []
    field(page, 1, 0).click()
    field(page, 1, 0).press("Enter")
    wait_for(page, record, 1)
    page.reload()  # the reading is not sent again
    expect(field(page, 1, 0)).to_have_value("22,4")
    quiet(page)
    assert readings(record) == [(1, 0, "22,4")]


def test_the_address_holds_the_inspection_over_reload_second_window_and_back(
    page: Page, empty_sheet: tuple[str, Path]
) -> None:
    from playwright.sync_api import expect

    address, record = empty_sheet
    there = f"{address}/sheet?inspection={FIRST}"
    page.goto(there)
    expect(page.get_by_text("2026-11-02").first).to_be_visible()
    other = page.context.new_page()
    other.goto(f"{address}/sheet?inspection={OTHER}")
    expect(other.get_by_text("2026-11-03").first).to_be_visible()
    page.reload()
    expect(page.get_by_text("2026-11-02").first).to_be_visible()
    assert page.evaluate("location.href") == there
    for shown, typed in ((page, "22,1"), (other, "22,2")):
        field(shown, 1, 0).fill(typed)
        field(shown, 1, 0).press("Enter")
    wait_for(page, record, 1)
    wait_for(page, record, 1, OTHER)
    assert readings(record) == [(1, 0, "22,1")]
    assert readings(record, OTHER) == [(1, 0, "22,2")]

    # an address without an inspection gets one, and every link keeps it
    page.goto(f"{address}/result")
    quiet(page)
    page.goto(f"{address}/result?inspection={OTHER}")
    expect(page.get_by_text("2026-11-03").first).to_be_visible()
    page.goto(f"{address}/sheet?inspection={FIRST}")
    expect(field(page, 1, 0)).to_have_value("22,1")
    quiet(page)
    field(page, 4, 90).fill("22,4")  # and the link is pressed next
    page.get_by_role("link", name="Next: result").click()
    page.wait_for_url(re.compile("/result"))
    assert f"inspection={FIRST}" in page.evaluate("location.href")
    wait_for(page, record, 2)
    page.go_back()
    expect(field(page, 1, 0)).to_have_value("22,1")
    assert page.evaluate("location.href") == there


@pytest.mark.fault(
    "a slow server, and a reading typed just before the link to the next page is followed",
    "the next page opens, once; Back leads to the sheet",
)
def test_a_slow_answer_brings_nobody_back_to_the_page_they_left(
    page: Page, empty_sheet: tuple[str, Path]
) -> None:
    from playwright.sync_api import expect

    address, record = empty_sheet
    line = Line(page)
    page.goto(f"{address}/sheet?inspection={FIRST}")
    expect(field(page, 4, 90)).to_be_visible()
    quiet(page)
    field(page, 4, 90).fill("22,4")
    line.answers = False
    page.get_by_role("link", name="Next: result").click()
    page.wait_for_timeout(5000)  # the field is sent again after 3 s without an answer
    line.answer()
    page.wait_for_url(re.compile("/result"))
    expect(page.get_by_role("heading", name="4 Result")).to_be_visible()
    wait_for(page, record, 1)
    quiet(page)
    page.wait_for_timeout(1500)
    assert page.evaluate("location.pathname") == "/result"
    page.go_back()
    expect(field(page, 4, 90)).to_have_value("22,4")
    assert page.evaluate("location.href") == f"{address}/sheet?inspection={FIRST}"


def test_a_place_opens_large_by_its_address_and_back_is_the_sheet(
    page: Page, sample_pages: str
) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/sheet?inspection={SAMPLE}")
    quiet(page)
    page.get_by_role("link", name="Open the photograph of station 3, 90 degrees").click()
    expect(page.get_by_role("heading", name="Station 3, 90°")).to_be_visible()
    expect(page.get_by_text("mm outside").first).to_be_visible()  # the logged reading is drawn
    assert page.evaluate("location.search") == f"?inspection={SAMPLE}&station=3&view=90"
    page.reload()
    expect(page.get_by_role("heading", name="Station 3, 90°")).to_be_visible()
    assert fits(page)
    page.go_back()
    expect(field(page, 3, 90)).to_be_visible()
    assert page.evaluate("location.search") == f"?inspection={SAMPLE}"


def test_a_second_witness_types_before_the_figure_is_shown(
    page: Page, sample_pages: str, tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    page.goto(f"{sample_pages}/sheet?inspection={SAMPLE}")
    become(page, "Inspector C")
    expect(field(page, 1, 0)).to_have_value("22.24")
    page.get_by_text("Enter independent second readings").click()
    page.wait_for_timeout(600)  # the sheet gives way to that of the second witness
    quiet(page)
    expect(field(page, 1, 0)).to_have_value("")
    expect(page.get_by_text("until read")).to_have_count(8)  # blind by default
    expect(page.get_by_text("22.17")).to_have_count(0)
    field(page, 1, 0).fill("22,21")
    field(page, 1, 0).press("Tab")
    wait_for(page, tmp_path / "record.db", 9, SAMPLE)
    expect(page.get_by_text("until read")).to_have_count(7)
    expect(page.get_by_text("✓ agrees")).to_have_count(1)
    with open_record(tmp_path / "record.db", create=False) as record:
        (mine,) = [one for one in record.inspection(SAMPLE).readings if one.person == "Inspector C"]
    assert (mine.station, mine.view_deg, mine.typed, mine.blind) == (1, 0, "22,21", True)
    assert fits(page)


DROP = """([name, type, data]) => {
  const bytes = Uint8Array.from(atob(data), one => one.charCodeAt(0)), carried = new DataTransfer();
  carried.items.add(new File([bytes], name, {type}));
  const give = what => document.querySelector('h2, h1').dispatchEvent(
    new DragEvent(what, {bubbles: true, cancelable: true, dataTransfer: carried}));
  give('dragover'); give('drop');
}"""


def test_a_photograph_dropped_anywhere_finds_its_cell(
    page: Page, empty_sheet: tuple[str, Path]
) -> None:
    from playwright.sync_api import expect

    folder = sample_folder()
    if folder is None:
        pytest.skip("the sample photographs are not beside the program")
    address, _ = empty_sheet
    page.goto(f"{address}/sheet?inspection={FIRST}")
    expect(field(page, 2, 90)).to_be_visible()
    quiet(page)
    page.wait_for_timeout(500)
    data = base64.b64encode((folder / "station-2-view-90.jpg").read_bytes()).decode()
    page.evaluate(DROP, ["IMG_1.jpg", "image/jpeg", data])
    link = page.get_by_role("link", name="Open the photograph of station 2, 90 degrees")
    expect(link).to_be_visible(timeout=120_000)
    # the figure has appeared by itself
    assert fits(page)


def test_a_table_is_imported_as_its_mapping_says(
    page: Page, empty_sheet: tuple[str, Path], tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    address, record = empty_sheet
    sheet = tmp_path / "yard.csv"
    sheet.write_text("Stelle;vorn;seitlich;Prüfer\n1;22,24;22,17;A. Berg\n2;22,03;22,19;A. Berg\n")
    page.goto(f"{address}/sheet?inspection={FIRST}")
    expect(field(page, 1, 0)).to_be_visible()
    quiet(page)
    page.get_by_text("Import a table").click()
    page.locator(".st-key-table-in input[type=file]").set_input_files(str(sheet))
    expect(page.get_by_text("How each column is understood")).to_be_visible()
    choose(page, "Stelle (e.g. 1)", "number of the station, from 1")
    choose(page, "vorn (e.g. 22,24)", "reading at 0°")
    choose(page, "seitlich (e.g. 22,17)", "reading at 90°")
    expect(page.get_by_text("Readings recognised: 4")).to_be_visible()
    assert fits(page)
    fill(page, "Save this mapping as", "yard")
    press(page, "Enter 4 readings")
    expect(field(page, 2, 90)).to_have_value("22,19")
    assert readings(record) == [
        (1, 0, "22,24"), (1, 90, "22,17"), (2, 0, "22,03"), (2, 90, "22,19")
    ]  # fmt: skip
    # the next table of this kind is understood by the mapping's name
    expect(page.get_by_text("Readings recognised: 4")).to_have_count(0)
    quiet(page)
    page.wait_for_timeout(1000)  # the upload field of the first table is replaced
    page.locator(".st-key-table-in input[type=file]").set_input_files(str(sheet))
    choose(page, "Mapping", "yard")
    expect(page.get_by_text("Readings recognised: 4")).to_be_visible()
    press(page, "Enter 4 readings")  # they are in the record already
    expect(page.get_by_text("4 rows were rejected")).to_be_visible()
    assert len(readings(record)) == 4
