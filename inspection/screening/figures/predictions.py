"""What the rope predicts of today's readings, each one from those before it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.special import log_ndtr

from inspection.screening.figures.expected_readings import Array, Figures, Fit, at, fit

# Repeatability and evenness have a posterior: five by three points of it, with weights.
GRID = tuple(
    (hand, rope, math.log(w_hand * w_rope))
    for hand, w_hand in ((-1.8, 0.08), (-0.8, 0.24), (0.0, 0.36), (0.8, 0.24), (1.8, 0.08))
    for rope, w_rope in ((-1.3, 0.25), (0.0, 0.5), (1.3, 0.25))
)
WORTH_DRAWING = 1.5  # logarithm of an e-value; a smaller one is no evidence
DRAWS, DRAW_SEED = 300, 4309  # one seed: the same log gives the same answer


@dataclass(frozen=True, slots=True)
class Prediction:
    """The rope's predictive distribution of today's readings, each one given those before it.

    Parameters
    ----------
    log_weight : float
        Logarithm of the prior weight of this repeatability and evenness.
    before_mm : ndarray of shape (m,)
        Mean of each reading given what was read before today, mm.
    root_mm : ndarray of shape (m, m)
        Lower triangle whose product with its transpose is their covariance given that, mm.
    sd_mm : ndarray of shape (m,)
        Standard deviation of each before rounding, given all before it, mm.
    """

    log_weight: float
    before_mm: Array
    root_mm: Array
    sd_mm: Array

    def expected_mm(self, read_mm: Array) -> Array:
        """Return the mean of each of today's readings given those before it, shape (..., m)."""
        white = solve_triangular(self.root_mm, (read_mm - self.before_mm).T, lower=True)
        expected: Array = read_mm - (white.T * np.diag(self.root_mm))
        return expected

    def log_chances(self, read_mm: Array, step_mm: Array, *, anywhere: bool = True) -> Array:
        """Return the logarithm of the chance of each of today's readings given those before it.

        `read_mm` has the shape (..., m); `anywhere` as in `log_chance`.
        """
        expected = self.expected_mm(read_mm)
        return log_chance(read_mm, expected, self.sd_mm, step_mm, anywhere=anywhere)


def rope_predictions(
    figures: Figures, known: Fit | None = None, found: Fit | None = None
) -> list[Prediction]:
    """Return the rope's predictive distributions, one for each likely strength of scatter.

    The strengths come from everything read before today (`known`, if it has been fitted), so that
    figures with hardly any scatter are not their own evidence. A few fixed strengths do not cover
    unusual people: the last prediction has the most likely strengths given all figures (`found`, if
    it has been fitted).
    """
    known = known or fit(figures.before_today())
    sd = 1.0 / np.sqrt(np.diag(known.information))
    of_rope = np.arange(len(sd)) < 2
    predictions = [
        _prediction(figures, known.learned + np.where(of_rope, rope, hand) * sd, log_weight)
        for hand, rope, log_weight in GRID
    ]
    return [
        *predictions,
        likeliest_prediction(figures, known, found or fit(figures, start=known.learned)),
    ]


def likeliest_prediction(figures: Figures, known: Fit, found: Fit) -> Prediction:
    """Return the prediction with the most likely scatter given all figures.

    Its weight is the prior density there times the width of the posterior (Laplace; Kass and
    Raftery, Bayes factors, J. Am. Stat. Assoc. 1995; 90: 773).
    """
    beforehand = at(known.figures, found.learned)
    wide = np.linalg.slogdet(known.information)[1] - np.linalg.slogdet(found.information)[1]
    weight = log_height(beforehand) - log_height(known) + 0.5 * float(wide)
    return _prediction(figures, found.learned, weight)


def log_height(fitted: Fit) -> float:
    """Return the logarithm of the posterior of the learned parts, up to a constant."""
    figures = fitted.figures
    likely = -0.5 * float(figures.off_mm @ fitted.pull)
    if len(figures.off_mm):
        likely += 0.5 * float(np.linalg.slogdet(fitted.precision)[1])
    return likely + figures.log_prior(fitted.learned)


def _prediction(figures: Figures, learned: Array, log_weight: float) -> Prediction:
    first = figures.first
    before = values_today(figures) - figures.off_mm[first:]
    root = cholesky(figures.covariance(learned), lower=True, check_finite=False)
    if first:
        white = solve_triangular(root[:first, :first], figures.off_mm[:first], lower=True)
        before = before + root[first:, :first] @ white
    return _of_root(log_weight, before, root[first:, first:], figures.step_mm[first:])


