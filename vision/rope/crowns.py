"""Strand crowns in a traced outline: their period, their places and the height of the highest.

A jaw bears on the highest crown that it spans. The highest of several crowns measured with noise
reads too high, because it was selected for its noise as well as for its height. So each crown's
height is first shrunk towards the mean of all, by the share of their variance that noise explains
(empirical Bayes: Efron and Morris 1973). The result is then the expected highest of the remaining
distributions (moments of the largest of independent normal values). Crowns that truly differ keep
their heights; crowns that differ by noise alone are averaged.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, maximum_filter1d, median_filter
from scipy.special import ndtr

from vision.least_squares import scatter_of
from vision.medians import median_of, percentile_of
from vision.rope.constants import (
    CLOSE_PITCH,
    CROWN_PART,
    HALF,
    PASSES,
    STRAY_SHARE,
    UNEVEN_SHARE,
    USUAL_CROWNS,
)
from vision.rope.savitzky_golay import local_parabolas, odd_size

Array = NDArray[np.float64]

REDRAWN = 16  # realisations of noise: enough for the crowns' mean to a twentieth of the noise
WAVE_SIGMAS = 8**0.5  # peak-to-peak height of a sine wave over its standard deviation


def fill_outliers(along_mm: Array, values: Array, px_mm: float, d: float) -> Array:
    """Return an outline without spikes and gaps: both are interpolated from their neighbours.

    Parameters
    ----------
    along_mm, values : ndarray of shape (N,)
        Places along the rope, and the outline there; NaN where it is not known.
    px_mm, d : float
        Size of a pixel and the rope's diameter, mm.
    """
    known = np.isfinite(values)
    x = np.arange(len(values))
    between = np.interp(x, x[known], values[known])
    step = float(along_mm[1] - along_mm[0])
    width = odd_size(CLOSE_PITCH / 3 * d / step)  # a third of the smallest pitch
    middle = median_filter(between, width, mode="nearest")
    off = between - middle
    scatter = scatter_of(off)
    spike = np.abs(off) > max(4 * scatter, 1.5 * px_mm)
    good = known & ~spike
    return np.interp(x, x[good], values[good])


def smoothed(values: Array, window: float) -> Array:
    """Return values (..., N) smoothed by local parabolas over `window` samples."""
    size, longest = odd_size(window), values.shape[-1]
    if size >= longest:
        size = (longest - 1) | 1
    return local_parabolas(values, size)


def crown_pitch(smooth: list[Array], step: float, d: float) -> tuple[float | None, float]:
    """Return the period of the crowns and the peak-to-peak swing of the outline, mm.

    The period is that of the autocorrelation of both sides; None where there is none.
    """
    each = []
    swing = 0.0
    count = len(smooth[0])
    bowed = np.linalg.qr(np.vander(np.linspace(-1, 1, count), 3))[0]
    for values in smooth:
        flat = values - bowed @ (bowed.T @ values)
        # crowns have one height: anything higher is a lump or a loose wire
        flat = np.minimum(flat, percentile_of(flat, 80))
        flat -= flat.mean()
        swing = max(swing, float(flat.std()))
        alike = np.fft.irfft(np.abs(np.fft.rfft(flat, 2 * count)) ** 2)[:count]
        each.append(alike / np.arange(count, 0, -1) / max(float(flat.var()), 1e-12))
    total = each[0] + each[1]
    swing *= WAVE_SIGMAS
    if swing < UNEVEN_SHARE * d:
        return None, swing
    from scipy.signal import find_peaks  # half a second that only ropes are worth

    low, high = max(2, int(CLOSE_PITCH / 2 * d / step)), min(len(total) - 2, int(2.2 * d / step))
    if high <= low + 2:
        return None, swing
    peaks, _ = find_peaks(total[low:high], prominence=0.15 * total[0])
    strongest = float(total[low:high][peaks].max()) if len(peaks) else 0.0
    if strongest <= 0:  # the outline is not periodic
        return None, swing
    # the first peak that is nearly as strong as the best, as multiples of the period peak too
    chosen = next(p for p in peaks if total[low + p] > 0.6 * strongest) + low
    if max(float(side[chosen]) for side in each) < HALF:  # not clear on either side
        return None, swing
    before, here, after = total[chosen - 1 : chosen + 2]
    bow = before - 2 * here + after
    shift = 0.0 if bow == 0 else 0.5 * (before - after) / bow
    return float((chosen + shift) * step), swing


def with_flanks(lump: NDArray[np.bool_], pitch: float, step: float) -> NDArray[np.bool_]:
    """Return where lumps and their flanks are: a tenth of a pitch to either side is not strand."""
    return np.asarray(binary_dilation(lump, iterations=max(1, int(0.1 * pitch / step))), np.bool_)


def near(
    along_mm: Array, stretches_mm: tuple[tuple[float, float], ...], reach_mm: float
) -> NDArray[np.bool_]:
    """Return which places (N,) are within `reach_mm` of stretches given by their ends, mm."""
    found = np.zeros(len(along_mm), np.bool_)
    for first, last in stretches_mm:
        found |= (along_mm > first - reach_mm) & (along_mm < last + reach_mm)
    return found


def find_crowns(values: Array, pitch: float | None, step: float, d: float) -> NDArray[np.int64]:
    """Return the places of crowns, as indices; evenly spaced places on a smooth bar.

    A lump far above the rest is first bridged by interpolation, since it would hide crowns beside
    it. A crown's top is read over `CROWN_PART` of a pitch: if that includes interpolated values or
    the outline's end, the peak may be a shoulder and is not used.
    """
    if pitch is None:
        return np.arange(0, len(values), max(1, len(values) // 60))
    from scipy.signal import find_peaks

    upper_quartile = np.sort(values)[3 * len(values) // 4]
    lump = values > upper_quartile + 2 * STRAY_SHARE * d
    if lump.any():
        lump = with_flanks(lump, pitch, step)
        x = np.arange(len(values))
        values = np.interp(x, x[~lump], values[~lump])
    peaks, _ = find_peaks(values)
    reach = max(1, int(CROWN_PART * pitch / 2 / step))
    near_lump = binary_dilation(lump, iterations=reach) if lump.any() else lump
    whole = (peaks >= reach) & (peaks < len(values) - reach)
    peaks = peaks[whole & ~near_lump[peaks]]
    apart = 0.6 * pitch / step
    crowns: list[int] = []
    for peak in peaks[np.argsort(-values[peaks])].tolist():
        if all(abs(peak - other) >= apart for other in crowns):
            crowns.append(peak)
    return np.array(sorted(crowns), np.int64)


def crown_heights(close: Array, crests: NDArray[np.int64], size: int) -> Array:
    """Return the height of each crown's highest wire.

    Parameters
    ----------
    close : ndarray of shape (N,)
        The outline, smoothed over less than the rounding of a wire.
    crests : ndarray of shape (K,)
        Places of crowns, as indices.
    size : int
        Length over which it was smoothed, samples.
    """
    reach = max(2, size // 4)
    return np.asarray(maximum_filter1d(close, 2 * reach + 1, mode="nearest")[crests])


@lru_cache(maxsize=2)  # the two sides of a rope usually need the same noise
def drawn_noise(count: int, window: float) -> Array:
    """Return noise (REDRAWN, count) of unit variance, filtered as by the tracer's passes.

    `window` is one sigma of the tracer's window, samples. The random seed is fixed, so that
    results are reproducible. The cached array is read-only.
    """
    noise = as_traced(np.random.default_rng(0).standard_normal((REDRAWN, count)), window)
    noise = np.asarray(noise / noise.std())
    noise.flags.writeable = False
    return noise


def as_traced(outlines: Array, window: float) -> Array:
    """Return outlines (M, N) as traced in several passes; `window` is one sigma, samples.

    Each pass adds what the window transmits of the deviation that is left.
    """
    left, size = outlines.astype(np.float32), (2 * int(4 * window + 0.5) + 1, 1)
    for _ in range(PASSES):
        left = left - cv2.GaussianBlur(left, size, window, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(outlines - left)


def raised_by(
    outline: Array, noise: Array, pitch: float, step: float, d: float, size: int
) -> float:
    """Return the mean by which crowns read too high because they are selected with noise.

    A crown is searched for where the outline is highest, and its height is that of the highest
    point nearby: both select positive noise. The bias is estimated by adding noise of the same
    kind to the outline once more.

    Parameters
    ----------
    outline : ndarray of shape (N,)
        The outline, without spikes one sample wide, mm.
    noise : ndarray of shape (M, N)
        Noise of the same kind, mm.
    pitch, step, d : float
        Distance of neighbouring crowns, of samples, and the diameter, mm.
    size : int
        Length over which the outline is smoothed for a crown's height, samples.
    """
    values = np.vstack([outline, outline + noise])
    broad = smoothed(values, CROWN_PART * pitch / step)
    heights = [
        crown_heights(one, find_crowns(tops, pitch, step, d), size)
        for one, tops in zip(local_parabolas(values, size), broad, strict=True)
    ]
    again = [float(one.mean()) for one in heights[1:] if len(one)]
    return float(np.mean(again) - heights[0].mean()) if again and len(heights[0]) else 0.0


def noise_of_crowns(
    outline: Array, size: int, run: float, least: float, lump: NDArray[np.bool_] | None = None
) -> float:
    """Return the standard deviation of a crown's height due to noise.

    It is estimated from the scatter of the outline, smoothed half as long as for its height, about
    parabolas over most of a crown, on the upper half of the outline, where it is round. The
    parabolas themselves follow a share of the noise, the ratio of the two lengths, which is
    corrected for.

    Parameters
    ----------
    outline : ndarray of shape (N,)
        The outline, without spikes one sample wide.
    size : int
        Length over which it is smoothed for its height, samples.
    run : float
        Length of the parabolas, samples.
    least : float
        Lower bound of the result, in the outline's unit.
    lump : ndarray of shape (N,), bool, optional
        Where the outline is not that of the rope.
    """
    longest = (len(outline) - 1) | 1
    fine = min(max(5, size // 2) | 1, longest)
    broad = min(max(2 * fine + 1, int(run)) | 1, longest)
    plain = local_parabolas(outline, broad)
    off = local_parabolas(outline, fine) - plain
    rope = np.ones(len(plain), np.bool_) if lump is None else ~lump
    off = off[rope & (plain >= median_of(plain[rope]))]
    scatter = scatter_of(off)
    return max(least, scatter / float(np.sqrt(1 - fine / broad)))


def highest_crown(
    heights: Array,
    below: Array,
    noise: float,
    usual_spread: float,
    swell: tuple[Array, Array] | None = None,
) -> tuple[float, float]:
    """Return the expected height of the highest crown under the jaw, and its standard uncertainty.

    Where no crown is visible under it, the jaw is taken to bear on a hidden one as high as the
    mean of the others, with the crowns' scatter as uncertainty.

    Parameters
    ----------
    heights : ndarray of shape (K,)
        Height of every crown in view, with noise.
    below : ndarray of shape (K,)
        How far below each crown's top the jaw meets it: 0 for a crown that the jaw spans, more
        where it ends on the crown's flank, infinite where it does not reach the crown.
    noise : float
        Standard deviation of that noise.
    usual_spread : float
        Prior standard deviation of true heights.
    swell : tuple of ndarray of shape (K,), optional
        By how much each crown is higher because the rope swells from the jaw's middle outwards
        (lower where it thins), and the standard uncertainty of that.

    References
    ----------
    .. [1] B. Efron, C. Morris, J. Am. Stat. Assoc. 68 (1973) 117.
    """
    count = len(heights)
    higher, u_higher = swell if swell is not None else (np.zeros(count), np.zeros(count))
    even = heights - higher
    off = even - even.mean()
    seen = float(even.var(ddof=1)) if count > 1 else noise**2
    true = max(seen - noise**2, 0.0)
    true = ((count - 1) * true + USUAL_CROWNS * usual_spread**2) / (count - 1 + USUAL_CROWNS)
    kept = true / (true + noise**2)
    # uncertainty of the mean of all, and (`swollen`) of the swelling between it and the jaw
    level = float(np.sqrt((true + noise**2) / count))
    under, met = below == 0, np.isfinite(below)
    if under.any():
        possible = (heights - (1 - kept) * off - below)[met]
        swollen = float(abs(u_higher.mean() - u_higher[under].mean()))
        own, shared = noise * float(np.sqrt(kept)), (1 - kept) * float(np.hypot(level, swollen))
    else:
        possible = np.array([even.mean()])
        own, shared = float(np.sqrt(true)), float(np.hypot(level, u_higher.mean()))
    top, u = _largest(possible, own)
    freedom = count + USUAL_CROWNS  # of the estimated variances: variance of Student's t
    student = float(np.sqrt(freedom / (freedom - 2)))
    return top, student * float(np.hypot(u, shared))


def _largest(means: Array, deviation: float) -> tuple[float, float]:
    """Return the mean and standard deviation of the largest of independent normal values."""
    if len(means) == 1:
        return float(means[0]), deviation
    x = np.linspace(means.min() - 6 * deviation, means.max() + 6 * deviation, 601)
    below = ndtr((x[:, None] - means) / deviation).prod(axis=1)
    density = np.gradient(below, x)
    density /= np.trapezoid(density, x)
    mean = float(np.trapezoid(x * density, x))
    return mean, float(np.sqrt(max(np.trapezoid((x - mean) ** 2 * density, x), 0.0)))
