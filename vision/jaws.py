"""Virtual jaws: a line on each side that bears on the strand crowns, as a gauge's jaw does.

The traced outline rises and falls from crown to valley. It is smoothed by local parabolas
(Savitzky and Golay 1964) much shorter than a crown, so that noise averages out while the crown
keeps its height. The rope's direction comes from the crowns of both sides together, because
the jaws of a gauge are parallel and settle along the rope. Within the jaw the line bears on the
highest crown; a single crown that stands out far above its neighbours (a broken wire, a lump
of grease) is left out and said. What the highest of several noisy crowns reads too high is
taken off again (order statistics of normal noise; Blom 1958).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal import find_peaks, savgol_filter
from scipy.stats import norm

from vision.edges import Edge, Outline
from vision.findings import RefusedError, finding, refuse_above, refuse_below

Array = NDArray[np.float64]

JAW_DIAMETERS = 2.0  # default length; a wide jaw bears on two to three neighbouring strands
FINE_DIAMETERS = 0.10  # length of the local parabola that a single wire's top allows
SMOOTH_PITCHES = 0.30  # length of the local parabola over the crown pitch
SMOOTH_DIAMETERS = 0.20  # the same over the diameter, before the pitch is known
CREST_SHARE = 0.003  # of the diameter: ripples lower than this are no crowns
ROUGH_SHARE = 0.006  # of the diameter: swing without a period that no smooth bar has
ALIKE = 0.3  # correlation, one pitch on, that one side at least must show of its own
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
    sides = outline.left, outline.right
    along = outline.left.along_mm
    if along[0] > -length / 2 + 0.02 * d or along[-1] < length / 2 - 0.02 * d:
        raise RefusedError(finding("off-the-card", float(outline.origin_mm[0])))
    for edge in sides:
        _check_seen(edge, length)
    step = float(along[1] - along[0])
    filled = [_filled(edge, d) for edge in sides]
    first = [_smoothed(values, SMOOTH_DIAMETERS * d / step) for values in filled]
    pitch, swing = _crown_pitch(first, step, d)
    rough = pitch is None and swing > ROUGH_SHARE * d
    if pitch is not None:
        length = max(length, 1.1 * pitch)
        if along[0] > -length / 2 or along[-1] < length / 2:
            raise RefusedError(finding("too-few-crowns", 0.0))
        smooth = [_smoothed(v, SMOOTH_PITCHES * pitch / step) for v in filled]
    else:
        smooth = first
    slope, u_slope, curve = _direction(along, smooth, pitch, step)
    bend = abs(curve) * (length / 2) ** 2
    refuse_above("rope-not-straight", 100 * bend / d)
    fine = FINE_DIAMETERS * d / step
    jaws = []
    for values, raw, sign in zip(smooth, filled, (1.0, -1.0), strict=True):
        turned = sign * slope * along
        crests = list(_crests(values - turned, pitch, step))
        if pitch is not None and not any(abs(along[i]) <= length / 2 for i in crests):
            raise RefusedError(finding("too-few-crowns", 0.0))
        jaws.append(
            _bear(raw - turned, values - turned, along, length, fine, crests, pitch, d)
            if not rough
            else _bear_on_rough(raw - turned, along, length, swing)
        )
    across = np.array([-outline.direction[1], outline.direction[0]])
    direction = outline.direction + slope * across
    return Jaws(
        jaws[0], jaws[1], direction / np.linalg.norm(direction), length, pitch, u_slope, bend
    )


def _check_seen(edge: Edge, length: float) -> None:
    within = np.abs(edge.along_mm) <= length / 2
    share = 100 * float(np.isfinite(edge.outward_mm[within]).mean())
    refuse_below("one-edge-only", share)


def _filled(edge: Edge, d: float) -> Array:
    """Return the edge without spikes and gaps: both are bridged by their neighbours."""
    values = edge.outward_mm
    known = np.isfinite(values)
    x = np.arange(len(values))
    bridged = np.interp(x, x[known], values[known])
    step = float(edge.along_mm[1] - edge.along_mm[0])
    width = max(5, int(0.12 * d / step)) | 1
    middle = median_filter(bridged, width, mode="nearest")
    off = np.abs(bridged - middle)
    spike = off > max(4 * 1.4826 * float(np.median(off)), 1.5 * edge.step_mm)
    good = known & ~spike
    return np.interp(x, x[good], values[good])


def _smoothed(values: Array, window: float) -> Array:
    size = max(5, int(window)) | 1
    if size >= len(values):
        size = (len(values) - 1) | 1
    return np.asarray(savgol_filter(values, size, 2, mode="interp"))


def _crown_pitch(smooth: list[Array], step: float, d: float) -> tuple[float | None, float]:
    """Return the period of the crowns and the swing of the outline, mm.

    The period is that of the autocorrelation of both sides; None where there is none.
    """
    each = []
    swing = 0.0
    for values in smooth:
        x = np.arange(len(values))
        flat = values - np.polyval(np.polyfit(x, values, 2), x)
        # crowns end at one height: what stands higher is a lump or a loose wire
        flat = np.minimum(flat, np.percentile(flat, 80))
        flat -= flat.mean()
        swing = max(swing, float(flat.std()))
        full = np.correlate(flat, flat, mode="full")[len(flat) - 1 :]
        each.append(full / np.arange(len(flat), 0, -1) / max(float(flat.var()), 1e-12))
    total = each[0] + each[1]
    swing *= float(np.sqrt(8))  # from highest to lowest of a wave
    if swing < CREST_SHARE * d:
        return None, swing
    low, high = max(2, int(0.15 * d / step)), min(len(total) - 2, int(2.2 * d / step))
    if high <= low + 2:
        return None, swing
    peaks, _ = find_peaks(total[low:high], prominence=0.15 * total[0])
    if len(peaks) == 0:
        return None, swing
    strongest = float(total[low:high][peaks].max())
    # the first peak that is nearly as good as the best: its multiples repeat it
    chosen = next(p for p in peaks if total[low + p] > 0.6 * strongest) + low
    if max(float(side[chosen]) for side in each) < ALIKE:
        return None, swing
    before, here, after = total[chosen - 1 : chosen + 2]
    bow = before - 2 * here + after
    shift = 0.0 if bow == 0 else 0.5 * (before - after) / bow
    return float((chosen + shift) * step), swing


def _crests(values: Array, pitch: float | None, step: float) -> NDArray[np.int64]:
    if pitch is None:
        return np.arange(0, len(values), max(1, len(values) // 60))
    peaks, _ = find_peaks(values, distance=max(1, int(0.6 * pitch / step)))
    return np.asarray(peaks)


def _direction(
    along: Array, smooth: list[Array], pitch: float | None, step: float
) -> tuple[float, float, float]:
    """Fit one slope and one bow to the crowns of both sides; return slope, its u, the bow."""
    rows, heights = [], []
    for values, sign in zip(smooth, (1.0, -1.0), strict=True):
        for i in _crests(values, pitch, step):
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


def _bear_on_rough(raw: Array, along: Array, length: float, swing: float) -> Jaw:
    """Return a line on an outline that swings without a period: high, and little known."""
    tops = raw[np.abs(along) <= length / 2]
    return Jaw(float(np.percentile(tops, 95)), swing / 4, 0, float(tops.std()), 0)


def _bear(
    raw: Array,
    broad: Array,
    along: Array,
    length: float,
    fine: float,
    crests: list[int],
    pitch: float | None,
    d: float,
) -> Jaw:
    """Return the line that bears on the highest wire within the jaw.

    `raw` is the outline, `broad` the outline smoothed over a third of a crown, `fine` the length
    in samples over which a wire's own rounding may be averaged.
    """
    within = np.abs(along) <= length / 2
    size = max(5, int(fine)) | 1
    close = savgol_filter(median_filter(raw, 3, mode="nearest"), size, 2, mode="interp")
    noise = _noise(raw, close, size)
    if pitch is None:
        independent = max(2.0, within.sum() / size)
        values = close[within]
        return Jaw(
            float(np.median(values)), float(noise / np.sqrt(independent)), 0, float(values.std()), 0
        )
    inside = [i for i in crests if within[i]]
    usual = float(np.median(broad[crests]))
    strays = [i for i in inside if broad[i] > usual + STRAY_SHARE * d]
    if len(strays) < len(inside):
        for i in strays:  # what stands near a stray crown is no strand either
            within = within & (np.abs(along - along[i]) > 0.5 * pitch)
    heights = broad[[i for i in inside if within[i]]]
    tops = close[within]
    bumps = tops[find_peaks(tops)[0]] if len(tops) > 2 else tops
    top = float(tops.max())
    # the highest of n values that differ by noise alone stands E[max] above the truth
    rivals = max(1, int((bumps > top - 2.5 * noise).sum()))
    expected = float(norm.ppf((rivals - 0.375) / (rivals + 0.25))) if rivals > 1 else 0.0
    spread = float(heights.std(ddof=1)) if len(heights) > 1 else 0.0
    return Jaw(top - expected * noise, noise, len(heights), spread, len(strays))


def _noise(raw: Array, close: Array, size: int) -> float:
    """Return the standard uncertainty of a smoothed value, mm, from the scatter about it."""
    off = raw - close
    scatter = 1.4826 * float(np.median(np.abs(off - np.median(off))))
    lag = float(np.corrcoef(off[:-1], off[1:])[0, 1]) if off.std() > 0 else 0.0
    together = max(1.0, (1 + lag) / max(1 - lag, 0.05))  # neighbours share part of their noise
    return scatter * float(np.sqrt(min(1.0, 2.25 * together / size)))  # 9/4: parabola's middle
