"""Trace the rope's outline on both sides, to a part of a pixel.

The method, in a paragraph. Along each side a strip is cut in which every column is a profile
from the plain band inwards to the rope. Band and rope are told apart by Fisher's linear
discriminant (Fisher 1936) worked out from this very strip in linear light: it turns the three
colours into the one mixture that shadows on the band move least and rope moves most, and since
light mixes linearly in a blurred edge, half-way in it stays half-way in space. How often each
level of it occurs in band and in rope gives every pixel a log-likelihood ratio; a boundary is
worth the sum of them outside it minus the sum inside it (the change point of Hinkley 1970), and
the outline is the best path of such boundaries from column to column (dynamic programming, as
Amini, Weymouth and Jain 1990). A loose wire or a grain of grease is thin, so the regions on
either side outvote it. Last, in each column the edge is placed where the area under the local
two-level profile says (the moment idea of Tabatabai and Mitchell 1984).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis, is_coloured, lifted
from vision.card import Card
from vision.pose import camera_centre_mm
from vision.strip import Image, Strip, across_vector, cut_strip, scale_at

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Side = Literal["left", "right"]

HALF_LENGTH = 3.0  # of the strip, in rope diameters, on each side of the station
MOST_COLUMNS = 900
INNER, OUTER = 0.60, 1.55  # of the rope's half width: reach of the strip across
ROPE_WITHIN, BAND_BEYOND = 0.80, 1.15  # surely rope, surely band
SHADOW_SHARE = 0.5  # a shadow may take this share of a coloured band's light, one sigma
NOISE_LIGHT = 0.004  # linear light: a grey level or two in the darks
LEVELS = 64
BEND_PENALTY = 1.2  # log-likelihood per row of jump between neighbouring columns
REACH = 4  # rows on each side of the path that the sub-pixel fit looks at


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """One side of the rope in its strip's plane.

    Parameters
    ----------
    side : {"left", "right"}
        "left" lies on the positive side across (up on the card).
    along_mm : ndarray of shape (N,)
        Places along the rope, mm from the station.
    outward_mm : ndarray of shape (N,)
        Distance of the edge from the strip's middle, mm, growing outwards; NaN where unsure.
    step_mm : float
        Size of a sample across, mm.
    contrast : float
        Mean step of light over its noise; a plain number.
    burnt : float
        Share of the edge's inner side that is overexposed, 0 to 1.
    """

    side: Side
    along_mm: Array
    outward_mm: Array
    step_mm: float
    contrast: float
    burnt: float


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Both sides of the rope, in the plane that they were looked for in.

    Parameters
    ----------
    left, right : Edge
        The two sides.
    origin_mm, direction : ndarray of shape (2,)
        Station and unit vector along the rope, in the plane.
    height_mm : float
        Height of the plane over the card, mm.
    rough_mm : float
        Rope's width as first seen, brought to that height, mm.
    px_per_mm : float
        Scale of the photograph at the station.
    """

    left: Edge
    right: Edge
    origin_mm: Array
    direction: Array
    height_mm: float
    rough_mm: float
    px_per_mm: float


def trace_edges(
    pixels: Image, theta: Array, card: Card, axis: Axis, *, at_mm: float, height_mm: float | None
) -> Outline:
    """Return the rope's outline about a station.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    theta : ndarray of shape (12,)
        Camera and card, see `vision.pose`.
    card : Card
        The card, for the extent of its band.
    axis : Axis
        The rope, roughly.
    at_mm : float
        Station: place along the card, mm from its middle.
    height_mm : float or None
        Height of the rope's axis over the card; None for a rope that lies on it.
    """
    height = height_mm
    if height is None:
        height = axis.width_mm / 2
        for _ in range(3):
            height = lifted(axis, theta, height)[1] / 2
    point, width = lifted(axis, theta, height)
    origin = point + axis.direction * (at_mm - point[0]) / axis.direction[0]
    middle = np.array([*origin, height])
    scale = scale_at(theta, middle)
    first = (axis.span_mm[0] - at_mm) / axis.direction[0]
    last = (axis.span_mm[1] - at_mm) / axis.direction[0]
    begin, end = max(first, -HALF_LENGTH * width), min(last, HALF_LENGTH * width)
    step = max(1 / scale, (end - begin) / MOST_COLUMNS)
    along = np.arange(begin, end, step)
    left, right = (
        _trace_side(
            pixels, theta, card, side, along, width / 2, 1 / scale, origin, axis.direction, height
        )
        for side in ("left", "right")
    )
    return Outline(left, right, origin, axis.direction, height, width, scale)


