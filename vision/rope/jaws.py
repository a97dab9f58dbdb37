"""Virtual jaws: a line on each side that bears on the strand crowns, as a gauge's jaw does.

The traced outline rises and falls from crown to valley. It is smoothed by local parabolas
(Savitzky and Golay 1964) shorter than a crown, which average the noise but preserve the crown's
height. The rope's direction is fitted to the crowns of both sides together, because the jaws of a
gauge are parallel and align with the rope. Within the jaw the line bears on the highest crown; a
single crown far above its neighbours (a broken wire, a lump of grease) is left out and reported.
The bias of selecting the highest of several noisy crowns is avoided (`vision.rope.crowns`). The
effect of mirror images in the flank of a smooth bar is subtracted. Once the lay is known, half of
the height of the wires that the tracer's windows may hide is added (`on_wires`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, median_filter

from vision.findings import RefusedError, finding, limit_of, refuse_above, refuse_below
from vision.least_squares import fit
from vision.medians import median_of, percentile_of
from vision.rope.constants import (
    CLOSE_PITCH,
    CROWN_PART,
    HALF,
    HALF_LENGTH,
    JAW_DIAMETERS,
    LEAST_DIAMETERS,
    LEAST_NOISE_PX,
    RIPPLE_PX,
    SIGNIFICANT,
    STRAY_SHARE,
    SWELL_SHARE,
    UNEVEN_SHARE,
    USUAL_CROWNS,
    USUAL_SPREAD,
)
from vision.rope.crowns import (
    WAVE_SIGMAS,
    crown_heights,
    crown_pitch,
    drawn_noise,
    fill_outliers,
    find_crowns,
    highest_crown,
    near,
    noise_of_crowns,
    raised_by,
    smoothed,
    with_flanks,
)
from vision.rope.edge.mirrors import rims_px
from vision.rope.edge.outline import Edge, Outline
from vision.rope.edge.windows import hidden_wires_mm
from vision.rope.savitzky_golay import local_parabolas, odd_size
from vision.runs import runs_of

Array = NDArray[np.float64]

LEAST_COLUMNS = 30
U_AXIS = 0.01  # rad: standard uncertainty of the rough axis's direction


@dataclass(frozen=True, slots=True, eq=False)
class Jaw:
    """One jaw.

    Parameters
    ----------
    offset_mm : float
        Distance of the line from the strip's middle, outwards, mm.
    u_mm : float
        Its standard uncertainty from noise and from the crowns' scatter, mm.
    crowns : int
        Number of crowns that the jaw spans.
    spread_mm : float
        Standard deviation of their heights, mm.
    strays : int
        Number of places left out because they are far above the crowns.
    wires_mm : tuple of float
        Height over the line of round wires that the tracer's windows hide, in ordinary and in
        lang lay, mm (`on_wires`).
    """

    offset_mm: float
    u_mm: float
    crowns: int
    spread_mm: float
    strays: int
    wires_mm: tuple[float, float] = (0.0, 0.0)


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
        Bend of the rope within the jaws, mm.
    lay : {"ordinary", "lang", ""}
        Direction of the wires in the strands, where it is known (`on_wires`).
    """

    left: Jaw
    right: Jaw
    direction: Array
    length_mm: float
    crown_pitch_mm: float | None
    u_slope: float
    bend_mm: float
    lay: str = ""

    @property
    def lever_mm(self) -> float:
        """Change of the width for each radian by which the jaws' direction is off, mm."""
        return 0.25 * (self.crown_pitch_mm or 0.0) + 0.1 * self.length_mm


