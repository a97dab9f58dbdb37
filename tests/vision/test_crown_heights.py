"""The highest of several noisy crowns, against order statistics and against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.stats import chi2

from vision.rope.crowns import crown_heights, highest_crown, noise_of_crowns

# Expected largest of n standard normal values (Harter, Biometrika 48 (1961) 151, table 1; from
# memory, confidence 0.9), and checked by simulation below.
LARGEST = {2: 0.5642, 3: 0.8463, 4: 1.0294, 5: 1.1630}


def spanned(count: int) -> NDArray[np.float64]:
    """Return how far below six crowns' tops a jaw meets them that spans the first `count`."""
    return np.where(np.arange(6) < count, 0.0, np.inf)


@pytest.mark.parametrize("count", list(LARGEST))
def test_crowns_thought_to_differ_by_far_keep_their_own_noise(count: int) -> None:
    # heights that are seen alike, but that could each be off by 1: the highest of them is the
    # largest of that many normal values
    top, u = highest_crown(np.full(count, 10.0), np.zeros(count), 1.0, 1e4)
    assert top == pytest.approx(10 + LARGEST[count], abs=2e-3)
    drawn = np.random.default_rng(3).normal(0, 1, (200_000, count)).max(axis=1)
    assert top - 10 == pytest.approx(drawn.mean(), abs=5e-3)
    wider = np.sqrt((count + 2) / count)  # the variance of Student's t with that many and two
    assert u == pytest.approx(wider * drawn.std(), rel=0.01)


def test_crowns_thought_to_be_alike_are_averaged() -> None:
    rng = np.random.default_rng(5)
    seen = rng.normal(10, 1, (400, 6))
    tops = np.array([highest_crown(one, spanned(3), 1.0, 1e-6)[0] for one in seen])
    # at worst half of what choosing the highest of three would read too high
    assert abs(tops.mean() - 10) < LARGEST[3] / 2
    assert tops.std() < seen.max(axis=1).std()


@pytest.mark.parametrize("spread", [0.5, 1.0, 3.0])
def test_the_highest_is_neither_biased_nor_more_certain_than_stated(spread: float) -> None:
    rng = np.random.default_rng(7)
    off, stated = [], []
    for _ in range(1500):
        true = rng.normal(0, spread, 6)
        top, u = highest_crown(true + rng.normal(0, 1, 6), spanned(4), 1.0, spread)
        off.append(top - true[:4].max())
        stated.append(u)
    z = np.array(off) / np.array(stated)
    assert abs(np.mean(off)) < 0.15  # choosing the highest of noisy ones: 0.3 to 0.8
    z2, bound = float(np.mean(z**2)), float(chi2.ppf(0.9999, len(z)) / len(z))
    assert 0.7 < z2 < 1.25
    assert z2 / 0.5**2 > bound  # the negative control: half of it would be too little


def test_a_flank_at_the_jaws_end_counts_if_it_is_higher_than_the_tops_within() -> None:
    heights = np.array([10.0, 10.0, 12.0])
    for below, highest in ((0.5, 11.5), (1.0, 11.0), (3.0, 10.0)):
        top, _ = highest_crown(heights, np.array([0.0, 0.0, below]), 1e-3, 1.0)
        assert top == pytest.approx(highest, abs=2e-3)


@pytest.mark.parametrize("noise", [0.2, 0.5])
def test_the_noise_of_an_outline_is_read_from_its_scatter(noise: float) -> None:
    rng = np.random.default_rng(9)
    x = np.arange(600)
    crowns = -40 * (1 - np.abs(np.cos(np.pi * x / 100)))
    white = gaussian_filter1d(rng.normal(0, 1, len(x)), 2.0, mode="wrap")
    raw = crowns + noise * white / white.std()
    read = noise_of_crowns(raw, 20, 50, 0.0)
    # a parabola over 20 samples leaves of noise that is 7 samples long about half
    assert 0.4 * noise < read < 1.1 * noise
    assert noise_of_crowns(crowns, 20, 50, 0.03) < 0.25
    assert noise_of_crowns(np.zeros(600), 20, 50, 0.03) == 0.03


def test_the_height_of_a_crown_is_that_of_its_highest_wire() -> None:
    outline = np.zeros(200)
    outline[[48, 103]] = 2.0, 1.0
    assert crown_heights(outline, np.array([50, 100]), 16).tolist() == [2.0, 1.0]
    assert crown_heights(outline, np.array([40, 110]), 16).tolist() == [0.0, 0.0]