def _trace_side(
    pixels: Image,
    theta: Array,
    card: Card,
    side: Side,
    along: Array,
    half: float,
    step: float,
    origin: Array,
    direction: Array,
    height: float,
) -> Edge:
    outward = np.arange(OUTER * half, INNER * half, -step)
    sign = 1.0 if side == "left" else -1.0
    strip = cut_strip(pixels, theta, along, sign * outward, origin, direction, height)
    usable = strip.inside & _on_band(strip, theta, card)
    usable |= (outward < BAND_BEYOND * half)[:, None] & strip.inside
    band = usable & (outward > BAND_BEYOND * half)[:, None]
    rope = usable & (outward < ROPE_WITHIN * half)[:, None]
    nowhere = Edge(side, along, np.full(len(along), np.nan), step, 0.0, 0.0)
    if band.sum() < 200 or rope.sum() < 200:
        return nowhere
    level, noise = discriminant(strip.light, band, rope)
    evidence = _evidence(level, band, rope)
    evidence[~usable] = 0.0
    path = best_path(evidence)
    position, sure = _refine(level, path, noise)
    sure &= usable[path, np.arange(len(along))] & (path > REACH) & (path < len(outward) - REACH)
    edge = np.where(sure, outward[0] - position * step, np.nan)
    columns = np.arange(len(along))
    inner = strip.light[np.minimum(path + REACH, len(outward) - 1), columns]
    burnt = float((inner.min(axis=-1) > 0.98).mean())
    return Edge(side, along, edge, step, 1 / max(noise, 1e-6), burnt)


def _on_band(strip: Strip, theta: Array, card: Card) -> Mask:
    """Tell which samples of the strip have the card's clear band behind them."""
    camera = camera_centre_mm(theta)
    share = camera[2] / (camera[2] - strip.height_mm)
    along, across = np.meshgrid(strip.along_mm, strip.across_mm)
    sideways = across_vector(strip.direction)
    x, y = (
        camera[i]
        + share
        * (strip.origin_mm[i] + along * strip.direction[i] + across * sideways[i] - camera[i])
        for i in (0, 1)
    )
    x0, y0, x1, y1 = card.layout.band_box_mm
    margin = 0.7  # mm: blur and a print that is a little off must not let the strips in
    inside: Mask = (
        (x > x0 * card.scale_x + margin)
        & (x < x1 * card.scale_x - margin)
        & (y > y0 * card.scale_y + margin)
        & (y < y1 * card.scale_y - margin)
    )
    return inside


def band_limits_mm(outline: Outline, theta: Array, card: Card) -> tuple[float, float]:
    """Return how far the clear band reaches behind the station, across, in the outline's plane.

    Negative towards the right side, positive towards the left, mm from the station.
    """
    camera = camera_centre_mm(theta)
    share = (camera[2] - outline.height_mm) / camera[2]
    _, y0, _, y1 = card.layout.band_box_mm
    cosine = outline.direction[0]
    low, high = (
        (camera[1] + share * (y * card.scale_y - camera[1]) - outline.origin_mm[1]) * cosine
        for y in (y0, y1)
    )
    return float(low), float(high)


