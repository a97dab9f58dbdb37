"""The whole path in a real browser: from an empty record to a signed-off report."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from inspection.measurement.section import pair_by_card
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.browser.hands import (
    become,
    choose,
    fill,
    fits,
    go_on,
    press,
    quiet,
    reading_field,
    type_reading,
)
from ui.services.sample import sample_folder
from vision.results import Estimate

if TYPE_CHECKING:
    from playwright.sync_api import Page

FOLDER = sample_folder() or Path("sample_images")
PLACES = ("6", "31,5", "58", "83.5 m")
# as sample_images/readings.csv; the last but two is the deliberately mistyped one
READ = [(station, view) for station in (1, 2, 3, 4) for view in (0, 90)]
TYPED = ("22,24", "22.17", "22.03 mm", "22,19", "21.50", "22.11", "22,18", "22.17")


def test_from_an_empty_record_to_a_signed_off_report(
    page: Page, empty_pages: str, tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    pdfium = pytest.importorskip("pypdfium2", reason="PDF files are opened with pypdfium2")
    page.goto(f"{empty_pages}/rope")
    become(page, "Inspector A")
    enter_rope(page)
    go_on(page, "cards", "2 Cards")

    cards = pdfium.PdfDocument(downloaded(page, re.compile(r"^Download 8 cards")))
    assert len(cards) == 8
    # A5 is 148 x 210 mm (ISO 216), here in landscape; a point is 1/72 in
    assert cards[0].get_size() == pytest.approx((210 / 25.4 * 72, 148 / 25.4 * 72), abs=0.5)
    fill(page, "Card set", "demo-set")
    fill(page, "Length of the bar along the rope", "179,24")
    fill(page, "Length of the bar across the rope", "109,62 mm")
    choose(page, "Measured with", re.compile("0.02 mm"))
    press(page, "Save print check")
    expect(page.get_by_text("demo-set: printed -0.42 % along and -0.35 % across")).to_be_visible()
    go_on(page, "stations", "3 Stations")

    expect(page.get_by_role("button", name="Choose photographs")).to_be_visible()
    given = [*sorted(FOLDER.glob("station-*.jpg")), FOLDER / "refuse-tilted.jpg"]
    into = page.locator(".st-key-photographs-in input[type=file]")
    into.set_input_files([str(path) for path in given])
    expect(page.get_by_text("Station 3 is thinnest")).to_be_visible(timeout=240_000)
    expect(page.get_by_text("waiting to be measured")).to_have_count(0, timeout=240_000)
    refused = page.get_by_text("refuse-tilted.jpg (station 5, 0 deg) gives no diameter")
    expect(refused).to_be_visible()
    expect(page.get_by_text("The phone was tilted 48 degrees").first).to_be_visible()
    assert fits(page)

    page.get_by_role("button", name="Plan stations").click()
    for number, place in enumerate(PLACES, start=1):
        fill(page, f"Station {number}: distance along the rope, m", place)
    page.get_by_role("button", name="Done planning").click()
    expect(page.get_by_text("83.5 m")).to_be_visible()

    # readings typed before a gauge is named wait for it
    for (station, view), typed in zip(READ, TYPED, strict=True):
        type_reading(page, station, view, typed)
    expect(page.get_by_text("Kept. Select the gauge")).to_have_count(8)
    fill(page, "Gauge number", "caliper 7")
    press(page, "Save gauge")
    expect(page.get_by_text("Kept. Select the gauge")).to_have_count(0)
    quiet(page)
    record = tmp_path / "record.db"
    assert len(opened(record).readings) == 8
    seen = diameter_at(opened(record), 3, 90)
    expect(page.get_by_text(f"{22.11 - seen:.2f} apart")).to_be_visible()
    assert fits(page)

    review(page, empty_pages)
    there = opened(record)
    assert there.state == "reviewed"
    assert [one.reading.value_mm for one in there.logged][5] == 21.21

    page.goto(f"{empty_pages}/result")
    expect(page.get_by_text("by Reviewer B.")).to_be_visible()
    assert fits(page)
    quiet(page)
    press(page, "Create report")
    report = pdfium.PdfDocument(downloaded(page, "Report as PDF"))
    text = " ".join(sheet.get_textpage().get_text_bounded() for sheet in report)
    compare(text, there, record)
    for sheet in report:
        looks_whole(np.asarray(sheet.render(scale=1).to_pil().convert("L")))


def enter_rope(page: Page) -> None:
    from playwright.sync_api import expect

    expect(page.get_by_text("First enter the rope")).to_be_visible()
    fill(page, "Rope", "quay crane 2, hoist rope, left")
    fill(page, "Nominal diameter", "22")
    page.get_by_text(re.compile("^More: site, construction")).click()
    fill(page, "Reference diameter", "22,44")
    fill(page, "Expanded uncertainty U", "0,08 mm")
    press(page, "Save rope")
    expect(page.get_by_text("Next, start its inspection.")).to_be_visible()
    quiet(page)
    fill(page, "Reviewer", "Reviewer B")
    press(page, "Start this inspection")
    expect(page.get_by_text("The inspection was started.")).to_be_visible()
    assert fits(page)


def review(page: Page, address: str) -> None:
    """Send the wrong entry back, have it corrected, accept every station and the inspection."""
    from playwright.sync_api import expect

    become(page, "Reviewer B")
    page.goto(f"{address}/review")
    expect(page.get_by_text("22.11 logged").first).to_be_visible()
    quiet(page)
    press(page, re.compile("^Read again 90"))
    expect(page.get_by_text("Station 3: sent back to be read again.")).to_be_visible()

    become(page, "Inspector A")
    page.goto(f"{address}/sheet")
    expect(reading_field(page, 3, 90)).to_have_value("")  # ready to be read again
    expect(page.get_by_text("asks for it again").first).to_be_visible()
    type_reading(page, 3, 90, "21,21")
    expect(page.get_by_text("asks for it again")).to_have_count(0)

    become(page, "Reviewer B")
    page.goto(f"{address}/review")
    accept = page.get_by_role("button", name="Accept the inspection")
    reason = page.get_by_label("Why accept it although it disagrees?", exact=True)
    expect(
        page.get_by_role("button", name=re.compile("^Accept(?! the inspection)"))
    ).to_be_visible()
    decided = page.get_by_text(re.compile(r"^\d+ of \d+ decided"))
    while not accept.count():
        before = decided.inner_text()
        if not reason.count():
            press(page, re.compile("^Accept(?! the inspection)"))
        else:
            reason.fill("the competent person was told")
            reason.press("Enter")
            expect(reason).to_have_count(0)
        number = int(before.split()[0]) + 1
        expect(
            reason.or_(accept).or_(page.get_by_text(re.compile(f"^{number} of \\d+ decided"))).first
        ).to_be_visible()
        quiet(page)
    expect(accept).to_be_enabled()
    press(page, "Accept the inspection")
    expect(page.get_by_text("The inspection is accepted.")).to_be_visible()


def downloaded(page: Page, name: str | re.Pattern[str]) -> bytes:
    """Press a download button, and return the file."""
    quiet(page)
    with page.expect_download(timeout=120_000) as coming:
        page.get_by_role("button", name=name).click()
    return Path(coming.value.path()).read_bytes()


def opened(record: Path) -> OpenInspection:
    with open_record(record, create=False) as there:
        return there.inspection(there.ranked()[0].identity)


def diameter_at(there: OpenInspection, station: int, view: int) -> float:
    return next(
        one.diameter_mm
        for one in there.results
        if isinstance(one, Estimate) and (one.station, one.view_deg) == (station, view)
    )


def compare(text: str, there: OpenInspection, record: Path) -> None:
    """Compare the report's words with the record, figure by figure."""
    words = " ".join(text.split())
    with open_record(record, create=False) as held:
        assert held.fingerprint() in words.replace(" ", "")  # may be broken over two lines
        assert held.verify().sound
    for one in there.results:
        if isinstance(one, Estimate):
            assert f"{one.diameter_mm:.2f}" in words
            assert f"{one.expanded_mm():.2f}" in words
    for section in pair_by_card(there.results, nominal_mm=there.rope.nominal_mm):
        assert f"{section.mean_mm:.2f}" in words
        assert f"{section.ovality_mm:.2f}" in words
    for reading in there.readings:
        assert f"{reading.value_mm:.2f}" in words
    assert "Review accepted by Reviewer B, " in words
    assert "read again, as Reviewer B asked" in words
    assert "never clears a rope" in words


