"""Retake the pictures of README and USING: ``python -m tests.browser.page_pictures``.

They are in a folder of their own, since every picture beside the samples counts as a photograph.
Together they are smaller than one of the photographs.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pypdfium2
from PIL import Image, ImageDraw, ImageFont
from playwright.sync_api import Page, ViewportSize, expect, sync_playwright

from inspection.folder import Folder
from inspection.record.record import Record, open_record
from tests.browser.conftest import FLAGS, PATIENCE_MS, ROOT, _served
from tests.browser.hands import quiet
from ui.report.case import case_of_record
from ui.report.report import pdf_report
from ui.services.assess_record import log_of
from ui.services.sample import load_sample, sample_folder
from ui.text import place
from vision.overlay import draw_results
from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.target.print_scale import load_print_checks

DESK: ViewportSize = {
    "width": 1440,
    "height": 900,
}  # a laptop's screen, without scrolling
PHONE: ViewportSize = {"width": 390, "height": 844}
MOST_BYTES = 200_000
QUALITY = 82
# Name of the picture, screen, window, and words that appear once it is drawn.
SCREENS: tuple[tuple[str, str, ViewportSize, str], ...] = (
    ("stations", "sheet", DESK, "apart"),
    ("phone", "sheet", PHONE, "apart"),
    ("review", "review", DESK, "1 to 6: decide"),
    ("supervise", "supervise", DESK, "22.11 was logged"),
)


def picture(page: Page, words: str) -> bytes:
    """Return the visible part of the open page, without scrolling."""
    expect(page.get_by_text(words).first).to_be_visible()
    page.wait_for_timeout(8000)  # photographs and edges appear after the words
    quiet(page)
    with Image.open(io.BytesIO(page.screenshot())) as image:
        return small(image)


def small(image: Image.Image) -> bytes:
    """Return a picture as WebP: letters stay sharp at a third of the size of a PNG."""
    with io.BytesIO() as file:
        image.convert("RGB").save(file, "WEBP", quality=QUALITY, method=6)
        return file.getvalue()


def report(record: Record) -> bytes:
    """Return the report's page with the signatures."""
    identity = record.ranked()[0].identity
    read = Folder(log_of(record, identity), (), ())
    with pypdfium2.PdfDocument(pdf_report(case_of_record(record, read, name="record.db"))) as pages:
        return small(pages[0].render(scale=1.5).to_pil())


def measured(folder: Path) -> bytes:
    """Return the card in a sample photograph with the measurement drawn on it, as a JPEG."""
    photo = open_photo(folder / "station-3-view-90.jpg")
    check = load_print_checks(folder / "print_checks.json")["demo-set"]
    (result,) = results = measure_photo(photo, Settings(print_check=check))
    assert isinstance(result, Estimate)
    drawn = draw_results(photo.pixels, results, caption=False)
    around = Image.fromarray(drawn).crop((1050, 850, 2950, 2200)).resize((1000, 711))
    figure = f"{result.diameter_mm:.2f} mm, U {result.expanded_mm():.2f} mm"
    ImageDraw.Draw(around).text(
        (24, 660), f"{place(result)}: {figure}", fill="white", font=ImageFont.load_default(34),
        stroke_width=3, stroke_fill="black",
    )  # fmt: skip
    with io.BytesIO() as file:
        around.save(file, "JPEG", quality=80)
        return file.getvalue()


def keep(file: Path, data: bytes) -> None:
    """Write a picture, or stop if it is too large."""
    if len(data) > MOST_BYTES:
        raise SystemExit(f"{file.name} has {len(data)} bytes; {MOST_BYTES} at most are allowed.")
    file.write_bytes(data)
    print(f"{file}: {len(data) // 1000} kB")


def main() -> None:
    """Take the pictures from a record of the sample inspection."""
    folder = sample_folder()
    if folder is None:
        raise SystemExit("the sample photographs are not beside the program")
    out = ROOT / "sample_images" / "page"
    out.mkdir(exist_ok=True)
    (out / "measured.jpg").write_bytes(measured(folder))
    with tempfile.TemporaryDirectory() as place:
        with open_record(Path(place) / "record.db") as record:
            load_sample(record, folder, by="Reviewer B")
            keep(out / "report.webp", report(record))
        with contextmanager(_served)(Path(place)) as address, sync_playwright() as playwright:
            expect.set_options(timeout=PATIENCE_MS)
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"), args=FLAGS
            )
            for name, screen, window, words in SCREENS:
                page = browser.new_page(viewport=window, device_scale_factor=1)
                page.goto(f"{address}/{screen}")
                keep(out / f"{name}.webp", picture(page, words))
                page.close()
            browser.close()


if __name__ == "__main__":
    main()
