"""Local parabolas: values smoothed by the parabola that fits each one's neighbourhood best.

The filter of Savitzky and Golay (1964) as `scipy.signal.savgol_filter` has it, order 2, ends
taken from the first and the last full window. SciPy fits those ends anew each time, which costs
ten times the filter itself; here what they come to for a window is worked out once.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve1d
from scipy.signal import savgol_coeffs

Array = NDArray[np.float64]


def local_parabolas(values: Array, size: int) -> Array:
    """Return values (N,) smoothed over `size` samples, an odd number of at most N.

    Examples
    --------
    >>> curve = np.arange(9.0) ** 2  # a parabola stays as it is, to its very ends
    >>> bool(np.abs(local_parabolas(curve, 5) - curve).max() < 1e-12)
    True
    """
    middle, first, last = _window(size)
    smooth = np.asarray(convolve1d(values, middle, mode="constant"), np.float64)
    half = size // 2
    smooth[:half] = first @ values[:size]
    smooth[-half:] = last @ values[-size:]
    return smooth


@lru_cache(maxsize=128)
def _window(size: int) -> tuple[Array, Array, Array]:
    """Return the filter of a window, and what gives its first and last half (half, size)."""
    x = np.arange(size) - size // 2
    basis = np.linalg.qr(np.vander(x / max(1, size // 2), 3))[0]  # onto parabolas: Q Q^T
    fit = basis @ basis.T
    return savgol_coeffs(size, 2), fit[: size // 2].copy(), fit[-(size // 2) :].copy()
