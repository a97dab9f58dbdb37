"""Simulated logs: many people, gauges, resolutions, times and histories, and what is assumed.

What is assumed: a rope has a level (0.5 to 3.5 % over nominal when new, up to 3 % lost before the
first inspection), slow change along it, unevenness from station to station and an ovality of
its own at each, all normal; it wears on, most in the middle. A person repeats with a gauge to a
standard deviation that is drawn once (log-uniform), and has a bias. A gauge's error is rectangular
within its permissible error and is drawn anew at every second yearly calibration. Readings are
rounded to the gauge's step, and typed as people do, in mm, decimal inches or fractions. Photographs
have the errors that their budgets state. Times are those of a walk, without seconds, of an evening
at a desk, one stamp for all, or none. Ropes, people, gauges and places are invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from inspection.model.log import Earlier, Log
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from vision.results import ROPE_LOOK_FIELDS, Estimate
from vision.uncertainty import Term

Array = NDArray[np.float64]
INCH = 25.4
TODAY = date(2026, 11, 3)
PEOPLE = ("A. Berg", "M. Ilves", "T. Okoro")
TIMES = ("seconds", "minutes", "evening", "one stamp", "none")
PRINT_U, FOCAL_U, EDGE_PCT = 0.0015, 0.0008, 0.12  # relative print scale and focal share; edges
PITCH_D, PITCH_U = 1.08, 0.005  # crown pitch in diameters (a lay of 6.5; no source), relative u


class Step(NamedTuple):
    """A gauge's display: its step and permissible error in mm, and how readings are written."""

    step_mm: float
    error_mm: float
    written: str


STEPS = (
    Step(0.01, 0.03, "mm"),
    Step(0.02, 0.03, "mm"),
    Step(0.05, 0.05, "mm"),
    Step(INCH / 1000, 0.03, "inch"),
    Step(0.1, 0.05, "mm"),
    Step(INCH / 64, 0.13, "fraction"),
    Step(0.005, 0.02, "mm"),
    Step(0.025, 0.04, "mm"),
    Step(INCH / 128, 0.1, "fraction"),
)
FINE = (0, 1, 2, 3)
GAUGES = tuple(
    Gauge(f"C-{11 + n}", "wide-jaw caliper", STEPS[n].step_mm, STEPS[n].error_mm, date(2027, 6, 30))
    for n in range(3)
)


@dataclass(frozen=True, slots=True)
class Range:
    """The population from which honest logs are drawn; pairs are the ends of a range."""

    repeat_mm: tuple[float, float] = (0.03, 0.15)
    stations: tuple[int, int] = (4, 24)
    nominals_mm: tuple[float, ...] = (8, 10, 11, 13, 16, 19, 20, 22, 24, 26, 28, 32, 36, 40)
    steps: tuple[int, ...] = (0, 1, 2, 3, 4, 5)
    earlier: tuple[int, int] = (0, 3)
    person_mm: float = 0.015
    oval_pct: tuple[float, float] = (0.1, 0.8)
    uneven_pct: tuple[float, float] = (0.05, 0.5)
    wear_pct_year: tuple[float, float] = (0.0, 0.5)
    lost_pct: tuple[float, float] = (0.0, 3.0)  # before the first inspection
    hands: tuple[int, ...] = (1, 1, 1, 2)  # people, each with a gauge of their own; drawn evenly
    gap_days: tuple[int, int] = (60, 400)  # between two inspections
    edge_pct: tuple[float, float] = (EDGE_PCT, EDGE_PCT)  # of one edge in a photograph
    tail_dof: float = math.inf  # of Student's t of a reading's error; infinity is normal
    times: tuple[str, ...] = TIMES


USUAL = Range()
STEADY = Range(
    repeat_mm=(0.02, 0.03),
    stations=(4, 12),
    nominals_mm=(16, 20, 24, 28, 34, 36, 40),
    steps=(0, 1, 2),
    earlier=(0, 2),
    uneven_pct=(0.1, 0.2),
    oval_pct=(0.2, 0.4),
    lost_pct=(0.0, 0.0),
    times=("seconds",),
)


