"""What the light on both sides of the outline says beside where it lies.

A hard shadow that looks like rope, blur that came after the tone curve, and white that is burnt
out: each moves the place at which half of the stripes' amplitude is left, or may have. Profiles
run across the outline, `t` px outwards from it; `mean` is the light's mean, `pooled` the stripes'
amplitude.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from vision.rope.constants import (
    HALF,
    INSIDE_PX,
    LEVEL_PX,
    NO_LIGHT_SHARE,
    OWN_LIGHT_SHARE,
)
from vision.target.blur import Blur
from vision.tones import PRINTED_BLACK, code_of, light_of

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

EVERY_PX = 0.5  # between the samples of a profile across the edge
PARTS = 6  # along the rope, about a crown each: a shadow is looked for in each


def tone_px(mean: Array, pooled: Array, t: Array, outside: Mask, blur: Blur) -> float:
    """Return by how much the edge moves where all blur comes after the tone curve, px.

    A lens and a sensor mix light; software that scales, smooths or sharpens mixes the values that
    stand for it (IEC 61966-2-1). The same two stripes and the same rope, mixed so, give another
    place at which half of the stripes' amplitude is left.
    """
    level, half_swing = float(np.median(mean[outside])), float(np.median(pooled[outside]))
    white, black = (
        level + np.pi / 4 * half_swing,
        level - np.pi / 4 * half_swing,
    )  # of a square wave
    rope = float(np.interp(-2 * blur.light_px, t, mean))
    codes = code_of(np.clip([white, black, rope], 0, 1))
    paper = np.linspace(0.0, 1.0, 101)
    mixed = [light_of(paper * code + (1 - paper) * codes[2]) for code in codes[:2]]
    swing = mixed[0] - mixed[1]
    seen = float(np.interp(HALF * swing[-1], swing, paper))
    return abs(blur.light_px * float(ndtri(np.clip(seen, 0.01, 0.99))))


def own_light(mean: Array, pooled: Array, t: Array, outside: Mask) -> tuple[float, bool]:
    """Return where the rope's own light falls to half, px, and whether it is gone at the outline.

    Paper sends back mean and stripes in one proportion, lit or shaded: what of the mean is left
    beyond that is the rope's own. It is followed inwards from the band.
    """
    per_stripe = float(np.median(mean[outside] / pooled[outside]))
    own = mean - per_stripe * pooled
    least = OWN_LIGHT_SHARE * float(own[t < 0].max())
    level = np.interp(t - LEVEL_PX, t, own)  # what it is a little farther in
    at_edge, beside = np.interp([0.0, -LEVEL_PX / 2], t, own)
    none = NO_LIGHT_SHARE * float(pooled[outside].mean())
    gone = bool(at_edge < HALF**2 * max(float(beside), least) or max(at_edge, beside) < none)
    over = own - HALF * level
    falls = np.flatnonzero((over[:-1] >= 0) & (over[1:] < 0) & (own[:-1] >= least))
    falls = falls[t[falls] >= LEVEL_PX - INSIDE_PX]
    if not len(falls):
        return 0.0, False
    i = int(falls[-1])
    return float(t[i] + EVERY_PX * over[i] / (over[i] - over[i + 1])), gone


def own_light_along(
    mean: Array, amplitude: Array, crowns: Mask, t: Array, outside: Mask
) -> tuple[float, float]:
    """Return in which share of the parts along the rope its own light is gone at the outline.

    And how far the places scatter at which it ends, px (standard deviation).
    """
    parts = [part for part in np.array_split(np.flatnonzero(crowns), PARTS) if len(part)]
    found = [
        own_light(np.median(mean[part], axis=0), np.median(amplitude[part], axis=0), t, outside)
        for part in parts
    ]
    places = np.array([place for place, _ in found])
    return float(np.mean([gone for _, gone in found])), float(places.std())


def times_over(mean: Array, pooled: Array, outside: Mask) -> float:
    """Return how many times as bright as the picture can hold its white stripes should stand.

    Where white is burnt out the dark stripes still tell how bright the picture was exposed:
    printed black is so much darker than the paper (`PRINTED_BLACK`). Never below 1.
    """
    level, half_swing = float(np.median(mean[outside])), float(np.median(pooled[outside]))
    black = level - np.pi / 4 * half_swing  # of a square wave
    return max(black / PRINTED_BLACK, 1.0)


def clipped_sigmas(over: float) -> float:
    """Return by how many times the blur the stripes' half may move where white is burnt out.

    White that should stand `over` times as high as the picture can hold is there as soon as
    1 / over of it is seen, and half of what is left of it as soon as half of that.
    """
    return max(1.0, float(ndtri(1 - HALF / over)))
