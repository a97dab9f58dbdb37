"""The fit and its covariance compared with NIST's certified non-linear regression "Misra1a".

NIST, Statistical Reference Datasets, Nonlinear Regression, Misra1a (lower level of difficulty;
14 observations, y = b1 (1 - exp(-b2 x))). Data and certified values are typed from memory; a slip
in them would leave the certified residual standard deviation, which follows from both.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.least_squares import Array, Covariance, fit

Y = np.array(
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05,
     61.01, 66.40, 75.47, 81.78]
)  # fmt: skip
X = np.array(
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3,
     536.8, 593.1, 689.1, 760.0]
)  # fmt: skip
STARTS = ([500.0, 1e-4], [250.0, 5e-4])  # NIST's two
CERTIFIED, CERTIFIED_SD = (2.3894212918e02, 5.5015643181e-04), (2.7070075241e00, 7.2668688436e-06)
RESIDUAL_SD = 1.0187876330e-01


def misfit(b: Array) -> Array:
    return (b[0] * (1 - np.exp(-b[1] * X)) - Y) / RESIDUAL_SD


def slopes(b: Array) -> Array:
    fallen = np.exp(-b[1] * X)
    return np.stack([1 - fallen, b[0] * X * fallen], axis=1) / RESIDUAL_SD


@pytest.mark.parametrize("start", STARTS)
def test_values_and_their_standard_deviations_are_the_certified_ones(start: list[float]) -> None:
    solution = fit(misfit, np.array(start), slopes)
    assert solution.values == pytest.approx(CERTIFIED, rel=1e-6)
    known = Covariance(("b1", "b2"), solution.covariance)
    assert [known.u("b1"), known.u("b2")] == pytest.approx(CERTIFIED_SD, rel=1e-5)
    assert np.sqrt((solution.residuals**2).sum() / 12) == pytest.approx(1.0, rel=1e-6)


def test_derivatives_that_are_not_given_are_taken_by_differences() -> None:
    solution = fit(misfit, np.array(STARTS[1]), np.array([1e-3, 1e-8]))
    assert solution.values == pytest.approx(CERTIFIED, rel=1e-6)
    assert np.sqrt(np.diag(solution.covariance)) == pytest.approx(CERTIFIED_SD, rel=1e-4)
