"""Gauges: whether the gauge named can have shown what was typed, and was within calibration."""

from __future__ import annotations

import math
from decimal import Decimal

from inspection.model.length_text import MM_PER_INCH, typed_resolution_mm
from inspection.model.log import Log, counted
from inspection.model.readings import Gauge, Reading
from inspection.screening.multiple_testing import ScreeningTest

OFF_STEP = 0.02  # fraction of a step: allows for float noise and for inches stored as mm


def gauge_tests(log: Log) -> list[ScreeningTest]:
    """Return the findings about gauges: unknown, read finer than their step, or overdue."""
    groups: dict[str, list[int]] = {}
    for entry, reading in enumerate(log.readings):
        groups.setdefault(reading.gauge, []).append(entry)
    tests = []
    for name, entries in groups.items():
        gauge = log.gauges.get(name)
        if gauge is None:
            tests.append(_unknown_gauge_test(log, name, entries))
            continue
        finer = [entry for entry in entries if off_step(log.readings[entry], gauge)]
        if finer:
            tests.append(_finer_step_test(log, gauge, finer))
        late = _after_due(log, gauge, entries)
        if late:
            tests.append(_overdue_test(log, gauge, late))
    return tests


def off_step(reading: Reading, gauge: Gauge) -> bool:
    """Return whether the gauge can't have shown what was typed.

    More digits than its step has, or a figure between two of its steps: 34.87 on a gauge with
    a step of 0.05. A figure typed in a unit in which the gauge's step is not a round number was
    converted, and can't be judged.

    Examples
    --------
    >>> gauge = Gauge("C-1", "wide-jaw caliper", 0.05, 0.05)
    >>> [off_step(Reading(text, float(text), 1, 0, "C-1", ""), gauge)
    ...  for text in ("34.85", "34.87", "34.9", "34.850")]
    [False, True, False, True]
    """
    try:
        typed_step = typed_resolution_mm(reading.typed)
    except ValueError:
        return False
    unit = float(MM_PER_INCH) if _in_inches(reading, typed_step) else 1.0
    step = gauge.resolution_mm / unit
    if not _is_round(step) and not _is_binary_part(step):
        return False
    if "/" in reading.typed:
        return not _is_multiple(reading.value_mm / gauge.resolution_mm)
    # the last decimal place of the step as written
    place = 10.0 ** Decimal(f"{step:.6g}").normalize().as_tuple().exponent  # type: ignore[operator]
    if typed_step < 0.5 * place * unit:
        return True
    return not _is_multiple(reading.value_mm / gauge.resolution_mm)


def _in_inches(reading: Reading, typed_step: float) -> bool:
    """Return whether the typed text names inches, or is a fraction."""
    return "/" in reading.typed or not _is_round(typed_step)


def _is_round(step: float) -> bool:
    """Return whether a step is 1, 2, 2.5 or 5 times a power of ten."""
    lead = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    return any(abs(lead - known) < 1e-6 for known in (1.0, 2.0, 2.5, 5.0))


def _is_binary_part(step: float) -> bool:
    return any(abs(step * part - 1.0) < 1e-6 for part in (16, 32, 64, 128))


def _is_multiple(steps: float) -> bool:
    return abs(steps - round(steps)) < OFF_STEP


def _after_due(log: Log, gauge: Gauge, entries: list[int]) -> list[int]:
    due = gauge.calibration_due
    if due is None:
        return []
    late = []
    for entry in entries:
        at = log.readings[entry].at
        if (log.inspection.on if at is None else at.date()) > due:
            late.append(entry)
    return late


def _unknown_gauge_test(log: Log, name: str, entries: list[int]) -> ScreeningTest:
    return ScreeningTest(
        check="gauge-unknown",
        code="gauge-unknown",
        entries=tuple(entries),
        places=log.places(entries),
        p=None,
        seen=f"Nothing is known of the gauge '{name}', no step and no permissible error; it is "
        f"named by {counted(len(entries), 'entry', 'entries')}.",
        remedy="Enter the gauge, or correct its name.",
        innocent="A new gauge may not have been entered yet.",
        value=float(len(entries)),
        touches="circumstances",
        about=(name,),
    )


def _finer_step_test(log: Log, gauge: Gauge, entries: list[int]) -> ScreeningTest:
    shown = ", ".join(log.readings[entry].typed for entry in entries[:4])
    return ScreeningTest(
        check="finer-than-gauge",
        code="finer-than-gauge",
        entries=tuple(entries),
        places=log.places(entries),
        p=None,
        seen=f"Gauge '{gauge.identity}' with its step of {gauge.resolution_mm:g} mm can't have "
        f"shown {counted(len(entries), 'entry', 'entries')} ({shown}"
        f"{', ...' if len(entries) > 4 else ''}).",
        remedy="Ask which gauge was used, or log what it shows.",
        innocent="Another gauge may have been used, a mean of several readings typed in, or "
        "inches converted.",
        value=float(len(entries)),
        limit=gauge.resolution_mm,
        unit="mm",
        touches="circumstances",
        about=(gauge.identity,),
    )


def _overdue_test(log: Log, gauge: Gauge, entries: list[int]) -> ScreeningTest:
    return ScreeningTest(
        check="calibration",
        code="out-of-calibration",
        entries=tuple(entries),
        places=log.places(entries),
        p=None,
        seen=f"The calibration of gauge '{gauge.identity}' was due on {gauge.calibration_due}; "
        f"{counted(len(entries), 'entry was', 'entries were')} read with it later.",
        remedy="Have the gauge checked, then judge these readings by what the check finds.",
        innocent="It may have been calibrated in time without the new date being entered.",
        value=float(len(entries)),
        touches="circumstances",
        about=(gauge.identity, str(gauge.calibration_due)),
    )
