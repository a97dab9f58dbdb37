"""Trace the rope's outline on both sides, to a part of a pixel.

The method, in a paragraph. Along each side a strip is cut in which every column is a profile
from the plain band inwards to the rope. How unlike the band a pixel is (the direction of its
colour, which a shadow leaves as it is; on a black or white band its brightness) gives it a vote
for band or for rope; a boundary is worth the votes outside it minus those inside (the change
point of Hinkley 1970), and the outline is the best path of such boundaries from column to column
(dynamic programming, as Amini, Weymouth and Jain 1990). A loose wire or a grain of grease is
thin, so the regions on either side outvote it. Then the profiles are laid on each other along
that path and averaged over a short piece of it, and the edge is put to a part of a pixel
(`vision.rope.edge_position`): by a fitted step where the wires are dull, at the outermost change
where they are bright and mirror the band in their flanks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import binary_erosion

from vision.camera import Camera, camera_centre_mm
from vision.findings import RefusedError, finding
from vision.rope.axis import DARK, Axis, is_coloured, lifted, unlikeness
from vision.rope.edge_position import INSIDE, OUTSIDE, STACK, place_edge
from vision.rope.rectify import Image, Light, Strip, across_vector, cut_strip, scale_at
from vision.target.blur import Blur
from vision.target.layout import Card

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Side = Literal["left", "right"]
SIDES: tuple[tuple[Side, float], ...] = (("left", 1.0), ("right", -1.0))
Surface = Literal["rusty", "dull", "bright", "polished", "grey band"]

HALF_LENGTH = 3.0  # of the strip, in rope diameters, on each side of the station
MOST_COLUMNS = 700
ENDS = 0.08  # of the diameter: left out where the rope ends in view
INNER, OUTER = 0.66, 1.45  # of the rope's half width: reach of the strip across
ROPE_WITHIN, BAND_BEYOND = 0.80, 1.15  # surely rope, surely band
VOTE_SHARE = 0.2  # of typical rope's unlikeness: below it a pixel votes for the band
GLOSSY = 5.0  # lightest tenth over median: above, the wires are near to mirrors
METAL = 0.22  # of the band's own strongest colour: rope that sends back more may mirror it
RUST = 2.5  # strongest over weakest colour of the rope: above, it is rust or paint, no metal
MORE_BLUR = 0.65  # rows: what cutting the strip and laying profiles on each other add
BEND_PENALTY = 1.2  # votes per row of jump between neighbouring columns


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
    clearness : float
        How far typical rope is reached right behind the edge, see `vision.rope.edge_position`.
    mirrors : bool
        True where the rope is bright enough to mirror a coloured band in its flanks.
    bare : bool
        True where the rope has the colour of metal or grease, not of rust or paint.
    on_white : float
        How light the rope is against a white band, a ratio; 0 on any other band.
    gloss : float
        How much lighter the lightest tenth of the rope is than its median, a ratio.
    burnt : float
        Share of the edge's inner side that is overexposed, 0 to 1.
    """

    side: Side
    along_mm: Array
    outward_mm: Array
    step_mm: float
    clearness: float
    mirrors: bool
    bare: bool
    on_white: float
    gloss: float
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
    height_mm, rough_mm : float
        Height of the plane over the card; width of the rope as first seen, brought there, mm.
    px_per_mm : float
        Scale of the photograph at the station, across the rope.
    surface : {"rusty", "dull", "bright", "polished", "grey band"}
        What the rope does to its outline: rust (or paint) mirrors nothing of the band, dark grease
        ("dull") a little, metal much. "grey band" where the band has no colour.
    """

    left: Edge
    right: Edge
    origin_mm: Array
    direction: Array
    height_mm: float
    rough_mm: float
    px_per_mm: float
    surface: Surface


def trace_edges(
    pixels: Image,
    camera: Camera,
    card: Card,
    axis: Axis,
    *,
    at_mm: float,
    height_mm: float | None,
    blur: Blur,
) -> Outline:
    """Return the rope's outline about a station.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    camera, card, axis
        Camera and card (`vision.camera`), the card for its band, the rope roughly.
    at_mm : float
        Station: place along the card, mm from its middle.
    height_mm : float or None
        Height of the rope's axis over the card; None for a rope that lies on it.
    blur : Blur
        Blur of the photograph.
    """
    height = height_mm
    if height is None:
        height = axis.width_mm / 2
        for _ in range(3):
            height = lifted(axis, camera, height)[1] / 2
    point, width = lifted(axis, camera, height)
    origin = point + axis.direction * (at_mm - point[0]) / axis.direction[0]
    scale = scale_at(camera, np.array([*origin, height]), axis.direction)
    eye = camera_centre_mm(camera)  # the span was seen on the card: it is lifted as the axis is
    lifted_mm = eye[0] + (np.array(axis.span_mm) - eye[0]) * (1 - height / eye[2])
    first, last = (lifted_mm - at_mm) / axis.direction[0] + np.array([ENDS, -ENDS]) * width
    begin = max(float(first), -HALF_LENGTH * width)
    end = min(float(last), HALF_LENGTH * width)
    if end - begin < width:
        raise RefusedError(finding("off-the-card", at_mm))
    along = np.arange(begin, end, max(1 / scale, (end - begin) / MOST_COLUMNS))
    outward = np.arange(OUTER * width / 2, INNER * width / 2, -1 / scale)
    wider = Blur(float(np.hypot(blur.light_px, MORE_BLUR)), blur.colour_px)
    left, right = (
        _trace_side(
            cut_strip(pixels, camera, along, sign * outward, origin, axis.direction, height),
            camera,
            card,
            side,
            outward,
            wider,
        )
        for side, sign in SIDES
    )
    surface = _surface(axis, left, right)
    return Outline(left, right, origin, axis.direction, height, width, scale, surface)


def _trace_side(
    strip: Strip, camera: Camera, card: Card, side: Side, outward: Array, blur: Blur
) -> Edge:
    along, step, half = strip.along_mm, float(outward[0] - outward[1]), outward[0] / OUTER
    near = (outward < BAND_BEYOND * half)[:, None]
    usable = strip.inside & (near | _on_band(strip, camera, card))
    band = usable & ~near
    rope = usable & (outward < ROPE_WITHIN * half)[:, None]
    nowhere = Edge(side, along, np.full(len(along), np.nan), step, 0.0, False, False, 0, 1, 0)
    if band.sum() < 200 or rope.sum() < 200:
        return nowhere
    plain = np.median(strip.light[band], axis=0)
    unlike = unlikeness(strip.light, plain)
    typical = float(np.median(unlike[rope]))
    votes = _votes(unlike, band, typical)
    votes[~usable] = 0.0
    pairs = votes[:, : len(along) // 2 * 2].reshape(len(outward), -1, 2).sum(axis=2)
    path = np.repeat(best_path(pairs), 2)
    path = np.append(path, path[-1])[: len(along)]
    sigma = STACK * 2 * half / (along[1] - along[0])
    usual = np.median(strip.light[rope], axis=0)
    bare = bool(usual.max() < RUST * usual.min())
    mirrors = bare and _may_mirror(plain, usual)
    position, sure, clearness = place_edge(strip.light, path, sigma, blur, typical, mirrors=mirrors)
    # averaging reaches over the band's end: what lies within it there is no plain band
    behind = usable[np.maximum(path - OUTSIDE, 0), np.arange(len(along))]
    sure &= binary_erosion(behind, iterations=int(np.ceil(2.5 * sigma)), border_value=1)
    sure &= (path > OUTSIDE) & (path < len(outward) - INSIDE)
    edge = np.where(sure, outward[0] - position * step, np.nan)
    inner = strip.light[np.minimum(path + INSIDE, len(outward) - 1), np.arange(len(along))]
    burnt = float((inner.min(axis=-1) > 0.98).mean())
    grey = strip.light[rope].mean(axis=-1)
    gloss = float(np.percentile(grey, 90) / max(float(np.median(grey)), 1e-4))
    white = not is_coloured(plain) and plain.mean() > DARK
    on_white = float(np.median(grey) / plain.mean()) if white else 0.0
    return Edge(side, along, edge, step, clearness, mirrors, bare, on_white, gloss, burnt)


def _on_band(strip: Strip, camera: Camera, card: Card) -> Mask:
    """Tell which samples of the strip have the card's clear band behind them."""
    eye = camera_centre_mm(camera)
    share = eye[2] / (eye[2] - strip.height_mm)
    along, across = np.meshgrid(strip.along_mm, strip.across_mm)
    side = across_vector(strip.direction)
    x, y = (
        eye[i]
        + share * (strip.origin_mm[i] + along * strip.direction[i] + across * side[i] - eye[i])
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


def band_limits_mm(outline: Outline, camera: Camera, card: Card) -> tuple[float, float]:
    """Return how far the clear band reaches to the right (-) and left (+) of the station, mm."""
    eye = camera_centre_mm(camera)
    share = (eye[2] - outline.height_mm) / eye[2]
    _, y0, _, y1 = card.layout.band_box_mm
    cosine = outline.direction[0]
    low, high = (
        (eye[1] + share * (y * card.scale_y - eye[1]) - outline.origin_mm[1]) * cosine
        for y in (y0, y1)
    )
    return float(low), float(high)


def _surface(axis: Axis, left: Edge, right: Edge) -> Surface:
    if not axis.coloured:
        return "grey band"
    if not (left.mirrors or right.mirrors):
        return "dull" if left.bare or right.bare else "rusty"
    return "polished" if (left.gloss + right.gloss) / 2 > GLOSSY else "bright"


def _may_mirror(plain: Light, rope: Light) -> bool:
    """Tell whether wires of this light, if they are bare, show the band in their flanks."""
    return is_coloured(plain) and bool(rope[plain.argmax()] > METAL * plain.max())


def _votes(unlike: Light, band: Mask, typical: float) -> Light:
    """Return each pixel's vote, from +3 (band) to -3 (rope)."""
    usual = float(np.percentile(unlike[band], 80))
    even = max(VOTE_SHARE * typical, 2 * usual)
    return np.asarray(3 * np.tanh((even - unlike) / (0.5 * even)), np.float32)


def best_path(votes: Light) -> NDArray[np.int64]:
    """Return the boundary row of each column that parts band from rope best, as one path.

    Parameters
    ----------
    votes : ndarray of shape (rows, columns)
        Positive for band, negative for rope; rows run from the band to the rope.
    """
    sums = np.cumsum(votes, axis=0)
    worth = 2 * sums - sums[-1]  # outside votes for the band, inside for the rope
    rows, columns = worth.shape
    total = worth[:, 0].copy()
    came_from = np.zeros((rows, columns), np.int8)
    padded = np.full(rows + 6, -np.inf, np.float32)
    reachable = sliding_window_view(padded, 7)  # of each row, the seven that it may come from
    penalty = BEND_PENALTY * np.abs(np.arange(-3, 4)).astype(np.float32)
    every = np.arange(rows)
    for column in range(1, columns):
        padded[3:-3] = total
        options = reachable - penalty
        best = options.argmax(axis=1)
        came_from[:, column] = best - 3
        total = options[every, best] + worth[:, column]
    path = np.zeros(columns, int)
    path[-1] = int(total.argmax())
    for column in range(columns - 1, 0, -1):
        path[column - 1] = path[column] + came_from[path[column], column]
    return path
