"""The best estimate of a shift of some figures, and how odd it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr

from inspection.screening.figures.expected_readings import Array, Fit, Hand, at, fit, most_scatter

# A single reading's error has longer tails than a normal one: Student's t with so many degrees of
# freedom, where Jeffreys found 5 to 9 in long series of careful observations (Phil. Trans. R. Soc.
# A 1938; 237: 231; from memory, confidence 0.8). This is the mild end.
READING_DOF = 9.0
DELETED_P, MOST_DELETED = 0.05, 8  # possible shifts, each compared with everything else


@dataclass(frozen=True, slots=True)
class Shifts:
    """The best estimate of each of several shifts, and how odd it is.

    Parameters
    ----------
    size : ndarray of shape (m,)
        Best estimate, in the unit of the shift.
    u : ndarray of shape (m,)
        Its standard uncertainty.
    p : ndarray of shape (m,)
        Probability of one at least this large, in either direction, if there is none.
    """

    size: Array
    u: Array
    p: Array


def shifts(fitted: Fit, directions: Array) -> Shifts:
    """Return the size of each shift, and how odd it is, as if it were the only one.

    Parameters
    ----------
    fitted : Fit
        The model.
    directions : ndarray of shape (m, n)
        How much each figure moves for a shift of 1.

    Notes
    -----
    z = u'Pr / sqrt(u'Pu), the score test of one mean. The learned variances are themselves
    uncertain: their posterior gives z the degrees of freedom nu = 2 / var(log u'Pu)
    (Satterthwaite, from memory, confidence 0.9). Where a shift may be real, the variances are
    learned again without it, as for an externally studentised residual (Cook and Weisberg,
    Residuals and Influence in Regression, 1982, 2.2.2; from memory, confidence 0.9): an outlier
    must not widen the scatter that it is compared with.
    """
    found = _scores(fitted, directions)
    for k in np.flatnonzero(found.p < DELETED_P)[np.argsort(found.p[found.p < DELETED_P])][
        :MOST_DELETED
    ]:
        only = directions[k : k + 1]
        without = fit(fitted.figures.without(only), start=fitted.learned)
        again = at(fitted.figures, without.learned)
        deleted = _scores(replace(again, information=without.information), only)
        found.size[k], found.u[k], found.p[k] = deleted.size[0], deleted.u[0], deleted.p[0]
    return found


def _scores(fitted: Fit, directions: Array) -> Shifts:
    carried = directions @ fitted.precision
    weight = np.einsum("ij,ij->i", carried, directions)
    figures = fitted.figures
    terms = [((carried @ figures.of_stations) ** 2).sum(axis=2), figures.of_hands @ (carried**2).T]
    parts = (np.exp(fitted.learned)[:, None] * np.concatenate(terms) / weight).T
    parts[:, fitted.learned >= most_scatter(fitted.figures) - 0.01] = (
        0.0  # at its upper bound, no longer uncertain
    )
    variance = np.einsum("ij,ij->i", parts @ np.linalg.inv(fitted.information), parts)
    nu = np.maximum(2.0 / np.maximum(variance, 1e-9), 1.5)
    tailed = _with_long_tails(nu, (carried**2 * _own_mm2(fitted)) / weight[:, None])
    z = directions @ fitted.pull / np.sqrt(weight)
    # long tails leave the variance as it is; not knowing it well makes it larger
    far = np.abs(z) * np.sqrt(_spread(tailed) / _spread(nu))
    return Shifts(z / np.sqrt(weight), 1.0 / np.sqrt(weight), 2.0 * stdtr(tailed, -far))


def _spread(nu: Array) -> Array:
    """Return the variance of Student's t; below 4 degrees of freedom, that of 4."""
    bounded = np.maximum(nu, 4.0)
    spread: Array = bounded / (bounded - 2.0)
    return spread


def _own_mm2(fitted: Fit) -> Array:
    """Return the variance of each figure due to its own reading error, mm²; 0 for a photograph."""
    own: Array = np.exp(fitted.learned[2:]) @ fitted.figures.of_hands
    return own


def _with_long_tails(nu: Array, shares: Array) -> Array:
    """Return the degrees of freedom, given that single readings have longer tails than normal.

    Parameters
    ----------
    nu : ndarray of shape (m,)
        Degrees of freedom due to the learned variances.
    shares : ndarray of shape (m, n)
        Share of each shift's variance that is a single reading's own error.

    Notes
    -----
    The excess kurtosis of a sum of independent errors is that of each, weighted with the square of
    its share of the variance, and is 6 / (nu - 4) for Student's t. So a single reading keeps its
    tail, and the mean of many is almost normal.
    """
    excess = (shares**2).sum(axis=1) * 6.0 / (READING_DOF - 4.0)
    above = np.maximum(nu - 4.0, 1e-9)
    tailed: Array = np.where(nu > 4.0, 4.0 + 6.0 / (6.0 / above + excess), nu)
    return tailed


def reading_dof(fitted: Fit) -> dict[Hand, float]:
    """Return the degrees of freedom of a single reading's error, by gauge and person.

    They are those of its learned variance (Satterthwaite, as in `shifts`), with its longer tails.
    """
    variance = np.diag(np.linalg.inv(fitted.information))[2:]
    tailed = _with_long_tails(np.maximum(2.0 / variance, 1.5), np.ones((len(variance), 1)))
    return dict(zip(fitted.figures.hands, tailed.tolist(), strict=True))
