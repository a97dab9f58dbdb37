"""The straight line between two methods that are both uncertain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class DemingFit:
    """A straight line y = intercept + slope x, with errors in both.

    Parameters
    ----------
    slope, intercept : float
        The line; `intercept` in the unit of y.
    u_slope, u_intercept : float
        Standard uncertainties, by leaving one pair out at a time.
    slope_interval, intercept_interval : (low, high)
        Confidence intervals (t with n - 2 degrees of freedom).
    count : int
        Number of pairs.
    """

    slope: float
    intercept: float
    u_slope: float
    u_intercept: float
    slope_interval: Interval
    intercept_interval: Interval
    count: int


def deming_regression(
    x: Sequence[float], y: Sequence[float], *, variance_ratio: float = 1.0, level: float = 0.95
) -> DemingFit:
    """Return the line through pairs that are both uncertain (Deming regression).

    Parameters
    ----------
    x, y : sequence of float, same length
        The two methods' figures; at least 4 pairs.
    variance_ratio : float, optional
        Variance of the errors of y over that of x: (u_y / u_x)^2.
    level : float, optional
        Level of the confidence intervals.

    Raises
    ------
    ValueError
        If there are too few pairs, x does not vary, or the ratio is not more than 0.

    Notes
    -----
    With s_xx, s_yy, s_xy and d the ratio, slope = (s_yy - d s_xx + sqrt((s_yy - d s_xx)^2 +
    4 d s_xy^2)) / (2 s_xy). Uncertainties by the jackknife [2]_. On a single rope the diameters
    hardly vary: the slope is then poorly known, as its interval shows.

    References
    ----------
    .. [1] Deming, Statistical Adjustment of Data, 1943.
    .. [2] Linnet, Evaluation of regression procedures for methods comparison studies, Clinical
       Chemistry 1993; 39: 424-432 (jackknife; from memory, confidence 0.8).
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.ndim != 1 or xs.shape != ys.shape or len(xs) < 4:
        raise ValueError(
            f"a line needs at least 4 pairs; got {xs.size} and {ys.size} figures: measure more."
        )
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise ValueError("every figure must be a number: leave out places not measured.")
    if not 0 < variance_ratio < math.inf:
        raise ValueError(f"`variance_ratio` must be more than 0; got {variance_ratio}.")
    slope, intercept = _deming(xs, ys, variance_ratio)
    count = len(xs)
    left_out = np.array(
        [
            _deming(np.delete(xs, index), np.delete(ys, index), variance_ratio)
            for index in range(count)
        ]
    )
    scatter = (left_out - left_out.mean(axis=0)) ** 2
    u_slope, u_intercept = np.sqrt(scatter.sum(axis=0) * (count - 1) / count)
    half = float(stdtrit(count - 2, 0.5 + level / 2.0))
    return DemingFit(
        slope=slope,
        intercept=intercept,
        u_slope=float(u_slope),
        u_intercept=float(u_intercept),
        slope_interval=(slope - half * float(u_slope), slope + half * float(u_slope)),
        intercept_interval=(
            intercept - half * float(u_intercept),
            intercept + half * float(u_intercept),
        ),
        count=count,
    )


def _deming(xs: NDArray[np.float64], ys: NDArray[np.float64], ratio: float) -> tuple[float, float]:
    s_xx, s_yy = float(xs.var()), float(ys.var())
    s_xy = float(((xs - xs.mean()) * (ys - ys.mean())).mean())
    if s_xx == 0.0 or s_xy == 0.0:
        raise ValueError("the figures do not vary together, so no line can be fitted to them.")
    apart = s_yy - ratio * s_xx
    root = math.hypot(apart, 2.0 * math.sqrt(ratio) * s_xy)
    # the same root written in two ways, so that no precision is lost where `apart` cancels it
    slope = (apart + root) / (2.0 * s_xy) if apart >= 0 else 2.0 * ratio * s_xy / (root - apart)
    return slope, float(ys.mean() - slope * xs.mean())
