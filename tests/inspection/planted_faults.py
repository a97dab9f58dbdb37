"""Faults to plant in simulated logs, one of each kind that screening looks for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np

from inspection.model.log import Log
from vision.results import Estimate

# Faults: each takes an honest log and gives it back with one fault, and the entries (numbers
# from 0) that a finding must name; None where a fault can't be planted in this log.
Planted = tuple[Log, set[int]] | None
Fault = Callable[[np.random.Generator, Log], Planted]


def _typed(log: Log, entry: int, value: float, text: str | None = None) -> Log:
    changed = list(log.readings)
    typed = f"{value:.2f}" if text is None else text
    changed[entry] = replace(changed[entry], typed=typed, value_mm=value)
    return replace(log, readings=tuple(changed))


def _entry(rng: np.random.Generator, log: Log) -> int:
    return int(rng.integers(len(log.readings)))


def swap_digits(rng: np.random.Generator, log: Log) -> Planted:
    """Swap the digits on both sides of the decimal point, where that matters."""
    for entry in rng.permutation(len(log.readings)):
        text = log.readings[entry].typed
        mark = text.index(".")
        other = text[: mark - 1] + text[mark + 1] + "." + text[mark - 1] + text[mark + 2 :]
        if abs(float(other) - float(text)) >= 0.02 * float(text):
            return _typed(log, int(entry), float(other), other), {int(entry)}
    return None


def move_decimal(rng: np.random.Generator, log: Log) -> Planted:
    entry = _entry(rng, log)
    text = log.readings[entry].typed.replace(".", "")
    other = text[:1] + "." + text[1:] if rng.random() < 0.5 else text[:3] + "." + text[3:]
    return _typed(log, entry, float(other), other), {entry}


def type_inches(rng: np.random.Generator, log: Log) -> Planted:
    entry = _entry(rng, log)
    text = f"{log.readings[entry].value_mm / 25.4:.3f}"
    return _typed(log, entry, float(text), text), {entry}


def mistype_digit(rng: np.random.Generator, log: Log) -> Planted:
    entry = _entry(rng, log)
    value = round(log.readings[entry].value_mm + float(rng.choice([-1.0, 1.0])), 2)
    return _typed(log, entry, value), {entry}


def exchange_directions(rng: np.random.Generator, log: Log) -> Planted:
    """Exchange x and y at the most oval station, made 3 % oval in truth and photograph."""
    station = int(rng.integers(len(log.inspection.stations)))
    first, second = 2 * station, 2 * station + 1
    push = 0.015 * log.rope.nominal_mm
    log = _push(_push(log, first, push), second, -push)
    one, two = log.readings[first], log.readings[second]
    log = _typed(_typed(log, first, two.value_mm), second, one.value_mm)
    return log, {first, second}


def exchange_stations(rng: np.random.Generator, log: Log) -> Planted:
    """Exchange two neighbouring stations, one of them 3 % thinner in truth and photograph."""
    station = int(rng.integers(len(log.inspection.stations) - 1))
    entries = [2 * station, 2 * station + 1, 2 * station + 2, 2 * station + 3]
    for entry in entries[:2]:
        log = _push(log, entry, -0.03 * log.rope.nominal_mm)
    old = log.readings
    for one, two in ((0, 2), (1, 3), (2, 0), (3, 1)):
        log = _typed(log, entries[one], old[entries[two]].value_mm)
    return log, set(entries)


def _push(log: Log, entry: int, by_mm: float) -> Log:
    """Change the rope itself: reading, photograph and earlier readings alike."""
    step = log.gauges[log.readings[entry].gauge].resolution_mm
    by_mm = round(by_mm / 0.1) * 0.1 if step >= 0.01 else by_mm
    reading = log.readings[entry]
    place = (reading.station, reading.view_deg)
    log = _typed(log, entry, round(reading.value_mm + by_mm, 2))
    results = tuple(
        replace(item, diameter_mm=item.diameter_mm + by_mm)
        if isinstance(item, Estimate) and (item.station, item.view_deg) == place
        else item
        for item in log.results
    )
    earlier = tuple(
        replace(
            before,
            readings=tuple(
                replace(
                    item,
                    value_mm=round(item.value_mm + by_mm, 2),
                    typed=f"{item.value_mm + by_mm:.2f}",
                )
                if (item.station, item.view_deg) == place
                else item
                for item in before.readings
            ),
        )
        for before in log.earlier
    )
    return replace(log, results=results, earlier=earlier)


def type_nominal(rng: np.random.Generator, log: Log) -> Planted:
    """Type the nominal in for the second half of the stations."""
    half = len(log.readings) // 2
    for entry in range(half, len(log.readings)):
        log = _typed(log, entry, log.rope.nominal_mm)
    return log, set(range(half, len(log.readings)))


def round_to_half_tenths(rng: np.random.Generator, log: Log) -> Planted:
    """Round everything to 0.05 mm though the gauge shows 0.01 mm."""
    for entry, reading in enumerate(log.readings):
        log = _typed(log, entry, round(round(reading.value_mm / 0.05) * 0.05, 2))
    return log, set(range(len(log.readings)))


def finer_than_gauge(rng: np.random.Generator, log: Log) -> Planted:
    entry = _entry(rng, log)
    value = round(log.readings[entry].value_mm + 0.003, 3)
    return _typed(log, entry, value, f"{value:.3f}"), {entry}


def copy_directions(rng: np.random.Generator, log: Log) -> Planted:
    """Log the first direction's figure for both."""
    for entry in range(1, len(log.readings), 2):
        log = _typed(log, entry, log.readings[entry - 1].value_mm)
    return log, set(range(len(log.readings)))


