"""Least-squares fits of parameters to observations, and the parameters' covariance.

Every fit in the package uses MINPACK's algorithm (Levenberg and Marquardt; Moré 1978) through
`scipy.optimize.leastsq`; the overhead of SciPy's newer interface doubles the time of a fit. For
robustness against outliers, a residual is replaced by the signed square root of its Huber loss, so
the sum of squares is exactly that loss.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from vision.medians import median_of

Array = NDArray[np.float64]

HUBER = 2.5  # standard deviations above which a residual's influence is constant (Huber 1964)
CLOSE = 1e-12  # convergence: relative change of the sum of squares and of the step
FLAT = 1e-8  # convergence: cosine between the residuals and any derivative
SAME_SCATTER = 1e-3  # relative change of the scatter that has no effect on results
SCATTERS = 4  # number of times the scatter is re-estimated; a fifth has no visible effect
NORMAL_QUARTILE = 0.6744897501960817  # of the standard normal distribution


@dataclass(frozen=True, slots=True, eq=False)
class Covariance:
    """Covariance of several named parameters.

    Parameters
    ----------
    names : tuple of str
        The parameters, in the order of the matrix.
    matrix : ndarray of shape (n, n)
        Their covariance, in the products of their units.

    Examples
    --------
    >>> known = Covariance(("length", "width"), np.array([[4.0, 1.0], [1.0, 9.0]]))
    >>> known.u("width"), known.ordered(["width", "length"]).tolist()
    (3.0, [[9.0, 1.0], [1.0, 4.0]])
    >>> known.variance(np.array([1.0, 1.0]))  # of the sum (GUM, JCGM 100:2008, 5.2.2)
    15.0
    """

    names: tuple[str, ...]
    matrix: Array

    def u(self, name: str) -> float:
        """Return the standard uncertainty of one parameter."""
        at = self.names.index(name)
        return float(np.sqrt(self.matrix[at, at]))

    def u_all(self) -> Array:
        """Return the standard uncertainty of each parameter (n,)."""
        return np.asarray(np.sqrt(np.diag(self.matrix)))

    def ordered(self, names: Sequence[str]) -> Array:
        """Return the covariance (m, m) of the parameters named, in that order."""
        at = [self.names.index(name) for name in names]
        return self.matrix[np.ix_(at, at)]

    def variance(self, gradient: Array) -> float:
        """Return the variance of a result from its derivatives (n,), in the order of `names`.

        This is the law of propagation of uncertainty (GUM, JCGM 100:2008, 5.2.2).
        """
        return float(gradient @ self.matrix @ gradient)


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """The solution of a fit.

    Parameters
    ----------
    values : ndarray of shape (n,)
        The parameters.
    residuals : ndarray of shape (m,)
        Residual of each observation over its standard uncertainty.
    weights : ndarray of shape (m,)
        Huber's weight of each observation, 0 to 1.
    jacobian : ndarray of shape (m, n)
        Derivatives of the residuals.
    """

    values: Array
    residuals: Array
    weights: Array
    jacobian: Array

    @property
    def root(self) -> Array:
        """Weighted Jacobian (m, n); the covariance of the parameters is (root' root)^-1."""
        return np.asarray(self.jacobian * np.sqrt(self.weights)[:, None])

    @property
    def covariance(self) -> Array:
        """Covariance of the parameters (n, n), for residuals of unit variance."""
        return covariance_of(self.root)


def fit(
    residuals: Callable[[Array], Array],
    start: Array,
    jacobian: Callable[[Array], Array] | Array,
    *,
    robust: int = 0,
    most_steps: int | None = None,
) -> Solution:
    """Return the parameters that minimise the sum of squared residuals.

    Parameters
    ----------
    residuals : callable
        From the parameters (n,) to the residuals (m,), each over its standard uncertainty; prior
        knowledge of a parameter is one more residual.
    start : ndarray of shape (n,)
        Initial parameters.
    jacobian : callable, or ndarray of shape (n,)
        From the parameters to the derivatives of the residuals (m, n); or the step to each side
        for central differences.
    robust : int, optional
        Number of residuals, from the first, to which Huber's loss applies.
    most_steps : int, optional
        Largest number of evaluations; a hundred for each parameter if None.
    """

    @lru_cache(maxsize=2)  # slopes are asked for where residuals just were, or one step before
    def residuals_at(packed: bytes) -> Array:
        return residuals(np.frombuffer(packed))

    def slopes(values: Array) -> Array:
        if callable(jacobian):
            return jacobian(values)
        return derivatives(residuals, values, jacobian).T

    def robust_residuals(values: Array) -> Array:
        left = residuals_at(values.tobytes())
        return np.concatenate([_root_of_loss(left[:robust]), left[robust:]]) if robust else left

    def robust_slopes(values: Array) -> Array:
        steep = slopes(values)
        if not robust:
            return steep
        left = residuals_at(values.tobytes())[:robust]
        far = np.abs(left) > HUBER
        if far.any():
            steep = steep.copy()
            steep[:robust][far] *= (HUBER / np.abs(_root_of_loss(left[far])))[:, None]
        return steep

    with np.errstate(over="ignore"):  # a step that diverges increases the sum and is undone
        at = optimize.leastsq(
            robust_residuals,
            start,
            Dfun=robust_slopes,
            full_output=True,  # otherwise it warns when it stops at `maxfev`
            ftol=CLOSE,
            xtol=CLOSE,
            gtol=FLAT,
            maxfev=most_steps or 100 * len(start),
        )[0]
    left = residuals_at(at.tobytes())
    weights = np.ones(len(left))
    weights[:robust] = np.minimum(1.0, HUBER / np.maximum(np.abs(left[:robust]), 1e-12))
    return Solution(at, left, weights, slopes(at))


def _root_of_loss(residuals: Array) -> Array:
    """Return signed values whose squares are twice the Huber loss of the residuals."""
    size = np.abs(residuals)
    far = size > HUBER
    roots = residuals.copy()
    roots[far] = np.sign(residuals[far]) * np.sqrt(HUBER * (2 * size[far] - HUBER))
    return roots


def fit_with_scatter(
    residuals: Callable[[Array, float], Array],
    start: Array,
    jacobian: Callable[[Array, float], Array] | Array,
    *,
    robust: int,
    sigma: float,
    floor: float,
) -> tuple[Solution, float]:
    """Fit, estimating the scatter of the observations from their residuals.

    Parameters
    ----------
    residuals, jacobian : callable
        As for `fit`, but functions of the parameters and the observations' standard deviation.
    start : ndarray of shape (n,)
        Initial parameters.
    robust : int
        Number of residuals, from the first, that are observations.
    sigma : float
        Initial estimate of their standard deviation.
    floor : float
        Lower bound of their standard deviation.

    Returns
    -------
    solution : Solution
        The solution of the last fit.
    sigma : float
        The standard deviation of its residuals (`scatter_of`).
    """

    def solved(at: Array, sigma: float) -> Solution:
        return fit(
            lambda values: residuals(values, sigma),
            at,
            (lambda values: jacobian(values, sigma)) if callable(jacobian) else jacobian,
            robust=robust,
        )

    solution = solved(start, sigma)
    for _ in range(SCATTERS):
        before, sigma = sigma, max(scatter_of(sigma * solution.residuals[:robust]), floor)
        if abs(sigma / before - 1) < SAME_SCATTER:
            break
        solution = solved(solution.values, sigma)
    return solution, sigma


def scatter_of(values: Array) -> float:
    """Return the standard deviation of values, estimated from their median absolute deviation.

    This is 1.4826 times the latter, as for a normal distribution. The result is the same as with
    `scipy.stats.median_abs_deviation`, a hundred times as fast.

    Parameters
    ----------
    values : ndarray
        Values; at least one.
    """
    return float(median_of(np.abs(values - median_of(values)))) / NORMAL_QUARTILE


def covariance_of(root: Array) -> Array:
    """Return the covariance (n, n) given by a weighted Jacobian (m, n), (root' root)^-1.

    Parameters
    ----------
    root : ndarray of shape (m, n)
        Derivatives of the residuals, each times the square root of its weight.
    """
    unit = np.linalg.norm(root, axis=0)  # the columns differ by many powers of ten
    triangle = np.linalg.inv(np.linalg.qr(root / unit, mode="r"))
    return np.asarray(triangle @ triangle.T / np.outer(unit, unit))


def derivatives(function: Callable[[Array], Array | float], at: Array, steps: Array) -> Array:
    """Return the derivatives of a function by central differences, one row for each parameter.

    Parameters
    ----------
    function : callable
        A scalar function, or one with several values (m,), of n parameters.
    at : ndarray of shape (n,)
        Where to evaluate the derivatives.
    steps : ndarray of shape (n,)
        Step to each side.

    Returns
    -------
    derivatives : ndarray of shape (n,) or (n, m)
    """
    apart = np.diag(steps)
    return np.array(
        [
            (function(at + step) - function(at - step)) / (2 * size)
            for step, size in zip(apart, steps, strict=True)
        ]
    )