def fit_jaws(outline: Outline, *, jaw_diameters: float = JAW_DIAMETERS) -> Jaws:
    """Return the jaws that bear on the crowns about the station.

    Parameters
    ----------
    outline : Outline
        Traced edges.
    jaw_diameters : float, optional
        Length of the jaws over the rope's diameter; lengthened to one crown pitch if shorter.

    Raises
    ------
    RefusedError
        If an edge is missing, the station is off the rope, the rope bends, or no crown bears.
    """
    d = outline.rough_mm
    length = jaw_diameters * d
    sides = _common_piece(outline.left, outline.right)
    along = sides[0].along_mm
    reach = 2 * min(-float(along[0]), float(along[-1]))
    if reach < min(length, LEAST_DIAMETERS * d):
        raise RefusedError(finding("off-the-card", float(outline.origin_mm[0])))
    length = min(length, reach)
    for edge in sides:
        _refuse_gaps(edge, length)
    step = float(along[1] - along[0])
    filled = [fill_outliers(edge.along_mm, edge.outward_mm, edge.step_mm, d) for edge in sides]
    first = [smoothed(values, CROWN_PART * CLOSE_PITCH * d / step) for values in filled]
    pitch, swing = crown_pitch(first, step, d)
    noise = max(edge.noise_px * edge.step_mm for edge in sides)
    spacing = pitch
    if pitch is None and swing > UNEVEN_SHARE * d:
        spacing = CLOSE_PITCH * d  # apparently not a bar: the jaws bear on its highest points
    # where light is burnt out the outline may be displaced locally
    burnt = max(edge.clipped_px * edge.step_mm for edge in sides)
    disturbance = burnt if pitch is not None else max(noise, burnt)
    crowned = swing > SIGNIFICANT * WAVE_SIGMAS * disturbance
    if spacing is not None:
        length = max(length, 1.1 * spacing)
        if reach < length:
            raise RefusedError(finding("too-few-crowns", 0.0))
        smooth = [smoothed(v, CROWN_PART * spacing / step) for v in filled]
    else:
        smooth = first
    usual_mm = float(np.hypot(USUAL_SPREAD * d, noise))
    # the crown nearest to a loose wire may be the wire itself, as far as the outline follows it
    loose = [near(along, edge.covered_mm, HALF * (spacing or 0.0)) for edge in sides]
    crowns = [find_crowns(values, spacing, step, d) for values in smooth]
    crowns = [tops[~beside[tops]] for tops, beside in zip(crowns, loose, strict=True)]
    line = _direction(along, smooth, crowns, d, usual_mm)
    slope, u_slope, curve = line.slope, line.u_slope, line.curve
    swell = line.swell * along**2, line.u_swell * along**2
    bend = abs(curve) * (length / 2) ** 2
    refuse_above("rope-not-straight", 100 * bend / d)
    size = odd_size(HALF * CLOSE_PITCH * d / step)  # half of the smallest pitch
    no_crowns = spacing is None or not crowned
    rims = _rims_mm(*sides) if no_crowns else ((0.0, 0.0), (0.0, 0.0))
    jaws, shapes = [], []
    for edge, rim, values, raw, beside, sign in zip(
        sides, rims, smooth, filled, loose, (1.0, -1.0), strict=True
    ):
        noise_mm = edge.step_mm * edge.noise_px
        least = max(edge.step_mm * LEAST_NOISE_PX, noise_mm)  # a crown is one window long
        turned = sign * slope * along
        bare = values if spacing is None else _wires_bridged(values, raw, spacing, step, size, d)
        tops = find_crowns(bare - turned, spacing, step, d)
        tops = tops[~beside[tops]]
        if len(tops) == 0:
            raise RefusedError(finding("too-few-crowns", 0.0))
        window = edge.window_mm / step
        flat = raw - turned, values - turned
        shape = _Side(along, *flat, beside, least, swell, noise_mm, window)
        jaw = _fit_jaw(shape, tops, spacing, length, size, d)
        if spacing is None:
            jaw = _without_rim(jaw, *rim)
        else:
            window_mm = max(edge.window_mm, step)
            wires = hidden_wires_mm(window_mm, spacing, step, size, d)
            jaw = replace(jaw, wires_mm=wires)
            if not crowned:
                plain = _without_rim(_fit_jaw(shape, tops, None, length, size, d), *rim)
                jaw = _midway(jaw, plain)
        jaws.append(jaw)
        shapes.append(shape)
    if spacing is None:
        ripple = RIPPLE_PX * max(edge.step_mm for edge in sides)
        share = _unexplained_share(shapes, max(burnt, ripple), length, d)
        jaws = [
            _possibly_on_wires(*one, share, length, d) for one in zip(jaws, shapes, strict=True)
        ]
    across = np.array([-outline.direction[1], outline.direction[0]])
    direction = outline.direction + slope * across
    return Jaws(
        jaws[0], jaws[1], direction / np.linalg.norm(direction), length, pitch, u_slope, bend
    )


