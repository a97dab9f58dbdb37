"""Whether stated odds are true: "three times as likely" should be right three times in four.

Odds depend on how often each cause occurs, which is a judgement (`screening.figures.causes`).
Faults are therefore planted here as often and as large as assumed there, on ropes, people and
gauges of other ranges: this checks how the figures are weighed, not how often people slip.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from inspection.screening.figures import causes
from inspection.screening.figures.transcription_errors import retyped
from inspection.screening.screen import screen_log
from tests.inspection.planted_faults import (
    SHIFTED,
    Planted,
    change_rope,
    exchange_axes,
    lie_in_a_valley_once,
    lie_in_valleys,
    lower_from_half_way,
    shift_rows,
    use_narrow_jaws,
)
from tests.inspection.simulated_logs import Case, Range, simulate

STATED = re.compile(
    r"(Most likely|More likely by the figures): (.*?)(?:,| \() ?"
    r"((?:over )?[a-z]+(?: hundred)? times|twice) as likely"
)
ODDS = {
    "twice": 2.0,
    "three times": 3.0,
    "four times": 4.0,
    "five times": 5.0,
    "ten times": 10.0,
    "twenty times": 20.0,
    "fifty times": 50.0,
    "over a hundred times": 100.0,
}
CODES = {
    "neighbouring digits swapped": "digits-swapped",
    "the decimal point moved": "decimal-moved",
    "one digit typed wrongly": "digit-mistyped",
    "a misreading": "misread",
    "at the wrong place": "station-misread",
    "over the valleys": "over-the-valleys",
    "a loss of section": "loss-of-section",
    "thicker at station": "thicker-place",
    "off by the same amount": "gauge-shifted",
    "thinner along its": "lower-everywhere",
    "off from station": "shift-from",
    "narrower than the crown pitch": "narrow-jaws",
    "one too": "rows-shifted",
    "at every station": "axes-exchanged",
    "stations": "stations-exchanged",
    "two directions exchanged": "directions-exchanged",
    "do not follow": "follows-no-rope",
}


def _normal(rng: np.random.Generator, size: tuple[float, float], sign: int = 0) -> float:
    while True:
        drawn = float(rng.normal(*size))
        if drawn * sign >= 0.0:
            return drawn


def _slip(code: str) -> Callable[[np.random.Generator, Case], Planted]:
    def plant(rng: np.random.Generator, case: Case) -> Planted:
        entry = int(rng.integers(len(case.log.readings)))
        reading = case.log.readings[entry]
        if "in" in reading.typed:
            return None
        ways = [text for found, _, text in retyped(reading.typed) if found == code]
        if not ways:
            return None
        text = ways[int(rng.integers(len(ways)))]
        wrong = replace(reading, typed=text, value_mm=float(text))
        return case.with_readings({entry: wrong}), {entry}, {code.replace("one-off", "mistyped")}

    return plant


def _reads_off(
    sizes: tuple[tuple[float, float], ...], codes: set[str], *, both: bool
) -> Callable[[np.random.Generator, Case], Planted]:
    def plant(rng: np.random.Generator, case: Case) -> Planted:
        entry = int(rng.integers(len(case.log.readings)))
        entries = {entry - entry % 2, entry - entry % 2 + 1} if both else {entry}
        off = _normal(rng, sizes[int(rng.integers(len(sizes)))])
        by_mm = off * case.world.rope.nominal_mm / 100.0
        seen = {n: case.shown(n, case.log.readings[n].value_mm + by_mm) for n in entries}
        return case.with_readings(seen), entries, codes

    return plant


def _rope_off(
    size: tuple[float, float], sign: int, code: str, *, both: bool
) -> Callable[[np.random.Generator, Case], Planted]:
    def plant(rng: np.random.Generator, case: Case) -> Planted:
        row, column = int(rng.integers(len(case.world.stations))), int(rng.integers(2))
        by_mm = _normal(rng, size, sign) * case.world.rope.nominal_mm / 100.0
        columns = (0, 1) if both else (column,)
        changed = change_rope(case, {(row, one): by_mm for one in columns}, always=False)
        return changed, {2 * row + one for one in columns}, {code}

    return plant


def _all_off(rng: np.random.Generator, case: Case) -> Planted:
    size = (causes.GAUGE_SIZE, (0.0, 5.0))[int(rng.integers(2))]
    by_mm = _normal(rng, size) * case.world.rope.nominal_mm / 100.0
    seen = {n: case.shown(n, item.value_mm + by_mm) for n, item in enumerate(case.log.readings)}
    return case.with_readings(seen), set(seen), SHIFTED


# kind: its rate, per reading, station or log, and what plants it
PLANTS = {
    "digits-swapped": (causes.SLIP, "entry", _slip("digits-swapped")),
    "decimal-moved": (causes.SLIP, "entry", _slip("decimal-moved")),
    "digit-mistyped": (causes.SLIP, "entry", _slip("digit-mistyped")),
    "digit-one-off": (causes.SLIP, "entry", _slip("digit-one-off")),
    "misread": (causes.MISREAD, "entry", _reads_off(causes.MISREAD_SIZES, {"misread"}, both=False)),
    "over-the-valleys": (causes.SLIP, "entry", lie_in_a_valley_once),
    "station-misread": (
        causes.MISREAD_STATION,
        "station",
        _reads_off(causes.MISREAD_SIZES, {"station-misread"}, both=True),
    ),
    "loss-of-section": (
        causes.LOSS,
        "station",
        _rope_off(causes.LOSS_SIZE, -1, "loss-of-section", both=True),
    ),
    "loss, one way": (
        causes.LOSS_ONE_WAY,
        "entry",
        _rope_off(causes.LOSS_SIZE, -1, "loss-of-section", both=False),
    ),
    "thicker-place": (
        causes.GROWTH,
        "station",
        _rope_off(causes.GROWTH_SIZE, 1, "thicker-place", both=True),
    ),
    "gauge-shifted": (causes.GAUGE, "log", _all_off),
    "shift-from": (causes.CHANGE, "log", lower_from_half_way),
    "narrow-jaws": (causes.JAWS_USED, "log", use_narrow_jaws),
    "all over the valleys": (causes.VALLEYS, "log", lie_in_valleys),
    "rows-shifted": (causes.ROWS, "log", shift_rows),
    "axes-exchanged": (causes.AXES, "log", exchange_axes),
}


def reliability(ranges: Range, *, logs: int, seed: int) -> dict[float, tuple[int, int]]:
    """Return, for each value of the odds, how often it was stated and how often it was right."""
    rng = np.random.default_rng(seed)
    counts = {odds: (0, 0) for odds in ODDS.values()}
    kinds = list(PLANTS)
    for _ in range(logs):
        case = simulate(rng, ranges, stations=10, earlier=int(rng.integers(0, 3)), hands=1)
        many = {"entry": 20, "station": 10, "log": 1}
        often = np.array([PLANTS[kind][0] * many[PLANTS[kind][1]] for kind in kinds])
        planted = PLANTS[kinds[int(rng.choice(len(kinds), p=often / often.sum()))]][2](rng, case)
        if planted is None:
            continue
        faulty, entries, codes = planted
        places = set(faulty.log.places(entries))
        for finding in screen_log(faulty.log)[:1]:
            found = STATED.search(finding.seen)
            if found is None or not places & set(finding.places):
                continue
            code = finding.code
            if found[1] != "Most likely":  # the more likely one is named after a possible loss
                code = next((code for words, code in CODES.items() if words in found[2]), "")
            count, right = counts[ODDS[found[3]]]
            counts[ODDS[found[3]]] = (count + 1, right + (code in codes))
    return counts
