"""Simulated logs: honest ones with realistic scatter, and the same with one planted fault.

Run it to print false-alarm and detection rates: ``python tests/inspection/simulated_logs.py``.

Every error is drawn as the budgets say it is: gauge and print errors once a gauge and a print,
shared by all their readings and photographs; placing and edges anew each time; rectangular
where the budget says so. Ropes, people, gauges and places are invented.
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np

if __name__ == "__main__":  # run as a script, the project's folder is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from inspection.model.log import Earlier, Log
from inspection.model.readings import REPEATABILITY_PCT, Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.screening.screen import screen_log
from tests.inspection.planted_faults import FAULTS
from vision.results import Estimate
from vision.uncertainty import Term

GAUGES = (
    Gauge("C-11", "wide-jaw caliper", 0.01, 0.03, date(2027, 6, 30)),
    Gauge("C-12", "wide-jaw caliper", 0.02, 0.03, date(2027, 3, 31)),
    Gauge("C-13", "wide-jaw caliper", 0.05, 0.05, date(2027, 9, 30)),
)
PEOPLE = ("A. Berg", "M. Ilves", "T. Okoro")
NOMINALS = (16.0, 20.0, 24.0, 28.0, 34.0, 36.0, 40.0)
PRINT_U, FOCAL_U, EDGE_PCT = 0.0015, 0.0008, 0.12  # relative print scale and focal share; edges
PITCH_D, PITCH_U = 1.08, 0.005  # crown pitch in diameters (a lay of 6.5; no source), relative u


@dataclass(frozen=True, slots=True)
class Truth:
    """What the simulated rope is like: true diameters by station (row) and direction."""

    rope: Rope
    stations: tuple[Station, ...]
    diameter_mm: np.ndarray


def simulate_log(
    rng: np.random.Generator,
    *,
    stations: int | None = None,
    gauges: tuple[Gauge, ...] | None = None,
    earlier: int | None = None,
    photographs: bool | None = None,
    decimals: bool = True,
) -> Log:
    """Return an honest log; what is not given is drawn."""
    truth = _rope(rng, stations if stations is not None else int(rng.integers(4, 13)))
    if gauges is None:
        count = int(rng.integers(1, 3))
        gauges = tuple(GAUGES[i] for i in rng.choice(len(GAUGES), count, replace=False))
    people = [PEOPLE[i] for i in rng.permutation(len(PEOPLE))[: len(gauges)]]
    number = earlier if earlier is not None else int(rng.integers(0, 3))
    offsets = {gauge.identity: rng.uniform(-1, 1) * gauge.permissible_error_mm for gauge in gauges}
    wear = abs(rng.normal(0, 0.001)) * truth.rope.nominal_mm
    before = []
    for visit in range(number):
        back = number - visit
        day = date(2026, 11, 3) - timedelta(days=180 * back)
        then = Inspection(f"I-{visit}", truth.rope.identity, day, stations=truth.stations)
        # gauges are calibrated between inspections, and drawn to it each time
        older = {
            gauge.identity: rng.uniform(-1, 1) * gauge.permissible_error_mm for gauge in gauges
        }
        shared = offsets if rng.random() < 0.5 else older
        true = truth.diameter_mm + back * wear
        before.append(Earlier(then, _read(rng, truth, true, then, gauges, people, shared)))
    inspection = Inspection(
        f"I-{number}", truth.rope.identity, date(2026, 11, 3), stations=truth.stations
    )
    readings = _read(rng, truth, truth.diameter_mm, inspection, gauges, people, offsets)
    with_photos = photographs if photographs is not None else bool(rng.random() < 0.85)
    results = _photograph(rng, truth, readings) if with_photos else ()
    return Log(
        truth.rope,
        inspection,
        readings,
        {gauge.identity: gauge for gauge in GAUGES},
        results,
        tuple(before),
    )


def _rope(rng: np.random.Generator, count: int) -> Truth:
    nominal = float(rng.choice(NOMINALS))
    spacing = rng.uniform(8.0, 40.0)
    stations = tuple(
        Station(n + 1, round(n * spacing + rng.uniform(0, 2), 1)) for n in range(count)
    )
    # new ropes are made 0 to 5 % over nominal (EN 12385-4), and wear from there
    base = nominal * (1.0 + rng.uniform(0.005, 0.035))
    along = np.sin(np.linspace(0, math.pi, count) * rng.uniform(0.5, 2) + rng.uniform(0, 6))
    mean = base - nominal * rng.uniform(0, 0.004) * along + nominal * rng.normal(0, 0.001, count)
    half_oval = nominal * rng.normal(0, 0.0015, count)
    diameter = np.column_stack([mean + half_oval, mean - half_oval])
    return Truth(Rope(f"R-{rng.integers(100, 999)}", nominal), stations, diameter)


def _read(
    rng: np.random.Generator,
    truth: Truth,
    true_mm: np.ndarray,
    inspection: Inspection,
    gauges: tuple[Gauge, ...],
    people: list[str],
    offsets: dict[str, float],
) -> tuple[Reading, ...]:
    readings = []
    at = datetime(inspection.on.year, inspection.on.month, inspection.on.day, 8, 30)
    split = len(truth.stations) // len(gauges)
    placed = 0.0
    for row, station in enumerate(truth.stations):
        who = min(row // max(split, 1), len(gauges) - 1)
        gauge = gauges[who]
        at += timedelta(seconds=float(abs(station.position_m - placed) / rng.uniform(0.4, 1.2)))
        placed = station.position_m
        for column, view in enumerate((0, 90)):
            at += timedelta(seconds=float(rng.uniform(25, 120)))
            placing = rng.normal(0, REPEATABILITY_PCT / 100.0) * true_mm[row, column]
            seen = true_mm[row, column] + offsets[gauge.identity] + placing
            value = round(round(seen / gauge.resolution_mm) * gauge.resolution_mm, 2)
            stamp = at.replace(microsecond=0)
            readings.append(
                Reading(
                    f"{value:.2f}", value, station.number, view, gauge.identity, people[who], stamp
                )
            )
    return tuple(readings)


def _photograph(
    rng: np.random.Generator, truth: Truth, readings: tuple[Reading, ...]
) -> tuple[Estimate, ...]:
    scale, focal = rng.normal(0, PRINT_U), rng.normal(0, FOCAL_U)
    scene = rng.random(64) < 0.5  # one rope, one card: photographs of it look alike in part
    lays = rng.spawn(1)[
        0
    ]  # of their own, so that the rest is drawn as it was before there were any
    stretch, pitch = lays.normal(0, PRINT_U), PITCH_D * truth.rope.nominal_mm
    results = []
    for reading in readings:
        true = truth.diameter_mm[reading.station - 1, 0 if reading.view_deg == 0 else 1]
        edge = EDGE_PCT / 100.0 * true
        left, right = rng.normal(0, edge, 2)
        name = f"{reading.station:02d}-{reading.view_deg:02d}.jpg"
        sha = f"{rng.integers(1 << 60):060x}"
        bits = np.where(rng.random(64) < 0.3, rng.random(64) < 0.5, scene)
        assert reading.at is not None
        u_pitch = PITCH_U * pitch
        results.append(
            Estimate(
                diameter_mm=float(true * (1 + scale + focal) + left + right),
                budget=(
                    Term("print scale", PRINT_U, "1", float(true), "B", "print:A-1:y"),
                    Term("focal length", FOCAL_U, "1", float(true), "B", "focal:phone-1"),
                    Term("left edge", float(edge), "mm", 1.0, "A", f"edge:{sha}:left"),
                    Term("right edge", float(edge), "mm", 1.0, "A", f"edge:{sha}:right"),
                ),
                station=reading.station,
                view_deg=reading.view_deg,
                photo_name=name,
                photo_sha256=sha,
                look_hash=f"{int(''.join('1' if b else '0' for b in bits), 2):016x}",
                taken_at=reading.at + timedelta(seconds=int(rng.integers(5, 25))),
                camera=f"phone {1 + PEOPLE.index(reading.person)}",
                print_set="A-1",
                crown_pitch_mm=float(pitch * (1 + stretch) + lays.normal(0, u_pitch)),
                pitch_budget=(
                    Term("print scale along", PRINT_U, "1", pitch, "B", "print:A-1:x"),
                    Term("crowns", u_pitch, "mm", 1.0, "A", f"crowns:{sha}"),
                ),
                pitches=4,
                strands=truth.rope.outer_strands,
                hand="right",
            )
        )
    return tuple(results)


@dataclass(frozen=True, slots=True)
class Rates:
    """How one kind of fault fared: logs, found by its own name, found at all, leading."""

    logs: int
    named: float
    found: float
    leads: float


def fault_rates(kind: str, *, logs: int, seed: int, level: float = 0.05) -> Rates:
    """Return how often one kind of fault is found in logs of 8 stations."""
    plant, codes = FAULTS[kind]
    rng = np.random.default_rng([seed, list(FAULTS).index(kind)])
    tried = named = found = leads = 0
    while tried < logs:
        gauges = next(((g,) for g in GAUGES if f"{g.resolution_mm:g} gauge" in kind), None)
        log = simulate_log(rng, stations=8, earlier=1, photographs=True, gauges=gauges)
        planted = plant(rng, log)
        if planted is None:
            continue
        faulty, entries = planted
        findings = screen_log(faulty, level=level)
        words = {place.words for place in faulty.places(entries)}
        hits = [
            any(place in shown for place in words for shown in finding.where)
            for finding in findings
        ]
        tried += 1
        found += any(hits)
        named += any(f.code in codes and hit for f, hit in zip(findings, hits, strict=True))
        leads += bool(hits) and hits[0]
    return Rates(tried, named / tried, found / tried, leads / tried)


def false_alarms(*, logs: int, seed: int, level: float = 0.05) -> tuple[int, dict[str, int]]:
    """Return how many honest logs raised anything, and how often each code came up."""
    rng = np.random.default_rng(seed)
    alarms, codes = 0, dict[str, int]()
    for _ in range(logs):
        findings = screen_log(simulate_log(rng), level=level)
        alarms += bool(findings)
        for finding in findings:
            codes[finding.code] = codes.get(finding.code, 0) + 1
    return alarms, codes


def main() -> None:
    """Print the tables."""
    start = time.perf_counter()
    for level in (0.01, 0.05, 0.2):
        alarms, codes = false_alarms(logs=1000, seed=20261103, level=level)
        print(f"1000 honest logs at level {level:g}: {alarms} raised anything  {codes}")
    print(f"{'planted fault (8 stations, 100 logs)':<36}{'named':>7}{'found':>7}{'leads':>7}")
    for kind in FAULTS:
        rates = fault_rates(kind, logs=100, seed=20261103)
        print(f"{kind:<36}{rates.named:>7.2f}{rates.found:>7.2f}{rates.leads:>7.2f}")
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