def _wires_bridged(
    broad: Array, raw: Array, pitch: float, step: float, size: int, d: float
) -> Array:
    """Return the outline smoothed over a crown, interpolated where there is a loose wire.

    A wire is narrower than a crown, so smoothing over a crown lowers it. In a valley it would be
    mistaken for a crown, and hide those on both sides of it.
    """
    close = local_parabolas(median_filter(raw, 3, mode="nearest"), size)
    above = close - broad
    # relative to a percentile, as smoothing lowers crowns a little, too
    wire = above - percentile_of(above, 90) > HALF * STRAY_SHARE * d
    if not wire.any():
        return broad
    wire = binary_dilation(wire, iterations=max(1, int(CROWN_PART * pitch / step)))
    x = np.arange(len(broad))
    return np.interp(x, x[~wire], broad[~wire]) if not wire.all() else broad


def _midway(bearing: Jaw, plain: Jaw) -> Jaw:
    """Return the jaw where the outline's swing may be due to noise or to strands.

    The offset is rectangular between the two cases. Both sides have the same error, but separate
    terms, so each term is enlarged by sqrt(2) to give the right sum.
    """
    apart = (bearing.offset_mm - plain.offset_mm) / 2
    u = float(np.hypot(max(bearing.u_mm, plain.u_mm), apart * np.sqrt(2 / 3)))
    ordinary, lang = bearing.wires_mm
    wires = HALF * ordinary, HALF * lang
    return replace(bearing, offset_mm=plain.offset_mm + apart, u_mm=u, wires_mm=wires)


def on_wires(jaws: Jaws, lay: str) -> Jaws:
    """Return the jaws as they bear on the wires that the tracer's windows hide.

    Round wires stand out by `Jaw.wires_mm`; compacted or worn ones do not. So the height is
    rectangular between zero and that of the lay; both sides have the same error, but separate
    terms, so each term is enlarged by sqrt(2) to give the right sum.

    Parameters
    ----------
    jaws : Jaws
        As fitted to the outline.
    lay : {"ordinary", "lang", ""}
        Direction of the wires in the strands; where it is not known, either is as likely.
    """
    sides = []
    for jaw in (jaws.left, jaws.right):
        ordinary, lang = jaw.wires_mm
        most = np.array({"ordinary": [ordinary], "lang": [lang]}.get(lay, [ordinary, lang]))
        higher = float(HALF * most.mean())
        u = float(np.sqrt(2 * ((most**2).mean() / 3 - higher**2)))
        sides.append(
            replace(jaw, offset_mm=jaw.offset_mm + higher, u_mm=float(np.hypot(jaw.u_mm, u)))
        )
    return replace(jaws, left=sides[0], right=sides[1], lay=lay)


def _swing(side: _Side, length: float, d: float) -> Array:
    """Return an outline's heights over its median within the jaws, mm, without lumps."""
    within = median_filter(side.raw, 3, mode="nearest")[np.abs(side.along) <= length / 2]
    swing = within - median_of(within)
    return np.asarray(swing[np.abs(swing) < STRAY_SHARE * d])


def _unexplained_share(sides: list[_Side], other_mm: float, length: float, d: float) -> float:
    """Return the share of the variance of outlines without crowns that noise does not explain.

    An outline traced in windows has few independent points, so its observed noise varies: one
    standard deviation of its variance is added to the noise. `other_mm` is the displacement by
    other effects: burnt-out light, and the pixels themselves.
    """
    total, noise, independent = 0.0, 0.0, 0.0
    for side in sides:
        swing = _swing(side, length, d)
        apart = np.diff(side.raw[np.abs(side.along) <= length / 2]) / np.sqrt(2)
        noise += max(side.least_noise, float(apart.std()), other_mm) ** 2
        total += float(swing.var()) if len(swing) else 0.0
        # after all passes the effective window is half as long (a white spectrum's width)
        independent += len(swing) / (np.sqrt(np.pi) * max(side.window, 1.0))
    noise *= 1 + float(np.sqrt(2 / max(independent, 2.0)))
    return max(0.0, 1 - noise / max(total, noise))


