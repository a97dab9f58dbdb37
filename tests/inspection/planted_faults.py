"""Faults to plant in simulated logs: what is changed, where, and the correct names for it.

Each takes an honest case and returns it with one fault, the entries (numbers from 0) that a finding
must name, and the codes that name it; None if it can't be planted in this log.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from inspection.model.readings import one_section_shortfall_pct, shortfall_pct
from tests.inspection.simulated_logs import INCH, Case, Range, Step, shown, simulate, typed_text
from vision.results import Estimate, Result

Planted = tuple[Case, set[int], set[str]] | None
Fault = Callable[[np.random.Generator, Case], Planted]
LOSS = {"loss-of-section"}
SHIFTED = {"gauge-shifted", "lower-everywhere"}


def _all(case: Case) -> set[int]:
    return set(range(len(case.log.readings)))


def _retyped(case: Case, entry: int, text: str) -> Case:
    reading = replace(case.log.readings[entry], typed=text, value_mm=float(text))
    return case.with_readings({entry: reading})


def _seen(case: Case, values: dict[int, float]) -> Case:
    return case.with_readings({entry: case.shown(entry, mm) for entry, mm in values.items()})


def _copied(case: Case, source: dict[int, int]) -> Case:
    """Fill entries with the text of others."""
    old = case.log.readings
    return case.with_readings(
        {
            entry: replace(old[entry], typed=old[other].typed, value_mm=old[other].value_mm)
            for entry, other in source.items()
        }
    )


def _values(case: Case) -> list[float]:
    return [reading.value_mm for reading in case.log.readings]


def _metric(case: Case, entry: int) -> str | None:
    text = case.log.readings[entry].typed
    return None if "in" in text else text


def swap_digits(rng: np.random.Generator, case: Case) -> Planted:
    """Swap the digits on both sides of the decimal point, where that makes 2 % or more."""
    for entry in rng.permutation(len(case.log.readings)).tolist():
        text = _metric(case, entry)
        if text is None:
            return None
        mark = text.index(".")
        other = text[: mark - 1] + text[mark + 1] + "." + text[mark - 1] + text[mark + 2 :]
        if abs(float(other) - float(text)) >= 0.02 * float(text):
            return _retyped(case, entry, other), {entry}, {"digits-swapped"}
    return None


def move_decimal(rng: np.random.Generator, case: Case) -> Planted:
    entry = int(rng.integers(len(case.log.readings)))
    text = _metric(case, entry)
    if text is None:
        return None
    digits = text.replace(".", "")
    point = 1 if text.index(".") > 1 else 2
    return _retyped(case, entry, f"{digits[:point]}.{digits[point:]}"), {entry}, {"decimal-moved"}


def type_inches(rng: np.random.Generator, case: Case) -> Planted:
    entry = int(rng.integers(len(case.log.readings)))
    if _metric(case, entry) is None:
        return None
    text = f"{case.log.readings[entry].value_mm / INCH:.3f}"
    return _retyped(case, entry, text), {entry}, {"inch-for-mm"}


def mistype_digit(rng: np.random.Generator, case: Case) -> Planted:
    """One millimetre too many or too few."""
    entry = int(rng.integers(len(case.log.readings)))
    text = _metric(case, entry)
    if text is None:
        return None
    value = float(text) + float(rng.choice([-1.0, 1.0]))
    return (
        _retyped(case, entry, f"{value:.{len(text.split('.')[1])}f}"),
        {entry},
        {"digit-mistyped"},
    )


def change_rope(case: Case, by_mm: dict[tuple[int, int], float], *, always: bool) -> Case:
    """Change the rope itself at (row, column): readings and photographs, earlier ones too."""

    def key(station: int | None, view: int | None) -> tuple[int, int]:
        return ((station or 0) - 1, 1 if view else 0)

    def results(found: Iterable[Result]) -> tuple[Result, ...]:
        return tuple(
            replace(
                item,
                diameter_mm=item.diameter_mm + by_mm.get(key(item.station, item.view_deg), 0.0),
            )
            if isinstance(item, Estimate)
            else item
            for item in found
        )

    changed = _seen(
        case,
        {
            entry: reading.value_mm + by_mm[key(reading.station, reading.view_deg)]
            for entry, reading in enumerate(case.log.readings)
            if key(reading.station, reading.view_deg) in by_mm
        },
    )
    log = replace(changed.log, results=results(case.log.results))
    if always:
        log = replace(
            log,
            earlier=tuple(
                replace(
                    before,
                    results=results(before.results),
                    readings=tuple(
                        shown(
                            case.world,
                            item,
                            item.value_mm + by_mm[key(item.station, item.view_deg)],
                        )
                        if key(item.station, item.view_deg) in by_mm
                        else item
                        for item in before.readings
                    ),
                )
                for before in log.earlier
            ),
        )
    return replace(changed, log=log)


def exchange_directions(rng: np.random.Generator, case: Case) -> Planted:
    """One station 3 % oval at all times; its two figures exchanged."""
    row = int(rng.integers(len(case.world.stations)))
    push = 0.015 * case.world.rope.nominal_mm
    case = change_rope(case, {(row, 0): push, (row, 1): -push}, always=True)
    first, second = 2 * row, 2 * row + 1
    names = {"directions-exchanged"}
    return _copied(case, {first: second, second: first}), {first, second}, names


def exchange_stations(rng: np.random.Generator, case: Case) -> Planted:
    """The rope 3 % thinner up to one station at all times; its line exchanged with the next."""
    row = int(rng.integers(1, len(case.world.stations) - 2))
    by = -0.03 * case.world.rope.nominal_mm
    case = change_rope(case, {(n, k): by for n in range(row + 1) for k in (0, 1)}, always=True)
    here = 2 * row
    swap = {here: here + 2, here + 1: here + 3, here + 2: here, here + 3: here + 1}
    return _copied(case, swap), set(swap), {"stations-exchanged"}


def shift_rows(rng: np.random.Generator, case: Case) -> Planted:
    """One line filled in twice, and all behind it one line too low."""
    start = 2 * int(rng.integers(1, max(2, len(case.world.stations) // 2)))
    moved = {entry: entry - 2 for entry in range(start + 2, len(case.log.readings))}
    return _copied(case, moved), set(moved), {"rows-shifted", "stations-exchanged"}


def exchange_axes(rng: np.random.Generator, case: Case) -> Planted:
    swap = {entry: entry + 1 - 2 * (entry % 2) for entry in _all(case)}
    return _copied(case, swap), set(swap), {"axes-exchanged"}


def invent(rng: np.random.Generator, case: Case) -> Planted:
    """Figures about the level that was to be expected, with a made-up scatter."""
    level, scatter = float(np.mean(_values(case))), rng.uniform(0.02, 0.1)
    made = {entry: level + float(rng.normal(0, scatter)) for entry in sorted(_all(case))}
    return _seen(case, made), _all(case), {"follows-no-rope"}


def nearly_copy_earlier(rng: np.random.Generator, case: Case) -> Planted:
    """Last time's figures, each changed by up to 0.03 mm."""
    if not case.log.earlier:
        return None
    old = case.log.earlier[-1].readings
    made = {n: old[n].value_mm + float(rng.uniform(-0.03, 0.03)) for n in sorted(_all(case))}
    return _seen(case, made), _all(case), {"repeats-earlier"}


