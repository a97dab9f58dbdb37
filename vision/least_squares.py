"""What a fit leaves unsure of the numbers that it found, and what follows for a result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


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


def derivatives(function: Callable[[Array], float], at: Array, steps: Array) -> Array:
    """Return the derivatives of a function by central differences (n,).

    Parameters
    ----------
    function : callable
        A figure of n numbers.
    at : ndarray of shape (n,)
        Where to derive.
    steps : ndarray of shape (n,)
        How far to go to each side.
    """
    apart = np.diag(steps)
    return np.array(
        [
            (function(at + step) - function(at - step)) / (2 * size)
            for step, size in zip(apart, steps, strict=True)
        ]
    )
