"""How blurred the card's steps and the stripes' are, up to where stripes run into each other."""

from __future__ import annotations

import numpy as np
import pytest
from scenes import BAR, findings_of, measured, shot_of, taken
from studio import STEEL, Bar

from vision.results import Estimate
from vision.target.blur import APPARENT_BLUR, TRUE_BLUR


@pytest.mark.parametrize(
    ("bar", "blur_px"),
    [
        pytest.param(Bar(12, 6, colour=STEEL), 3.0, id="12 mm"),
        pytest.param(BAR, 2.0, id="24 mm"),
    ],
)
def test_a_blur_that_is_the_same_everywhere_is_not_called_uneven(bar: Bar, blur_px: float) -> None:
    # stripes of 18 px: from 3 px on their steps never come to rest, and looked 1.5 times as sharp;
    # by that blur the bar of 12 mm was 0.63 % too thin
    results = measured(taken(shot_of(bar=bar, blur_px=blur_px)))
    (result,) = results
    assert isinstance(result, Estimate)
    assert not [item.code for item in findings_of(results)]
    assert abs(result.diameter_mm / bar.diameter_mm - 1) < 0.002


def test_what_merged_steps_seem_to_be_blurred_by() -> None:
    # by adding up: a square wave, sampled finely and blurred by a Gaussian of a tenth of a period
    t = np.arange(-2, 2, 1e-3)
    wave = np.sign(np.sin(2 * np.pi * t))
    kernel = np.exp(-0.5 * (np.arange(-0.6, 0.6, 1e-3) / 0.1) ** 2)
    blurred = np.convolve(wave, kernel / kernel.sum(), mode="same")
    ends = np.interp(np.array([-1, 1]) * 0.25 * (1 - 7 / 80), t, blurred)
    slope = np.gradient(blurred, 1e-3)[np.argmin(np.abs(t))]
    seems = (ends[1] - ends[0]) / (slope * np.sqrt(2 * np.pi))
    assert np.interp(0.1, TRUE_BLUR, APPARENT_BLUR) == pytest.approx(seems, rel=0.01)
    assert (np.diff(APPARENT_BLUR) > 0).all()
    assert APPARENT_BLUR[10:40] == pytest.approx(TRUE_BLUR[10:40], rel=0.001)