def discriminant(
    light: NDArray[np.float32], band: Mask, rope: Mask
) -> tuple[NDArray[np.float32], float]:
    """Return Fisher's discriminant of every pixel, 0 on the band and 1 on typical rope.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3)
        Linear light.
    band, rope : ndarray of shape (rows, columns), bool
        Samples that surely are band and rope.

    Returns
    -------
    level : ndarray of shape (rows, columns)
        The discriminant.
    noise : float
        Its standard deviation on the plain band.
    """
    on_band, on_rope = light[band].astype(float), light[rope].astype(float)
    plain, typical = np.median(on_band, axis=0), on_rope.mean(axis=0)
    spread = np.cov(on_band.T) + NOISE_LIGHT**2 * np.eye(3)
    if is_coloured(plain.astype(np.float32)):
        shadow = SHADOW_SHARE * plain
        spread = spread + np.outer(shadow, shadow)
    weights = np.linalg.solve(spread, typical - plain)
    weights /= float(weights @ (typical - plain))
    level = ((light - plain.astype(np.float32)) @ weights.astype(np.float32)).astype(np.float32)
    seen = level[band]
    noise = 1.4826 * float(np.median(np.abs(seen - np.median(seen))))
    return level, noise


def _evidence(level: NDArray[np.float32], band: Mask, rope: Mask) -> NDArray[np.float32]:
    """Return ln(p(level | band) / p(level | rope)) of every pixel, bounded to +-3."""
    low, high = -0.6, 2.2
    index = np.clip((level - low) / (high - low) * LEVELS, 0, LEVELS - 1).astype(np.int32)
    tables = []
    for where in (band, rope):
        counts = np.bincount(index[where], minlength=LEVELS).astype(float)
        smooth = np.convolve(counts, [0.25, 0.5, 0.25], mode="same")
        tables.append((smooth + 0.002 * smooth.sum()) / (1.002 * smooth.sum()))
    table = np.clip(np.log(tables[0] / tables[1]), -3, 3).astype(np.float32)
    return np.asarray(table[index])


def best_path(evidence: NDArray[np.float32]) -> NDArray[np.int64]:
    """Return the boundary row of each column that parts band from rope best, as one path.

    Parameters
    ----------
    evidence : ndarray of shape (rows, columns)
        Log-likelihood ratio of band to rope; rows run from the band to the rope.
    """
    sums = np.cumsum(evidence, axis=0)
    worth = 2 * sums - sums[-1]  # outside counts for the band, inside for the rope
    rows, columns = worth.shape
    total = worth[:, 0].copy()
    came_from = np.zeros((rows, columns), np.int8)
    jumps = range(-3, 4)
    padded = np.full(rows + 6, -np.inf, np.float32)
    for column in range(1, columns):
        padded[3:-3] = total
        options = np.stack([padded[3 + j : rows + 3 + j] - BEND_PENALTY * abs(j) for j in jumps])
        best = options.argmax(axis=0)
        came_from[:, column] = best - 3
        total = options[best, np.arange(rows)] + worth[:, column]
    path = np.zeros(columns, int)
    path[-1] = int(total.argmax())
    for column in range(columns - 1, 0, -1):
        path[column - 1] = path[column] + came_from[path[column], column]
    return path


def _refine(
    level: NDArray[np.float32], path: NDArray[np.int64], noise: float
) -> tuple[Array, Mask]:
    """Return the edge's place in rows (sub-pixel) and whether it is sure, per column."""
    rows, columns = level.shape
    offsets = np.arange(-2 * REACH, REACH + 3)
    index = np.clip(path[:, None] + offsets, 0, rows - 1)
    window = level[index, np.arange(columns)[:, None]].astype(float)
    outside = np.median(window[:, :REACH], axis=1)
    inside = window[:, -REACH:].mean(axis=1)
    step = inside - outside
    share = np.clip(
        (window[:, REACH // 2 : -2] - outside[:, None])
        / np.where(np.abs(step) < 1e-3, 1e-3, step)[:, None],
        -0.3,
        1.3,
    )
    first = path + offsets[REACH // 2]
    position = first - 0.5 + (1 - share).sum(axis=1)
    sure = (step > 3 * noise) & (np.abs(position - path) < REACH)
    return position, sure
