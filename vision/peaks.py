"""Local maxima of a curve, and how far each stands out.

As `scipy.signal.find_peaks` has them; to load that takes twice as long as to measure a photograph.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def local_maxima(values: Array, prominence: float = 0.0) -> NDArray[np.int64]:
    """Return where values (N,) are higher than on both sides, as indices; a plateau by its middle.

    Parameters
    ----------
    values : ndarray of shape (N,)
        The curve. Its two ends are no maxima.
    prominence : float, optional
        How far a maximum stands at least over the higher one of the two deepest places between it
        and what is higher, or the curve's end, to its left and to its right.

    Examples
    --------
    >>> curve = np.array([0.0, 3.0, 2.0, 2.5, 0.0, 1.0, 1.0, 1.0, 0.0])
    >>> local_maxima(curve).tolist(), local_maxima(curve, prominence=1.0).tolist()
    ([1, 3, 6], [1, 6])
    """
    last = np.flatnonzero(np.append(np.diff(values) != 0, True))  # of each run of equal values
    first = np.append(0, last[:-1] + 1)
    rises = np.diff(values[last]) > 0
    top = np.flatnonzero(rises[:-1] & ~rises[1:]) + 1
    maxima = (first[top] + last[top]) // 2
    if prominence <= 0:
        return maxima
    return maxima[[_prominence(values, at) >= prominence for at in maxima]]


def _prominence(values: Array, at: int) -> float:
    higher = np.flatnonzero(values > values[at])
    split = int(np.searchsorted(higher, at))
    begin = higher[split - 1] if split else 0
    end = higher[split] if split < len(higher) else len(values)
    return float(values[at] - max(values[begin : at + 1].min(), values[at:end].min()))
