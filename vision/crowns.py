"""Strand crowns in a traced outline: their period and where they stand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, median_filter
from scipy.signal import find_peaks

from vision.edges import Edge
from vision.parabolas import local_parabolas

Array = NDArray[np.float64]

SMOOTH_PITCHES = 0.30  # length of the local parabola over the crown pitch
SMOOTH_DIAMETERS = 0.10  # the same over the diameter, before the pitch is known
CREST_SHARE, LEAST_CREST_SHARE = 0.005, 0.0015  # of the diameter: lower ripples are no crowns
LUMP_SHARE = 0.024  # of the diameter over three quarters of the outline: surely no crown
# Of the diameter. With lay lengths of 6.25 diameters and more, crowns so far apart are those of
# five strands or fewer, and between them the outline falls by 6 % (equal circles that touch; 4 %
# where wear took 2 %). What waves that slowly and less is a bar: gloss wanders along its edge.
LONG_PITCH, LONG_SWING = 1.3, 0.024
ALIKE = 0.5  # correlation, one pitch on, that one side at least must show of its own


def bridged(edge: Edge, d: float) -> Array:
    """Return the edge without spikes and gaps: both are bridged by their neighbours."""
    values = edge.outward_mm
    known = np.isfinite(values)
    x = np.arange(len(values))
    between = np.interp(x, x[known], values[known])
    step = float(edge.along_mm[1] - edge.along_mm[0])
    width = max(5, int(0.12 * d / step)) | 1
    middle = median_filter(between, width, mode="nearest")
    off = np.abs(between - middle)
    spike = off > max(4 * 1.4826 * float(np.median(off)), 1.5 * edge.step_mm)
    good = known & ~spike
    return np.interp(x, x[good], values[good])


def smoothed(values: Array, window: float) -> Array:
    """Return values smoothed by local parabolas over `window` samples."""
    size = max(5, int(window)) | 1
    if size >= len(values):
        size = (len(values) - 1) | 1
    return local_parabolas(values, size)


def crown_pitch(smooth: list[Array], step: float, d: float) -> tuple[float | None, float]:
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
    if swing < LEAST_CREST_SHARE * d:
        return None, swing
    low, high = max(2, int(0.15 * d / step)), min(len(total) - 2, int(2.2 * d / step))
    if high <= low + 2:
        return None, swing
    peaks, _ = find_peaks(total[low:high], prominence=0.15 * total[0])
    if len(peaks) == 0:
        return None, swing
    strongest = float(total[low:high][peaks].max())
    if strongest <= 0:  # nothing in the outline repeats itself
        return None, swing
    # the first peak that is nearly as good as the best: its multiples repeat it
    chosen = next(p for p in peaks if total[low + p] > 0.6 * strongest) + low
    if chosen * step > LONG_PITCH * d and swing < LONG_SWING * d:
        return None, swing
    alike = [float(side[chosen]) for side in each]
    if max(alike) < ALIKE:
        return None, swing
    if swing < CREST_SHARE * d:  # so low a wave must be plain on both sides, with its valleys
        valleys = [float(side[:chosen].min()) for side in each]
        if min(alike) < 0.6 * ALIKE or max(valleys) > -0.2:
            return None, swing
    before, here, after = total[chosen - 1 : chosen + 2]
    bow = before - 2 * here + after
    shift = 0.0 if bow == 0 else 0.5 * (before - after) / bow
    return float((chosen + shift) * step), swing


def with_flanks(lump: NDArray[np.bool_], pitch: float, step: float) -> NDArray[np.bool_]:
    """Return where lumps stand or their flanks: a tenth of a pitch to either side is no strand."""
    return np.asarray(binary_dilation(lump, iterations=max(1, int(0.1 * pitch / step))), np.bool_)


def crests(values: Array, pitch: float | None, step: float, d: float) -> NDArray[np.int64]:
    """Return where crowns stand, as indices; evenly spread places on a smooth bar.

    A lump that stands far above the rest is bridged first, since it would hide crowns beside it.
    """
    if pitch is None:
        return np.arange(0, len(values), max(1, len(values) // 60))
    lump = values > np.percentile(values, 75) + LUMP_SHARE * d
    if lump.any():
        lump = with_flanks(lump, pitch, step)
        x = np.arange(len(values))
        values = np.interp(x, x[~lump], values[~lump])
    peaks, _ = find_peaks(values, distance=max(1, int(0.6 * pitch / step)))
    return np.asarray(peaks[~lump[peaks]])
