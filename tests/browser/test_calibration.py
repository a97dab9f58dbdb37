"""A phone calibrated on the page, from the board's PDF to the saved camera."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from inspection.record.record import open_record
from tests.browser.hands import fill, fits, press, quiet
from tests.vision.board_scenes import Truth, photograph_board, save, stands

if TYPE_CHECKING:
    from playwright.sync_api import Page

Serve = Callable[..., AbstractContextManager[str]]
# an invented lens, whose focal length the page has to find
LENS = Truth((1200, 900), 880.0, (604.0, 446.0), k1=0.06, k2=-0.05)


@pytest.fixture(scope="module")
def boards(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    place, rng = tmp_path_factory.mktemp("boards"), np.random.default_rng(7)
    paths = []
    for number, pose in enumerate(stands(12, rng)):
        paths.append(place / f"board {number}.jpg")
        save(paths[-1], photograph_board(LENS, pose, seed=number))
    return [str(path) for path in paths]


def test_a_phone_is_calibrated_by_upload_and_removed_again(
    page: Page, serve: Serve, boards: list[str], tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    open_record(tmp_path / "record.db").close()
    with serve(tmp_path) as pages:
        page.goto(f"{pages}/equipment")
        page.get_by_role("tab", name="Phones").click()
        expect(page.get_by_text("No phone has been calibrated")).to_be_visible()
        quiet(page)
        with page.expect_download() as coming:
            page.get_by_role("button", name="Download the board (PDF)").click()
        assert Path(coming.value.path()).read_bytes().startswith(b"%PDF")

        # too few photographs, then one length of two: a message, and the photographs stay
        into = page.locator(".st-key-boards-in input[type=file]")
        into.set_input_files(boards[:3])
        expect(page.get_by_text("board 2.jpg")).to_be_visible()
        page.goto(f"{pages}/limits")  # they also survive a visit to another page
        expect(page.get_by_role("heading", name="Limits", exact=True)).to_be_visible()
        page.goto(f"{pages}/equipment")
        page.get_by_role("tab", name="Phones").click()
        expect(page.get_by_text("board 2.jpg")).to_be_visible()
        page.get_by_text("board 1.jpg").click()
        expect(page.get_by_text("board 1.jpg")).to_have_count(0)
        into.set_input_files(boards[1])
        expect(page.get_by_text("board 1.jpg")).to_be_visible()
        quiet(page)
        press(page, "Calibrate")
        expect(page.get_by_text("found in 3 photographs; at least 8 are needed")).to_be_visible()
        fill(page, "Width of the chequered field (7 squares)", "174,9 mm")
        press(page, "Calibrate")
        expect(page.get_by_text("Enter both dimensions of the chequered field")).to_be_visible()
        fill(page, "Width of the chequered field (7 squares)", "")

        into.set_input_files(boards[3:])
        expect(page.get_by_text("board 11.jpg")).to_be_visible()
        press(page, "Calibrate")
        note = page.get_by_text(re.compile(r"is calibrated: focal length [\d.]+ px, u [\d.]+ px"))
        expect(note).to_be_visible()
        assert page.get_by_role("tab", name="Phones").get_attribute("aria-selected") == "true"
        found = re.search(r"focal length ([\d.]+) px, u ([\d.]+) px, from (\d+)", note.inner_text())
        assert found is not None
        focal, u, used = (float(part) for part in found.groups())
        assert abs(focal - LENS.focal_px) < 3 * u + 0.002 * LENS.focal_px
        assert used >= 8
        expect(page.get_by_text("board 2.jpg")).to_have_count(0)  # they were used
        quiet(page)
        assert fits(page)

        # it stays after a reload, until it is removed
        page.reload()
        page.get_by_role("tab", name="Phones").click()
        expect(page.get_by_text(re.compile(r"Lantern L4.*focal length"))).to_be_visible()
        press(page, "Remove")
        expect(page.get_by_text("was removed.")).to_be_visible()
        expect(page.get_by_text("No phone has been calibrated")).to_be_visible()
