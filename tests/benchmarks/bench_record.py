"""How times grow with a record: opening an inspection, the ranked list, verifying.

Run ``python tests/benchmarks/bench_record.py`` (about three minutes), or with ``--quick`` for
the smaller sizes only. Every reading goes through the chain of events; loading saves 250
inspections in each transaction. "open": an inspection chosen at random, median and worst of 200,
each over a new connection; "first": opening the record file and checking its version, then one
inspection. The file may be in the system's cache.
"""

from __future__ import annotations

import argparse
import json
import math
import platform
import random
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.overview.examinations import KeyFigures, keep_examination, register
from inspection.record.record import Record, open_record
from vision.results import Finding

READINGS_EACH = 100
OPEN_LIMIT_S, RANKED_LIMIT_S = 0.100, 2.0


@dataclass(frozen=True)
class Timing:
    """Times at one size, s; the file's size in megabytes."""

    readings: int
    inspections: int
    load_s: float
    open_s: float
    open_worst_s: float
    first_s: float
    ranked_s: float
    top_50_s: float
    register_s: float
    save_s: float
    verify_s: float | None
    file_mb: float


def _visit(number: int, seed: random.Random) -> tuple[Inspection, list[Reading]]:
    day = date(2020, 1, 1) + timedelta(days=number % 2000)
    stations = tuple(Station(station, 5.0 * station) for station in range(1, 26))
    rope = f"rope {number % 50}"
    visit = Inspection(f"visit {number:06}", rope, day, inspector="A. Berg", stations=stations)
    at = datetime(day.year, day.month, day.day, 8)
    readings = []
    for count in range(READINGS_EACH):
        value = round(seed.gauss(22.3, 0.05), 2)
        person = f"person {number % 20}"
        readings.append(
            Reading(f"{value:.2f}", value, 1 + count // 4, 90 * (count % 2), f"C-{number % 30:02}",
                    person, at + timedelta(seconds=40 * count))
        )  # fmt: skip
    return visit, readings


def load(record: Record, start: int, stop: int) -> None:
    """Add inspections number `start` to `stop`, each with its readings and a finding."""
    seed = random.Random(start)
    if start == 0:
        for number in range(50):
            record.add_rope(Rope(f"rope {number}", 22.0), by="loader")
        for number in range(30):
            record.add_gauge(Gauge(f"C-{number:02}", "wide-jaw caliper", 0.01, 0.03), by="loader")
    for first in range(start, stop, 250):
        with record.transaction() as batch:
            for number in range(first, min(first + 250, stop)):
                visit, readings = _visit(number, seed)
                batch.add_inspection(visit, by="loader")
                batch.add_readings(visit.identity, readings, by="loader")
                seen = f"{seed.randint(1, 9)} equal pairs at 25 stations."
                odd = Finding("equal-pairs", seen, "Read again.", "look", p_value=0.01)
                batch.set_findings(visit.identity, [odd], rank=seed.random(), by="loader")
                worst = KeyFigures(2, 22.1, 0.03, 2, 1.2, "none", 0)
                keep_examination(batch, visit.identity, [], [], worst)


def timed(call: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Return the median and the worst time of several calls, s."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return statistics.median(times), max(times)


def measure(path: Path, inspections: int, load_s: float, *, verify: bool) -> Timing:
    """Time the usual queries on a record of this size."""
    seed = random.Random(7)

    def open_one(record: Record) -> None:
        there = record.inspection(f"visit {seed.randrange(inspections):06}")
        assert len(there.readings) >= READINGS_EACH
        record.close()  # the next call gets a new connection

    def first() -> None:
        with open_record(path) as record:
            open_one(record)

    def list_all() -> None:
        with open_record(path) as record:
            assert len(record.ranked()) == inspections

    def list_top() -> None:
        with open_record(path) as record:
            assert len(record.ranked(limit=50)) == 50

    def list_ropes() -> None:
        with open_record(path) as record:
            assert all(rope.figures for rope in register(record) if rope.last)

    with open_record(path) as record:
        one = _visit(0, seed)[1][:1]
        save_s, _ = timed(lambda: record.add_readings("visit 000000", one, by="B"), 5)
        verify_s = timed(lambda: record.verify().sound, 1)[0] if verify else None
        open_s, open_worst_s = timed(lambda: open_one(record), 200)
    return Timing(
        inspections * READINGS_EACH, inspections, load_s, open_s, open_worst_s,
        timed(first, 10)[0],
        timed(list_all, 5)[1], timed(list_top, 5)[1], timed(list_ropes, 5)[1], save_s, verify_s,
        path.stat().st_size / 1e6,
    )  # fmt: skip


def main() -> None:
    """Load, measure and print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="stop at 100,000 readings")
    options.add_argument("--json", action="store_true", help="print JSON as well")
    chosen = options.parse_args()
    sizes = [100, 1000] if chosen.quick else [100, 1000, 10_000]
    print(f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, "
          f"{platform.machine()}")  # fmt: skip
    timings: list[Timing] = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.db"
        done, load_s = 0, 0.0
        for size in sizes:
            start = time.perf_counter()
            with open_record(path) as record:
                load(record, done, size)
            load_s += time.perf_counter() - start
            done = size
            timings.append(measure(path, size, load_s, verify=True))
            _print(timings[-1], first=size == sizes[0])
    first, last = timings[0], timings[-1]
    decades = math.log10(last.readings / first.readings)
    for name in ("open_s", "ranked_s", "top_50_s", "register_s", "save_s"):
        slope = math.log10(getattr(last, name) / getattr(first, name)) / decades
        print(f"{name[:-2]:>8}: grows as n^{slope:.2f}")
    print(f"slowest opening of 200: {last.open_worst_s * 1000:.0f} ms of {OPEN_LIMIT_S * 1000:.0f}"
          f" ms allowed; ranked list of {last.inspections}: {last.ranked_s:.2f} s of "
          f"{RANKED_LIMIT_S:.0f} s allowed")  # fmt: skip
    if chosen.json:
        print(json.dumps([asdict(timing) for timing in timings]))
    if last.open_worst_s > OPEN_LIMIT_S or last.ranked_s > RANKED_LIMIT_S:
        raise SystemExit("slower than allowed")


def _print(timing: Timing, *, first: bool) -> None:
    if first:
        print(" readings  inspections    load  open median/worst  first    ranked   top 50"
              "  register     save   verify     file")  # fmt: skip
    verified = "" if timing.verify_s is None else f"{timing.verify_s:7.1f} s"
    print(
        f"{timing.readings:9,} {timing.inspections:12,} {timing.load_s:6.1f}s "
        f"{timing.open_s * 1e3:6.1f} / {timing.open_worst_s * 1e3:5.1f} ms "
        f"{timing.first_s * 1e3:6.1f} ms "
        f"{timing.ranked_s * 1e3:6.0f} ms {timing.top_50_s * 1e3:5.1f} ms "
        f"{timing.register_s * 1e3:6.0f} ms "
        f"{timing.save_s * 1e3:5.1f} ms {verified} {timing.file_mb:6.1f} MB",
        flush=True,
    )


if __name__ == "__main__":
    main()
