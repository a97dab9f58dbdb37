"""What profiles across the outline say: where the band ends, its stripes' phase, half and noise."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from vision.least_squares import NORMAL_QUARTILE
from vision.medians import median_of
from vision.rope.constants import BEND_PENALTY, CLEAR_SIGMAS, HALF, NO_LIGHT_SHARE
from vision.rope.edge.light import EVERY_PX
from vision.tones import Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Values = NDArray[np.floating[Any]]  # single precision where there are many

MOST_BEND = 3  # rows by which the rough outline jumps from column to column


def in_direction(stripes: Light, pooled: Light, sigma: float) -> tuple[Light, Light]:
    """Return the stripes (2, columns, samples) in step and out of step with their own phase.

    That changes slowly along the rope; of what is `pooled` of each column (2, columns) it is taken.
    """
    size = (2 * int(12 * sigma + 0.5) + 1, 1)
    slow = cv2.GaussianBlur(pooled, size, 3 * sigma, sigmaY=1.0, borderType=cv2.BORDER_REFLECT)
    cosine, sine = (slow / np.maximum(np.hypot(*slow), np.float32(1e-12)))[..., None]
    a, b = stripes
    return a * cosine + b * sine, b * cosine - a * sine


def in_step(
    stripes: Light, t: Array, first: int, sigma: float
) -> tuple[Light, Light, Light, float]:
    """Return the amplitude in step, that out of step, the reference (columns,), and its shade.

    The reference is the amplitude just outside (from the `first` sample there on), carried on to
    the edge along a straight line, because the rope takes light from the paper beside it. The
    line's slope is that of the whole side; the shade is by how much it lowers the reference, as a
    share.
    """
    amplitude, noise = in_direction(stripes, stripes[..., first:].mean(axis=2), sigma)
    outside = amplitude[:, first:]
    just_outside = outside.mean(axis=1)
    level = gaussian_filter1d(
        median_filter(just_outside, int(sigma) | 1, mode="nearest"), sigma, mode="nearest"
    )
    pooled = median_of(outside / np.maximum(level, 1e-9)[:, None], axis=0)
    per_px = _slope(t[first:], pooled)
    shade = float(np.clip(per_px * t[first:].mean(), -HALF, HALF))
    return amplitude, noise, np.asarray(level * (1 - shade), np.float32), shade


def half_way(
    share: Values, contrast: Values, t: Array, start: int, clear: float
) -> tuple[Array, Mask, Array]:
    """Return where each profile (columns, samples), followed inwards, falls through half, px.

    Farther inside than a blur reaches (`clear`, px) no paper is seen beyond the rope's edge. Where
    stripes are still there, with the contrast of open paper, a shadow lies on it, and the half was
    that of its rim: third is where what is left there falls to its own half, or as far in as is
    looked where it doesn't; NaN elsewhere. Stripes that on the way there run against their own
    phase lie on no paper: a smooth flank mirrors them.
    """
    half = np.full(len(share), HALF)
    place, sure = _falls(share, half, t, np.full(len(share), start))
    deep = np.clip(np.searchsorted(t, place - clear, side="right") - 1, 0, start - 1)
    here = np.arange(len(share))
    level = share[here, deep]
    shaded = sure & (level > NO_LIGHT_SHARE) & (contrast[here, deep] > HALF)
    if not shaded.any():
        return place, sure, np.full(len(share), np.nan)
    between = (t >= t[deep][:, None]) & (t <= place[:, None])
    shaded &= np.where(between, share, np.inf).min(axis=1) > -NO_LIGHT_SHARE
    farther, found = _falls(share, HALF * level, t, deep)
    return place, sure, np.where(shaded, np.where(found, farther, t[0]), np.nan)


def _falls(share: Values, level: Values, t: Array, start: NDArray[np.int64]) -> tuple[Array, Mask]:
    """Return where each profile, followed inwards from a sample, falls through a level, px."""
    inwards = np.arange(share.shape[1]) <= start[:, None]
    below = (share < level[:, None]) & inwards
    last = np.minimum(share.shape[1] - 1 - below[:, ::-1].argmax(axis=1), start - 1)
    last = np.maximum(last, 0)
    here = np.arange(len(share))
    low, high = share[here, last], share[here, last + 1]
    part = np.clip((level - low) / np.where(high > low, high - low, np.inf), 0, 1)
    return t[last] + EVERY_PX * part, np.asarray(below.any(axis=1), np.bool_)


def out_of_step(noise: Values, t: Array, blur_px: float) -> float:
    """Return the deviation of the amplitude at the edge that runs out of step (columns, samples).

    Blur shows more of the paper farther out at an edge, all along it, and by how much hangs on
    where the edge lies between two pixels: that is out of step too, and no noise. So the edge's own
    counts as far as it is no larger than what lies beside it, on the rope or on the paper.
    """
    near = np.abs(t) < CLEAR_SIGMAS * blur_px
    t, noise = t[near], noise[:, near]
    off = np.abs(noise - median_of(noise, axis=0))
    edge, rope, paper = (
        float(median_of(off[:, part])) / NORMAL_QUARTILE
        for part in (
            np.abs(t) <= blur_px,
            t < (1 - CLEAR_SIGMAS) * blur_px,
            t > (CLEAR_SIGMAS - 1) * blur_px,
        )
    )
    return min(edge, max(rope, paper))


def sharpened(passes: int) -> float:
    """Return how much noisier the outline is after so many passes than one window's average.

    A pass adds what a Gaussian window G shows of the rest, so that after n of them the window is
    1 - (1 - G)^n; of white noise it lets through the root of the sum of its square.
    """
    frequency = np.linspace(0.0, 4.0, 2001)
    window = np.exp(-(frequency**2))
    after = 1 - (1 - window) ** passes
    return float(np.sqrt(np.trapezoid(after**2, frequency) / np.trapezoid(window**2, frequency)))


def slope_of(share: Values, t: Array) -> float:
    """Return how steeply the amplitude rises through one half, 1/px."""
    near = np.abs(t) <= 2 * EVERY_PX
    return max(_slope(t[near], median_of(share[:, near], axis=0)), 0.05)


def _slope(x: Array, y: Array) -> float:
    """Return the slope of the straight line that fits best."""
    off = x - x.mean()
    return float(off @ y / (off @ off))


def best_paths(votes: Light) -> NDArray[np.int64]:
    """Return the boundary row of each column that parts band from rope best, each side one path.

    Parameters
    ----------
    votes : ndarray of shape (sides, rows, columns)
        Positive for band, negative for rope; rows run from the band to the rope.
    """
    sums = np.cumsum(votes, axis=1)
    worth = 2 * sums - sums[:, -1:]  # outside votes for the band, inside for the rope
    by_column = np.ascontiguousarray(np.moveaxis(worth, -1, 0))
    columns, sides, rows = by_column.shape
    bends = 2 * MOST_BEND + 1
    penalty = BEND_PENALTY * np.abs(np.arange(bends) - MOST_BEND).astype(np.float32)
    # what the best path to each row is worth; nothing comes from beyond the rims
    total = np.full((columns, sides, rows + bends - 1), -np.inf, np.float32)
    own = total[..., MOST_BEND:-MOST_BEND]
    before = sliding_window_view(total, rows, axis=2)  # of each row, those that it may come from
    own[0] = by_column[0]
    for column in range(1, columns):
        options = before[column - 1] - penalty[:, None]
        options.max(axis=1, out=own[column])
        own[column] += by_column[column]
    paths = np.empty((sides, columns), np.int64)
    for side, path in enumerate(paths):
        path[-1] = row = int(own[-1, side].argmax())
        for column in range(columns - 2, -1, -1):
            options = total[column, side, row : row + bends] - penalty
            path[column] = row = row + int(options.argmax()) - MOST_BEND
    return paths
