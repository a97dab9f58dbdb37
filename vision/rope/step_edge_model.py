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
The fit starts at the edge as it was thought and, where that leaves something to explain, once more
behind a shadow that might stand for it; the better one counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.rope.rectify import code_of

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
ROUNDS = 6
FARTHEST = 3.0  # px from the start: farther away another edge would be found
LIKELY_SHADOW, U_SHADOW = 0.6, 0.2  # share of the band's light that a cast shadow usually takes
SHADOW_PX, U_SHADOW_PX, PENUMBRA = 2.0, 1.0, 0.1  # its width, px, and its rim's blur over that
MOST_SHADOW = 0.95
MUCH_BETTER = 20.0  # by which the sum of squares must fall before a shadow is believed
PLACE, SHADE, BAND, ROPE, SLOPE = 0, 1, slice(2, 5), slice(5, 8), slice(8, 11)
SHADOW, WIDTH = 11, 12
UNKNOWNS = 13
_NORMAL = 1 / np.sqrt(2 * np.pi)
HELD = (SHADE, 8, 9, 10, SHADOW, WIDTH)  # the unknowns that are held back, in order


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
    doubtful = plain_cost > MUCH_BETTER  # a sum of squares can't fall by more than it is
    if not shadows or not doubtful.any():
        return plain
    behind, cost = _fitted(
        profiles[doubtful],
        seen[doubtful],
        offsets,
        start[doubtful] + SHADOW_PX,
        blurs,
        LIKELY_SHADOW,
        most=most,
    )
    believed = cost < plain_cost[doubtful] - MUCH_BETTER
    plain[doubtful] = np.where(believed, behind, plain[doubtful])
    return plain


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
        slope = _slopes(now, offsets, blurs)
        normal = np.swapaxes(slope, 1, 2) @ slope
        pull = (rest[:, None] @ slope)[:, 0]
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
    """Return model minus photograph, and what is held back, in standard deviations."""
    fine, coarse = (
        code_of(_light(unknowns, offsets, blur)) @ TO_BRIGHTNESS_COLOUR.T for blur in blurs
    )
    fine[..., 1:] = coarse[..., 1:]
    off = ((fine - seen) / U_CODE).reshape(len(unknowns), -1)
    return np.concatenate([off, _held(unknowns)], axis=1)


def _held(unknowns: Array) -> Array:
    usual = U_SLOPE * np.maximum(unknowns[:, ROPE].max(axis=1), 0.01)
    held = [
        unknowns[:, SHADE, None] / U_SHADE,
        unknowns[:, SLOPE] / usual[:, None],
        unknowns[:, SHADOW, None] / U_SHADOW,
        (unknowns[:, WIDTH, None] - SHADOW_PX) / U_SHADOW_PX,
    ]
    return np.concatenate(held, axis=1)


def _parts(unknowns: Array, offsets: Array, blur_px: float) -> tuple[Array, Array, Array]:
    """Return what the band's, the rope's light and its slope are multiplied by, (N, T) each."""
    u = offsets[None, :] - unknowns[:, PLACE, None]
    inside = ndtr(u / blur_px)
    density = _NORMAL * blur_px * np.exp(-0.5 * (u / blur_px) ** 2)
    shade = unknowns[:, SHADE, None] * (u * (1 - inside) - density)
    width = unknowns[:, WIDTH, None]
    shadow = unknowns[:, SHADOW, None] * ndtr((u + width) / np.hypot(blur_px, PENUMBRA * width))
    return (1 - inside) * (1 - shadow) + shade, inside, u * inside + density


def _light(unknowns: Array, offsets: Array, blur_px: float) -> Array:
    return _mixed(unknowns, *_parts(unknowns, offsets, blur_px))


def _mixed(unknowns: Array, band: Array, rope: Array, slope: Array) -> Array:
    light = band[..., None] * unknowns[:, None, BAND] + rope[..., None] * unknowns[:, None, ROPE]
    return np.asarray(light + slope[..., None] * unknowns[:, None, SLOPE])


def _slopes(now: Array, offsets: Array, blurs: tuple[float, float]) -> Array:
    """Return the misfit's derivatives (N, values, unknowns).

    What is held back is linear but for the slopes' measure: there forward differences do.
    """
    count, samples = len(now), len(offsets)
    slope = np.zeros((count, samples, 3, UNKNOWNS))
    for blur, rows in zip(blurs, (slice(0, 1), slice(1, 3)), strict=True):
        parts = _parts(now, offsets, blur)
        light = _mixed(now, *parts)
        curve = _slope_of_code(light)[..., None] * _by_unknown(now, parts, offsets, blur)
        slope[:, :, rows] = TO_BRIGHTNESS_COLOUR[rows] @ curve / U_CODE
    held = np.zeros((count, len(HELD), UNKNOWNS))
    here = _held(now)
    for k in HELD:  # each holds back one unknown; what the slopes' measure does is small
        moved = now.copy()
        moved[:, k] += 1e-3
        held[:, :, k] = (_held(moved) - here) / 1e-3
    return np.concatenate([slope.reshape(count, -1, UNKNOWNS), held], axis=1)


def _by_unknown(
    now: Array, parts: tuple[Array, Array, Array], offsets: Array, blur_px: float
) -> Array:
    """Return the derivatives of the light, (N, T, 3, unknowns).

    With F' = f / sigma^2 and f' = -u F', both ramps have plain ones: u F + f has F, and
    u (1 - F) - f has 1 - F.
    """
    _, inside, ramp = parts
    u = offsets[None, :] - now[:, PLACE, None]
    width, share = now[:, WIDTH, None], now[:, SHADOW, None]
    density = _NORMAL / blur_px * np.exp(-0.5 * (u / blur_px) ** 2)
    rim = np.hypot(blur_px, PENUMBRA * width)
    z = (u + width) / rim
    shadow, rise = ndtr(z), _NORMAL / rim * np.exp(-0.5 * z**2)
    outside = 1 - inside
    along = -density * (1 - share * shadow) + outside * (now[:, SHADE, None] - share * rise)
    wider = rise * (1 - z * PENUMBRA**2 * width / rim)
    by = np.zeros((*u.shape, 3, UNKNOWNS))
    for part, colours in zip(parts, (BAND, ROPE, SLOPE), strict=True):
        for colour in range(3):
            by[:, :, colour, colours.start + colour] = part
    by[..., PLACE] = -_mixed(now, along, density, inside)
    band = now[:, None, BAND]
    by[..., SHADE] = (u - ramp)[..., None] * band
    by[..., SHADOW] = -(outside * shadow)[..., None] * band
    by[..., WIDTH] = -(outside * share * wider)[..., None] * band
    return by


def _slope_of_code(light: Array) -> Array:
    """Return the derivative of the sRGB curve (IEC 61966-2-1)."""
    v = np.maximum(light, 1e-5)
    return np.where(v <= 0.0031308, 12.92, 1.055 / 2.4 * v ** (1 / 2.4 - 1))
