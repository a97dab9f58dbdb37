"""Put the edge, to a part of a pixel, where the average profile leaves the band.

Profiles are laid on each other along the path that parts the regions, and averaged over a
short piece of it. Where bright wires may mirror a coloured band in their flanks, the edge is
where the average has gone a tenth of the way to the rope: the outermost change, since a
half-way point would lie inside them. The average is followed outwards from the rope, so that a
dark shadow's noisy colour on the band is not taken for that change. How far blur, tone curve and
the halved colour of JPEG push that point is worked out by sending an ideal step between these
very two colours through the same chain, and taken off again. Dull wires mirror nothing: there
the outline's shape is where the average is half-way, which noise moves least, and its place is
that of steps fitted to it
(`vision.rope.step_edge_model`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from vision.rope.axis import is_coloured, unlikeness
from vision.rope.rectify import Light, code_of, light_of
from vision.rope.savitzky_golay import local_parabolas
from vision.rope.step_edge_model import fit_steps
from vision.target.blur import Blur

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

STACK = 0.04  # of the diameter: piece of outline whose profiles are averaged (one sigma)
OUTSIDE, INSIDE = 8, 6  # rows about the path that are averaged
BESIDE = 5  # rows of them that are surely band, plain or in the rope's shadow
LEAVES_MIRRORED, LEAVES_DULL = 0.10, 0.50  # of the way from band to rope: where the edge is taken
LOOSE = 1.5  # rows by which a column's place may differ from its neighbours'
STEP_STACK, STEP_INSIDE = 0.03, 4  # the same for a fitted step: of the diameter, and rows
STEP_RUN, STEP_EVERY = 0.5, 0.1  # of the diameter: over which fits are compared, and how often
STEP_BLUR = 0.70  # of the blur by which a level is corrected: a fit sees the step, not its toe
FAR = 4.0  # rows: a whole side so far off its path is no edge
FAINT = 0.12  # unlikeness of typical rope below which nothing can be told


def place_edge(
    light: Light,
    path: NDArray[np.int64],
    sigma: float,
    blur: Blur,
    typical: float,
    *,
    mirrors: bool,
) -> tuple[Array, Mask, float]:
    """Return the edge's place in rows, to a part of a row, and whether it is sure, per column.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3)
        Strip in linear light; rows run from the band to the rope.
    path : ndarray of shape (columns,)
        Row of the boundary between the regions.
    sigma : float
        Length over which profiles are averaged along the path, columns (one sigma).
    blur : Blur
        Blur of the photograph, in rows.
    typical : float
        How unlike the band typical rope is, 0 to 1.

    Returns
    -------
    place : ndarray of shape (columns,)
        Row of the edge.
    sure : ndarray of shape (columns,), bool
        Whether it was found there.
    clearness : float
        How far typical rope is reached two to three rows behind the edge: about 1 for a clear
        edge, less where shading or a mirrored band make it soft.
    """
    base = _smooth_path(path.astype(float), 2.5 * sigma)
    offsets = np.arange(-OUTSIDE, INSIDE + 1).astype(float)
    sure: Mask = np.ones(len(path), np.bool_)
    for _ in range(2):  # the second time the profiles lie on each other
        stacked = _laid_on(light, base, offsets, sigma)
        plain = np.median(stacked[:, :4].reshape(-1, 3), axis=0)
        unlike = unlikeness(stacked, plain)
        usual = float(np.median(unlike[:, :BESIDE], axis=0).max())
        typical_in = float(np.median(unlike[:, OUTSIDE + 2 : OUTSIDE + 4]))
        leaves = LEAVES_MIRRORED if mirrors else LEAVES_DULL
        level = usual + leaves * max(typical_in - usual, 0.0)
        surely = usual + LEAVES_DULL * max(typical_in - usual, 0.0)
        moved, found = _rise_to_rope(unlike, offsets, level, surely)
        usual_move = float(np.median(moved[found])) if found.any() else 0.0
        sure = np.asarray(found & (np.abs(moved - usual_move) < LOOSE))
        place = base + np.where(sure, moved, usual_move)
        base = _smooth_path(place, 1.5 * sigma)
    inner = np.median(stacked[:, OUTSIDE + 2 : OUTSIDE + 4].reshape(-1, 3), axis=0)
    clearness = (typical_in - usual) / max(typical - usual, 1e-6)
    if abs(usual_move) >= FAR or typical < FAINT:
        sure = np.zeros(len(path), np.bool_)
    if mirrors:
        placed = place - _push(plain, inner, usual, blur, leaves)
    else:
        placed = _stepped(light, place, sigma, blur, shadows=is_coloured(plain))
    return np.asarray(placed, float), np.asarray(sure, np.bool_), clearness


def _stepped(light: Light, place: Array, sigma: float, blur: Blur, *, shadows: bool) -> Array:
    """Return the places of plain steps: the crossing's, moved by what fitted steps differ from it.

    Steps are fitted at some ten columns a diameter. How far they lie from the crossing changes
    slowly along the rope, so its running median is taken: a fit gone astray at a gap between
    wires moves no jaw.
    """
    base = _smooth_path(place, 2 * sigma)
    offsets = np.arange(-OUTSIDE, STEP_INSIDE + 1).astype(float)
    piece = STEP_STACK / STACK * sigma
    columns = np.arange(0, len(base), max(1, int(STEP_EVERY / STACK * sigma)))
    profiles = _laid_on(light, base, offsets, piece)[columns].astype(float)
    start = np.clip(place - base, -2, 2)[columns]
    light_px = STEP_BLUR * blur.light_px
    fitted = fit_steps(
        profiles,
        offsets,
        start,
        light_px=light_px,
        colour_px=blur.colour_px,
        shadows=shadows,
    )
    size = int(STEP_RUN / STEP_EVERY) | 1
    differ = median_filter((base - place)[columns] + fitted, size, mode="nearest")
    return np.asarray(place + np.interp(np.arange(len(base)), columns, differ))


def _smooth_path(path: Array, length: float) -> Array:
    size = min(max(5, int(length)) | 1, (len(path) - 1) | 1)
    return local_parabolas(median_filter(path, size, mode="nearest"), size)


def _laid_on(light: Light, base: Array, offsets: Array, sigma: float) -> Light:
    """Return profiles (columns, offsets, 3) along a path, averaged with their neighbours."""
    rows = base[:, None] + offsets
    whole = np.floor(rows).astype(int)
    part = (rows - whole)[..., None].astype(np.float32)
    whole = np.clip(whole, 0, light.shape[0] - 2)
    columns = np.arange(len(base))[:, None]
    profiles = light[whole, columns] * (1 - part) + light[whole + 1, columns] * part
    return np.asarray(gaussian_filter1d(profiles, sigma, axis=0, mode="nearest"), np.float32)


def _rise_to_rope(unlike: Light, offsets: Array, level: float, surely: float) -> tuple[Array, Mask]:
    """Return where each profile rises through a level on its way to the rope, and whether.

    From the first sample that is surely rope it is followed outwards to where it falls below the
    level: what rises and falls again farther out (a dark shadow's noisy colour) is band.
    """
    rope = unlike[:, 3:] >= surely
    first = rope.argmax(axis=1) + 3
    at = np.arange(unlike.shape[1])
    below = (unlike < level) & (at >= 2) & (at < first[:, None])
    last = unlike.shape[1] - 1 - below[:, ::-1].argmax(axis=1)
    found = rope.any(axis=1) & below.any(axis=1)
    last[~found] = 2
    here = np.arange(len(unlike))
    low, high = unlike[here, last], unlike[here, last + 1]
    part = (level - low) / np.maximum(high - low, 1e-9)
    return offsets[last] + part, np.asarray(found, np.bool_)


def _push(plain: Light, inner: Light, usual: float, blur: Blur, leaves: float) -> float:
    """Return how far an ideal step's place is pushed by blur, tone curve and JPEG, rows.

    The step between the two colours is blurred in linear light, put through the sRGB curve,
    its colour (not its brightness) blurred once more as halved colour resolution does
    (ITU-T T.871), and read with the same level.
    """
    t = np.arange(-12.0, 12.01, 0.1)
    light = np.where((t > 0)[:, None], inner, plain)
    code = code_of(
        np.clip(gaussian_filter1d(light, blur.light_px / 0.1, axis=0, mode="nearest"), 0, 1)
    )
    grey = code @ [0.299, 0.587, 0.114]
    colour = gaussian_filter1d(
        code - grey[:, None], max(blur.colour_px, 0.05) / 0.1, axis=0, mode="nearest"
    )
    seen = unlikeness(light_of(grey[:, None] + colour), plain)
    top = float(seen[(t > 2) & (t < 3)].mean())
    level = usual + leaves * max(top - usual, 0.0)
    near = np.abs(t) < 6
    return float(t[near][int(np.argmax(seen[near] >= level))])
