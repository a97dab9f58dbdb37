"""How high the highest crown under a jaw stands, when every crown is seen with noise.

A jaw bears on the highest crown that it spans. Of several crowns seen with noise the highest
reads too high, because it was chosen for its noise as well as for its height. So each crown's
height is first drawn towards the mean of all, by the share of their scatter that noise explains
(empirical Bayes: Efron and Morris 1973), and what counts is the expected highest of the heights
that are then still possible (moments of the largest of independent normal values). Crowns
that truly differ keep their heights; crowns that differ by noise alone are averaged.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.parabolas import local_parabolas

Array = NDArray[np.float64]

CREST_PITCHES = 0.05  # to either side of a crest: there its highest wire lies
PLAIN_PITCHES = 0.5  # of a crown is as good as a parabola: what strays from it is noise
LEAST_NOISE_PX = 0.02  # of a crown's height, however smooth the outline looks
# Scatter of true crowns as it is thought to be before they are seen, over the diameter, and for
# how many crowns that thought counts.
USUAL_SPREAD, USUAL_CROWNS = 0.0012, 2.0
# Scatter of the heights seen, over the usual, that no rope showed but one thinned by 6 % in one
# place; beyond it part of the side is traced wrongly, and each 1 more adds 2 to u.
MOST_SCATTER, FOR_MORE = 6.0, 2.0


def crest_heights(close: Array, crests: NDArray[np.int64], pitch: float) -> Array:
    """Return how high each crown's highest wire stands.

    Parameters
    ----------
    close : ndarray of shape (N,)
        The outline, smoothed over less than a wire's rounding.
    crests : ndarray of shape (K,)
        Where crowns stand, as indices.
    pitch : float
        Their period, in samples.
    """
    reach = max(2, int(CREST_PITCHES * pitch))
    return np.array([close[max(0, i - reach) : i + reach + 1].max() for i in crests])


def noise_of_crowns(outline: Array, size: int, run: float, least: float) -> float:
    """Return the standard deviation of a crown's height that noise explains.

    It is read from how the outline, smoothed half as long as for its height, scatters about
    parabolas over most of a crown, on its upper half, where it is round. Of the noise these
    parabolas follow a share themselves: that of the two lengths.

    Parameters
    ----------
    outline : ndarray of shape (N,)
        The outline, without spikes one sample wide.
    size : int
        Length over which it is smoothed for its height, samples.
    run : float
        Length of the parabolas, samples.
    least : float
        What no outline stays below, in its unit.
    """
    longest = (len(outline) - 1) | 1
    fine = min(max(5, size // 2) | 1, longest)
    broad = min(max(2 * fine + 1, int(run)) | 1, longest)
    plain = local_parabolas(outline, broad)
    off = (local_parabolas(outline, fine) - plain)[plain >= np.median(plain)]
    scatter = 1.4826 * float(np.median(np.abs(off - np.median(off))))
    return max(least, scatter / float(np.sqrt(1 - fine / broad)))


def highest_crown(
    heights: Array, under: NDArray[np.bool_], noise: float, usual_spread: float
) -> tuple[float, float]:
    """Return the expected height of the highest crown under the jaw, and its standard uncertainty.

    Parameters
    ----------
    heights : ndarray of shape (K,)
        Height of every crown in view, seen with noise.
    under : ndarray of shape (K,), bool
        Which of them the jaw spans; one at least.
    noise : float
        Standard deviation of that noise.
    usual_spread : float
        Standard deviation of true heights as it is thought to be beforehand.

    References
    ----------
    .. [1] B. Efron, C. Morris, J. Am. Stat. Assoc. 68 (1973) 117.
    """
    count = len(heights)
    mean = float(heights.mean())
    seen = float(heights.var(ddof=1)) if count > 1 else noise**2
    true = max(seen - noise**2, 0.0)
    true = ((count - 1) * true + USUAL_CROWNS * usual_spread**2) / (count - 1 + USUAL_CROWNS)
    kept = true / (true + noise**2)
    possible = mean + kept * (heights[under] - mean)
    # the mean of all is itself known to noise / sqrt(count) only
    own = noise * float(np.sqrt(kept))
    shared = noise * float(np.sqrt((1 - kept) / count))
    top, scatter = _largest(possible, own)
    freedom = count + USUAL_CROWNS  # how well noise and shape are told apart: Student's variance
    wider = float(np.sqrt(freedom / (freedom - 2)))
    beyond = max(0.0, float(np.sqrt(seen)) - MOST_SCATTER * usual_spread)
    return top, float(np.hypot(wider * np.hypot(scatter, shared), FOR_MORE * beyond))


def _largest(means: Array, deviation: float) -> tuple[float, float]:
    """Return mean and standard deviation of the largest of independent normal values."""
    if len(means) == 1:
        return float(means[0]), deviation
    x = np.linspace(means.min() - 6 * deviation, means.max() + 6 * deviation, 601)
    below = ndtr((x[:, None] - means) / deviation).prod(axis=1)
    density = np.gradient(below, x)
    density /= np.trapezoid(density, x)
    mean = float(np.trapezoid(x * density, x))
    return mean, float(np.sqrt(max(np.trapezoid((x - mean) ** 2 * density, x), 0.0)))