def looks_whole(sheet: NDArray[np.uint8]) -> None:
    """Check a page drawn at 72 px per inch: nothing in the outer 4 mm, and not empty."""
    edge = round(4 / 25.4 * 72)
    rim = np.ones(sheet.shape, bool)
    rim[edge:-edge, edge:-edge] = False
    assert (sheet[rim] > 250).all()
    assert (sheet[~rim] < 128).any()


def test_a_refused_photograph_says_why_and_shows_where(
    page: Page, sample_pages: str, tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    bad, patch = with_a_hand_on_it(tmp_path)
    page.goto(f"{sample_pages}/sheet")
    quiet(page)
    empty = tmp_path / "empty.jpg"
    empty.write_bytes(b"")
    into = page.locator(".st-key-photographs-in input[type=file]")
    into.set_input_files([str(bad), str(empty)])
    expect(page.get_by_text("1 photograph uploaded and in the record")).to_be_visible()
    expect(page.get_by_text(re.compile("^empty.jpg is empty"))).to_be_visible()
    expect(page.get_by_text(re.compile("hand.jpg.* gives no diameter"))).to_be_visible()
    expect(page.get_by_text("Keep hands, straps and loose wires off").first).to_be_visible()
    ring = page.locator("circle.spot").first
    expect(ring).to_be_attached()
    x, y = (float(ring.get_attribute(name) or "nan") for name in ("cx", "cy"))
    assert patch[0] < x < patch[2]
    assert patch[1] < y < patch[3]
    assert fits(page)
    assert page.get_by_text("Traceback").count() == 0


def with_a_hand_on_it(folder: Path) -> tuple[Path, tuple[float, float, float, float]]:
    """Paint a hand-coloured patch over one edge of a sample's rope; return file and patch, px."""
    patch = (1600.0, 1165.0, 2320.0, 1385.0)  # the rope's upper edge runs from 1368 to 1384 there
    path = folder / "hand.jpg"
    with Image.open(FOLDER / "station-1-view-00.jpg") as picture:
        exif = picture.getexif()
        ImageDraw.Draw(picture).rectangle(patch, fill=(200, 150, 120))
        picture.save(path, quality=92, exif=exif)
    return path, patch
