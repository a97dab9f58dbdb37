"""Analysis of profiles across the outline: end of the band, phase and amplitude of the stripes."""

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

MOST_BEND = 3  # largest jump of the rough outline between columns, rows


def in_direction(stripes: Light, pooled: Light, sigma: float) -> tuple[Light, Light]:
    """Return the stripes (2, columns, samples) in phase and out of phase with their own phase.

    That phase varies slowly along the rope; it is determined from `pooled` (2, columns).
    """
    size = (2 * int(12 * sigma + 0.5) + 1, 1)
    slow = cv2.GaussianBlur(pooled, size, 3 * sigma, sigmaY=1.0, borderType=cv2.BORDER_REFLECT)
    cosine, sine = (slow / np.maximum(np.hypot(*slow), np.float32(1e-12)))[..., None]
    a, b = stripes
    return a * cosine + b * sine, b * cosine - a * sine


def in_step(
    stripes: Light, t: Array, first: int, sigma: float
) -> tuple[Light, Light, Light, float]:
    """Return the amplitudes in phase and out of phase, the reference (columns,), and its shade.

    The reference is the amplitude just outside (from sample `first` on), extrapolated linearly to
    the edge, because the rope shades the paper beside it. The slope is that of the whole side. The
    shade is the relative decrease of the reference by the extrapolation.
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

    Farther inside the rope's edge than the blur extends (`clear`, px) no paper is visible. If there
    are still stripes with the contrast of open paper, they are in a shadow, and the half was at the
    shadow's edge. The third result is then where the remaining amplitude falls to its own half, or
    the innermost sample if it does not; NaN elsewhere. Stripes of opposite phase in between are not
    on paper, but mirrored in a smooth flank.
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
    """Return where each profile, followed inwards from `start`, falls through a level, px."""
    inwards = np.arange(share.shape[1]) <= start[:, None]
    below = (share < level[:, None]) & inwards
    last = np.minimum(share.shape[1] - 1 - below[:, ::-1].argmax(axis=1), start - 1)
    last = np.maximum(last, 0)
    here = np.arange(len(share))
    low, high = share[here, last], share[here, last + 1]
    part = np.clip((level - low) / np.where(high > low, high - low, np.inf), 0, 1)
    return t[last] + EVERY_PX * part, np.asarray(below.any(axis=1), np.bool_)


def out_of_step(noise: Values, t: Array, blur_px: float) -> float:
    """Return the standard deviation of the out-of-phase amplitude (columns, samples) at the edge.

    All along an edge, blur mixes in paper from farther out, by an amount that depends on the edge's
    position between pixels. This is also out of phase, but not noise. So the value at the edge is
    limited to that beside it, on the rope or on the paper.
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


def noise_gain(passes: int) -> float:
    """Return the outline's noise after several passes over that of one window's average.

    Each pass adds what a Gaussian window G transmits of the rest, so the effective window after n
    passes is 1 - (1 - G)^n; the noise is the root of the integral of its square.
    """
    frequency = np.linspace(0.0, 4.0, 2001)
    window = np.exp(-(frequency**2))
    after = 1 - (1 - window) ** passes
    return float(np.sqrt(np.trapezoid(after**2, frequency) / np.trapezoid(window**2, frequency)))


def slope_of(share: Values, t: Array) -> float:
    """Return the slope of the amplitude at one half, 1/px."""
    near = np.abs(t) <= 2 * EVERY_PX
    return max(_slope(t[near], median_of(share[:, near], axis=0)), 0.05)


def _slope(x: Array, y: Array) -> float:
    """Return the slope of the best-fitting straight line."""
    off = x - x.mean()
    return float(off @ y / (off @ off))


def best_paths(votes: Light) -> NDArray[np.int64]:
    """Return each side's best boundary between band and rope, as a row for each column.

    Parameters
    ----------
    votes : ndarray of shape (sides, rows, columns)
        Positive for band, negative for rope; row numbers increase from the band to the rope.
    """
    sums = np.cumsum(votes, axis=1)
    score = 2 * sums - sums[:, -1:]  # votes for the band outside, and against it inside
    by_column = np.ascontiguousarray(np.moveaxis(score, -1, 0))
    columns, sides, rows = by_column.shape
    bends = 2 * MOST_BEND + 1
    penalty = BEND_PENALTY * np.abs(np.arange(bends) - MOST_BEND).astype(np.float32)
    # score of the best path to each row; padded, as no path comes from outside the rows
    total = np.full((columns, sides, rows + bends - 1), -np.inf, np.float32)
    own = total[..., MOST_BEND:-MOST_BEND]
    before = sliding_window_view(total, rows, axis=2)  # the possible predecessors of each row
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
