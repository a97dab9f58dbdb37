"""What the rope lets expect of today's readings, one after the other, before each is read."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.special import log_ndtr

from inspection.screening.expected_readings import Array, Figures, fit

# Repeatability and evenness are known as a posterior: five by three points of it, with weights.
GRID = tuple(
    (hand, rope, math.log(w_hand * w_rope))
    for hand, w_hand in ((-1.8, 0.08), (-0.8, 0.24), (0.0, 0.36), (0.8, 0.24), (1.8, 0.08))
    for rope, w_rope in ((-1.3, 0.25), (0.0, 0.5), (1.3, 0.25))
)


@dataclass(frozen=True, slots=True)
class Account:
    """What the rope lets expect of today's readings, one after the other.

    Parameters
    ----------
    log_weight : float
        Logarithm of how likely this repeatability and evenness are beforehand.
    expected_mm, sd_mm : ndarray of shape (m,)
        Mean and standard deviation of each reading before rounding, given all before it.
    """

    log_weight: float
    expected_mm: Array
    sd_mm: Array


def rope_accounts(figures: Figures) -> list[Account]:
    """Return what the rope lets expect, for each strength of scatter that is likely.

    How strong it is comes from all that was read before today, so that figures which hardly
    scatter can't speak for themselves.
    """
    known = fit(figures.before_today())
    sd = 1.0 / np.sqrt(np.diag(known.information))
    accounts = []
    for hand, rope, log_weight in GRID:
        learned = known.learned + np.where(np.arange(len(sd)) < 2, rope, hand) * sd
        root = cholesky(figures.covariance(learned), lower=True)
        white = solve_triangular(root, figures.off_mm, lower=True)[figures.first :]
        spread = np.diag(root)[figures.first :]
        variance = spread**2 - figures.step_mm[figures.first :] ** 2 / 12.0
        expected = values_today(figures) - spread * white
        accounts.append(Account(log_weight, expected, np.sqrt(np.maximum(variance, 1e-6))))
    return accounts


def log_chance(read_mm: Array, expected_mm: Array, sd_mm: Array | float, step_mm: Array) -> Array:
    """Return the logarithm of the probability that rounded readings show these figures.

    A step that is coarser than the scatter leaves open where within it the diameter lies; the
    place that makes the figure likeliest counts, so that an even rope read with a coarse step
    is no surprise.
    """
    sd = np.broadcast_to(np.asarray(sd_mm, dtype=float), read_mm.shape)
    off = np.abs(read_mm - expected_mm)
    off = np.where(step_mm > sd, np.maximum(off - step_mm / 2.0, 0.0), off)
    high, low = log_ndtr((step_mm / 2.0 - off) / sd), log_ndtr((-step_mm / 2.0 - off) / sd)
    chance: Array = high + np.log1p(-np.exp(np.minimum(low - high, -1e-12)))
    return np.maximum(chance, -600.0)


def values_today(figures: Figures) -> Array:
    """Return the values of today's readings, mm, shape (m,)."""
    return np.array([figures.log.readings[entry].value_mm for entry in figures.entries])
