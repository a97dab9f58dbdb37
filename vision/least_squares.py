"""Fitting numbers to observations, and what a fit leaves unsure of them.

One way for every fit of the package: MINPACK's (Levenberg and Marquardt; Moré 1978), asked by
`scipy.optimize.leastsq`, whose newer form takes as long again as the fit, and one covariance.
Where a false observation must pull little, a residual stands for the root of Huber's loss: the sum
of squares is then that loss, to the last digit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from vision.medians import median_of

Array = NDArray[np.float64]

HUBER = 2.5  # standard deviations from which on a residual pulls no harder (Huber 1964)
CLOSE = 1e-12  # of sum and step: what a fit is let come to rest by
FLAT = 1e-8  # cosine of residuals and any derivative: the same
SAME_SCATTER = 1e-3  # of it: nothing that follows from it changes
SCATTERS = 4  # times that a scatter is read off the residuals: a fifth changes nothing to be seen
NORMAL_QUARTILE = 0.6744897501960817  # of the standard normal distribution


@dataclass(frozen=True, slots=True, eq=False)
class Covariance:
    """Covariance of several numbers, each known by its name.

    Parameters
    ----------
    names : tuple of str
        The numbers, in the order of the matrix.
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
        """Return the standard uncertainty of one number."""
        at = self.names.index(name)
        return float(np.sqrt(self.matrix[at, at]))

    def u_all(self) -> Array:
        """Return the standard uncertainty of each number (n,)."""
        return np.asarray(np.sqrt(np.diag(self.matrix)))

    def ordered(self, names: Sequence[str]) -> Array:
        """Return the block of some numbers (m, m), in the order in which they are named."""
        at = [self.names.index(name) for name in names]
        return self.matrix[np.ix_(at, at)]

    def variance(self, gradient: Array) -> float:
        """Return the variance of a result from its derivatives (n,), in the order of `names`.

        The law of propagation of uncertainty (GUM, JCGM 100:2008, 5.2.2).
        """
        return float(gradient @ self.matrix @ gradient)


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Where a fit came to rest.

    Parameters
    ----------
    values : ndarray of shape (n,)
        The numbers.
    residuals : ndarray of shape (m,)
        What is left of each observation, over its standard uncertainty.
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
        """Weighted Jacobian (m, n): the covariance of the numbers is (root' root)^-1."""
        return np.asarray(self.jacobian * np.sqrt(self.weights)[:, None])

    @property
    def covariance(self) -> Array:
        """Covariance of the numbers (n, n), where the residuals have unit variance."""
        return covariance_of(self.root)


def fit(
    residuals: Callable[[Array], Array],
    start: Array,
    jacobian: Callable[[Array], Array] | Array,
    *,
    robust: int = 0,
    most_steps: int | None = None,
) -> Solution:
    """Return the numbers that make the sum of squared residuals least.

    Parameters
    ----------
    residuals : callable
        From the numbers (n,) to the residuals (m,), each over its standard uncertainty; what is
        known of a number beforehand is one more residual.
    start : ndarray of shape (n,)
        Where to begin.
    jacobian : callable, or ndarray of shape (n,)
        From the numbers to the derivatives of the residuals (m, n); or how far to go to each side
        for central differences.
    robust : int, optional
        How many of the residuals, from the first, are held by Huber's loss.
    most_steps : int, optional
        After how many steps to stop where they are; a hundred for each number if None.
    """

    def slopes(values: Array) -> Array:
        if callable(jacobian):
            return jacobian(values)
        return derivatives(residuals, values, jacobian).T

    def held(values: Array) -> Array:
        left = residuals(values)
        return np.concatenate([_pulled(left[:robust]), left[robust:]]) if robust else left

    def slopes_held(values: Array) -> Array:
        steep = slopes(values)
        if not robust:
            return steep
        left = residuals(values)[:robust]
        far = np.abs(left) > HUBER
        if far.any():
            steep = steep.copy()
            steep[:robust][far] *= (HUBER / np.abs(_pulled(left[far])))[:, None]
        return steep

    with np.errstate(over="ignore"):  # a step that goes astray costs too much and is taken back
        at = optimize.leastsq(
            held,
            start,
            Dfun=slopes_held,
            full_output=True,  # lest it warn where it was told to stop
            ftol=CLOSE,
            xtol=CLOSE,
            gtol=FLAT,
            maxfev=most_steps or 100 * len(start),
        )[0]
    left = residuals(at)
    weights = np.ones(len(left))
    weights[:robust] = np.minimum(1.0, HUBER / np.maximum(np.abs(left[:robust]), 1e-12))
    return Solution(at, left, weights, slopes(at))


def _pulled(residuals: Array) -> Array:
    """Return residuals whose squares are twice Huber's loss of what they are given."""
    size = np.abs(residuals)
    far = size > HUBER
    pulled = residuals.copy()
    pulled[far] = np.sign(residuals[far]) * np.sqrt(HUBER * (2 * size[far] - HUBER))
    return pulled


def fit_with_scatter(
    residuals: Callable[[Array, float], Array],
    start: Array,
    jacobian: Callable[[Array, float], Array] | Array,
    *,
    robust: int,
    sigma: float,
    floor: float,
) -> tuple[Solution, float]:
    """Fit while the scatter of the observations is read off their own residuals.

    Parameters
    ----------
    residuals, jacobian : callable
        As for `fit`, of the numbers and of the observations' standard deviation.
    start : ndarray of shape (n,)
        Where to begin.
    robust : int
        How many of the residuals, from the first, are observations.
    sigma : float
        Their standard deviation to begin with.
    floor : float
        What it is never believed to be below.

    Returns
    -------
    solution : Solution
        Where the last fit came to rest.
    sigma : float
        The standard deviation that its residuals show (`scatter_of`).
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
    """Return the standard deviation of values as their median absolute deviation shows it.

    Times 1.4826, as for a normal distribution; `scipy.stats.median_abs_deviation` says the same a
    hundred times as slowly.

    Parameters
    ----------
    values : ndarray
        Values; at least one.
    """
    return float(median_of(np.abs(values - median_of(values)))) / NORMAL_QUARTILE


def covariance_of(root: Array) -> Array:
    """Return the covariance (n, n) that a weighted Jacobian (m, n) stands for, (root' root)^-1.

    Parameters
    ----------
    root : ndarray of shape (m, n)
        Derivatives of the residuals, each times the root of its weight.
    """
    unit = np.linalg.norm(root, axis=0)  # the numbers differ by many powers of ten
    triangle = np.linalg.inv(np.linalg.qr(root / unit, mode="r"))
    return np.asarray(triangle @ triangle.T / np.outer(unit, unit))


def derivatives(function: Callable[[Array], Array | float], at: Array, steps: Array) -> Array:
    """Return the derivatives of a function by central differences, one row for each number.

    Parameters
    ----------
    function : callable
        A figure, or several (m,), of n numbers.
    at : ndarray of shape (n,)
        Where to derive.
    steps : ndarray of shape (n,)
        How far to go to each side.

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
