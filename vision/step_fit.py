"""Fit a step between two colours to profiles across the edge, as the camera would show it.

Where wires are dull, band and rope meet in a plain step: one light outside, another inside,
each with a slope of its own. A profile's light is

    L(u) = b [(1 - F)(1 - k G) + s (u (1 - F) - f)] + c F + r (u F + f),   u = t - e,

with F and f the normal distribution's function and density (times sigma) at u / sigma: the
step and the ramps on either side of it, blurred by a Gaussian point spread. G is the same
function w before the edge: a shadow that the rope casts on the band, as a flash's beside a
dark rope, takes the share k of its light. It is put through
the sRGB curve (IEC 61966-2-1) and parted into brightness and colour (ITU-T T.871), because that
is what the photograph holds: its colour, which JPEG and HEIC store at half the resolution, is
given a wider blur. The place e and the two lights are found by damped least squares
(Levenberg 1944, Marquardt 1963) on all three channels at once, so that neither the tone curve
nor the halved colour moves the edge. Slopes and shadow are held back by what is usual for them.
The fit starts twice, at the edge as it was thought and behind a shadow that might stand for it,
and the better one counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.strip import code_of

Array = NDArray[np.float64]

# ITU-T T.871: brightness, and the two differences of colour
TO_BRIGHTNESS_COLOUR = np.array(
    [
        [0.299, 0.587, 0.114],
        [-0.168736, -0.331264, 0.5],
        [0.5, -0.418688, -0.081312],
    ]
)
# What a photograph's values scatter by after averaging, 0 to 1, and how far the slopes usually
# are from none: set on renders (see DEVELOPERS.md).
U_CODE = 0.012
U_SHADE = 0.03  # of the band's light, per px
U_SLOPE = 0.25  # of the rope's light, per px
DARKEST = 5e-4  # linear light: none is darker, or the curve's slope would run away
MOST_SHADE = 0.1
ROUNDS = 8
FARTHEST = 3.0  # px from the start: farther away another edge would be found
LIKELY_SHADOW, U_SHADOW = 0.6, 0.2  # share of the band's light that a cast shadow usually takes
SHADOW_PX, U_SHADOW_PX, PENUMBRA = 2.0, 1.0, 0.1  # its width, px, and its rim's blur over that
MOST_SHADOW = 0.95
MUCH_BETTER = 20.0  # by which the sum of squares must fall before a shadow is believed
PLACE, SHADE, BAND, ROPE, SLOPE = 0, 1, slice(2, 5), slice(5, 8), slice(8, 11)
SHADOW, WIDTH = 11, 12
UNKNOWNS = 13


def fit_steps(
    profiles: Array,
    offsets: Array,
    start: Array,
    *,
    light_px: float,
    colour_px: float,
    shadows: bool,
) -> Array:
    """Return where each profile steps from band to rope, px on the scale of `offsets`.

    Parameters
    ----------
    profiles : ndarray of shape (N, T, 3)
        Linear light, 0 to 1, from the band inwards.
    offsets : ndarray of shape (T,)
        Place of each sample, px; the first ones surely lie on the band.
    start : ndarray of shape (N,)
        Where the step is thought to be, px.
    light_px : float
        Blur of the brightness (standard deviation), px.
    colour_px : float
        What is added to it for the colour, in quadrature, px.
    shadows : bool
        Whether a shadow beside the edge can be told from rope: on a coloured band it can.

    References
    ----------
    .. [1] K. Levenberg, Quart. Appl. Math. 2 (1944) 164; D. Marquardt, SIAM J. 11 (1963) 431.
    """
    seen = code_of(profiles) @ TO_BRIGHTNESS_COLOUR.T
    blurs = (light_px, float(np.hypot(light_px, colour_px)))
    most = MOST_SHADOW if shadows else 0.0
    plain, plain_cost = _fitted(profiles, seen, offsets, start, blurs, 0.0, most=most)
    if not shadows:
        return plain
    start = start + SHADOW_PX
    behind, cost = _fitted(profiles, seen, offsets, start, blurs, LIKELY_SHADOW, most=most)
    return np.where(cost < plain_cost - MUCH_BETTER, behind, plain)


def _fitted(
    profiles: Array,
    seen: Array,
    offsets: Array,
    start: Array,
    blurs: tuple[float, float],
    shadow: float,
    *,
    most: float,
) -> tuple[Array, Array]:
    """Return the places that one start leads to, and the sums of squares there.

    The shadow starts with the share `shadow`, and takes the share `most` at most.
    """
    now = _first_guess(profiles, offsets, start)
    now[:, SHADOW] = shadow
    rest = _misfit(now, seen, offsets, blurs)
    cost = (rest**2).sum(axis=1)
    damping = np.full(len(now), 1e-3)
    for _ in range(ROUNDS):
        slope = _slopes(now, rest, seen, offsets, blurs)
        normal = np.einsum("nik,nil->nkl", slope, slope)
        pull = np.einsum("nik,ni->nk", slope, rest)
        every = np.arange(UNKNOWNS)
        normal[:, every, every] *= 1 + damping[:, None]
        normal[:, every, every] += 1e-9
        step = -np.linalg.solve(normal, pull[..., None])[..., 0]
        tried = _within(now + step, now, start, most)
        tried_rest = _misfit(tried, seen, offsets, blurs)
        tried_cost = (tried_rest**2).sum(axis=1)
        better = tried_cost < cost
        now[better], rest[better], cost[better] = (
            tried[better],
            tried_rest[better],
            tried_cost[better],
        )
        damping *= np.where(better, 0.3, 8.0)
    return now[:, PLACE], cost


def _first_guess(profiles: Array, offsets: Array, start: Array) -> Array:
    guess = np.zeros((len(profiles), UNKNOWNS))
    guess[:, PLACE] = start
    guess[:, BAND] = np.median(profiles[:, offsets <= offsets[0] + 4], axis=1)
    behind = np.abs(offsets - (start[:, None] + 1.5)).argmin(axis=1)
    guess[:, WIDTH] = SHADOW_PX
    guess[:, ROPE] = profiles[np.arange(len(profiles)), behind]
    return guess


def _within(tried: Array, now: Array, start: Array, most: float) -> Array:
    """Keep a step within what an edge can be: small moves, no light below none."""
    place = np.clip(tried[:, PLACE], now[:, PLACE] - 1, now[:, PLACE] + 1)
    tried[:, PLACE] = np.clip(place, start - FARTHEST, start + FARTHEST)
    tried[:, SHADE] = np.clip(tried[:, SHADE], -MOST_SHADE, MOST_SHADE)
    tried[:, 2:8] = np.maximum(tried[:, 2:8], DARKEST)
    tried[:, SHADOW] = np.clip(tried[:, SHADOW], 0.0, most)
    tried[:, WIDTH] = np.clip(tried[:, WIDTH], 0.3, 5.0)
    return tried


def _misfit(unknowns: Array, seen: Array, offsets: Array, blurs: tuple[float, float]) -> Array:
    """Return model minus photograph, and slopes over what is usual, in standard deviations."""
    fine, coarse = (
        code_of(_light(unknowns, offsets, blur)) @ TO_BRIGHTNESS_COLOUR.T for blur in blurs
    )
    fine[..., 1:] = coarse[..., 1:]
    off = ((fine - seen) / U_CODE).reshape(len(unknowns), -1)
    usual = U_SLOPE * np.maximum(unknowns[:, ROPE].max(axis=1), 0.01)
    held = [
        unknowns[:, SHADE, None] / U_SHADE,
        unknowns[:, SLOPE] / usual[:, None],
        unknowns[:, SHADOW, None] / U_SHADOW,
        (unknowns[:, WIDTH, None] - SHADOW_PX) / U_SHADOW_PX,
    ]
    return np.concatenate([off, *held], axis=1)


def _light(unknowns: Array, offsets: Array, blur_px: float) -> Array:
    u = offsets[None, :] - unknowns[:, PLACE, None]
    inside = ndtr(u / blur_px)
    density = blur_px / np.sqrt(2 * np.pi) * np.exp(-0.5 * (u / blur_px) ** 2)
    shade = unknowns[:, SHADE, None] * (u * (1 - inside) - density)
    width = unknowns[:, WIDTH, None]
    shadow = unknowns[:, SHADOW, None] * ndtr((u + width) / np.hypot(blur_px, PENUMBRA * width))
    outer = ((1 - inside) * (1 - shadow) + shade)[..., None] * unknowns[:, None, BAND]
    inner = inside[..., None] * unknowns[:, None, ROPE]
    return np.asarray(outer + inner + (u * inside + density)[..., None] * unknowns[:, None, SLOPE])


def _slopes(
    now: Array, rest: Array, seen: Array, offsets: Array, blurs: tuple[float, float]
) -> Array:
    """Return the misfit's derivatives (N, values, unknowns), by forward differences."""
    slope = np.empty((*rest.shape, UNKNOWNS))
    for k in range(UNKNOWNS):
        small = 1e-3 * np.maximum(np.abs(now[:, k]), 0.003)
        if k in (PLACE, SHADE, SHADOW, WIDTH):
            small = np.full(len(now), 1e-4 if k == SHADE else 1e-3)
        moved = now.copy()
        moved[:, k] += small
        slope[..., k] = (_misfit(moved, seen, offsets, blurs) - rest) / small[:, None]
    return slope