def _possibly_on_wires(jaw: Jaw, side: _Side, share: float, length: float, d: float) -> Jaw:
    """Return the jaw of an outline without crowns, which may be that of round wires.

    On a bar, whose surface may disturb the outline, a jaw bears on the outline's median. On smooth
    strands of round wires it bears on the highest points of a patternless outline, and the tracer's
    windows may hide as much of such short waves as they show. The outline does not show which case
    it is, so the offset is rectangular between them; both sides have the same error, as in
    `_midway`. `share` is the share of the swing that noise does not explain.
    """
    swing = _swing(side, length, d)
    if not share or not len(swing):
        return jaw
    height = share * float(swing.max())
    u = float(np.hypot(jaw.u_mm, height * np.sqrt(2 / 3)))
    return replace(jaw, offset_mm=jaw.offset_mm + height, u_mm=u)


def _without_rim(jaw: Jaw, rim_mm: float, u_mm: float) -> Jaw:
    """Return the jaw of a smooth bar, corrected for mirror images in its flank."""
    u = float(np.hypot(jaw.u_mm, u_mm))
    return replace(jaw, offset_mm=jaw.offset_mm - rim_mm, u_mm=u)


def _rims_mm(left: Edge, right: Edge) -> tuple[tuple[float, float], ...]:
    """Return each side's rim and its u, mm; the two u together give that of the rims' sum."""
    one, other, u = rims_px(left.rim_hypotheses(), right.rim_hypotheses())
    half = left.step_mm * u / float(np.sqrt(2))
    return (left.step_mm * one, half), (right.step_mm * other, half)


def _common_piece(left: Edge, right: Edge) -> tuple[Edge, Edge]:
    """Return both edges limited to the piece of rope on which both were found."""
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


def _refuse_gaps(edge: Edge, length: float) -> None:
    """Refuse an edge that was found along too little of the jaw."""
    within = np.abs(edge.along_mm) <= length / 2
    share = 100 * float(np.isfinite(edge.outward_mm[within]).mean())
    refuse_below("one-edge-only", share)


@dataclass(frozen=True, slots=True)
class _Line:
    """Fit to the crowns along the rope: slope, its u, bow, 1/mm, swelling of a side, its u."""

    slope: float
    u_slope: float
    curve: float
    swell: float
    u_swell: float


def _direction(
    along: Array, smooth: list[Array], crowns: list[NDArray[np.int64]], d: float, usual_mm: float
) -> _Line:
    """Fit one slope, one bow and one swelling to the crowns of both sides, given by their indices.

    The crowns' scatter about the line has a prior (`usual_mm`): ten crowns hardly determine it
    besides six parameters, and without a prior a few crowns in line by chance tilted the jaws.
    """
    rows, heights = [], []
    for values, tops, sign in zip(smooth, crowns, (1.0, -1.0), strict=True):
        if len(tops) == 0:
            raise RefusedError(finding("too-few-crowns", 0.0))
        # a lump must not tilt the jaws: it is identified by its height over a robust line (median
        # of the slopes between any two crowns: Theil 1950, Sen 1968)
        s, y = along[tops], values[tops]
        one, other = np.triu_indices(len(tops), 1)
        tilt = median_of((y[other] - y[one]) / (s[other] - s[one])) if len(one) else 0.0
        level = y - tilt * s
        for i in tops[level <= median_of(level) + 2 * STRAY_SHARE * d]:
            x = along[i]
            rows.append([sign > 0, sign < 0, sign * x, x, sign * x * x, x * x])
            heights.append(values[i])
    A, y = np.array(rows, float).reshape(-1, 6), np.array(heights)
    # priors: parallel to the rough axis, no thicker at one end, bend within limits, usual swelling
    most_bow = limit_of("rope-not-straight") / 100 / d
    usual_swell = SWELL_SHARE / (HALF_LENGTH**2 * d)
    known = np.eye(6)[2:] / np.array([U_AXIS, U_AXIS, most_bow, usual_swell])[:, None]
    root = np.vstack([A / usual_mm, known])
    observed = np.append(y / usual_mm, np.zeros(4))
    start = np.linalg.lstsq(root, observed, rcond=None)[0]
    solution = fit(lambda line: root @ line - observed, start, lambda _: root, robust=len(y))
    seen = float((solution.weights * solution.residuals**2).sum())
    variance = (USUAL_CROWNS + seen) / (USUAL_CROWNS + max(0, len(y) - 6))
    u = np.sqrt(variance * np.diag(solution.covariance))
    value = solution.values
    return _Line(float(value[2]), float(u[2]), float(value[4]), float(value[5]), float(u[5]))


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """One side's outline along the jaws, mm: as traced, and smoothed over a third of a crown.

    `loose` says where it may be that of a loose wire. `least_noise` is the lower bound of the noise
    of a crown's height. `swell` is the swelling of the rope from the station outwards, with its
    standard uncertainty. `noise` is that of the outline's points; `window` is the tracer's window,
    one sigma, samples.
    """

    along: Array
    raw: Array
    broad: Array
    loose: NDArray[np.bool_]
    least_noise: float
    swell: tuple[Array, Array]
    noise: float
    window: float


