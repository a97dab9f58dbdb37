"""How wide a hard shadow lies between the stripes' half and the rope, by the rope's own light.

A lamp, a flash or the sun throws a shadow without light beside the rope. The stripes end at its
rim, and so does the outline. But paper sends back mean and stripes in one proportion, lit or
shaded, so that what of the mean is left beyond that is the rope's own, and it ends where the rope
does: a limb whose brightness is a straight line there, cut off, and blurred as everything is.

Such a limb is fitted wherever it may end. How well it fits there, how often a side has a shadow,
and how far limbs without one seem to lie within the half give the width's distribution (Bayes):
its mean is taken off, its deviation is in the uncertainty. So there is no threshold from which on
a shadow is believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.rope.constants import (
    BLACK_ROPE,
    CLEAR_SIGMAS,
    LIMB_FLOOR,
    LIMB_POINTS,
    LIMB_SIGMAS,
    SHADE_CHANCE,
    SHADOW_PX,
    U_SHADOW,
    U_WITHIN,
    WIDEST_PX,
    WITHIN,
)
from vision.rope.edge.light import EVERY_PX

Array = NDArray[np.float64]

STEP_PX = 0.1  # between the places that a limb is tried at


@dataclass(frozen=True, slots=True, eq=False)
class Shadow:
    """Shadows beside places along the rope; all of shape (places,).

    Parameters
    ----------
    width_px, u_px : ndarray
        Expected width and its standard deviation, px.
    chance : ndarray
        How likely there is one, 0 to 1.
    """

    width_px: Array
    u_px: Array
    chance: Array


def shadow_beside(own: Array, half_px: Array, t: Array, blur_px: float) -> Shadow:
    """Return the shadow that lies beside each place.

    Parameters
    ----------
    own : ndarray of shape (places, samples)
        The rope's own light over that of the paper outside.
    half_px : ndarray of shape (places,)
        Where half of the stripes is left, px outwards.
    t : ndarray of shape (samples,)
        Places across the outline, px outwards.
    blur_px : float
        Blur, px.
    """
    ends_px, misfit = _limbs(own, t, blur_px)
    # independent samples whose scatter is unknown: as in Student's distribution
    likely = (misfit / misfit.min(axis=1, keepdims=True)) ** -LIMB_POINTS
    within = half_px[:, None] - ends_px
    # a light that ends farther out is no shadow's
    even = _normal(np.maximum(within - WITHIN * blur_px, 0.0), U_WITHIN * blur_px)
    none = (1 - SHADE_CHANCE) * (likely * even).sum(axis=1)
    widths = np.arange(STEP_PX, WIDEST_PX, 2 * STEP_PX)
    usual = np.exp(-widths / SHADOW_PX)
    usual *= SHADE_CHANCE / usual.sum()
    off = _normal(within[:, :, None] - widths, U_SHADOW * blur_px)
    some = usual * (likely[:, None, :] @ off)[:, 0]
    every = none + some.sum(axis=1)
    speaks = own.max(axis=1) > BLACK_ROPE
    mean = speaks * (some @ widths) / every
    u = np.sqrt(np.maximum(some @ widths**2 / every - mean**2, 0.0))
    return Shadow(mean, speaks * u, speaks * (1 - none / every))


def _normal(off: Array, sigma: float) -> Array:
    """Return the normal distribution's density, but for a factor."""
    return np.asarray(np.exp(-((off / sigma) ** 2) / 2) / sigma)


def _limbs(own: Array, t: Array, blur_px: float) -> tuple[Array, Array]:
    """Return where limbs may end (ends,), px, and how badly one fits there (places, ends).

    That is what is left of the light (root mean square) over the limb's brightness at its end.
    """
    ends, misfits = [], []
    for part in np.arange(0.0, EVERY_PX, STEP_PX):  # of the way from a sample to the next
        first = int(np.ceil((part - LIMB_SIGMAS * blur_px) / EVERY_PX))
        last = int(np.floor((part + CLEAR_SIGMAS * blur_px) / EVERY_PX))
        z = (EVERY_PX * np.arange(first, last + 1) - part) / blur_px
        covered = ndtr(-z)
        limb = np.stack([covered, z * covered - np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)])
        windows = sliding_window_view(own, len(z), axis=1)
        much = windows @ np.linalg.pinv(limb)
        left = np.sqrt(((windows - much @ limb) ** 2).mean(axis=2))
        ends.append(t[-first : -first + windows.shape[1]] + part)
        misfits.append((left + LIMB_FLOOR) / np.maximum(much[:, :, 0], LIMB_FLOOR))
    return np.concatenate(ends), np.concatenate(misfits, axis=1)
