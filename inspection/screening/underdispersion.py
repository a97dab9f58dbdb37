"""Evenness: entries more alike than a gauge reads the same rope again.

A gauge put on a rope twice does not show the same twice. Two readings at right angles that are
equal at station after station, or a spread far below what placing the gauge alone gives, are
less likely than they look. Ovality can only make such readings differ more, so a round rope is
the case to reckon with, and every probability here is a bound from above.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import bdtrc

from inspection.model.log import Log, right_angle_pairs
from inspection.model.readings import REPEATABILITY_PCT
from inspection.screening.digit_preference import Chances, gauge_steps
from inspection.screening.multiple_testing import ScreeningTest

# The steadiest hand and the smoothest rope that are reckoned with: half of the repeatability
# that the cross-check takes as usual. Common practice, no source.
LEAST_REPEATABILITY_PCT = REPEATABILITY_PCT / 2.0
FEWEST_PAIRS = 3


def least_scatter_mm(diameter_mm: float, step_mm: float) -> float:
    """Return the least standard deviation of one reading taken again, mm.

    A gauge does not repeat better than half its own step, whoever holds it.
    """
    return math.hypot(diameter_mm * LEAST_REPEATABILITY_PCT / 100.0, step_mm / 2.0)


def equal_pair_probability(step: float, sd: float) -> float:
    """Return the probability that two readings of one diameter show the same figure.

    Parameters
    ----------
    step : float
        What both are rounded to.
    sd : float
        Standard deviation of one reading before rounding, in the same unit.

    Notes
    -----
    Two readings differ by D of N(0, 2 sd^2); they round alike with probability
    max(0, 1 - abs(D) / step), their place within a step being even. The mean of that is
    2 (Phi(a) - 1/2) - (2 / a)(phi(0) - phi(a)) with a = step / (sd sqrt 2), which tends to
    step / (2 sd sqrt(pi)) for a small step (own derivation).

    Examples
    --------
    >>> round(equal_pair_probability(0.01, 0.05), 4), round(0.01 / (0.1 * math.sqrt(math.pi)), 4)
    (0.0563, 0.0564)
    """
    return float(_difference_probabilities(step, sd, 0)[0])


def given_figure_probability(step: float, sd: float) -> float:
    """Return the largest probability that a reading shows one figure named beforehand."""
    return math.erf(step / (2.0 * math.sqrt(2.0) * sd))


def underdispersion_test(
    differences: Sequence[int], *, step: float, sd: float
) -> tuple[float, float, float]:
    """Return how unlikely so many equal pairs, and so small a spread, are.

    Parameters
    ----------
    differences : sequence of int
        Difference of the two readings of each pair, in steps of the gauge.
    step, sd : float
        Step, and standard deviation of one reading, in one unit.

    Returns
    -------
    p_equal : float
        Bound on the probability of at least as many equal pairs (binomial).
    p_spread : float
        Bound on the probability that the sum of squared differences is at most the one seen
        (exact for rounded normal differences, by adding pair after pair).
    expected_equal : float
        Most equal pairs to expect, pairs times probability.

    Examples
    --------
    Eight pairs, all equal, where one in ten would be:

    >>> p_equal, p_spread, expected = underdispersion_test([0] * 8, step=0.01, sd=0.03)
    >>> p_equal < 1e-7, p_spread < 1e-7, round(expected, 2)
    (True, True, 0.75)
    """
    pairs = len(differences)
    if pairs == 0:
        raise ValueError("`differences` must hold at least one pair.")
    equal = sum(1 for difference in differences if difference == 0)
    squares = sum(difference * difference for difference in differences)
    none = float(_difference_probabilities(step, sd, 0)[0])
    p_equal = float(bdtrc(equal - 1, pairs, none)) if equal else 1.0
    # only sums up to the one seen matter, so the table never grows beyond it; a spread of many
    # steps is no narrow one, and is not worth a table
    if squares > 50_000 or squares * step * step > 4.0 * pairs * sd * sd:
        return p_equal, 1.0, pairs * none
    reach = math.isqrt(squares)
    single = _difference_probabilities(step, sd, reach)
    sums = np.zeros(squares + 1)
    sums[0] = 1.0
    for _ in range(pairs):
        added = single[0] * sums
        for jump in range(1, reach + 1):
            square = jump * jump
            added[square:] += 2.0 * single[jump] * sums[: squares + 1 - square]
        sums = added
    return p_equal, min(1.0, float(sums.sum())), pairs * none


def underdispersion_tests(log: Log) -> list[ScreeningTest]:
    """Return two tests a gauge of its right-angle pairs: how many are equal, how close all lie."""
    groups: dict[str, list[tuple[int, int]]] = {}
    for first, second in right_angle_pairs(log.readings):
        gauge = log.readings[first].gauge
        if gauge in log.gauges and log.readings[second].gauge == gauge:
            groups.setdefault(gauge, []).append((first, second))
    tests: list[ScreeningTest] = []
    for name, pairs in groups.items():
        if len(pairs) >= FEWEST_PAIRS:
            tests += _group_tests(log, name, pairs)
    return tests


def _group_tests(log: Log, name: str, pairs: list[tuple[int, int]]) -> list[ScreeningTest]:
    entries = [entry for pair in pairs for entry in pair]
    readings = [log.readings[entry] for entry in entries]
    steps, step = gauge_steps(readings, log.gauges[name].resolution_mm)
    differences = [steps[2 * pair] - steps[2 * pair + 1] for pair in range(len(pairs))]
    sd = least_scatter_mm(log.rope.nominal_mm, step)
    p_equal, p_spread, expected = underdispersion_test(differences, step=step, sd=sd)
    if not any(differences):
        p_spread = 1.0  # all equal: both say the same, and the other says it better
    equal = [pair for pair, gap in zip(pairs, differences, strict=True) if gap == 0]
    alike = tuple(entry for pair in equal for entry in pair) or tuple(entries)
    spread = step * math.sqrt(sum(gap * gap for gap in differences) / (2.0 * len(pairs)))
    innocent = (
        "A stiff, round rope and a steady hand can be more even than reckoned, or one reading "
        "was taken for both directions."
    )
    remedy = "Read both directions again at two of these stations, taking the gauge off between."
    return [
        ScreeningTest(
            check="evenness",
            code="x-equals-y",
            entries=alike,
            places=log.places(alike),
            p=p_equal,
            seen=f"Both directions read the same at {len(equal)} of {len(pairs)} stations; at "
            f"most about {expected:.1f} are to be expected at a step of {step:g} mm.",
            remedy=remedy,
            innocent=innocent,
            value=float(len(equal)),
            limit=expected,
            touches="circumstances",
        ),
        ScreeningTest(
            check="evenness",
            code="spread-too-small",
            entries=tuple(entries),
            places=log.places(entries),
            p=p_spread,
            seen=f"The two directions differ by so little that one reading would repeat to "
            f"{spread:.3f} mm; {sd:.3f} mm is the least that is reckoned with.",
            remedy=remedy,
            innocent=innocent,
            value=spread,
            limit=sd,
            unit="mm",
            touches="circumstances",
        ),
    ]


def _difference_probabilities(step: float, sd: float, reach: int) -> Chances:
    """Return P(rounded difference = j) for j = 0 .. reach, two readings of one diameter.

    The difference of two roundings, seen at a random place within the step, is a triangle one
    step to each side; its mean over a normal D is a second difference of the normal's second
    antiderivative G(x) = x Phi(x) + phi(x).
    """
    if step <= 0 or sd <= 0:
        raise ValueError(f"`step` and `sd` must be more than 0; got {step} and {sd}.")
    scale = sd * math.sqrt(2.0) / step

    def second_antiderivative(value: float) -> float:
        z = value / scale
        phi = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
        return scale * (z * 0.5 * math.erfc(-z / math.sqrt(2.0)) + phi)

    # counted from the far end (negative side), where nothing cancels
    far = [second_antiderivative(float(-place)) for place in range(-1, reach + 2)]
    chances = [far[j] - 2.0 * far[j + 1] + far[j + 2] for j in range(reach + 1)]
    kept: Chances = np.maximum(np.array(chances), 0.0)
    return kept
