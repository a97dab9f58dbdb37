"""Peaks of a curve as `scipy.signal.find_peaks` finds them.

Importing `scipy.signal`, which brings `scipy.stats` along, takes half of a short command's time.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def peaks_of(values: NDArray[np.float64], prominence: float = 0.0) -> NDArray[np.int64]:
    """Return the places of values higher than both neighbours; of a level top its middle.

    Parameters
    ----------
    values : ndarray of shape (N,)
        The curve.
    prominence : float, optional
        How far the curve must fall from a peak, on either side, before it rises above it or ends.

    Examples
    --------
    >>> curve = np.array([0.0, 2.0, 1.0, 1.5, 1.5, 1.5, 0.0, 3.0])
    >>> peaks_of(curve).tolist(), peaks_of(curve, prominence=1.0).tolist()
    ([1, 4], [1])
    """
    step = np.diff(values)
    changes = np.flatnonzero(step)
    rise = step[changes]
    tops = np.flatnonzero((rise[:-1] > 0) & (rise[1:] < 0))
    peaks = (changes[tops] + 1 + changes[tops + 1]) // 2
    if prominence <= 0:
        return peaks
    return np.array([at for at in peaks if _stands_out(values, at) >= prominence], np.int64)


def _stands_out(values: NDArray[np.float64], at: int) -> float:
    higher = np.flatnonzero(values > values[at])
    split = int(np.searchsorted(higher, at))
    begin = higher[split - 1] + 1 if split else 0
    end = higher[split] if split < len(higher) else len(values)
    return float(values[at] - max(values[begin : at + 1].min(), values[at:end].min()))