def invent_directions(rng: np.random.Generator, log: Log) -> Planted:
    """Log the second direction one step beside the first, and equal at times."""
    for entry in range(1, len(log.readings), 2):
        step = log.gauges[log.readings[entry].gauge].resolution_mm
        value = log.readings[entry - 1].value_mm + float(rng.integers(-1, 2)) * step
        log = _typed(log, entry, round(value, 2))
    return log, set(range(len(log.readings)))


def repeat_earlier(rng: np.random.Generator, log: Log) -> Planted:
    if not log.earlier:
        return None
    for entry in range(len(log.readings)):
        log = _typed(log, entry, log.earlier[-1].readings[entry].value_mm)
    return log, set(range(len(log.readings)))


def repeat_stations(rng: np.random.Generator, log: Log) -> Planted:
    """Fill the second half of the stations with the figures of the first half."""
    half = 2 * (len(log.inspection.stations) // 2)
    for entry in range(half, 2 * half):
        log = _typed(log, entry, log.readings[entry - half].value_mm)
    return log, set(range(half, 2 * half))


def grow(rng: np.random.Generator, log: Log) -> Planted:
    """Let one reading be 2 % larger than last time, photographs missing."""
    if not log.earlier:
        return None
    entry = _entry(rng, log)
    value = log.earlier[-1].readings[entry].value_mm + 0.02 * log.rope.nominal_mm
    return _typed(replace(log, results=()), entry, round(value, 2)), {entry}


def thin_place(rng: np.random.Generator, log: Log) -> Planted:
    """Make the rope itself 5 % thinner at one station: true, and worth the first look."""
    entry = 2 * int(rng.integers(len(log.inspection.stations)))
    for one in (entry, entry + 1):
        log = _push(log, one, -0.05 * log.rope.nominal_mm)
    return log, {entry, entry + 1}


def misread(rng: np.random.Generator, log: Log) -> Planted:
    """Read one place 1.5 % too small."""
    entry = _entry(rng, log)
    value = log.readings[entry].value_mm * 0.985
    step = log.gauges[log.readings[entry].gauge].resolution_mm
    return _typed(log, entry, round(round(value / step) * step, 2)), {entry}


def hurry(rng: np.random.Generator, log: Log) -> Planted:
    """Log one station five seconds after the one before."""
    station = int(rng.integers(1, len(log.inspection.stations)))
    last = log.readings[2 * station - 1].at
    assert last is not None
    changed = list(log.readings)
    for entry in range(2 * station, len(changed)):
        at = changed[entry].at
        first = log.readings[2 * station].at
        assert at is not None
        assert first is not None
        changed[entry] = replace(changed[entry], at=at - (first - last) + timedelta(seconds=1))
    if changed[2 * station].person != changed[2 * station - 1].person:
        return None
    return replace(log, readings=tuple(changed)), {2 * station - 1, 2 * station}


def late_photo(rng: np.random.Generator, log: Log) -> Planted:
    entry = _entry(rng, log)
    return _photo(log, entry, taken_at=_taken(log, entry) + timedelta(hours=5)), {entry}


def photo_of_other_day(rng: np.random.Generator, log: Log) -> Planted:
    entry = _entry(rng, log)
    return _photo(log, entry, taken_at=_taken(log, entry) - timedelta(days=40)), {entry}


def photo_twice(rng: np.random.Generator, log: Log) -> Planted:
    entry, other = (int(i) for i in rng.choice(len(log.readings), 2, replace=False))
    one = log.results[other]
    return _photo(log, entry, photo_sha256=one.photo_sha256, look_hash=one.look_hash), {
        entry,
        other,
    }


def photo_saved_again(rng: np.random.Generator, log: Log) -> Planted:
    """Use a photograph twice, saved again: another file, one bit of its look changed."""
    entry, other = (int(i) for i in rng.choice(len(log.readings), 2, replace=False))
    look = f"{int(log.results[other].look_hash, 16) ^ (1 << int(rng.integers(60))):016x}"
    return _photo(log, entry, look_hash=look), {entry, other}


def other_camera(rng: np.random.Generator, log: Log) -> Planted:
    if len({item.camera for item in log.results}) > 1:
        return None
    entry = _entry(rng, log)
    return _photo(log, entry, camera="another phone"), {entry}


def expired_gauge(rng: np.random.Generator, log: Log) -> Planted:
    name = log.readings[_entry(rng, log)].gauge
    gauges = dict(log.gauges)
    gauges[name] = replace(gauges[name], calibration_due=date(2026, 10, 1))
    return replace(log, gauges=gauges), {
        entry for entry, item in enumerate(log.readings) if item.gauge == name
    }


def _taken(log: Log, entry: int) -> datetime:
    at = log.results[entry].taken_at
    assert at is not None
    return at


def _photo(log: Log, entry: int, **changes: object) -> Log:
    results = list(log.results)
    results[entry] = replace(results[entry], **changes)  # type: ignore[arg-type]
    return replace(log, results=tuple(results))


# fault -> codes that name it; the finding must carry one of them
FAULTS: dict[str, tuple[Fault, set[str]]] = {
    "digits swapped": (swap_digits, {"digits-swapped"}),
    "decimal point moved": (move_decimal, {"decimal-moved"}),
    "inch for mm": (type_inches, {"inch-for-mm"}),
    "one digit mistyped": (mistype_digit, {"digit-mistyped"}),
    "x and y exchanged (3 % oval)": (exchange_directions, {"directions-exchanged"}),
    "stations exchanged (3 % apart)": (exchange_stations, {"stations-exchanged"}),
    "nominal typed in (half)": (type_nominal, {"nominal-typed"}),
    "rounded to 0.05, 0.01 gauge": (round_to_half_tenths, {"last-digits"}),
    "finer than the gauge": (finer_than_gauge, {"finer-than-gauge"}),
    "y copied from x, 0.01 gauge": (copy_directions, {"x-equals-y", "spread-too-small"}),
    "y copied from x, 0.02 gauge": (copy_directions, {"x-equals-y", "spread-too-small"}),
    "y copied from x, 0.05 gauge": (copy_directions, {"x-equals-y", "spread-too-small"}),
    "y within a step of x, 0.01 gauge": (invent_directions, {"x-equals-y", "spread-too-small"}),
    "set repeated from earlier": (repeat_earlier, {"repeats-earlier"}),
    "stations repeated (half), 0.01 gauge": (repeat_stations, {"repeats-station"}),
    "growth of 2 %, no photograph": (grow, {"growth", "outlier", "digit-mistyped"}),
    "thin place, 5 %": (thin_place, {"outlier"}),
    "misread by 1.5 %": (misread, {"photograph-disagrees", "outlier", "directions-disagree"}),
    "logged faster than a walk": (hurry, {"readings-too-fast"}),
    "photograph 5 h late": (late_photo, {"photograph-time"}),
    "photograph of another day": (photo_of_other_day, {"photographs-day", "photograph-time"}),
    "same photograph twice": (photo_twice, {"same-photograph"}),
    "photograph saved again": (photo_saved_again, {"photograph-alike"}),
    "other camera": (other_camera, {"other-camera"}),
    "calibration run out": (expired_gauge, {"out-of-calibration"}),
}