@dataclass(frozen=True, slots=True)
class World:
    """The truth: the rope, the gauges' errors by day and how people read."""

    rope: Rope
    stations: tuple[Station, ...]
    new_mm: Array
    rate_mm_year: Array
    gauges: tuple[Gauge, ...]
    people: tuple[str, ...]
    repeat_mm: dict[tuple[str, str], float]
    bias_mm: dict[str, float]
    written: dict[str, str]
    errors_mm: dict[str, list[tuple[date, float]]]
    tail_dof: float
    uneven_pct: float
    oval_pct: float
    edge_pct: float

    def true_mm(self, on: date) -> Array:
        """Return the diameters on a day, stations by directions."""
        years = (on - date(2024, 1, 1)).days / 365.25
        worn: Array = self.new_mm - (self.rate_mm_year * years)[:, None]
        return worn


@dataclass(frozen=True, slots=True)
class Case:
    """A log with the truth behind it."""

    world: World
    log: Log

    def with_readings(self, changed: dict[int, Reading]) -> Case:
        readings = [changed.get(n, item) for n, item in enumerate(self.log.readings)]
        return replace(self, log=replace(self.log, readings=tuple(readings)))

    def shown(self, entry: int, seen_mm: float) -> Reading:
        """Return the reading as its gauge would show this diameter."""
        return shown(self.world, self.log.readings[entry], seen_mm)


def shown(world: World, reading: Reading, seen_mm: float) -> Reading:
    gauge = next(gauge for gauge in world.gauges if gauge.identity == reading.gauge)
    typed, value = typed_text(seen_mm, gauge.resolution_mm, world.written[reading.gauge])
    return replace(reading, typed=typed, value_mm=value)


def _log_uniform(rng: np.random.Generator, ends: tuple[float, float]) -> float:
    return math.exp(rng.uniform(math.log(ends[0]), math.log(ends[1])))


def simulate(
    rng: np.random.Generator,
    ranges: Range = USUAL,
    *,
    stations: int | None = None,
    earlier: int | None = None,
    photographs: bool | None = None,
    hands: int | None = None,
    gauges: tuple[Gauge, ...] | None = None,
) -> Case:
    """Return an honest log and the truth behind it; anything not given is drawn."""
    count = round(_log_uniform(rng, ranges.stations)) if stations is None else stations
    world = _world(rng, ranges, count, hands or int(rng.choice(ranges.hands)), gauges)
    visits = int(rng.integers(ranges.earlier[0], ranges.earlier[1] + 1))
    days = [TODAY]
    for _ in range(visits if earlier is None else earlier):
        days.append(days[-1] - timedelta(days=int(rng.integers(*ranges.gap_days))))
    pictured = bool(rng.random() < 0.6) if photographs is None else photographs
    before = []
    for number, on in enumerate(reversed(days[1:])):
        then, readings = _visit(rng, world, on, f"I-{number}", str(rng.choice(ranges.times)))
        results = _photographs(rng, world, on, 1.0) if pictured and rng.random() < 0.5 else ()
        before.append(Earlier(then, readings, results))
    share = 0.4 if photographs is None and rng.random() < 0.3 else 1.0
    inspection, readings = _visit(
        rng, world, TODAY, f"I-{len(before)}", str(rng.choice(ranges.times))
    )
    results = _photographs(rng, world, TODAY, share) if pictured else ()
    known = {gauge.identity: gauge for gauge in (*GAUGES, *world.gauges)}
    return Case(world, Log(world.rope, inspection, readings, known, results, tuple(before)))


def simulate_log(
    rng: np.random.Generator,
    *,
    stations: int | None = None,
    gauges: tuple[Gauge, ...] | None = None,
    earlier: int | None = None,
    photographs: bool | None = None,
) -> Log:
    """Return an honest log of a walk with fine gauges and steady hands, without a reference."""
    case = simulate(
        rng,
        STEADY,
        stations=stations,
        earlier=earlier,
        photographs=photographs,
        gauges=gauges,
        hands=None if gauges is None else len(gauges),
    )
    return replace(case.log, rope=replace(case.log.rope, reference_mm=None))


