"""Runs of True in a row of truth values."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def runs_of(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the first index of each run of True in a mask (N,), and that after its last (K, 2).

    Examples
    --------
    >>> runs_of(np.array([True, True, False, True])).tolist()
    [[0, 2], [3, 4]]
    """
    return np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]))).reshape(-1, 2)