def _of_root(log_weight: float, before_mm: Array, root_mm: Array, step_mm: Array) -> Prediction:
    variance = np.diag(root_mm) ** 2 - step_mm**2 / 12.0
    return Prediction(log_weight, before_mm, root_mm, np.sqrt(np.maximum(variance, 1e-6)))


def expected_otherwise(prediction: Prediction, figures: Figures, other: Figures) -> Prediction:
    """Return the prediction if today's figures, and only these, were expected to be different."""
    first = figures.first
    covariance = prediction.root_mm @ prediction.root_mm.T
    covariance += (other.fixed_mm2 - figures.fixed_mm2)[first:, first:]
    before = prediction.before_mm - (other.off_mm - figures.off_mm)[first:]
    root = cholesky(covariance, lower=True, check_finite=False)
    return _of_root(prediction.log_weight, before, root, figures.step_mm[first:])


def log_chance(
    read_mm: Array,
    expected_mm: Array,
    sd_mm: Array | float,
    step_mm: Array,
    *,
    anywhere: bool = True,
) -> Array:
    """Return the logarithm of the probability that rounded readings show these figures.

    A step coarser than the scatter leaves open where within it the diameter is. The position that
    makes the figure most likely counts, so an even rope read with a coarse step is no surprise.
    Without `anywhere` it is the plain probability.
    """
    sd = np.broadcast_to(np.asarray(sd_mm, dtype=float), read_mm.shape)
    off = np.abs(read_mm - expected_mm)
    if anywhere:
        off = np.where(step_mm > sd, np.maximum(off - step_mm / 2.0, 0.0), off)
    high, low = log_ndtr((step_mm / 2.0 - off) / sd), log_ndtr((-step_mm / 2.0 - off) / sd)
    chance: Array = high + np.log1p(-np.exp(np.minimum(low - high, -1e-12)))
    return np.maximum(chance, -600.0)


def values_today(figures: Figures) -> Array:
    """Return the values of today's readings, mm, shape (m,)."""
    return np.array([figures.log.readings[entry].value_mm for entry in figures.entries])


def drawn(
    prediction: Prediction,
    step_mm: Array,
    rng: np.random.Generator,
    source_mm: Array | None = None,
    part: float = 0.0,
) -> Array:
    """Return readings drawn from this prediction, shape (m,), mm.

    Parameters
    ----------
    prediction : Prediction
        The rope's predictive distribution.
    step_mm : ndarray of shape (m,)
        What each is rounded to, mm.
    rng : numpy.random.Generator
        Random number generator.
    source_mm : ndarray of shape (m,), optional
        Values copied instead in part of them; NaN where there is none.
    part : float, optional
        Fraction of the readings that are copied.
    """
    count = len(step_mm)
    white, read = np.zeros(count), np.empty(count)
    chance, copied = rng.normal(size=count), rng.random(count) < part
    for k in range(count):
        expected = prediction.before_mm[k] + prediction.root_mm[k, :k] @ white[:k]
        read[k] = expected + prediction.sd_mm[k] * chance[k]
        if source_mm is not None and copied[k] and not math.isnan(source_mm[k]):
            read[k] = source_mm[k]
        read[k] = round(read[k] / step_mm[k]) * step_mm[k]
        white[k] = (read[k] - expected) / prediction.root_mm[k, k]
    return read


def chance_by_drawing(log_e: float, log_e_drawn: Array, log_weights: Array) -> float:
    """Return the probability that an honest log shows an e-value at least as large.

    Parameters
    ----------
    log_e : float
        Logarithm of the e-value found.
    log_e_drawn : ndarray of shape (n,)
        The same for readings drawn from the alternative, not from the rope's prediction.
    log_weights : ndarray of shape (n,)
        Logarithm of the likelihood of each drawn set under the rope's prediction, over that under
        the alternative.

    Notes
    -----
    Importance sampling with the alternative as proposal: P(e >= x) is the mean of the weights of
    the draws with e >= x, however small it is (Siegmund, Importance sampling in the Monte Carlo
    study of sequential tests, Ann. Stat. 1976; 4: 673; from memory, confidence 0.9). Two standard
    errors are added, and Markov's bound 1/e is never exceeded.
    """
    weights = np.where(log_e_drawn >= log_e, np.exp(np.minimum(log_weights, 0.0)), 0.0)
    margin = 2.0 * float(weights.std()) / math.sqrt(len(weights))
    return min(markov_bound(log_e), float(weights.mean()) + margin)


def markov_bound(log_e: float) -> float:
    """Return the upper bound on the probability that an honest log shows such an e-value."""
    return math.exp(-max(log_e, 0.0))