def _fit_jaw(
    side: _Side,
    crowns: NDArray[np.int64],
    pitch: float | None,
    length: float,
    size: int,
    d: float,
) -> Jaw:
    """Return the line that bears on the highest wire within the jaw.

    `crowns` are the places of crowns, as indices; `size` is the length, in samples, over which the
    outline is averaged for a height.
    """
    along, broad = side.along, side.broad
    within = np.abs(along) <= length / 2
    step = float(along[1] - along[0])
    raw = median_filter(side.raw, 3, mode="nearest")
    close = local_parabolas(raw, size)
    run = HALF * (pitch or d) / step
    if pitch is None:
        noise = noise_of_crowns(raw, size, run, side.least_noise)
        independent = max(2.0, within.sum() / size)
        u = noise * float(np.sqrt(np.pi / 2 / independent))  # of a median (Kenney and Keeping)
        return Jaw(float(median_of(close[within])), u, 0, float(close[within].std()), 0)
    # lumps are identified in the outline used for heights, as smoothing over a crown lowers a wire
    tops = np.maximum(broad, close)
    usual = float(np.sort(tops[crowns])[(len(crowns) - 1) // 2])  # of two, the lower
    stray = (tops > usual + STRAY_SHARE * d) | side.loose
    strays = len(runs_of(stray & within))
    if stray.any():  # the flanks of a lump are not strand either
        stray = with_flanks(tops > usual + 0.25 * STRAY_SHARE * d, pitch, step) | side.loose
    sound = crowns[~stray[crowns]]
    if len(sound) == 0:
        raise RefusedError(finding("too-few-crowns", 0.0))
    under = within[sound]
    below = _below_tops(broad, sound, within)
    # the noise of points is at most that from the light out of step, and at most their scatter
    drawn = drawn_noise(len(raw), side.window)
    unit = noise_of_crowns(drawn.ravel(), size, run, 0.0)
    point = min(side.noise, noise_of_crowns(raw, size, run, 0.0, stray) / unit)
    noise = noise_of_crowns(raw, size, run, side.least_noise, stray)
    heights = crown_heights(close, sound, size)
    heights -= raised_by(raw, point * drawn, pitch, step, d, size)
    swell = side.swell[0][sound], side.swell[1][sound]
    top, u = highest_crown(heights, below, noise, USUAL_SPREAD * d, swell)
    spread = float(broad[sound[under]].std(ddof=1)) if under.sum() > 1 else 0.0
    return Jaw(top, u, int(under.sum()), spread, strays)


def _below_tops(outline: Array, crowns: NDArray[np.int64], within: NDArray[np.bool_]) -> Array:
    """Return how far below each crown's top the jaw meets it, mm, for `highest_crown`.

    A jaw also bears on the flank of a crown whose top is just beyond its end, which may be higher
    than all tops within it where a rope is thinned or its crowns differ.
    """
    below = np.where(within[crowns], 0.0, np.inf)
    first, last = np.flatnonzero(within)[[0, -1]]
    for end, beyond in ((first, crowns[crowns < first][-1:]), (last, crowns[crowns > last][:1])):
        # not zero, which stands for a crown that the jaw spans
        below[np.isin(crowns, beyond)] = np.maximum(0.001, outline[beyond] - outline[end])
    return np.asarray(below)
