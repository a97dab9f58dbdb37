"""The most that data can show: what a test finds that knows the fault's form and all scatter.

The likelihood ratio of a fault's form against no fault is its most powerful test (Neyman and
Pearson). Here it is given what no screening can know: how well the people repeat, how uneven and
how oval the rope is, and that nothing else is wrong; where the form leaves the place open, every
place is equally likely. How often an honest log would show as much follows from the ratio itself:
it is the mean of its reciprocal over logs that have the fault.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import logsumexp

from inspection.screening.figures.expected_readings import Figures, Fit, at, gather
from inspection.screening.figures.narrow_jaws import wide_jaws, with_narrow_jaws
from inspection.screening.figures.odd_figures import exchange_evidence, exchanges_of, today
from inspection.screening.figures.predictions import Prediction, log_chance, values_today
from inspection.screening.multiple_testing import SHARES
from tests.inspection.planted_faults import FAULTS
from tests.inspection.simulated_logs import Case, Range, simulate

Gain = Callable[[Case, Fit], float]


def truly_fitted(case: Case) -> Fit:
    """Return the model of a case with the scatter that it was simulated with."""
    figures = gather(case.log)
    assert figures is not None
    pct = case.world.rope.nominal_mm / 100.0
    known = [case.world.uneven_pct * pct, case.world.oval_pct / 2.0 * pct]
    known += [case.world.repeat_mm[hand] for hand in figures.hands]
    return at(figures, 2.0 * np.log(known))


def _exchange(code: str) -> Gain:
    def gain(_: Case, fitted: Fit) -> float:
        gains = [
            exchange_evidence(fitted, one)
            for one in exchanges_of(fitted.figures)
            if one.code == code
        ]
        return float(logsumexp(gains)) - math.log(len(gains)) if gains else 0.0

    return gain


def _prediction(fitted: Fit) -> Prediction:
    figures, first = fitted.figures, fitted.figures.first
    covariance = np.linalg.inv(fitted.precision[first:, first:])
    before = values_today(figures) - covariance @ fitted.pull[first:]
    root = np.linalg.cholesky(covariance)
    variance = np.diag(root) ** 2 - figures.step_mm[first:] ** 2 / 12.0
    return Prediction(0.0, before, root, np.sqrt(np.maximum(variance, 1e-6)))


def _typed_in(value: Callable[[Case], float]) -> Gain:
    def gain(case: Case, fitted: Fit) -> float:
        read, step = values_today(fitted.figures), fitted.figures.step_mm[fitted.figures.first :]
        honest = _prediction(fitted).log_chances(read, step, anywhere=False)
        same = np.where(np.abs(read - value(case)) <= step / 2.0 + 1e-6, math.log(0.3), -np.inf)
        return float((np.logaddexp(math.log(0.7) + honest, same) - honest).sum())

    return gain


def _invented(_: Case, fitted: Fit) -> float:
    read, step = values_today(fitted.figures), fitted.figures.step_mm[fitted.figures.first :]
    honest = _prediction(fitted).log_chances(read, step, anywhere=False).sum()
    level = np.full(len(read), read.mean())
    scatters = (0.03, 0.06, 0.09)
    invented = [
        log_chance(read, level, scatter, step, anywhere=False).sum() for scatter in scatters
    ]
    return float(logsumexp(invented)) - math.log(len(scatters)) - float(honest)


def _misread(case: Case, fitted: Fit) -> float:
    size = 0.025 * case.world.rope.nominal_mm
    gains = []
    for place in today(fitted.figures):
        pull, weight = fitted.pull[place], fitted.precision[place, place]
        gains += [sign * size * pull - 0.5 * size**2 * weight for sign in (-1.0, 1.0)]
    return float(logsumexp(gains)) - math.log(len(gains))


def _narrow_jaws(_: Case, fitted: Fit) -> float:
    (_, row) = wide_jaws(fitted.figures)[-1]
    narrow = with_narrow_jaws(fitted.figures, row)
    return _log_density(narrow, fitted) - _log_density(fitted.figures, fitted)


def _log_density(figures: Figures, fitted: Fit) -> float:
    factor = cho_factor(figures.covariance(fitted.learned), lower=True)
    size = 2.0 * float(np.log(np.diag(factor[0])).sum())
    return -0.5 * (size + float(figures.off_mm @ cho_solve(factor, figures.off_mm)))


# the screening's check that finds each fault, and how many kinds share its part of the level
CHECKS = {
    "rows shifted": ("exchange", 3),
    "axes exchanged": ("axes", 1),
    "invented": ("one-level", 1),
    "nominal in part": ("typed-in", 1),
    "reference in part": ("typed-in", 1),
    "misread by 2.5 %": ("entry", 1),
    "narrow jaws": ("narrow-jaws", 1),
}
GAINS: dict[str, Gain] = {
    "rows shifted": _exchange("rows-shifted"),
    "axes exchanged": _exchange("axes-exchanged"),
    "invented": _invented,
    "nominal in part": _typed_in(lambda case: case.world.rope.nominal_mm),
    "reference in part": _typed_in(lambda case: round(float(case.world.new_mm.mean()), 1)),
    "misread by 2.5 %": _misread,
    "narrow jaws": _narrow_jaws,
}


def _least(gains: np.ndarray, level: float) -> float:
    """Return the gain that an honest log reaches with this probability.

    That probability is the mean of exp(-gain) over the faulty logs with at least this gain.
    """
    highest = np.sort(gains)[::-1]
    chances = np.cumsum(np.exp(-highest)) / len(highest)
    within = np.flatnonzero(chances <= level)
    return float(highest[within[-1]]) if len(within) else math.inf


def share_of_level(kind: str, level: float) -> float:
    """Return the part of the level that the screening allots to one kind of fault."""
    check, kinds = CHECKS[kind]
    return level * SHARES[check] / sum(SHARES.values()) / kinds


def oracle_power(
    kind: str, ranges: Range, *, logs: int, seed: int, photographs: bool, level: float
) -> tuple[float, float]:
    """Return the share of one kind of fault that its likelihood ratio finds.

    First with the whole level for this fault, then with the part that the screening allots to it.
    """
    rng = np.random.default_rng([seed, list(FAULTS).index(kind), photographs])
    found: list[float] = []
    for _ in range(20 * logs):
        case = simulate(
            rng,
            ranges,
            stations=int(rng.integers(8, 13)),
            photographs=photographs,
            earlier=int(rng.integers(1, 3)),
        )
        planted = FAULTS[kind](rng, case)
        if planted is not None:
            found.append(GAINS[kind](planted[0], truly_fitted(planted[0])))
        if len(found) == logs:
            break
    gains = np.array(found)
    alone, shared = (
        float(np.mean(gains >= _least(gains, one))) for one in (level, share_of_level(kind, level))
    )
    return alone, shared
