"""The windows along the rope, against crowns drawn by formula and windows laid pass by pass."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from studio import Array

from vision.rope.constants import CLOSE_PITCH, PASSES
from vision.rope.windows import CLOSE_SWING, HALF_SHOWN, hidden_mm, windows_mm

D, STEP = 20.0, 0.05
ALONG = np.arange(-3 * D, 3 * D, STEP)


def crowns(pitch_mm: float, swing_mm: float) -> Array:
    """Return an outline of parabolas that meet in the valleys."""
    at = (ALONG / pitch_mm + 0.5) % 1 - 0.5
    return D / 2 - swing_mm * (2 * at) ** 2


def traced(side: Array, window_mm: float) -> Array:
    """Return what windows laid along the outline, time by time, leave of it."""
    seen = np.full(len(side), side.mean())
    for _ in range(PASSES):
        seen = seen + gaussian_filter1d(side - seen, window_mm / STEP, mode="wrap")
    return seen


def test_the_closest_crowns_swing_as_far_as_18_strands_that_touch() -> None:
    # in the section two neighbours stand pi / 18 to each side of the valley's middle
    ratio = np.sin(np.pi / 18)
    centre = D / 2 / (1 + ratio)
    valley = centre * np.cos(np.pi / 18) + centre * ratio
    assert pytest.approx((D / 2 - valley) / D, rel=1e-9) == CLOSE_SWING


@pytest.mark.parametrize("share", [0.05, 0.10, 0.15, 0.25])
def test_what_windows_hide_of_the_closest_crowns_is_what_they_leave_undone(share: float) -> None:
    side = crowns(CLOSE_PITCH * D, CLOSE_SWING * D)
    lost = D / 2 - float(traced(side, share * D)[np.abs(ALONG) < D].max())
    assert hidden_mm(share * D, D) == pytest.approx(max(lost, 0.0), abs=0.03 * CLOSE_SWING * D)


def test_windows_of_a_fine_pattern_are_never_shortened_and_noise_lengthens_them() -> None:
    side = crowns(D, 0.04 * D)
    usual = 0.04 * D
    quiet, noisy = (
        windows_mm(ALONG, [side, side], [noise] * 2, [usual] * 2, D)[0] for noise in (1e-4, 0.05)
    )
    assert quiet == pytest.approx(usual)
    assert noisy > 1.3 * usual


@pytest.mark.parametrize("times", [2.0, 3.0])
def test_those_of_a_coarse_one_are_as_short_as_the_closest_crowns_ask_for(times: float) -> None:
    # 18 strands: the first look sees nothing of them
    usual = times * HALF_SHOWN * CLOSE_PITCH * D
    side = traced(crowns(CLOSE_PITCH * D, CLOSE_SWING * D), usual)
    window = windows_mm(ALONG, [side, side], [1e-3] * 2, [usual] * 2, D)[0]
    assert window == pytest.approx(usual / 2)
    assert hidden_mm(window, D) < 0.5 * hidden_mm(usual, D)