def copy_earlier(rng: np.random.Generator, case: Case) -> Planted:
    if not case.log.earlier:
        return None
    old = case.log.earlier[-1].readings
    return (
        _seen(case, {n: old[n].value_mm for n in _all(case)}),
        _all(case),
        {"repeats-earlier"},
    )


def make_second_from_first(rng: np.random.Generator, case: Case) -> Planted:
    """The second direction within 0.02 mm of the first."""
    values = _values(case)
    made = {n: values[n - 1] + float(rng.uniform(-0.02, 0.02)) for n in range(1, len(values), 2)}
    return _seen(case, made), _all(case), {"x-equals-y"}


def copy_directions(rng: np.random.Generator, case: Case) -> Planted:
    copies = {n: n - 1 for n in range(1, len(case.log.readings), 2)}
    return _copied(case, copies), _all(case), {"x-equals-y"}


def copy_stations(rng: np.random.Generator, case: Case) -> Planted:
    """The second half of the stations filled with the figures of the first half."""
    half = 2 * (len(case.world.stations) // 2)
    copies = {n: n - half for n in range(half, 2 * half)}
    return _copied(case, copies), _all(case), {"repeats-station"}


def _type_in_part(rng: np.random.Generator, case: Case, value: float, codes: set[str]) -> Planted:
    chosen = {n for n in sorted(_all(case)) if rng.random() < 0.3} or {0}
    return _seen(case, dict.fromkeys(chosen, value)), chosen, codes


def type_nominal(rng: np.random.Generator, case: Case) -> Planted:
    """The nominal diameter typed in at about every third place."""
    return _type_in_part(rng, case, case.world.rope.nominal_mm, {"nominal-typed"})


def type_reference(rng: np.random.Generator, case: Case) -> Planted:
    """The reference diameter of the papers typed in at about every third place."""
    told = round(float(case.world.new_mm.mean()), 1)
    rope = replace(case.log.rope, reference_mm=told)
    case = replace(case, log=replace(case.log, rope=rope))
    return _type_in_part(rng, case, told, {"reference-typed"})


def shift_all(by_mm: float) -> Fault:
    def plant(rng: np.random.Generator, case: Case) -> Planted:
        moved = {n: value + by_mm for n, value in enumerate(_values(case))}
        return _seen(case, moved), _all(case), SHIFTED

    return plant


def lower_from_half_way(rng: np.random.Generator, case: Case) -> Planted:
    rows = len(case.world.stations)
    start = 2 * int(rng.integers(rows // 3, 2 * rows // 3 + 1))
    moved = {n: value - 0.3 for n, value in enumerate(_values(case)) if n >= start}
    return _seen(case, moved), set(moved), {"shift-from"}


def lower_one_person(rng: np.random.Generator, case: Case) -> Planted:
    if len(case.world.people) < 2:
        return None
    theirs = {n for n, item in enumerate(case.log.readings) if item.person == case.world.people[-1]}
    moved = {n: value - 0.3 for n, value in enumerate(_values(case)) if n in theirs}
    # with a gauge of their own, from one station on: all three are true
    return _seen(case, moved), theirs, {"person-differs", "gauge-shifted", "shift-from"}


def use_narrow_jaws(rng: np.random.Generator, case: Case) -> Planted:
    """Jaws narrower than a crown pitch, stopped up to half way beside the crown each time."""
    moved = {
        n: value * (1 - shortfall_pct(6, float(rng.uniform(0, 0.5))) / 100)
        for n, value in enumerate(_values(case))
    }
    return _seen(case, moved), _all(case), {"narrow-jaws"}


def lie_in_valleys(rng: np.random.Generator, case: Case) -> Planted:
    share = one_section_shortfall_pct(6)[2] / 100
    moved = {n: value * (1 - share) for n, value in enumerate(_values(case))}
    return _seen(case, moved), _all(case), {"over-the-valleys"}


def lie_in_a_valley_once(rng: np.random.Generator, case: Case) -> Planted:
    entry = int(rng.integers(len(case.log.readings)))
    share = one_section_shortfall_pct(6)[2] / 100
    moved = {entry: _values(case)[entry] * (1 - share)}
    return _seen(case, moved), {entry}, {"over-the-valleys"}


def type_all_in_inches(rng: np.random.Generator, case: Case) -> Planted:
    if any("in" in reading.typed for reading in case.log.readings):
        return None
    for entry, value in enumerate(_values(case)):
        case = _retyped(case, entry, f"{value / INCH:.3f}")
    return case, _all(case), {"inch-for-mm"}


def read_another_rope(rng: np.random.Generator, case: Case) -> Planted:
    """Another rope of the same nominal diameter was read; the photographs are of the right one."""
    ranges = Range(nominals_mm=(case.world.rope.nominal_mm,))
    other = simulate(rng, ranges, stations=len(case.world.stations), earlier=0, hands=1)
    true = other.world.true_mm(case.log.inspection.on)
    seen = {}
    for n, item in enumerate(case.log.readings):
        scatter = case.world.repeat_mm[item.gauge, item.person]
        seen[n] = float(true[n // 2, n % 2] + rng.normal(0, scatter))
    return _seen(case, seen), _all(case), {"follows-no-rope", *SHIFTED}


def lose_section(pct: float, *, both: bool) -> Fault:
    def plant(rng: np.random.Generator, case: Case) -> Planted:
        row = int(rng.integers(len(case.world.stations)))
        columns = (0, 1) if both else (int(rng.integers(2)),)
        by = -pct / 100 * case.world.rope.nominal_mm
        case = change_rope(case, {(row, column): by for column in columns}, always=False)
        return case, {2 * row + column for column in columns}, LOSS

    return plant


def misread(rng: np.random.Generator, case: Case) -> Planted:
    """Read one place 2.5 % too small or too large."""
    entry = int(rng.integers(len(case.log.readings)))
    off = 1 + 0.025 * float(rng.choice([-1.0, 1.0]))
    return _seen(case, {entry: _values(case)[entry] * off}), {entry}, {"misread", *LOSS}


def round_coarsely(rng: np.random.Generator, case: Case) -> Planted:
    """Round everything to 0.05 mm though the gauge shows 0.01 mm."""
    gauge = case.world.gauges[0]
    if gauge.resolution_mm > 0.01:
        return None
    step = Step(0.05, 0.0, "mm")
    changed = {}
    for n, item in enumerate(case.log.readings):
        typed, value = typed_text(item.value_mm, step.step_mm, step.written)
        changed[n] = replace(item, typed=typed, value_mm=value)
    return case.with_readings(changed), _all(case), {"last-digits"}


def type_too_finely(rng: np.random.Generator, case: Case) -> Planted:
    entry = int(rng.integers(len(case.log.readings)))
    text = _metric(case, entry)
    if text is None:
        return None
    return _retyped(case, entry, f"{float(text) + 0.003:.3f}"), {entry}, {"finer-than-gauge"}


def hurry(rng: np.random.Generator, case: Case) -> Planted:
    """Log one station a second after the one before."""
    row = int(rng.integers(1, len(case.world.stations)))
    before, first = (case.log.readings[2 * row - 1], case.log.readings[2 * row])
    if before.at is None or first.at is None or before.person != first.person:
        return None
    if {item.at.second for item in case.log.readings if item.at} == {0}:
        return None
    back = first.at - before.at - timedelta(seconds=1)
    changed = {
        n: replace(item, at=item.at - back)
        for n, item in enumerate(case.log.readings)
        if n >= 2 * row and item.at is not None
    }
    return case.with_readings(changed), {2 * row - 1, 2 * row}, {"readings-too-fast"}


def pour_in(rng: np.random.Generator, case: Case) -> Planted:
    """All entries logged one second apart."""
    start = case.log.readings[0].at
    if start is None or len(case.log.readings) < 8:
        return None
    changed = {
        n: replace(item, at=start.replace(second=1) + timedelta(seconds=n))
        for n, item in enumerate(case.log.readings)
    }
    return case.with_readings(changed), _all(case), {"entries-too-fast"}


def _with_photo(case: Case, place: int, **changes: object) -> Case:
    results = list(case.log.results)
    results[place] = replace(results[place], **changes)  # type: ignore[arg-type]
    return replace(case, log=replace(case.log, results=tuple(results)))


def _places(rng: np.random.Generator, case: Case) -> tuple[int, int] | None:
    if len(case.log.results) != len(case.log.readings):
        return None
    one, other = rng.choice(len(case.log.results), 2, replace=False).tolist()
    return one, other


def late_photo(rng: np.random.Generator, case: Case) -> Planted:
    chosen = _places(rng, case)
    if chosen is None or case.log.readings[chosen[0]].at is None:
        return None
    taken = case.log.results[chosen[0]].taken_at
    assert taken is not None
    later = _with_photo(case, chosen[0], taken_at=taken + timedelta(hours=5))
    return later, {chosen[0]}, {"photograph-time"}


def photo_of_another_day(rng: np.random.Generator, case: Case) -> Planted:
    chosen = _places(rng, case)
    if chosen is None:
        return None
    taken = case.log.results[chosen[0]].taken_at
    assert taken is not None
    sooner = _with_photo(case, chosen[0], taken_at=taken - timedelta(days=40))
    return sooner, {chosen[0]}, {"photographs-day"}


def photo_twice(rng: np.random.Generator, case: Case) -> Planted:
    chosen = _places(rng, case)
    if chosen is None:
        return None
    copied = case.log.results[chosen[1]]
    twice = _with_photo(
        case, chosen[0], photo_sha256=copied.photo_sha256, look_hash=copied.look_hash
    )
    return twice, set(chosen), {"same-photograph"}


def photo_saved_again(rng: np.random.Generator, case: Case) -> Planted:
    """Another file of the same place of the rope: every tenth bit of its look is another one."""
    chosen = _places(rng, case)
    if chosen is None:
        return None
    copied = case.log.results[chosen[1]]
    assert isinstance(copied, Estimate)
    look = bytearray.fromhex(copied.rope_look)
    for bit in rng.choice(8 * len(look), 8 * len(look) // 10, replace=False).tolist():
        look[bit // 8] ^= 1 << bit % 8
    again = _with_photo(case, chosen[0], rope_look=look.hex())
    return again, set(chosen), {"photograph-alike"}


def other_camera(rng: np.random.Generator, case: Case) -> Planted:
    chosen = _places(rng, case)
    if chosen is None:
        return None
    return _with_photo(case, chosen[0], camera="another phone"), {chosen[0]}, {"other-camera"}


def expired_gauge(rng: np.random.Generator, case: Case) -> Planted:
    name = case.log.readings[0].gauge
    gauges = dict(case.log.gauges)
    gauges[name] = replace(gauges[name], calibration_due=date(2026, 10, 1))
    theirs = {n for n, item in enumerate(case.log.readings) if item.gauge == name}
    return replace(case, log=replace(case.log, gauges=gauges)), theirs, {"out-of-calibration"}


FIGURE_FAULTS: dict[str, Fault] = {
    "digits swapped": swap_digits,
    "decimal point moved": move_decimal,
    "inch for mm": type_inches,
    "one digit mistyped (1 mm)": mistype_digit,
    "directions exchanged (3 % oval)": exchange_directions,
    "stations exchanged (3 %)": exchange_stations,
    "rows shifted": shift_rows,
    "axes exchanged": exchange_axes,
    "invented": invent,
    "near-copies of last time": nearly_copy_earlier,
    "copied from last time": copy_earlier,
    "second direction from first": make_second_from_first,
    "second direction copied": copy_directions,
    "half the stations copied": copy_stations,
    "nominal in part": type_nominal,
    "reference in part": type_reference,
    "all 0.3 mm low": shift_all(-0.3),
    "all 0.3 mm high": shift_all(0.3),
    "0.3 mm low from half way": lower_from_half_way,
    "one person 0.3 mm low": lower_one_person,
    "narrow jaws": use_narrow_jaws,
    "all over the valleys": lie_in_valleys,
    "one over the valleys": lie_in_a_valley_once,
    "all in inches": type_all_in_inches,
    "another rope": read_another_rope,
    "true loss 6 %": lose_section(6.0, both=True),
    "true loss 4 %": lose_section(4.0, both=True),
    "true loss 6 %, one direction": lose_section(6.0, both=False),
    "misread by 2.5 %": misread,
}
FACTS: dict[str, Fault] = {
    "rounded to 0.05, 0.01 gauge": round_coarsely,
    "finer than the gauge": type_too_finely,
    "logged faster than a walk": hurry,
    "logged a second apart": pour_in,
    "photograph 5 h late": late_photo,
    "photograph of another day": photo_of_another_day,
    "same photograph twice": photo_twice,
    "photograph saved again": photo_saved_again,
    "other camera": other_camera,
    "calibration run out": expired_gauge,
}
FAULTS = FIGURE_FAULTS | FACTS
