"""How fast the pages are in a real browser: a page, the next station, eight photographs, a report.

Example: ``python tests/benchmarks/bench_page.py`` (needs the extra `browser` and Chromium; uses
the sample photographs). Times are wall-clock times and depend on what else the machine is doing;
the processor time of server and browser, printed beside them, hardly does.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from datetime import date
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser, Page, sync_playwright

from inspection.model.rope import Inspection, Station
from inspection.record.record import open_record
from ui.services.sample import load_sample, sample_folder

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = "2026-09-quay-crane-2"
VISITS = 3
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
# Pictures are drawn in shadow roots, which a plain query does not search.
DEEP = """const deep = (root, css) => [...root.querySelectorAll(css),
  ...[...root.querySelectorAll('*')].flatMap(e => e.shadowRoot ? deep(e.shadowRoot, css) : [])];
const shown = () => deep(document, 'svg image').map(one => one.getAttribute('href'));"""
# The station's photograph and both close-ups of its edges are shown, and nothing is running.
READY = f"""() => {{ {DEEP}
  return !document.querySelector('[data-test-script-state=running], [data-stale=true]')
    && shown().length > 0 && shown().every(Boolean)
    && /\\d of \\d+ decided/.test(document.body.innerText);
}}"""
STILL = "() => !document.querySelector('[data-test-script-state=running], [data-stale=true]')"
FIRST = f"() => {{ {DEEP} return shown()[0]; }}"
# Eight cells of the sheet have a figure, and nothing is waiting.
FIGURES = f"""() => {{ {DEEP}
  const figures = deep(document, 'td.cell .figure b').map(one => one.textContent);
  return figures.filter(one => /\\d\\d[.]\\d\\d/.test(one)).length >= 8
    && !/\\d waiting/.test(document.body.innerText);
}}"""
OTHER = f"was => {{ {DEEP} return shown()[0] !== was; }}"


def served(folder: Path) -> tuple[subprocess.Popen[bytes], str, float]:
    """Start the pages; return the server, its address, and how long it took to answer, s."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (folder / "person.json").write_text(json.dumps({"person": "Reviewer B"}), encoding="utf-8")
    environment = os.environ | {"ROPE_PHOTO_PERSON_FILE": str(folder / "person.json")}
    command = [sys.executable, "-m", "ui.cli.main", "page", "--no-browser", "--port", str(port),
               "--without-login"]  # fmt: skip
    begun = time.perf_counter()
    server = subprocess.Popen(
        [*command, "--record", str(folder / "record.db")], cwd=ROOT, env=environment,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    address = f"http://127.0.0.1:{port}"
    while True:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                return server, address, time.perf_counter() - begun
        except OSError:
            if server.poll() is not None:
                raise SystemExit("the pages ended before they answered") from None
            time.sleep(0.05)


def used_s(root: int) -> float:
    """Return the processor time of a process and all its descendants, s (Linux)."""
    parents: dict[int, list[int]] = {}
    times: dict[int, float] = {}
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue  # it ended meanwhile
        process = int(entry.parent.name)
        parents.setdefault(int(fields[1]), []).append(process)
        times[process] = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    total, waiting = 0.0, [root]
    while waiting:
        one = waiting.pop()
        total += times.get(one, 0.0)
        waiting += parents.get(one, [])
    return total


def timed(job: Callable[[], None]) -> tuple[float, float]:
    """Return the wall-clock time of a job and the processor time of server and browser, s."""
    used, begun = used_s(os.getpid()), time.perf_counter()
    job()
    wall = time.perf_counter() - begun
    return wall, used_s(os.getpid()) - used


def open_review(browser: Browser, address: str) -> tuple[Page, Callable[[], None]]:
    """Return a new page, and a job that opens the review's first station on it."""
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()

    def job() -> None:
        page.goto(f"{address}/review?inspection={SAMPLE}&station=1")
        page.wait_for_function(READY, timeout=120_000, polling="raf")

    return page, job


def change_station(page: Page, key: str) -> None:
    """Go to the next or the previous station by keyboard."""
    now = page.evaluate(FIRST)
    page.keyboard.press(key)
    page.wait_for_function(OTHER, arg=now, timeout=120_000, polling="raf")
    page.wait_for_function(READY, timeout=120_000, polling="raf")


def give_eight(page: Page, address: str, visit: str) -> Callable[[], None]:
    """Return a job that adds eight photographs to an inspection and waits for all figures."""
    page.goto(f"{address}/sheet?inspection={visit}")
    into = page.locator(".st-key-photographs-in input[type=file]")
    into.wait_for(state="attached", timeout=120_000)
    still(page)
    eight = sorted(str(path) for path in sample_images().glob("station-*.jpg"))

    def job() -> None:
        into.set_input_files(eight)
        page.wait_for_function(FIGURES, timeout=120_000, polling="raf")

    return job


def make_report(page: Page, number: int) -> Callable[[], None]:
    """Return a job that makes the sample's report on the page of its result."""
    field = page.get_by_label("Report number", exact=True)
    field.fill(str(number))
    field.press("Tab")
    page.get_by_role("button", name="Report as PDF").wait_for(state="detached")
    still(page)

    def job() -> None:
        page.get_by_role("button", name="Create report").click()
        page.get_by_role("button", name="Report as PDF").wait_for(timeout=120_000)

    return job


def still(page: Page) -> None:
    """Wait until the page has stopped changing."""
    page.wait_for_timeout(800)
    page.wait_for_function(STILL, timeout=120_000)


def sample_images() -> Path:
    """Return the folder of the sample photographs."""
    folder = sample_folder()
    if folder is None:
        raise SystemExit("this needs the sample photographs")
    return folder


def fill(place: Path) -> None:
    """Make a record with the sample and with inspections that have no photographs yet."""
    with open_record(place) as record:
        load_sample(record, sample_images(), by="Reviewer B")
        rope = record.inspection(SAMPLE).rope.identity
        stations = tuple(Station(number, 10.0 * number) for number in (1, 2, 3, 4))
        for number in range(VISITS):
            visit = Inspection(f"visit {number}", rope, date(2026, 11, 2), stations=stations)
            record.add_inspection(visit, by="Reviewer B")


def print_row(name: str, times: list[tuple[float, float]], aim_ms: int) -> None:
    """Print the medians of repeated wall-clock and processor times."""
    wall, used = (1000 * median(part) for part in zip(*times, strict=True))
    print(f"{name:36s}{len(times):4d}{wall:10.0f} ms{used:10.0f} ms{aim_ms:9d} ms")


def main() -> None:
    """Print medians."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=20)
    options = parser.parse_args()
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        raise SystemExit("this needs Chromium")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        fill(Path(name) / "record.db")
        server, address, start_s = served(Path(name))
        try:
            browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
            page, job = open_review(browser, address)
            first = timed(job)
            page.context.close()
            opened, changes, figures, reports = [], [], [], []
            for _ in range(options.repeats):
                page, job = open_review(browser, address)
                opened.append(timed(job))
                page.context.close()
            page, job = open_review(browser, address)
            job()
            for number in range(options.repeats):
                page.wait_for_timeout(400)  # nobody looks at a station for less
                key = "np"[number % 2]
                changes.append(timed(lambda key=key: change_station(page, key)))  # type: ignore[misc]
            for number in range(VISITS):
                figures.append(timed(give_eight(page, address, f"visit {number}")))
            page.goto(f"{address}/result?inspection={SAMPLE}")
            for number in range(max(2, options.repeats // 4)):
                reports.append(timed(make_report(page, number)))
        finally:
            server.terminate()
            server.wait()
    load = os.getloadavg()[0]
    print(f"server answers after {start_s:.1f} s; load of the machine {load:.1f} on "
          f"{os.cpu_count()} processors")  # fmt: skip
    print(f"{'':36s}{'n':>4s}{'median':>13s}{'processor':>13s}{'aim':>12s}")
    print_row("first page after start-up", [first], 2000)
    print_row("page ready, a fresh browser", opened, 2000)
    print_row("from station to station", changes, 300)
    print_row("8 photographs given to all figures", figures, 8000)
    print_row("report made", reports, 2000)


if __name__ == "__main__":
    main()
