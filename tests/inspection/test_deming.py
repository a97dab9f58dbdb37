"""The line with errors in both variables, compared with slow and general solutions."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from inspection.comparison.deming import deming_regression

Floats = NDArray[np.float64]


def _pairs(seed: int, count: int = 30) -> tuple[Floats, Floats]:
    rng = np.random.default_rng(seed)
    true = rng.uniform(10.0, 60.0, count)
    return true + rng.normal(0, 0.3, count), 1.02 * true - 0.4 + rng.normal(0, 0.15, count)


def _slow_fit(x: Floats, y: Floats, u_x: float, u_y: float) -> tuple[float, float]:
    """Fit slope, intercept and every true x at once: orthogonal distance regression."""

    def residuals(unknown: Floats) -> Floats:
        slope, intercept, true = unknown[0], unknown[1], unknown[2:]
        both: Floats = np.concatenate([(x - true) / u_x, (y - intercept - slope * true) / u_y])
        return both

    found = least_squares(residuals, np.concatenate([[1.0, 0.0], x]), xtol=1e-14, ftol=1e-14)
    return float(found.x[0]), float(found.x[1])


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("u_y", [0.15, 0.3, 0.6])
def test_the_closed_form_is_what_a_general_solver_finds(seed: int, u_y: float) -> None:
    x, y = _pairs(seed)
    line = deming_regression(x.tolist(), y.tolist(), variance_ratio=(u_y / 0.3) ** 2)
    slope, intercept = _slow_fit(x, y, 0.3, u_y)
    assert line.slope == pytest.approx(slope, rel=1e-6)
    assert line.intercept == pytest.approx(intercept, abs=1e-5)


def test_equal_errors_are_total_least_squares() -> None:
    x, y = _pairs(4)
    line = deming_regression(x.tolist(), y.tolist())
    _, _, directions = np.linalg.svd(np.column_stack([x - x.mean(), y - y.mean()]))
    assert line.slope == pytest.approx(directions[0, 1] / directions[0, 0])


def test_error_in_y_alone_is_ordinary_regression() -> None:
    x, y = _pairs(5)
    line = deming_regression(x.tolist(), y.tolist(), variance_ratio=1e12)
    assert line.slope == pytest.approx(np.polyfit(x, y, 1)[0], rel=1e-6)


def test_the_intervals_are_t_times_the_uncertainty_on_both_sides() -> None:
    x, y = _pairs(6)
    line = deming_regression(x.tolist(), y.tolist())
    quantile = 2.048407  # t(0.975; 28) by table
    for value, u, interval in (
        (line.slope, line.u_slope, line.slope_interval),
        (line.intercept, line.u_intercept, line.intercept_interval),
    ):
        assert interval == pytest.approx((value - quantile * u, value + quantile * u), rel=1e-5)


def test_the_stated_uncertainty_of_the_slope_is_the_scatter_seen() -> None:
    lines = [
        deming_regression(*(part.tolist() for part in _pairs(seed)), variance_ratio=0.25)
        for seed in range(100, 400)
    ]
    seen = np.std([line.slope for line in lines])
    stated = np.sqrt(np.mean([line.u_slope**2 for line in lines]))
    # the standard deviation of 300 slopes is itself known to 1 / sqrt(600) = 4 %; four of them
    assert stated / seen == pytest.approx(1.0, abs=0.16)
    inside = np.mean([line.slope_interval[0] < 1.02 < line.slope_interval[1] for line in lines])
    assert 0.90 < inside < 0.99  # 95 % within four standard deviations of 300 draws
    inside = np.mean(
        [line.intercept_interval[0] < -0.4 < line.intercept_interval[1] for line in lines]
    )
    assert 0.90 < inside < 0.99


@pytest.mark.parametrize(
    ("x", "y", "ratio", "sentence"),
    [
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], 1.0, "at least 4 pairs; got 3 and 3"),
        ([1.0] * 4, [1.0, 2.0, 3.0, 4.0], 1.0, "do not vary together"),
        ([1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 3.0], 1.0, "at least 4 pairs"),
        ([1.0, 2.0, 3.0, float("nan")], [1.0, 2.0, 3.0, 4.0], 1.0, "must be a number"),
        ([1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 3.0, 4.0], 0.0, "`variance_ratio` must be more than 0"),
    ],
)
def test_pairs_that_make_no_line_are_refused(
    x: list[float], y: list[float], ratio: float, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        deming_regression(x, y, variance_ratio=ratio)
