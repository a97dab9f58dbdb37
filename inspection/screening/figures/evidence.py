"""Evidence: one explanation of odd figures, and how much more likely it makes them."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr

from inspection.screening.figures.expected_readings import Array, Figures, Fit, fit
from inspection.screening.figures.odd_figures import NOT_READ_PCT, entry_at, today
from inspection.screening.figures.predictions import log_height


@dataclass(frozen=True, slots=True)
class Explanation:
    """One explanation of odd figures.

    Parameters
    ----------
    code : str
        Its code.
    words : str
        The words people see, to follow "most likely:".
    log_odds : float
        Logarithm of its odds against nothing being wrong.
    entries : tuple of int
        The entries concerned.
    remedy, innocent : str
        What to do, and how it can happen innocently.
    let_go : ndarray of shape (j, n)
        Shifts that are left free once it is accepted, so that they say nothing about the rope;
        one row each.
    change_mm : ndarray of shape (n,) or None
        Correction of the figures once it is accepted.
    size_mm : (mean, sd) or None
        Expected size of the shift along the one row of `let_go`.
    otherwise : Figures or None
        The figures expected if it is true, where neither of the two describes them.
    log_prior : float
        Logarithm of how often it occurs, against nothing being wrong.
    log_cut : float
        What it gains because the shift can go one way only.
    loss : bool
        Whether it is a loss of section.
    slip : bool
        Whether it is a slip of the pen.
    """

    code: str
    words: str
    log_odds: float
    entries: tuple[int, ...]
    remedy: str
    innocent: str
    let_go: Array
    change_mm: Array | None = None
    size_mm: tuple[float, float] | None = None
    otherwise: Figures | None = None
    log_prior: float = 0.0
    log_cut: float = 0.0
    loss: bool = False
    slip: bool = False

    def figures_if_true(self, figures: Figures) -> Figures:
        """Return the figures as they are expected if this is true."""
        if self.otherwise is not None:
            return self.otherwise
        if self.size_mm is not None:
            mean, sd = self.size_mm
            row = self.let_go[0]
            return replace(
                figures,
                off_mm=figures.off_mm - mean * row,
                fixed_mm2=figures.fixed_mm2 + sd**2 * np.outer(row, row),
            )
        if self.change_mm is None:
            return figures.without(self.let_go)
        # a place without a reading is near the others: a wild figure there is not explained
        free = NOT_READ_PCT * figures.log.rope.nominal_mm / 100.0 * self.let_go
        return replace(
            figures,
            off_mm=figures.off_mm + self.change_mm,
            fixed_mm2=figures.fixed_mm2 + free.T @ free,
        )


def shift_evidence(
    fitted: Fit, direction: Array, size: tuple[float, float], sign: int = 0
) -> tuple[float, float]:
    """Return the logarithm of how much more likely a shift of this size makes the figures.

    The second value is the part gained because the shift can go one way only.

    Parameters
    ----------
    fitted : Fit
        The model.
    direction : ndarray of shape (n,)
        How much each figure moves for a shift of 1 mm.
    size : (mean, sd)
        Normal prior of the shift, mm.
    sign : {-1, 0, 1}, optional
        -1 or 1 if it can only go one way.
    """
    mean, sd = size
    carried = fitted.precision @ direction
    weight = float(direction @ carried) + sd**-2
    middle = (float(direction @ fitted.pull) + mean / sd**2) / weight
    found = 0.5 * weight * middle**2 - 0.5 * (mean / sd) ** 2 - 0.5 * math.log(weight * sd**2)
    if not sign:
        return found, 0.0
    cut = float(log_ndtr(sign * middle * math.sqrt(weight)) - log_ndtr(sign * mean / sd))
    return found + cut, cut


def row_of(figures: Figures, places: list[int]) -> Array:
    """Return a row in which these figures move together."""
    row = np.zeros(len(figures.off_mm))
    row[places] = 1.0
    return row


def rows_of(figures: Figures, entries: Collection[int]) -> Array:
    """Return one row per entry, in which only that entry moves."""
    places = [k for k in today(figures) if entry_at(figures, k) in entries]
    rows = np.zeros((len(places), len(figures.off_mm)))
    rows[np.arange(len(places)), places] = 1.0
    return rows


def log_posterior(figures: Figures, start: Array) -> float:
    """Return the logarithm of the posterior at its mode, up to a constant."""
    return log_height(fit(figures, start=start))
