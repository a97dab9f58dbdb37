"""The robust fit compared with statsmodels' robust linear model, and the effect of outliers."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]
from scipy.stats import median_abs_deviation

from vision.least_squares import HUBER, Array, fit, fit_with_scatter, scatter_of

TRUE = np.array([2.0, -0.5])


def line(seed: int, false: int = 6) -> tuple[Array, Array]:
    """Return a line's design and observations with normal noise of 0.1, a few far off."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0, 10, 60)
    design = np.stack([np.ones_like(x), x], axis=1)
    y = design @ TRUE + rng.normal(0, 0.1, 60)
    y[rng.choice(60, false, replace=False)] += rng.uniform(1, 5, false)
    return design, y


@pytest.mark.parametrize("seed", range(5))
def test_the_robust_fit_is_that_of_statsmodels(seed: int) -> None:
    design, y = line(seed)
    theirs = sm.RLM(y, design, M=sm.robust.norms.HuberT(t=HUBER)).fit(tol=1e-12, maxiter=500)
    ours = fit(
        lambda b: (design @ b - y) / theirs.scale,
        np.zeros(2),
        lambda _: design / theirs.scale,
        robust=60,
    )
    assert ours.values == pytest.approx(theirs.params, abs=1e-6)
    assert ours.weights == pytest.approx(theirs.weights, abs=1e-5)


@pytest.mark.parametrize("seed", range(5))
def test_false_observations_pull_little_and_are_not_counted_as_scatter(seed: int) -> None:
    design, y = line(seed)
    solution, sigma = fit_with_scatter(
        lambda b, sigma: (design @ b - y) / sigma,
        np.zeros(2),
        lambda _, sigma: design / sigma,
        robust=60,
        sigma=1.0,
        floor=1e-6,
    )
    plain = np.linalg.lstsq(design, y, rcond=None)[0]
    assert np.abs(solution.values - TRUE).max() < 0.5 * np.abs(plain - TRUE).max()
    assert sigma == pytest.approx(0.1, rel=0.5)
    u = np.sqrt(np.diag(solution.covariance))
    assert np.all(np.abs(solution.values - TRUE) < 5 * u)


def test_what_is_known_beforehand_is_no_robust_observation() -> None:
    # one observation of 0 and a prior of 10, both of unit variance: the middle, prior and all
    solution = fit(
        lambda b: np.array([b[0], b[0] - 10.0]), np.array([3.0]), np.array([1e-6]), robust=0
    )
    assert solution.values == pytest.approx([5.0])
    held = fit(lambda b: np.array([b[0], b[0] - 10.0]), np.array([3.0]), np.array([1e-6]), robust=1)
    # Huber's loss pulls with 2.5 at most, the prior with its distance: 10 - 2.5
    assert held.values == pytest.approx([7.5], abs=1e-6)


@pytest.mark.parametrize("count", [1, 2, 7, 60])
def test_the_scatter_is_that_of_scipy(count: int) -> None:
    values = np.random.default_rng(count).normal(3.0, 2.0, count)
    assert scatter_of(values) == pytest.approx(median_abs_deviation(values, scale="normal"))
