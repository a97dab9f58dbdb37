"""What profiles across the outline say: the stripes' own phase, and where half of them is left."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from vision.rope.constants import HALF, NO_LIGHT_SHARE
from vision.rope.edge_light import EVERY_PX

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def direction_of(step: NDArray[np.complex128], sigma: float) -> NDArray[np.complex128]:
    """Return the unit vector of the stripes' own phase, which changes slowly along the rope."""
    slow = gaussian_filter1d(step.real, 3 * sigma) + 1j * gaussian_filter1d(step.imag, 3 * sigma)
    return np.asarray(slow / np.maximum(np.abs(slow), 1e-12))


def in_step(
    stripes: NDArray[np.complex128], t: Array, outside: Mask, sigma: float
) -> tuple[Array, Array, Array, float]:
    """Return the amplitude in step, that out of step, the reference (columns,), and its shade.

    The reference is the amplitude just outside, carried on to the edge along a straight line,
    because the rope takes light from the paper beside it. The line's slope is that of the whole
    side; the shade is by how much it lowers the reference, as a share.
    """
    turned = stripes * np.conj(direction_of(stripes[:, outside].mean(axis=1), sigma))[:, None]
    just_outside = turned.real[:, outside].mean(axis=1)
    level = gaussian_filter1d(
        median_filter(just_outside, int(sigma) | 1, mode="nearest"), sigma, mode="nearest"
    )
    pooled = np.median(turned.real[:, outside] / np.maximum(level, 1e-9)[:, None], axis=0)
    per_px = float(np.polyfit(t[outside], pooled, 1)[0])
    shade = float(np.clip(per_px * t[outside].mean(), -HALF, HALF))
    return turned.real, turned.imag, np.asarray(level * (1 - shade)), shade


def half_way(
    share: Array, contrast: Array, t: Array, start: int, clear: float
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
    between = (t >= t[deep][:, None]) & (t <= place[:, None])
    shaded &= np.where(between, share, np.inf).min(axis=1) > -NO_LIGHT_SHARE
    if not shaded.any():
        return place, sure, np.full(len(share), np.nan)
    farther, found = _falls(share, HALF * level, t, deep)
    return place, sure, np.where(shaded, np.where(found, farther, t[0]), np.nan)


def _falls(share: Array, level: Array, t: Array, start: NDArray[np.int64]) -> tuple[Array, Mask]:
    """Return where each profile, followed inwards from a sample, falls through a level, px."""
    inwards = np.arange(share.shape[1]) <= start[:, None]
    below = (share < level[:, None]) & inwards
    last = np.minimum(share.shape[1] - 1 - below[:, ::-1].argmax(axis=1), start - 1)
    last = np.maximum(last, 0)
    here = np.arange(len(share))
    low, high = share[here, last], share[here, last + 1]
    part = np.clip((level - low) / np.where(high > low, high - low, np.inf), 0, 1)
    return t[last] + EVERY_PX * part, np.asarray(below.any(axis=1), np.bool_)


def slope_of(share: Array, t: Array) -> float:
    """Return how steeply the amplitude rises through one half, 1/px."""
    pooled = np.median(share, axis=0)
    near = np.abs(t) <= 2 * EVERY_PX
    return max(float(np.polyfit(t[near], pooled[near], 1)[0]), 0.05)
