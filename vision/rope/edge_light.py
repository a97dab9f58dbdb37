"""What the light on both sides of the outline says beside where it lies.

A hard shadow that looks like rope, blur that came after the tone curve, white that is burnt out,
stripes that a smooth flank mirrors: each moves the place at which half of the stripes' amplitude is
left, or may have. Profiles run across the outline, `t` px outwards from it; `mean` is the light's
mean, `pooled` the stripes' amplitude.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from vision.camera import camera_centre_mm
from vision.rope.constants import (
    CLEAR_SIGMAS,
    HALF,
    NO_LIGHT_SHARE,
    OWN_LIGHT_SHARE,
)
from vision.rope.lock_in import Scene
from vision.target.blur import Blur
from vision.target.layout import stripe_phase
from vision.tones import PRINTED_BLACK, code_of, light_of

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# What an edge's own blur may be over that of the card's steps: sharpening makes some steeper.
STEEPER = (0.6, 0.75, 0.9, 1.05, 1.2)
EVERY_PX = 0.5  # between the samples of a profile across the edge


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
    per_stripe = np.median(mean[:, outside] / amplitude[:, outside], axis=1)
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


def limb_share(mean: Array, pooled: Array, t: Array, outside: Mask, blur_px: float) -> float:
    """Return how bright the rope is just inside its outline, over the paper beside it, 0 to 1.

    What of the paper it mirrors there is no brighter than that.
    """
    own = mean - np.median(mean[outside] / pooled[outside]) * pooled
    limb = (t < -blur_px) & (t > -CLEAR_SIGMAS * blur_px)
    return float(np.clip(own[limb].max() / mean[outside].mean(), 0, 1))


def rim_px(
    scene: Scene, bar: tuple[float, float], blur_px: float, seen: tuple[Array, Array], most: float
) -> tuple[float, float]:
    """Return how much farther out a bar's outline lies because its flank mirrors stripes, and u.

    A sight that just meets the flank is thrown on to the paper farther out. So the stripes come
    back with a phase that runs on the faster the farther in it is: in step at the limb, then
    against it, and so on. Blur mixes the first of these with the paper's own: where it reaches over
    one, the limb seems to lie farther in, over two, farther out, and over all of them farther out
    by ``r (period / (4 pi h))^2`` times what is mirrored (h the limb's height). That is between
    nothing (rust) and all of the limb's light (a polished or wet bar); how well each suits the
    stripes seen about the limb says the rest (the likelihood of a misfit of unknown size, whose
    independent points are a blur's width apart).

    Parameters
    ----------
    scene : Scene
        The side.
    bar : tuple of float
        Radius of the bar and size of a pixel, mm.
    blur_px : float
        Blur of the brightness, one sigma, px.
    seen : tuple of ndarray of shape (N,)
        Places, px outwards from the outline, and the stripes' amplitude there over that outside.
    most : float
        Brightness of the limb over that of the paper.

    Returns
    -------
    rim, u : float
        Expectation and standard uncertainty, px.
    """
    depth_px, phase = _mirrored_phase(scene, *bar, 8 * blur_px)
    reach = CLEAR_SIGMAS * blur_px
    near = np.abs(seen[0]) <= reach
    t = blur_px * np.linspace(-4, 4, 161)
    rims, misfits = [], []
    for own_px in blur_px * np.array(STEEPER):
        kernel = np.exp(-0.5 * ((t[:, None] + depth_px) / own_px) ** 2)
        kernel /= own_px * np.sqrt(2 * np.pi)
        back = np.trapezoid(kernel * np.cos(phase), depth_px, axis=1)
        for mirrored in np.linspace(0, most, 11):
            share = ndtr(t / own_px) + mirrored * back
            last = len(t) - 1 - int((share < HALF)[::-1].argmax())
            low, high = share[last], share[last + 1]
            rims.append(float(t[last] + (t[1] - t[0]) * (HALF - low) / (high - low)))
            expected = np.interp(seen[0][near] + rims[-1], t, share)
            misfits.append(float(((expected - seen[1][near]) ** 2).sum()))
    independent = 2 * reach / (blur_px * np.sqrt(2 * np.pi))
    odds = (np.array(misfits) / max(min(misfits), 1e-12)) ** (-independent / 2)
    rim = float(np.average(rims, weights=odds))
    return rim, float(np.sqrt(np.average((np.array(rims) - rim) ** 2, weights=odds)))


def _mirrored_phase(
    scene: Scene, r_mm: float, px_mm: float, reach_px: float
) -> tuple[Array, Array]:
    """Return depths inside a bar's limb, px, and the phase of what is mirrored there (N,), rad.

    The phase is that over what the paper behind would have. Each sight is mirrored in the round
    flank (reflection about its normal) and followed to the card, which is taken for flat.
    """
    eye = camera_centre_mm(scene.camera)
    axis = np.array([*scene.origin_mm, scene.height_mm])
    across = scene.sign * np.array([-scene.direction[1], scene.direction[0], 0.0])
    up = np.array([0.0, 0.0, 1.0])
    a, b = float((eye - axis) @ across), float((eye - axis) @ up)
    limb = np.arctan2(b, a) - np.arccos(r_mm / np.hypot(a, b))
    turn = limb + np.linspace(0, min(np.sqrt(2 * reach_px * px_mm / r_mm), np.pi / 5), 300)
    normal = np.cos(turn)[:, None] * across + np.sin(turn)[:, None] * up
    flank = axis + r_mm * normal
    sight = flank - eye
    back = sight - 2 * (sight * normal).sum(axis=1)[:, None] * normal
    mirrored = flank - back * (flank[:, 2] / back[:, 2])[:, None]
    behind = eye + sight * (eye[2] / (eye[2] - flank[:, 2]))[:, None]
    apart = (mirrored - behind)[:, :2] / [scene.card.scale_x, scene.card.scale_y]
    phase = stripe_phase(scene.card.layout, apart)
    level = eye + sight * ((eye[2] - axis[2]) / (eye[2] - flank[:, 2]))[:, None]
    out = level @ across
    return (out[0] - out) / px_mm, phase


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
    level, half_swing = float(np.median(mean[outside])), float(np.median(pooled[outside]))
    black = level - np.pi / 4 * half_swing  # of a square wave
    return max(black / PRINTED_BLACK, 1.0)


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
