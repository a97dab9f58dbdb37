"""Virtual jaws: a line on each side that bears on the strand crowns, as a gauge's jaw does.

The traced outline rises and falls from crown to valley. It is smoothed by local parabolas
(Savitzky and Golay 1964) shorter than a crown, so that noise averages out while the crown
keeps its height. The rope's direction comes from the crowns of both sides together, because
the jaws of a gauge are parallel and settle along the rope. Within the jaw the line bears on the
highest crown; a single crown that stands out far above its neighbours (a broken wire, a lump
of grease) is left out and said. What the highest of several noisy crowns reads too high is not
there to begin with (`vision.rope.crowns`). What a JPEG's coarseness lifts an outline by is taken
off again, and the rim of bright wires that looks like the band is given back.

The two jaw lines as the photograph shows them, and the diameter that they give.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from vision.camera import Camera, camera_centre_mm, project_mm, rays
from vision.findings import RefusedError, finding, refuse_above, refuse_below
from vision.rope.crowns import (
    LEAST_NOISE_PX,
    PLAIN_PITCHES,
    SMOOTH_DIAMETERS,
    SMOOTH_PITCHES,
    USUAL_SPREAD,
    bridged,
    crest_heights,
    crests,
    crown_pitch,
    highest_crown,
    noise_of_crowns,
    smoothed,
    with_flanks,
)
from vision.rope.outline import Edge, Outline, Surface
from vision.rope.rectify import points_mm
from vision.rope.savitzky_golay import local_parabolas
from vision.rope.tangent_cylinder import Hold, cross, cylinder_mm

Array = NDArray[np.float64]

LEAST_COLUMNS = 30
LEAST_DIAMETERS = 1.4  # shortest jaw that a rope running off the card is measured with
JAW_DIAMETERS = 2.0  # default length; a wide jaw bears on two to three neighbouring strands
FINE_DIAMETERS, FINE_PITCH = 0.20, 0.4  # longest local parabola over a crown: of d, of the pitch
# px, each side: rim of bright wires that looks like the band, because it mirrors it.
HIDDEN_PX: dict[Surface, float] = {
    "rusty": 0.0,
    "dull": 0.0,
    "bright": 0.39,
    "polished": 0.73,
    "grey band": 0.0,
}
# Lift of an outline by a JPEG's noise, px. Like the rim's, fitted to the range's protocol and to
# the list (see DEVELOPERS.md). Of it, per jaw, as a standard uncertainty: U_LIFT.
LIFT, LIFT_AVERAGED, U_LIFT = 1.37, 0.20, 0.6
PLAIN_DIAMETERS = 0.3  # of a smooth bar's edge is straight: what strays from it is noise
STRAY_SHARE = 0.012  # of the diameter: a crown so far above the next one is no strand


@dataclass(frozen=True, slots=True, eq=False)
class Jaw:
    """One jaw.

    Parameters
    ----------
    offset_mm : float
        Distance of the line from the strip's middle, outwards, mm.
    u_mm : float
        Standard uncertainty of it from noise and from the crowns' scatter, mm.
    crowns : int
        Number of crowns that the jaw spans.
    spread_mm : float
        Standard deviation of their heights, mm.
    strays : int
        Crowns left out.
    """

    offset_mm: float
    u_mm: float
    crowns: int
    spread_mm: float
    strays: int


@dataclass(frozen=True, slots=True, eq=False)
class Jaws:
    """Both jaws, parallel, about the station.

    Parameters
    ----------
    left, right : Jaw
        One on each side.
    direction : ndarray of shape (2,)
        Unit vector along the jaws, in the card's plane.
    length_mm : float
        Length of the jaws, mm.
    crown_pitch_mm : float or None
        Distance between neighbouring crowns, mm; None on a smooth bar.
    u_slope : float
        Standard uncertainty of the direction, rad.
    bend_mm : float
        How far the rope bends within the jaws, mm.
    """

    left: Jaw
    right: Jaw
    direction: Array
    length_mm: float
    crown_pitch_mm: float | None
    u_slope: float
    bend_mm: float


def fit_jaws(
    outline: Outline, *, jaw_diameters: float = JAW_DIAMETERS, grain_px: float = 0.0
) -> Jaws:
    """Return the jaws that bear on the crowns about the station.

    Parameters
    ----------
    outline : Outline
        Traced edges.
    jaw_diameters : float, optional
        Length of the jaws over the rope's diameter; lengthened to one crown pitch if shorter.
    grain_px : float, optional
        A JPEG's coarseness times the photograph's blur, px: its noise moves an edge so far.

    Raises
    ------
    RefusedError
        If an edge is missing, the station is off the rope, the rope bends, no crown bears, or a
        smooth bar lies on a black band.
    """
    d = outline.rough_mm
    length = jaw_diameters * d
    sides = _seen_together(outline.left, outline.right)
    along = sides[0].along_mm
    reach = 2 * min(-float(along[0]), float(along[-1]))
    if reach < min(length, LEAST_DIAMETERS * d):
        raise RefusedError(finding("off-the-card", float(outline.origin_mm[0])))
    length = min(length, reach)
    for edge in sides:
        _check_seen(edge, length)
    step = float(along[1] - along[0])
    filled = [bridged(edge, d) for edge in sides]
    first = [smoothed(values, SMOOTH_DIAMETERS * d / step) for values in filled]
    pitch, swing = crown_pitch(first, step, d)
    if pitch is None:
        refuse_above("crowns-unclear", 100 * swing / d)
        if _on_black(outline):  # renders of a bright bar were read 7 % too thin, and looked sharp
            raise RefusedError(finding("smooth-on-black"))
    if pitch is not None:
        length = max(length, 1.1 * pitch)
        if reach < length:
            raise RefusedError(finding("too-few-crowns", 0.0))
        smooth = [smoothed(v, SMOOTH_PITCHES * pitch / step) for v in filled]
    else:
        smooth = first
    slope, u_slope, curve = _direction(along, smooth, pitch, step, d)
    bend = abs(curve) * (length / 2) ** 2
    refuse_above("rope-not-straight", 100 * bend / d)
    fine = min(FINE_DIAMETERS * d, FINE_PITCH * (pitch or d)) / step
    least_noise = LEAST_NOISE_PX / outline.px_per_mm
    lift = max(0.0, LIFT * grain_px - LIFT_AVERAGED) / outline.px_per_mm
    jaws = []
    for values, raw, sign in zip(smooth, filled, (1.0, -1.0), strict=True):
        turned = sign * slope * along
        if pitch is not None:
            hidden = HIDDEN_PX[outline.surface] / outline.px_per_mm
            values, raw = values + hidden, raw + hidden
        tops = crests(values - turned, pitch, step, d)
        if pitch is not None and not any(abs(along[i]) <= length / 2 for i in tops):
            raise RefusedError(finding("too-few-crowns", 0.0))
        jaw = _bear(raw - turned, values - turned, along, length, fine, tops, pitch, d, least_noise)
        if pitch is not None:
            u = float(np.hypot(jaw.u_mm, U_LIFT * lift))
            jaw = replace(jaw, offset_mm=jaw.offset_mm - lift, u_mm=u)
        jaws.append(jaw)
    across = np.array([-outline.direction[1], outline.direction[0]])
    direction = outline.direction + slope * across
    return Jaws(
        jaws[0], jaws[1], direction / np.linalg.norm(direction), length, pitch, u_slope, bend
    )


def _on_black(outline: Outline) -> bool:
    light = max(outline.left.on_white, outline.right.on_white)
    return outline.surface == "grey band" and light == 0.0


def _seen_together(left: Edge, right: Edge) -> tuple[Edge, Edge]:
    """Return both edges cut to the piece of rope on which both were found."""
    found = [np.flatnonzero(np.isfinite(edge.outward_mm)) for edge in (left, right)]
    if min(len(places) for places in found) < LEAST_COLUMNS:
        raise RefusedError(finding("one-edge-only", 0.0))
    piece = slice(max(f[0] for f in found), min(f[-1] for f in found) + 1)
    if piece.stop - piece.start < LEAST_COLUMNS:
        raise RefusedError(finding("one-edge-only", 0.0))
    cut = [
        replace(edge, along_mm=edge.along_mm[piece], outward_mm=edge.outward_mm[piece])
        for edge in (left, right)
    ]
    return cut[0], cut[1]


def _check_seen(edge: Edge, length: float) -> None:
    within = np.abs(edge.along_mm) <= length / 2
    share = 100 * float(np.isfinite(edge.outward_mm[within]).mean())
    refuse_below("one-edge-only", share)


def _direction(
    along: Array, smooth: list[Array], pitch: float | None, step: float, d: float
) -> tuple[float, float, float]:
    """Fit one slope and one bow to the crowns of both sides; return slope, its u, the bow."""
    rows, heights = [], []
    for values, sign in zip(smooth, (1.0, -1.0), strict=True):
        tops = crests(values, pitch, step, d)
        high = np.median(values[tops]) + 2 * STRAY_SHARE * float(np.ptp(along)) / 6
        for i in tops[values[tops] <= high]:  # a lump must not turn the jaws
            s = along[i]
            rows.append([sign > 0, sign < 0, sign * s, s, sign * s * s])
            heights.append(values[i])
    A, y = np.array(rows, float), np.array(heights)
    if len(y) < 6:
        return 0.0, 0.01, 0.0
    weights = np.ones(len(y))
    for _ in range(6):
        solution = np.linalg.lstsq(A * weights[:, None], y * weights, rcond=None)[0]
        off = np.abs(y - A @ solution)
        limit = 2.5 * max(1.4826 * float(np.median(off)), 1e-4)
        weights = np.sqrt(np.minimum(1.0, limit / np.maximum(off, 1e-12)))
    dof = max(1, len(y) - 5)
    scatter = float(np.sqrt(((weights * (y - A @ solution)) ** 2).sum() / dof))
    covariance = np.linalg.pinv((A * weights[:, None]).T @ (A * weights[:, None]))
    return float(solution[2]), scatter * float(np.sqrt(covariance[2, 2])), float(solution[4])


def _bear(
    raw: Array,
    broad: Array,
    along: Array,
    length: float,
    fine: float,
    crests: NDArray[np.int64],
    pitch: float | None,
    d: float,
    least_noise: float,
) -> Jaw:
    """Return the line that bears on the highest wire within the jaw.

    `raw` is the outline, `broad` the outline smoothed over a third of a crown, `fine` the length
    in samples over which it may be averaged for a height, `least_noise` that of a crown, mm.
    """
    within = np.abs(along) <= length / 2
    step = float(along[1] - along[0])
    size = max(5, int(fine)) | 1
    raw = median_filter(raw, 3, mode="nearest")
    close = local_parabolas(raw, size)
    run = PLAIN_PITCHES * pitch if pitch else PLAIN_DIAMETERS * d
    noise = noise_of_crowns(raw, size, run / step, least_noise)
    if pitch is None:
        independent = max(2.0, within.sum() / size)
        u = noise * float(np.sqrt(np.pi / 2 / independent))  # of a median (Kenney and Keeping)
        return Jaw(float(np.median(close[within])), u, 0, float(close[within].std()), 0)
    usual = float(np.sort(broad[crests])[(len(crests) - 1) // 2])  # of two, the lower
    stray = broad > usual + STRAY_SHARE * d
    strays = int((np.diff((stray & within).astype(int), prepend=0) == 1).sum())
    if stray.any():  # the flanks of what stands out are no strand either
        stray = with_flanks(broad > usual + 0.25 * STRAY_SHARE * d, pitch, step)
    sound = crests[~stray[crests]]
    under = within[sound]
    if not under.any():
        return Jaw(usual, STRAY_SHARE * d / 4, 0, 0.0, strays)
    heights = crest_heights(close, sound, pitch / step)
    top, u = highest_crown(heights, under, noise, USUAL_SPREAD * d)
    spread = float(broad[sound[under]].std(ddof=1)) if under.sum() > 1 else 0.0
    return Jaw(top, u, int(under.sum()), spread, strays)


@dataclass(frozen=True, slots=True, eq=False)
class JawLines:
    """The two jaw lines as the photograph shows them.

    Parameters
    ----------
    left_px, right_px : ndarray of shape (2, 2)
        Two points of each line, px.
    station_mm : ndarray of shape (3,)
        The station on the card, mm.
    """

    left_px: Array
    right_px: Array
    station_mm: Array


def jaw_lines(camera: Camera, outline: Outline, jaws: Jaws) -> JawLines:
    """Return the jaw lines in the photograph."""
    ends = np.array([-0.5, 0.5]) * jaws.length_mm
    lines = [
        project_mm(
            camera,
            points_mm(
                ends, np.full(2, offset), outline.origin_mm, jaws.direction, outline.height_mm
            ),
        )
        for offset in (jaws.left.offset_mm, -jaws.right.offset_mm)
    ]
    return JawLines(lines[0], lines[1], np.array([*outline.origin_mm, 0.0]))


def diameter_mm(camera: Camera, lines: JawLines, hold: Hold) -> float:
    """Return the diameter for this camera, these jaw lines and this hold, mm.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    lines : JawLines
        The two jaw lines.
    hold : Hold
        How the card was held.
    """
    eye, left, right = tangent_planes(camera, lines)
    return cylinder_mm(left, right, eye, hold=hold, station_mm=lines.station_mm)[0]


def tangent_planes(camera: Camera, lines: JawLines) -> tuple[Array, Array, Array]:
    """Return the camera centre, mm, and the outward unit normals of the two tangent planes."""
    seen = rays(camera, np.concatenate([lines.left_px, lines.right_px]))
    planes = [cross(seen[0], seen[1]), cross(seen[2], seen[3])]
    middle = seen.mean(axis=0)
    normals = [plane / np.linalg.norm(plane) for plane in planes]
    left, right = (n if n @ middle < 0 else -n for n in normals)
    return camera_centre_mm(camera), left, right
