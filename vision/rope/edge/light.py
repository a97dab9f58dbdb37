"""What the light on both sides of the outline says beside where it lies.

A hard shadow that looks like rope, blur that came after the tone curve, white that is burnt out:
each moves the place at which half of the stripes' amplitude is left, or may have. Profiles run
across the outline, `t` px outwards from it; `mean` is the light's mean, `pooled` the stripes'
amplitude.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from vision.medians import median_of
from vision.rope.constants import (
    CLEAR_SIGMAS,
    HALF,
)
from vision.target.blur import Blur
from vision.tones import PRINTED_BLACK, code_of, light_of

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Mask = NDArray[np.bool_]

EVERY_PX = 0.5  # between the samples of a profile across the edge


def tone_px(mean: Array, pooled: Array, t: Array, outside: Mask, blur: Blur) -> float:
    """Return by how much the edge moves where all blur comes after the tone curve, px.

    A lens and a sensor mix light; software that scales, smooths or sharpens mixes the values that
    stand for it (IEC 61966-2-1). The same two stripes and the same rope, mixed so, give another
    place at which half of the stripes' amplitude is left.
    """
    white, black = _stripes(mean, pooled, outside)
    rope = float(np.interp(-2 * blur.light_px, t, mean))
    codes = code_of(np.clip([white, black, rope], 0, 1))
    paper = np.linspace(0.0, 1.0, 101)
    mixed = [light_of(paper * code + (1 - paper) * codes[2]) for code in codes[:2]]
    swing = mixed[0] - mixed[1]
    seen = float(np.interp(HALF * swing[-1], swing, paper))
    return abs(blur.light_px * float(ndtri(np.clip(seen, 0.01, 0.99))))


def own_light(mean: Array, amplitude: Array, outside: Mask) -> Array:
    """Return the rope's own light over that of the paper outside (places, samples).

    Paper sends back mean and stripes in one proportion, lit or shaded: what of the mean is left
    beyond that is the rope's own.
    """
    per_stripe = median_of(mean[:, outside] / amplitude[:, outside], axis=1)
    own = mean - per_stripe[:, None] * amplitude
    return np.asarray(own / mean[:, outside].mean(axis=1)[:, None])


def fades(mean: Array, amplitude: Array, t: Array, outside: Mask, blur_px: float) -> Mask:
    """Return where the dark stripes' own light fades before the rope's begins (places,).

    White that is burnt out keeps no proportion of mean and stripes, so that beside it a shadow is
    believed only where dark stripes fade into one.
    """
    dark = mean - np.pi / 4 * amplitude  # of a square wave
    level = dark[:, outside].mean(axis=1)[:, None]
    both = np.minimum(np.maximum.accumulate(dark, axis=1), level)
    return np.asarray((dark < HALF * both)[:, t <= CLEAR_SIGMAS * blur_px].any(axis=1), np.bool_)


def lights_of(
    mean: Array, pooled: Array, t: Array, outside: Mask, blur_px: float
) -> tuple[float, float, float]:
    """Return the light of white and of black stripes outside, and the rope's own at its limb."""
    own = mean - median_of(mean[outside] / pooled[outside]) * pooled
    limb = (t < -blur_px) & (t > -CLEAR_SIGMAS * blur_px)
    return *_stripes(mean, pooled, outside), max(0.0, float(own[limb].max()))


def limb_share(lights: tuple[float, float, float]) -> float:
    """Return how bright the rope is just inside its outline, over the paper beside it, 0 to 1.

    What of the paper it mirrors there is no brighter than that.
    """
    return min(1.0, 2 * lights[2] / (lights[0] + lights[1]))


def _stripes(mean: Array, pooled: Array, outside: Mask) -> tuple[float, float]:
    """Return the light of white and of black stripes outside: those of a square wave."""
    level, half_swing = float(median_of(mean[outside])), float(median_of(pooled[outside]))
    return level + np.pi / 4 * half_swing, level - np.pi / 4 * half_swing


def _farther_in(values: Array, by_px: float) -> Array:
    """Return values (places, samples) as they are so many px farther inwards."""
    whole = int(by_px / EVERY_PX)
    part = by_px / EVERY_PX - whole
    held = np.pad(values, ((0, 0), (whole + 1, 0)), mode="edge")[:, : values.shape[1] + 1]
    return np.asarray((1 - part) * held[:, 1:] + part * held[:, :-1])


def times_over(mean: Array, pooled: Array, outside: Mask) -> float:
    """Return how many times as bright as the picture can hold its white stripes should stand.

    Where white is burnt out the dark stripes still tell how bright the picture was exposed:
    printed black is so much darker than the paper (`PRINTED_BLACK`). Never below 1.
    """
    return max(_stripes(mean, pooled, outside)[1] / PRINTED_BLACK, 1.0)


def clipped_sigmas(over: float) -> float:
    """Return by how many times the blur the stripes' half may move where white is burnt out.

    White that should stand `over` times as high as the picture can hold is there as soon as
    1 / over of it is seen, and half of what is left of it as soon as half of that.
    """
    return max(1.0, float(ndtri(1 - HALF / over)))


def shone_sigmas(over: float, rope: Array) -> Array:
    """Return how many times the blur farther in the stripes' half lies where white is burnt out.

    White that should stand `over` times as high as the picture can hold is there as soon as a part
    of it is seen, and the sooner the brighter the rope (`rope`, of what the picture holds) is
    beside it. A rope that is burnt out itself leaves the dark stripes, whose half is where it was.
    """
    black = min(over * PRINTED_BLACK, 1 - PRINTED_BLACK)
    below = (1 - black) / (2 * (over - black))  # share of the paper, white not yet burnt out there
    above = (rope - (1 + black) / 2) / np.maximum(rope - black, PRINTED_BLACK)
    return np.asarray(-ndtri(np.clip(np.maximum(below, above), 0.01, HALF)))
