"""Last digits: whether a gauge's final digits look like readings of a rope.

Nobody controls the last place of a reading, so each of the digits that the gauge can show should
occur about equally often. People who write figures down from memory, or who round, prefer some.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import pstdev

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from inspection.model.length_text import MM_PER_INCH, typed_resolution_mm
from inspection.model.log import Log
from inspection.model.readings import Reading
from inspection.screening.multiple_testing import ScreeningTest

Chances = NDArray[np.float64]

LEAST_EXPECTED = 5.0  # below this a chi-square is not trusted: Cochran's rule (from memory, 0.9)
FEWEST_READINGS = 8
# Readings must spread over about half the period of the last digit, or the digits follow from the
# size of the rope. A normal spread s over a period P leaves the digits uneven by at most
# 2 exp(-2 pi^2 (s/P)^2) (own derivation, first harmonic): 0.02 at 0.48.
LEAST_SPREAD = 0.48


def digit_count(step: float) -> int:
    """Return how many last digits a gauge of this step can show: 10 for 0.01, 5 for 0.02.

    Raises
    ------
    ValueError
        If the step is not 1, 2 or 5 times a power of ten; last digits then say nothing.

    Examples
    --------
    >>> [digit_count(step) for step in (0.01, 0.02, 0.05, 0.1, 0.005)]
    [10, 5, 2, 10, 2]
    """
    if not (math.isfinite(step) and step > 0):
        raise ValueError(f"`step` must be more than 0; got {step}.")
    lead = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    for known in (1, 2, 5):
        if abs(lead - known) < 1e-6:
            return 10 // known
    raise ValueError(f"`step` must be 1, 2 or 5 times a power of ten; got {step}.")


def last_digit_test(counts: Sequence[int]) -> tuple[float, float]:
    """Return chi-square and its p-value for last digits that should be equally frequent.

    Parameters
    ----------
    counts : sequence of int
        How often each *possible* last digit occurred: 10 numbers for a step of 0.01, 5 for
        0.02, 2 for 0.05.

    Returns
    -------
    chi_square : float
        Sum of (observed - expected)^2 / expected.
    p_value : float
        Exact where fewer than 5 per digit are expected, else from the chi-square distribution
        with ``len(counts) - 1`` degrees of freedom.

    Raises
    ------
    ValueError
        If there are fewer than 2 digits, a count is negative, or nothing was counted.

    Notes
    -----
    The exact value is the sum of the multinomial probabilities of every table whose sum of squared
    counts is at least the one observed (dynamic programming over the digits; own derivation).

    Examples
    --------
    >>> chi_square, p_value = last_digit_test([18, 6, 9, 7, 8, 16, 8, 9, 7, 12])
    >>> round(chi_square, 1), round(p_value, 3)
    (14.8, 0.097)
    """
    if len(counts) < 2:
        raise ValueError(f"at least 2 possible digits are needed; got {len(counts)}.")
    if min(counts) < 0 or sum(counts) == 0:
        raise ValueError(f"counts must be 0 or more, not all 0; got {list(counts)}.")
    total, cells = sum(counts), len(counts)
    squares = sum(count * count for count in counts)
    chi_square = squares * cells / total - total
    if total / cells >= LEAST_EXPECTED:
        return chi_square, float(chdtrc(cells - 1, chi_square))
    return chi_square, float(_tail(total, cells)[squares])


@lru_cache(maxsize=256)
def _tail(total: int, cells: int) -> Chances:
    """Return P(sum of squared counts >= s) for s = 0 .. total^2, all digits equally likely."""
    size = total * total + 1
    weight = np.zeros((total + 1, size))
    weight[0, 0] = 1.0
    for _ in range(cells):
        added = np.zeros_like(weight)
        for count in range(total + 1):
            square = count * count
            kept = weight[: total + 1 - count, : size - square]
            added[count:, square:] += kept / math.factorial(count)
        weight = added / cells
    # weight[total] * total! is the multinomial probability; n! / cells^n was spread by `/ cells`
    chance = weight[total] * math.exp(math.lgamma(total + 1) + (cells - total) * math.log(cells))
    tail: Chances = np.minimum(np.cumsum(chance[::-1])[::-1], 1.0)
    return tail


def gauge_steps(readings: Sequence[Reading], step_mm: float) -> tuple[list[int], float]:
    """Return readings in steps of the gauge, or of the typed text where that is coarser.

    Whoever logs only one decimal has chosen a coarser step for all readings; whoever drops a
    trailing zero in some of them has not.
    """
    typed = min((_typed_step(reading) for reading in readings), default=step_mm)
    step = max(step_mm, typed)
    return [round(reading.value_mm / step) for reading in readings], step


def digit_preference_tests(log: Log) -> list[ScreeningTest]:
    """Return one test of the last digits typed, per gauge and person."""
    groups: dict[tuple[str, str], list[int]] = {}
    for entry, reading in enumerate(log.readings):
        groups.setdefault((reading.gauge, reading.person), []).append(entry)
    tests = []
    for (gauge, _), entries in groups.items():
        if gauge not in log.gauges or len(entries) < FEWEST_READINGS:
            continue
        readings = [log.readings[entry] for entry in entries]
        steps, step = gauge_steps(readings, log.gauges[gauge].resolution_mm)
        cells = cells_of_scale(step)
        if cells is None:
            continue  # an inch fraction has no last digit
        if pstdev(reading.value_mm for reading in readings) < LEAST_SPREAD * cells * step:
            continue
        counts = [0] * cells
        for value in steps:
            counts[value % cells] += 1
        chi_square, p = last_digit_test(counts)
        tests.append(_test(log, entries, counts, chi_square, p))
    return tests


def _test(
    log: Log, entries: list[int], counts: list[int], chi_square: float, p: float
) -> ScreeningTest:
    jump = 10 // len(counts)
    seen = ", ".join(f"{digit * jump}: {count}" for digit, count in enumerate(counts) if count)
    return ScreeningTest(
        check="last-digits",
        code="last-digits",
        entries=tuple(entries),
        places=log.places(entries),
        p=p,
        seen=f"The last digits of {len(entries)} entries are uneven ({seen}); chi-square "
        f"{chi_square:.1f} for {len(counts)} digits that should be equally frequent.",
        remedy="Take two or three of these readings again and log every digit that the gauge "
        "shows.",
        innocent="Readings may have been rounded to a half or a whole tenth on purpose, or the "
        "gauge's last digit may be hard to read at that place.",
        value=chi_square,
        touches="circumstances",
    )


def cells_of_scale(step_mm: float) -> int | None:
    """Return how many last digits there are, on a scale in mm or, failing that, in inches."""
    for unit_mm in (1.0, float(MM_PER_INCH)):
        try:
            return digit_count(step_mm / unit_mm)
        except ValueError:
            continue
    return None


def _typed_step(reading: Reading) -> float:
    try:
        return typed_resolution_mm(reading.typed)
    except ValueError:
        return 0.0  # text that only the import could read: the gauge's step applies
