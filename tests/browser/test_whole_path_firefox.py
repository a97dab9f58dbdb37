"""The whole path on a desktop in a second engine, from an empty record to the report."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from inspection.record.record import open_record
from tests.browser.conftest import free_port
from tests.browser.firefox import QUIET, Tab, firefox
from tests.browser.hands import COUNT_RUNS
from tests.browser.test_whole_path import FOLDER, READ, TYPED, compare, looks_whole, opened

Serve = Callable[..., AbstractContextManager[str]]


def test_from_an_empty_record_to_a_signed_off_report(serve: Serve, tmp_path: Path) -> None:
    pdfium = pytest.importorskip("pypdfium2", reason="PDF files are opened with pypdfium2")
    np = pytest.importorskip("numpy")
    record, profile = tmp_path / "record.db", tmp_path / "profile"
    open_record(record).close()
    with firefox(profile, free_port()) as tab, serve(tmp_path) as pages:
        tab.goto(f"{pages}/rope")
        become(tab, "Inspector A")
        tab.fill("Rope", "quay crane 2, hoist rope, left")
        tab.fill("Nominal diameter", "22")
        tab.press("^Save rope")
        tab.says("Next, start its inspection")
        tab.wait(QUIET)
        tab.fill("Reviewer", "Reviewer B")
        tab.press("^Start this inspection")
        tab.says("The inspection was started")
        tab.press("Next: cards")
        tab.says("Check the print")
        tab.wait(QUIET)
        tab.fill("Card set", "demo-set")
        tab.fill("Length of the bar along the rope", "179,24")
        tab.fill("Length of the bar across the rope", "109,62 mm")
        tab.press("^Save print check")
        tab.says("demo-set: printed -0.42 % along")
        tab.press("Next: stations")

        tab.wait("deep('.st-key-photographs-in').length && deep('input[type=file]').length")
        tab.wait(QUIET)
        tab.give("input[type=file][multiple]", *sorted(FOLDER.glob("station-*.jpg")))
        tab.says("Station 3 is thinnest")
        tab.wait("!/waiting to be measured/.test(words())")
        for (station, view), typed in zip(READ, TYPED, strict=True):
            tab.fill(f"Gauge reading, station {station}, {view} degrees, mm", typed)
        tab.wait("(words().match(/Kept. Select the gauge/g) ?? []).length >= 8")
        tab.fill("Gauge number", "caliper 7")
        tab.press("^Save gauge")
        tab.wait("!/Kept. Select the gauge/.test(words())")
        assert len(opened(record).readings) == 8
        tab.says(r"0\.9\d apart")

        review(tab, pages)
        there = opened(record)
        assert there.state == "reviewed"
        assert [one.reading.value_mm for one in there.logged][5] == 21.21
        tab.goto(f"{pages}/result")
        tab.says("by Reviewer B")
        tab.press("Create report$")
        tab.press("Report as PDF$")
        report = pdfium.PdfDocument(downloaded(profile))
        text = " ".join(sheet.get_textpage().get_text_bounded() for sheet in report)
        compare(text, there, record)
        for sheet in report:
            looks_whole(np.asarray(sheet.render(scale=1).to_pil().convert("L")))


def become(tab: Tab, name: str) -> None:
    """Enter the person's name in the sidebar."""
    tab.wait(QUIET)
    tab.run(f"({COUNT_RUNS})()")
    tab.fill("Your name", name)
    tab.wait("window.runsEnded > 0")  # the next page opened would otherwise be the last person's
    tab.wait(QUIET)


def review(tab: Tab, pages: str) -> None:
    """Send the wrong entry back, have it corrected, accept every station and the inspection."""
    become(tab, "Reviewer B")
    tab.goto(f"{pages}/review")
    tab.says("22.11 logged")
    tab.press("^Read again 90")
    tab.says("Station 3: sent back to be read again")
    become(tab, "Inspector A")
    tab.goto(f"{pages}/sheet")
    tab.says("asks for it again")
    tab.fill("Gauge reading, station 3, 90 degrees, mm", "21,21")
    tab.wait("!/asks for it again/.test(words())")
    become(tab, "Reviewer B")
    tab.goto(f"{pages}/review")
    stands, whole = "^Accept(?! the inspection)", "^Accept the inspection"
    pressed = "deep('button').filter(seen).some(one => /{}/.test(named(one)))".format
    reason = "Why accept it although it disagrees?"
    asked = f"deep('input').filter(seen).some(one => named(one) === {reason!r})"
    for _ in range(16):
        tab.wait(f"{pressed(stands)} || {pressed(whole)} || {asked}")
        time.sleep(0.5)
        tab.wait(QUIET)
        if tab.sees(pressed(whole)):
            break
        if tab.sees(asked):
            tab.fill(reason, "the competent person was told")
            tab.press("^Accept")
        else:
            tab.press(stands)
    tab.press(whole)
    tab.says("The inspection is accepted")


def downloaded(folder: Path) -> bytes:
    """Return the PDF that was downloaded into a folder."""
    until = time.monotonic() + 60
    while not (found := [one for one in folder.glob("*.pdf") if one.stat().st_size]):
        assert time.monotonic() < until, sorted(one.name for one in folder.iterdir())
        time.sleep(0.2)
    while any(folder.glob("*.part")):
        time.sleep(0.1)
    assert re.fullmatch(r".*\.pdf", found[0].name)
    return found[0].read_bytes()