def _world(
    rng: np.random.Generator,
    ranges: Range,
    count: int,
    hands: int,
    gauges: tuple[Gauge, ...] | None,
) -> World:
    nominal = float(rng.choice(ranges.nominals_mm))
    spacing = rng.uniform(3.0, 30.0)
    stations = tuple(
        Station(n + 1, round(n * spacing + rng.uniform(0, 1), 1)) for n in range(count)
    )
    along = np.linspace(0.0, 1.0, count)
    slow = np.sin(2 * math.pi * (along * rng.uniform(0.3, 1.2) + rng.random()))
    level = 100 + rng.uniform(0.5, 3.5) - rng.uniform(*ranges.lost_pct) + rng.uniform(0, 0.3) * slow
    uneven = _log_uniform(rng, ranges.uneven_pct)
    mean_pct = level + rng.normal(0, uneven, count)
    shared_oval, oval = rng.normal(0, 0.2), _log_uniform(rng, ranges.oval_pct)
    oval_pct = shared_oval + rng.normal(0, oval, count)
    new = nominal / 100 * np.column_stack([mean_pct + oval_pct / 2, mean_pct - oval_pct / 2])
    rate = rng.uniform(*ranges.wear_pct_year) / 100 * nominal
    rates = (
        rate * (0.4 + 0.6 * np.sin(math.pi * along)) * np.clip(rng.normal(1, 0.15, count), 0, None)
    )
    written, errors, chosen = {}, {}, []
    oldest = TODAY - timedelta(days=ranges.gap_days[1] * max(ranges.earlier[1], 5))
    first = date(min(oldest.year, 2021), 6, 30)
    for n in range(hands):
        step = STEPS[int(rng.choice(ranges.steps))]
        kind = "micrometer" if step.step_mm <= 0.02 and rng.random() < 0.1 else "wide-jaw caliper"
        gauge = (
            Gauge(f"C-{21 + n}", kind, step.step_mm, step.error_mm, date(2027, 6, 30))  # type: ignore[arg-type]
            if gauges is None
            else gauges[n]
        )
        chosen.append(gauge)
        written[gauge.identity] = step.written if gauges is None else "mm"
        errors[gauge.identity] = _errors(rng, gauge.permissible_error_mm, first)
    people = tuple(PEOPLE[n] for n in rng.permutation(len(PEOPLE))[:hands])
    return World(
        rope=Rope(
            f"R-{rng.integers(100, 999)}",
            nominal,
            reference_mm=round(float(new.mean()), 1) if rng.random() < 0.5 else None,
        ),
        stations=stations,
        new_mm=new,
        rate_mm_year=rates,
        gauges=tuple(chosen),
        people=people,
        repeat_mm={
            (gauge.identity, person): _log_uniform(rng, ranges.repeat_mm)
            for gauge, person in zip(chosen, people, strict=True)
        },
        bias_mm={person: float(rng.normal(0, ranges.person_mm)) for person in people},
        written=written,
        errors_mm=errors,
        tail_dof=ranges.tail_dof,
        uneven_pct=uneven,
        oval_pct=oval,
        edge_pct=ranges.edge_pct[0]
        if ranges.edge_pct[0] == ranges.edge_pct[1]
        else _log_uniform(rng, ranges.edge_pct),
    )


def _errors(
    rng: np.random.Generator, permissible_mm: float, first: date
) -> list[tuple[date, float]]:
    """Return a gauge's error after each yearly calibration; every second one finds it in order."""
    error, since, errors = rng.uniform(-1, 1) * permissible_mm, first, []
    while since < date(2027, 6, 1):
        errors.append((since, float(error)))
        since += timedelta(days=365)
        if rng.random() < 0.5:
            error = rng.uniform(-1, 1) * permissible_mm
    return errors


def typed_text(seen_mm: float, step_mm: float, written: str) -> tuple[str, float]:
    """Return what a gauge shows as people type it, and what that means in mm."""
    steps = round(seen_mm / step_mm)
    if written == "fraction":
        parts = round(INCH / step_mm)
        whole, part = divmod(steps, parts)
        shared = math.gcd(part, parts)
        text = f"{part // shared}/{parts // shared}" if part else ""
        return f"{' '.join(filter(None, (str(whole) if whole else '', text)))} in", steps * step_mm
    if written == "inch":
        return f"{steps / 1000:.3f} in", steps * step_mm
    decimals = 1 if step_mm >= 0.1 else 2 if abs(step_mm * 100 % 1) < 1e-9 else 3
    text = f"{steps * step_mm:.{decimals}f}"
    return text, float(text)


