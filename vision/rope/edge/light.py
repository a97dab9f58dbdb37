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
    NO_LIGHT_SHARE,
    OWN_LIGHT_SHARE,
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


def own_light(
    mean: Array, amplitude: Array, t: Array, outside: Mask, blur_px: float, burnt: bool = False
) -> tuple[Array, Mask]:
    """Return where the rope's own light falls to half, px, and whether it is gone at the outline.

    Paper sends back mean and stripes in one proportion, lit or shaded: what of the mean is left
    beyond that is the rope's own. It is followed inwards from the band. Each row of `mean` and
    `amplitude` is a place along the rope: the shadow of a lamp lies beside all of them, that of a
    strand on the next one in the valleys alone. White that is burnt out (`burnt`) keeps no
    proportion; beside it a shadow is believed only where the dark stripes fade into one, too.
    """
    per_stripe = median_of(mean[:, outside] / amplitude[:, outside], axis=1)
    own = mean - per_stripe[:, None] * amplitude
    clear = CLEAR_SIGMAS * blur_px
    least = OWN_LIGHT_SHARE * own[:, t < 0].max(axis=1)
    level = _farther_in(own, clear)
    at_edge, beside = own[:, t == 0][:, 0], _farther_in(own, clear / 2)[:, t == 0][:, 0]
    none = NO_LIGHT_SHARE * amplitude[:, outside].mean(axis=1)
    gone = at_edge < HALF**2 * np.maximum(beside, least)
    speaks = own.max(axis=1) > none / HALF  # a rope that is as black as a shadow says nothing
    dim = (np.maximum(at_edge, beside) < none) & speaks  # so its light ends farther in than that
    gone |= dim
    if burnt:
        dark = mean - np.pi / 4 * amplitude  # of a square wave
        both = np.minimum(
            np.maximum.accumulate(dark, axis=1), dark[:, outside].mean(axis=1)[:, None]
        )
        gone &= (dark < HALF * both)[:, t <= clear].any(axis=1)
    over = own - HALF * level
    falls = (over[:, :-1] >= 0) & (over[:, 1:] < 0) & (own[:, :-1] >= least[:, None])
    falls &= t[:-1] - clear >= t[0]
    falls &= ~(dim[:, None] & (t[:-1] > -clear / 2))
    here, last = np.arange(len(own)), falls.shape[1] - 1 - falls[:, ::-1].argmax(axis=1)
    high, low = over[here, last], over[here, last + 1]
    place = t[last] + EVERY_PX * high / np.where(high > low, high - low, np.inf)
    found = falls.any(axis=1)
    wide = ~found & gone & speaks  # it begins farther in than is looked
    place = np.where(found, place, np.where(wide, t[0] + clear, 0.0))
    return place, np.asarray(gone & (found | wide), np.bool_)


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
