"""Smoothing by local parabolas, each fitted to a value's neighbourhood.

This is the filter of Savitzky and Golay (1964) as in `scipy.signal.savgol_filter`, of order 2, with
the ends taken from the first and the last full window. SciPy fits the ends every time, which takes
ten times as long as the filter itself; here their coefficients are computed once for each window,
and OpenCV filters many rows at once.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def local_parabolas(values: Array, size: int) -> Array:
    """Return values (..., N) smoothed over `size` samples, an odd number of at most N.

    Examples
    --------
    >>> curve = np.arange(9.0) ** 2  # a parabola is unchanged, including its ends
    >>> bool(np.abs(local_parabolas(curve, 5) - curve).max() < 1e-12)
    True
    """
    middle, first, last = _window(size)
    rows = np.ascontiguousarray(values, np.float64).reshape(-1, values.shape[-1])
    smooth = np.asarray(cv2.sepFilter2D(rows, -1, middle, np.ones(1)), np.float64)
    half = size // 2
    smooth[:, :half] = rows[:, :size] @ first.T
    smooth[:, -half:] = rows[:, -size:] @ last.T
    return smooth.reshape(values.shape)


def odd_size(samples: float) -> int:
    """Return the length of a window, an odd number of samples and at least 5.

    A length over the spacing of samples is often a whole number apart from rounding errors, which
    must not affect the result.

    Examples
    --------
    >>> odd_size(19.5), odd_size(20 - 1e-12), odd_size(20.0)
    (19, 21, 21)
    """
    return max(5, int(samples + 1e-6)) | 1


@lru_cache(maxsize=128)
def _window(size: int) -> tuple[Array, Array, Array]:
    """Return the filter of a window, and the matrices for its first and last half (half, size)."""
    from scipy.signal import savgol_coeffs  # half a second that only ropes are worth

    x = np.arange(size) - size // 2
    basis = np.linalg.qr(np.vander(x / max(1, size // 2), 3))[0]  # onto parabolas: Q Q^T
    fit = basis @ basis.T
    return savgol_coeffs(size, 2), fit[: size // 2].copy(), fit[-(size // 2) :].copy()
