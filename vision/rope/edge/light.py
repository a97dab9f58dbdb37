"""Effects of light that displace the outline, estimated from both sides of it.

A hard shadow that looks like rope, blur applied after the tone curve, and burnt-out white can each
displace the place at which half of the stripes' amplitude is left. Profiles run across the outline,
at `t` px outwards from it; `mean` is the mean light, `pooled` the stripes' amplitude.
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

EVERY_PX = 0.5  # spacing of the samples of a profile across the edge


def tone_px(mean: Array, pooled: Array, t: Array, outside: Mask, blur: Blur) -> float:
    """Return the displacement of the edge if all blur is applied after the tone curve, px.

    A lens and a sensor mix light; software that scales, smooths or sharpens mixes coded values
    (IEC 61966-2-1). For the same stripes and rope, this changes the place at which half of the
    stripes' amplitude is left.
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

    On paper, mean light and stripes are in a fixed proportion, lit or shaded; any excess of the
    mean is the rope's own light. It is followed inwards from the band. Each row of `mean` and
    `amplitude` is a place along the rope: a lamp's shadow is beside all of them, a strand's shadow
    on the next strand only in the valleys. The proportion does not hold for burnt-out white
    (`burnt`); beside that, a shadow is accepted only where the dark stripes also fade into one.
    """
    per_stripe = median_of(mean[:, outside] / amplitude[:, outside], axis=1)
    own = mean - per_stripe[:, None] * amplitude
    clear = CLEAR_SIGMAS * blur_px
    least = OWN_LIGHT_SHARE * own[:, t < 0].max(axis=1)
    level = _farther_in(own, clear)
    at_edge, beside = own[:, t == 0][:, 0], _farther_in(own, clear / 2)[:, t == 0][:, 0]
    none = NO_LIGHT_SHARE * amplitude[:, outside].mean(axis=1)
    gone = at_edge < HALF**2 * np.maximum(beside, least)
    visible = own.max(axis=1) > none / HALF  # a rope as black as a shadow gives no information
    dim = (np.maximum(at_edge, beside) < none) & visible  # its light ends farther in than this
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
    wide = ~found & gone & visible  # its light begins farther in than the profiles extend
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
    """Return the brightness of the rope just inside its outline over that of the paper, 0 to 1.

    This is an upper bound for the share of the paper's light that the rope mirrors there.
    """
    return min(1.0, 2 * lights[2] / (lights[0] + lights[1]))


def _stripes(mean: Array, pooled: Array, outside: Mask) -> tuple[float, float]:
    """Return the light of white and of black stripes outside: those of a square wave."""
    level, half_swing = float(median_of(mean[outside])), float(median_of(pooled[outside]))
    return level + np.pi / 4 * half_swing, level - np.pi / 4 * half_swing


def _farther_in(values: Array, by_px: float) -> Array:
    """Return the values (places, samples) a given distance, px, farther inwards."""
    whole = int(by_px / EVERY_PX)
    part = by_px / EVERY_PX - whole
    padded = np.pad(values, ((0, 0), (whole + 1, 0)), mode="edge")[:, : values.shape[1] + 1]
    return np.asarray((1 - part) * padded[:, 1:] + part * padded[:, :-1])


def times_over(mean: Array, pooled: Array, outside: Mask) -> float:
    """Return the true brightness of white stripes over the brightest that the picture can record.

    Where white is burnt out, the dark stripes still show the exposure, because printed black has a
    known share of the paper's light (`PRINTED_BLACK`). Never below 1.
    """
    return max(_stripes(mean, pooled, outside)[1] / PRINTED_BLACK, 1.0)


def clipped_sigmas(over: float) -> float:
    """Return how far the stripes' half may move where white is burnt out, as a multiple of blur.

    White that should be `over` times as bright as the picture can record reaches the limit as soon
    as 1 / over of it is visible, and half of the limit at half of that.
    """
    return max(1.0, float(ndtri(1 - HALF / over)))


def shone_sigmas(over: float, rope: Array) -> Array:
    """Return how far inwards the stripes' half moves where white is burnt out, over the blur.

    White that should be `over` times as bright as the picture can record reaches the limit as soon
    as a part of it is visible, and the sooner the brighter the rope (`rope`, over the limit). Where
    the rope itself is burnt out, only the dark stripes remain, whose half is not displaced.
    """
    black = min(over * PRINTED_BLACK, 1 - PRINTED_BLACK)
    below = (1 - black) / (2 * (over - black))  # share of the paper where white is not burnt out
    above = (rope - (1 + black) / 2) / np.maximum(rope - black, PRINTED_BLACK)
    return np.asarray(-ndtri(np.clip(np.maximum(below, above), 0.01, HALF)))
