"""Both edges of an object along a line drawn by the user, with no card behind it.

The line begins and ends on the ground beside the object and crosses it. The ground's light is read
at each end; pixels that differ from it vote for the object, and the outline is the best path
between ground and object (as in `vision.rope.edge.outline`). The edge is then located where the
light is half-way between that just outside and that just inside. A line on each side bears on the
highest places, as a gauge's jaw does: thread crests, strand crowns, or all of a smooth bar.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.signal import find_peaks, savgol_filter
from scipy.stats import norm, siegelslopes

from vision.camera import Camera, project_mm
from vision.findings import RefusedError, finding, refuse_above, refuse_below
from vision.least_squares import fit_with_scatter, scatter_of
from vision.rope.constants import STRAY_SHARE
from vision.rope.edge.profiles import best_paths
from vision.rope.jaw_lines import JawLines
from vision.rope.rectify import Image, Strip, across_vector, cut_strip, points_mm, scale_at
from vision.scale_rule.graduation_rows import on_face_mm
from vision.tones import Light

Array = NDArray[np.float64]

REACH = 1.6  # of the line's length, to each side along the object
LEAST_SCATTER_MM = 1e-6  # lower bound of an edge's scatter about its line
LOOSE = 0.06  # of the diameter: an edge farther from its line belongs to something else
# Of the diameter: shortest edge, and shortest before the line is turned square to the object.
SHORTEST_SHARE, GLIMPSE_SHARE = 0.3, 0.15
SMOOTH, NEAR = 0.2, 0.2  # of the diameter: smoothing that removes crests, to follow the edges
JAW_DIAMETERS = 2.0
MOST_LOST = 0.6  # of the blur: upper bound for the height that a crest loses to it
BUMP_SHARE = 0.008  # of the diameter: lower waves are not crests


@dataclass(frozen=True, slots=True)
class BearingLine:
    """A line that bears on one side of an object.

    Parameters
    ----------
    offset_mm, u_mm : float
        Its distance from the middle and the standard uncertainty of that, mm.
    crests : int
        Crests that it bears on; 0 on a smooth side.
    spread_mm : float
        Scatter of their heights, mm.
    lost_mm : float
        Correction added for the height lost to blur, mm.
    pitch_mm : float
        Distance from crest to crest, mm; 0 where there are too few crests.
    """

    offset_mm: float
    u_mm: float
    crests: int
    spread_mm: float
    lost_mm: float
    pitch_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class TracedObject:
    """An object traced along its two edges.

    Parameters
    ----------
    lines : JawLines
        The two lines that bear on the object.
    u_px : tuple of float
        Standard uncertainty of each line's place, px.
    u_slope : float
        Standard uncertainty of their direction, rad.
    length_mm, pitch_mm : float
        Length of the piece; mean distance of its crests, 0 on a smooth one.
    crests : int
        Crests that bear on the lines, both sides together.
    spread_mm : float
        Scatter of the crests, mm.
    blur_px : float
        Width of the edge (standard deviation of the step), px.
    lost_mm : float
        Correction added on both sides together for the crests' height lost to blur, mm.
    left_px, right_px : ndarray of shape (N, 2)
        The traced edges, px.
    """

    lines: JawLines
    u_px: tuple[float, float]
    u_slope: float
    length_mm: float
    pitch_mm: float
    crests: int
    spread_mm: float
    blur_px: float
    lost_mm: float
    left_px: Array
    right_px: Array


def object_of_points(camera: Camera, points_px: Array, u_point_px: float) -> TracedObject:
    """Return an object whose edges the user marked with two points on each side, px (4, 2).

    Parameters
    ----------
    camera : Camera
        Camera and face.
    points_px : ndarray of shape (4, 2)
        The points, px.
    u_point_px : float
        Standard uncertainty of a point, px.
    """
    left, right = points_px[:2], points_px[2:]
    ways = [side[1] - side[0] for side in (left, right)]
    shortest = min(float(np.linalg.norm(way)) for way in ways)
    refuse_below("object-short", shortest)
    middle = on_face_mm(camera, points_px.mean(axis=0)[None])[0]
    lines = JawLines(left, right, np.array([*middle, 0.0]))
    u = u_point_px / np.sqrt(2)  # of the line's middle, between two points
    scale = scale_at(camera, lines.station_mm, np.array([1.0, 0.0]))
    return TracedObject(lines, (u, u), 0.0, shortest / scale, 0.0, 0, 0.0, 1.0, 0.0, left, right)


def trace_object(
    pixels: Image,
    camera: Camera,
    begin_px: Array,
    end_px: Array,
    *,
    height_mm: float,
    jaw_mm: float | None,
) -> TracedObject:
    """Return both edges around a line over the object.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    camera : Camera
        Camera and plane.
    begin_px, end_px : ndarray of shape (2,)
        Ends of the line, on the ground to each side of the object, px.
    height_mm : float
        Height of the plane in which the edges are searched for.
    jaw_mm : float or None
        Length of object to bear on; None for as much as is visible, at most two diameters.
    """
    ends = on_face_mm(camera, np.stack([begin_px, end_px]), height_mm)
    line = ends[1] - ends[0]
    wide = float(np.linalg.norm(line))
    across = line / wide
    direction = np.array([across[1], -across[0]])
    origin = ends.mean(axis=0)
    scale = scale_at(camera, np.array([*origin, height_mm]), direction)
    along = np.arange(-REACH * wide, REACH * wide, 1 / scale)
    for turn in range(3):
        outward = np.arange(wide / 2, 0, -1 / scale)
        sides = [
            _find_edge(
                cut_strip(
                    pixels,
                    camera,
                    Strip(along, sign * outward, origin, direction, height_mm),
                ),
                along,
                outward,
            )
            for sign in (1.0, -1.0)
        ]
        places = [side[0] for side in sides]
        part, d = _visible_part(along, places)
        slope, u_slope = _slope(along[part], [p[part] for p in places])
        if abs(slope) < 0.01 or turn == 2:
            break
        turned = direction + slope * across_vector(direction)
        direction = turned / np.linalg.norm(turned)
    _refuse_shorter(part, 1 / scale, SHORTEST_SHARE * d)
    length = JAW_DIAMETERS * d if jaw_mm is None else jaw_mm
    part = part & (np.abs(along) <= length / 2)
    refuse_below("object-short", float(part.sum()))
    blur = max(side[1] for side in sides)
    bearing = [
        _bearing_line(p[part] - sign * slope * along[part], d, 1 / scale, blur)
        for p, sign in zip(places, (1.0, -1.0), strict=True)
    ]
    reach = np.array([along[part][0], along[part][-1]])
    lines = [
        points_mm(reach, sign * line.offset_mm + slope * reach, origin, direction, height_mm)
        for line, sign in zip(bearing, (1.0, -1.0), strict=True)
    ]
    traced = [
        points_mm(along[part], sign * p[part], origin, direction, height_mm)
        for p, sign in zip(places, (1.0, -1.0), strict=True)
    ]
    crests = sum(line.crests for line in bearing)
    span = float(np.ptp(reach))
    return TracedObject(
        JawLines(
            project_mm(camera, lines[0]), project_mm(camera, lines[1]), np.array([*origin, 0.0])
        ),
        (bearing[0].u_mm * scale, bearing[1].u_mm * scale),
        u_slope,
        span,
        float(max(line.pitch_mm for line in bearing)),
        crests,
        max(line.spread_mm for line in bearing),
        blur,
        sum(line.lost_mm for line in bearing),
        project_mm(camera, traced[0]),
        project_mm(camera, traced[1]),
    )


def _visible_part(along: Array, places: list[Array]) -> tuple[NDArray[np.bool_], float]:
    """Return where both edges continue from the line without a break, and the width there, mm."""
    step = float(along[1] - along[0])
    middle_column = int(np.argmin(np.abs(along)))
    close = slice(middle_column - 3, middle_column + 4)
    if any(np.isfinite(p[close]).mean() < 0.5 for p in places):
        raise RefusedError(finding("object-not-found"))
    d = float(sum(np.nanmedian(p[close]) for p in places))
    size = max(3, int(SMOOTH * d / step)) | 1
    near = np.abs(along) < max(NEAR * d, 4 * step)
    good = np.ones(len(along), bool)
    middles = []
    for p in places:
        known = np.isfinite(p)
        good &= known
        filled = np.interp(along, along[known], p[known])
        middles.append(median_filter(filled, size, mode="nearest"))
    for middle in middles:
        # repeated medians (Siegel 1982) are not affected by an end of the object close by
        slope, offset = siegelslopes(middle[near], along[near])
        line = slope * along + offset
        good &= np.abs(middle - line) < LOOSE * d + 0.05 * np.abs(along)
    total = middles[0] + middles[1]
    good &= np.abs(total - np.median(total[near])) < 2 * LOOSE * d
    part = np.zeros(len(along), bool)
    for way in (1, -1):
        missing, i = 0, middle_column
        while 0 <= i < len(along) and missing <= size // 2:
            missing = 0 if good[i] else missing + 1
            part[i] = good[i]
            i += way
    trimmed = part & (np.cumsum(part) > size // 4) & (np.cumsum(part[::-1])[::-1] > size // 4)
    _refuse_shorter(trimmed, step, GLIMPSE_SHARE * d)
    return trimmed, d


def _refuse_shorter(part: NDArray[np.bool_], step: float, least_mm: float) -> None:
    if not part.any() or float(part.sum()) * step < least_mm:
        raise RefusedError(finding("object-not-found"))


def _slope(along: Array, places: list[Array]) -> tuple[float, float]:
    """Return the slope of the object relative to the strip and its standard uncertainty."""
    ones, zeros = np.ones_like(along), np.zeros_like(along)
    A = np.concatenate([np.stack([ones, zeros, along], 1), np.stack([zeros, ones, -along], 1)])
    y = np.concatenate(places)
    start = np.linalg.lstsq(A, y, rcond=None)[0]
    solution, _ = fit_with_scatter(
        lambda line, sigma: (A @ line - y) / sigma,
        start,
        lambda _, sigma: A / sigma,
        robust=len(y),
        sigma=max(float(np.std(A @ start - y)), LEAST_SCATTER_MM),
        floor=LEAST_SCATTER_MM,
    )
    variance = (solution.weights * solution.residuals**2).sum() / max(1, len(y) - 3)
    # neighbours within a few px share their error
    u = 2.0 * float(np.sqrt(variance * solution.covariance[2, 2]))
    return float(solution.values[2]), u


def _bearing_line(values: Array, d: float, step: float, blur_px: float) -> BearingLine:
    """Return the line that bears on the highest places; `step` is the spacing of samples, mm."""
    smooth = gaussian_filter1d(values, 1.0, mode="nearest")
    off = values - savgol_filter(values, 5, 2)  # leaves sqrt(18 / 35) of the noise
    noise = max(scatter_of(off) / np.sqrt(18 / 35), 0.03 * step)
    peaks, _ = find_peaks(smooth, prominence=max(4 * noise, BUMP_SHARE * d))
    peaks = peaks[(peaks >= 2) & (peaks < len(values) - 2)]
    if len(peaks) < 2:
        scatter = scatter_of(values)
        refuse_above("object-rough", 100 * scatter / d)
        independent = max(2.0, len(values) / 6)
        uneven = max(0.0, scatter - 0.3 * step)  # beyond pixel noise: may be the object's own
        u = float(np.hypot(scatter / np.sqrt(independent), uneven))
        return BearingLine(float(np.median(values)), u, 0, scatter, 0.0, 0.0)
    n = np.arange(-2, 3)
    bows = np.array([np.polyfit(n, values[p - 2 : p + 3], 2) for p in peaks])
    bow = np.minimum(bows[:, 0], -1e-9)
    tops = bows[:, 2] - np.clip(bows[:, 1] ** 2 / (4 * bow), -np.inf, 0)
    # To first order, blur lowers a crest by half its curvature times the blur squared.
    curvature = float(np.median(-2 * bow)) / step  # 1/px
    lost = min(0.5 * blur_px**2 * curvature, MOST_LOST * blur_px) * step
    usual = float(np.median(tops))
    level = tops[np.abs(tops - usual) <= STRAY_SHARE * d]
    if not len(level):  # tops at very different heights and none between: not an object's side
        raise RefusedError(finding("object-rough", 100 * scatter_of(tops) / d))
    u_top = float(noise / np.sqrt(2))
    rivals = max(1, int((level > level.max() - 2.5 * u_top).sum()))
    expected = float(norm.ppf((rivals - 0.375) / (rivals + 0.25))) if rivals > 1 else 0.0
    spread = float(level.std(ddof=1)) if len(level) > 1 else 0.0
    u = float(np.hypot(u_top, spread / np.sqrt(len(level))))
    place = float(level.max()) - expected * u_top + lost
    # two or three crests don't show a pitch
    pitch = float(np.median(np.diff(peaks))) * step if len(peaks) > 3 else 0.0
    return BearingLine(place, u, len(level), spread, lost, pitch)


ENDS = 0.12  # of the line at each end: certainly ground
HEART = 0.12  # of the line around its middle: certainly object
SHADOW_STOPS = 0.5  # darkening of the ground by shadow: standard deviation, in stops


def _find_edge(light: Light, along: Array, outward: Array) -> tuple[Array, float]:
    """Return the edge's distance from the middle at each place along, mm, and its blur, px.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3)
        Linear light; rows run from the ground beside the object to its middle.
    along : ndarray of shape (columns,)
        Places along the object, mm from the line.
    outward : ndarray of shape (rows,)
        Distance of each row from the middle, mm, descending.

    Raises
    ------
    RefusedError
        If the object does not stand out, or the edge found may be a shadow's.
    """
    rows, columns = len(outward), np.arange(light.shape[1])
    near = np.abs(along) < HEART * 2 * outward[0]
    score, clearness = _likeness(light, near)
    refuse_below("object-unclear", clearness)
    votes = np.asarray(3 * np.tanh((0.5 - np.abs(score)) / 0.25), np.float32)
    path = best_paths(votes[None])[0]
    smooth = gaussian_filter1d(light, 0.6, axis=1, mode="nearest").astype(float)

    def level(begin: int, end: int, of: Array) -> Array:
        picked = [of[np.clip(path + k, 0, rows - 1), columns] for k in range(begin, end)]
        return np.asarray(np.median(picked, axis=0), float)

    behind = 100 * float(np.median(np.abs(level(3, 6, score))[near]))
    refuse_below("object-soft", behind)
    outer, inner = level(-7, -3, smooth), level(3, 6, smooth)
    step = inner - outer
    size = np.maximum((step**2).sum(axis=1), 1e-9)
    offsets = np.arange(-4, 5)
    values = np.stack([smooth[np.clip(path + k, 0, rows - 1), columns] for k in offsets])
    part = ((values - outer) * step).sum(axis=2) / size - 0.5  # of the step in light, from half-way
    place = np.full(len(columns), np.nan)
    best = np.full(len(columns), np.inf)
    for k in range(len(offsets) - 1):
        low, high = part[k], part[k + 1]
        crossed = (low < 0) & (high >= 0)
        at = offsets[k] + low / np.where(crossed, low - high, 1.0)
        better = crossed & (np.abs(at) < best)
        place[better], best[better] = at[better], np.abs(at[better])
    rise = np.abs(np.diff(part, axis=0)).max(axis=0)
    blur = 1 / (np.sqrt(2 * np.pi) * max(float(np.median(rise[near])), 0.05))
    place[(path < 3) | (path > rows - 3)] = np.nan
    return outward[0] - (path + place) * (outward[0] - outward[1]), blur


def _likeness(light: Light, near: NDArray[np.bool_]) -> tuple[Array, float]:
    """Return each pixel's score between ground (0) and object (1), and their contrast over noise.

    This is Fisher's discriminant in the logarithm of light. A shadow's effect (all colours darker
    by one factor) counts as scatter, so that shadows are ignored where colours differ.
    """
    rows = len(light)
    stops = np.log2(light + 0.01)
    ground = stops[: max(3, int(ENDS * 2 * rows)), near].reshape(-1, 3)
    heart = stops[-max(3, int(HEART * 2 * rows)) :, near].reshape(-1, 3)
    plain, typical = np.median(ground, axis=0), np.median(heart, axis=0)
    scatter = np.cov(ground.T) + np.cov(heart.T) + 0.08**2 * np.eye(3) + SHADOW_STOPS**2
    way = np.linalg.solve(scatter, typical - plain)
    reach = float(way @ (typical - plain))
    score = (stops - plain) @ way / max(reach, 1e-9)
    # from neighbour to neighbour, so that a shadow beside the object does not count as noise
    steps = np.diff(score[: max(3, rows // 6), near], axis=1)
    noise = scatter_of(steps) / np.sqrt(2)
    return np.asarray(score, float), 1 / max(noise, 0.01)
