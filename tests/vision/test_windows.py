"""The windows along the rope, compared with crowns drawn by formula and repeated windows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from studio import Array

from vision.rope.constants import CLOSE_PITCH, PASSES
from vision.rope.edge.windows import (
    CLOSE_SWING,
    HALF_SHOWN,
    hidden_mm,
    hidden_wires_mm,
    windows_mm,
)

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


@pytest.mark.parametrize("strands", [6, 8, 18])
def test_what_windows_hide_of_wires_grows_from_nothing_to_a_third_of_their_arcs(
    strands: int,
) -> None:
    # an arc stands a third of its height over its mean
    ratio = np.sin(np.pi / strands)
    strand = D / 2 * ratio / (1 + ratio)
    wires = 6 if strands == 18 else 9  # the fewer, the deeper
    arc = strand / (1 + np.sin(np.pi / wires)) * (1 - np.cos(np.pi / wires))
    hidden = [
        hidden_wires_mm(share * D, 6.5 * D / strands, STEP, 71, D) for share in (0.01, 0.05, 0.09)
    ]
    for ordinary, lang in hidden:  # lang wires follow each other two to three times as closely
        assert 0 <= ordinary <= lang < arc / 3
    fine, usual, coarse = (lang for _, lang in hidden)
    assert fine < 2e-4 * D
    assert fine <= usual < coarse