def _visit(
    rng: np.random.Generator, world: World, on: date, identity: str, times: str
) -> tuple[Inspection, tuple[Reading, ...]]:
    true = world.true_mm(on)
    at, evening = (
        datetime(on.year, on.month, on.day, 8, 30),
        datetime(on.year, on.month, on.day, 19, 2, 10),
    )
    hands, last, readings = len(world.gauges), world.stations[0].position_m, []
    for row, station in enumerate(world.stations):
        who = min(row * hands // len(world.stations), hands - 1)
        gauge, person = world.gauges[who], world.people[who]
        error = [value for since, value in world.errors_mm[gauge.identity] if since <= on][-1]
        at += timedelta(seconds=abs(station.position_m - last) / rng.uniform(0.4, 1.2))
        last = station.position_m
        for column, view in enumerate((0, 90)):
            at += timedelta(seconds=float(rng.uniform(25, 120)))
            evening += timedelta(seconds=float(rng.uniform(3, 9)))
            drawn = (
                rng.normal()
                if math.isinf(world.tail_dof)
                else rng.standard_t(world.tail_dof) * math.sqrt(1 - 2 / world.tail_dof)
            )
            seen = true[row, column] + error + world.bias_mm[person]
            seen += drawn * world.repeat_mm[gauge.identity, person]
            typed, value = typed_text(seen, gauge.resolution_mm, world.written[gauge.identity])
            stamp = {
                "seconds": at.replace(microsecond=0),
                "minutes": at.replace(second=0, microsecond=0),
                "evening": evening.replace(microsecond=0),
                "one stamp": datetime(on.year, on.month, on.day, 20),
            }.get(times)
            readings.append(
                Reading(typed, value, station.number, view, gauge.identity, person, stamp)
            )
    return Inspection(identity, world.rope.identity, on, stations=world.stations), tuple(readings)


def _rope_look(sha256: str) -> str:
    """Return the look of a piece of rope: strands that are alike everywhere, and its own marks."""
    round_it, along = np.indices(ROPE_LOOK_FIELDS)
    own = np.random.default_rng(int(sha256, 16) % 2**32).normal(size=ROPE_LOOK_FIELDS)
    strands = 0.8 * np.sin(2.0 * math.pi * (along / 35.0 + round_it / 25.0))
    return np.packbits(strands + own > 0.0).tobytes().hex()


def _photographs(
    rng: np.random.Generator, world: World, on: date, share: float
) -> tuple[Estimate, ...]:
    true, nominal = world.true_mm(on), world.rope.nominal_mm
    scale, focal, stretch = rng.normal(0, PRINT_U), rng.normal(0, FOCAL_U), rng.normal(0, PRINT_U)
    scene = rng.random(64) < 0.5  # one rope, one card: photographs of it look alike in part
    taken = rng.random(len(world.stations)) < share
    taken[int(rng.integers(len(taken)))] = True
    at, last, found = (
        datetime(on.year, on.month, on.day, 8, 30),
        world.stations[0].position_m,
        [],
    )
    for row, station in enumerate(world.stations):
        at += timedelta(seconds=abs(station.position_m - last) / 0.8)
        last = station.position_m
        for column, view in enumerate((0, 90)):
            at += timedelta(seconds=int(rng.integers(25, 120)))
            width = float(true[row, column])
            edge, pitch = world.edge_pct / 100 * width, PITCH_D * nominal
            sha = f"{rng.integers(1 << 60):060x}"
            bits = np.where(rng.random(64) < 0.3, rng.random(64) < 0.5, scene)
            if not taken[row]:
                continue
            found.append(
                Estimate(
                    diameter_mm=float(
                        width * (1 + scale + focal) + rng.normal(0, edge * math.sqrt(2))
                    ),
                    budget=(
                        Term("print scale", PRINT_U, "1", width, "B", f"print:{on}:y"),
                        Term("focal length", FOCAL_U, "1", width, "B", f"focal:{on}"),
                        Term("left edge", edge, "mm", 1.0, "A", f"edge:{sha}:left"),
                        Term("right edge", edge, "mm", 1.0, "A", f"edge:{sha}:right"),
                    ),
                    station=station.number,
                    view_deg=view,
                    photo_sha256=sha,
                    photo_name=f"{station.number:02d}-{view:02d}.jpg",
                    rope_look=_rope_look(sha),
                    look_hash=f"{int(''.join('1' if bit else '0' for bit in bits), 2):016x}",
                    taken_at=at.replace(microsecond=0),
                    camera="phone 1",
                    print_set="A-1",
                    crown_pitch_mm=float(pitch * (1 + stretch) + rng.normal(0, PITCH_U * pitch)),
                    pitch_budget=(
                        Term("print scale along", PRINT_U, "1", pitch, "B", f"print:{on}:x"),
                        Term("crowns", PITCH_U * pitch, "mm", 1.0, "A", f"crowns:{sha}"),
                    ),
                    pitches=4,
                    strands=world.rope.outer_strands,
                    hand="right",
                )
            )
    return tuple(found)
