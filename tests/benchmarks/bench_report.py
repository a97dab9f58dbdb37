"""How long a report takes, over the time to decode its photographs in the same run.

Example: ``python tests/benchmarks/bench_report.py`` takes the sample inspection into a new record
(which measures ten photographs), then makes its report several times: the first starts the chart
renderer, later ones find it running, as on the pages. ``--cpu`` counts processor time, including
the child process that reads photographs (Linux), for machines that are busy with other work.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np

from inspection.folder import Folder
from inspection.record.record import Record, open_record
from ui.report.case import ReportCase, case_of_record
from ui.report.report import html_report, pdf_report
from ui.report.writers.drawings import svg_of
from ui.services.assess_record import log_of
from ui.services.sample import load_sample, sample_folder
from vision import apart

START = datetime(2026, 11, 29, tzinfo=UTC)


def spent_s() -> float:
    """Return the processor time so far of this process and of the one that reads photographs."""
    now = os.times()
    child = apart._child  # read only
    ticks = 0
    if child is not None and child.poll() is None:
        fields = Path(f"/proc/{child.pid}/stat").read_text().rpartition(") ")[2].split()
        ticks = int(fields[11]) + int(fields[12])  # proc(5): utime, stime
    return now.user + now.system + ticks / os.sysconf("SC_CLK_TCK")


def timed(job: Callable[[], object], clock: Callable[[], float]) -> float:
    """Return how long a job takes."""
    begin = clock()
    job()
    return clock() - begin


def decode_all(folder: Path) -> None:
    """Decode the sample photographs, as a reference for this machine's speed."""
    for path in folder.glob("*.jpg"):
        cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)


def main() -> None:
    """Make the report several times and print how long each step takes."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--cpu", action="store_true")
    options = parser.parse_args()
    clock = spent_s if options.cpu else time.perf_counter
    folder = sample_folder()
    assert folder is not None, "the sample photographs are not here"
    unit = min(timed(lambda: decode_all(folder), clock) for _ in range(3))
    with tempfile.TemporaryDirectory() as place, open_record(Path(place) / "r.db") as record:
        identity = load_sample(record, folder, by="Inspector A")
        print(f"decoding its photographs {unit:.3f} s")
        for number in range(options.repeats):
            one_report(record, identity, number, clock, unit)


def one_report(
    record: Record, identity: str, number: int, clock: Callable[[], float], unit: float
) -> None:
    """Make a report with nothing cached, and print how long it took."""
    made: list[ReportCase] = []

    def gather() -> None:
        read = Folder(log_of(record, identity), (), ())
        made.append(case_of_record(record, read, name="r.db"))

    svg_of.cache_clear()
    apart.start_child()  # as the pages do
    gathering = timed(gather, clock)
    case = replace(
        made[0], made_at=START + timedelta(days=number)
    )  # otherwise the typesetter uses its cache
    pdf = timed(lambda: pdf_report(case), clock)
    html = timed(lambda: html_report(case), clock)
    whole = gathering + pdf + html
    print(
        f"report {number + 1}: gather {gathering:.2f} s, PDF {pdf:.2f} s, HTML {html:.2f} s, "
        f"together {whole:.2f} s = {whole / unit:.1f} x decoding"
    )


if __name__ == "__main__":
    main()
