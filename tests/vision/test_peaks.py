"""Local maxima as SciPy has them, which takes too long to load for what is asked of it."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import find_peaks

from vision.peaks import local_maxima

LEVELS = st.lists(st.integers(0, 6), min_size=1, max_size=30)  # few, so that many are alike


@given(LEVELS, st.sampled_from([0.0, 0.5, 1.0, 2.0, 5.0]))
def test_maxima_and_their_prominence_are_scipys(levels: list[int], prominence: float) -> None:
    curve = np.array(levels, float)
    expected, _ = find_peaks(curve, prominence=prominence)
    assert local_maxima(curve, prominence).tolist() == expected.tolist()
