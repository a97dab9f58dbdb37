"""The pictures of README and USING, taken anew: ``python -m tests.browser.page_pictures``.

They lie in a folder of their own, since every picture beside the samples counts as a photograph.
Colours are brought to 256, so that both together weigh less than one of the photographs.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from inspection.record.record import open_record
from tests.browser.conftest import FLAGS, PATIENCE_MS, ROOT, _served
from tests.browser.hands import quiet
from ui.services.sample import load_sample, sample_folder
from vision.overlay import draw_results
from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.target.print_scale import load_print_checks

WIDE_PX, HIGH_PX = 1440, 900  # a laptop's screen: what is seen without scrolling
MOST_BYTES = 400_000
# The screen, and words that stand there once it is drawn.
SCREENS = (("sheet", "apart"), ("review", "1 to 6 decide"), ("supervise", "22.11 was logged"))


def picture(page: Page, words: str) -> bytes:
    """Return what is seen of the open page without scrolling, as a small PNG."""
    expect(page.get_by_text(words).first).to_be_visible()
    page.wait_for_timeout(8000)  # photographs and edges come after the words
    quiet(page)
    with Image.open(io.BytesIO(page.screenshot())) as image, io.BytesIO() as small:
        few = image.convert("RGB").quantize(256, Image.Quantize.MEDIANCUT)
        few.save(small, "PNG", optimize=True)
        return small.getvalue()


def measured(folder: Path) -> bytes:
    """Return the card of a sample photograph with what was measured drawn on it, as a JPEG."""
    photo = open_photo(folder / "station-3-view-90.jpg")
    check = load_print_checks(folder / "print_checks.json")["demo-set"]
    drawn = draw_results(photo.pixels, measure_photo(photo, Settings(print_check=check)))
    with io.BytesIO() as small:
        around = Image.fromarray(drawn).crop((1050, 850, 2950, 2200))
        around.resize((1000, 711)).save(small, "JPEG", quality=80)
        return small.getvalue()


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
        with contextmanager(_served)(Path(place)) as address, sync_playwright() as playwright:
            expect.set_options(timeout=PATIENCE_MS)
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"), args=FLAGS
            )
            for screen, words in SCREENS:
                page = browser.new_page(viewport={"width": WIDE_PX, "height": HIGH_PX})
                page.goto(f"{address}/{screen}")
                data = picture(page, words)
                if len(data) > MOST_BYTES:
                    raise SystemExit(f"{screen}: {len(data)} bytes, {MOST_BYTES} at most")
                (out / f"{screen}.png").write_bytes(data)
                print(f"{out / screen}.png: {len(data) // 1000} kB")
                page.close()
            browser.close()


if __name__ == "__main__":
    main()
