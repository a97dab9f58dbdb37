"""Peaks and smoothing are those of SciPy, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks, savgol_coeffs

from vision.peaks import peaks_of
from vision.rope.savitzky_golay import _window


@pytest.mark.parametrize("levels", [3, 20, 10**9])  # few: level tops are common
def test_peaks_are_those_of_scipy(levels: int) -> None:
    chance = np.random.default_rng(levels)
    for count in (0, 1, 2, 3, 4, *range(5, 400, 9)):
        curve = chance.integers(0, levels, count) / 7
        assert peaks_of(curve).tolist() == find_peaks(curve)[0].tolist()
        for least in chance.uniform(0, levels / 7, 3):
            expected = find_peaks(curve, prominence=least)[0].tolist()
            assert peaks_of(curve, prominence=least).tolist() == expected


@pytest.mark.parametrize("size", [3, 5, 7, 21, 101, 333])
def test_the_filter_is_that_of_scipy(size: int) -> None:
    assert _window(size)[0].tolist() == savgol_coeffs(size, 2).tolist()
