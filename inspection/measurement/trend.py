"""History: a station's diameter over inspections and its rate of loss.

The line is fitted with the full covariance of the figures, so an error that all inspections share
(the same gauge, the same card set) shifts the line without changing its slope, while a change of
gauge between inspections can't pass for wear.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import stdtrit

from vision.uncertainty import Term, combined_u_mm, covariance_mm2

DAYS_PER_YEAR = 365.25
# A stated u is known to some 13 %, 1 / sqrt(2 x 30) (JCGM 100:2008, G.4.2): repeatability is
# learned from thirty readings or more once there are three inspections.
STATED_DOF = 30.0
SAME_FIGURE = 1e-10  # smallest share of independent variance: below it two figures are the same


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """A station's mean diameter at one inspection.

    Parameters
    ----------
    on : date
        Day of the inspection.
    mean_mm : float
        Mean diameter, mm.
    budget : tuple of Term
        Its budget; the names of the sources show what it shares with other inspections.
    """

    on: date
    mean_mm: float
    budget: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through a station's diameters.

    Parameters
    ----------
    points : tuple of Point
        By date.
    rate_mm_per_year : float
        Change per year, mm; negative for a loss.
    rate_interval : (low, high)
        Its confidence interval, mm per year.
    level_mm : float
        The line on the day of the last inspection, mm.
    covariance : tuple of 3 float
        Variance of the level (mm²), of the rate ((mm/year)²), and their covariance.
    scatter : float
        Observed scatter about the line over the stated one (square root of chi² per degree of
        freedom); well above 1, the stated uncertainties or the straight line are wrong.
    widened : float
        Factor by which all uncertainties were increased for that; never below 1.
    quantile : float
        Student's t for the level of confidence.
    """

    points: tuple[TrendPoint, ...]
    rate_mm_per_year: float
    rate_interval: tuple[float, float]
    level_mm: float
    covariance: tuple[float, float, float]
    scatter: float
    widened: float
    quantile: float

    @property
    def last(self) -> date:
        """Day of the last inspection."""
        return self.points[-1].on

    @property
    def loses(self) -> bool:
        """Whether a loss is certain at the level of confidence."""
        return self.rate_interval[1] < 0.0

    def band_mm(self, on: date, *, u_new_mm: float = 0.0) -> tuple[float, float, float]:
        """Return the line on a day with its band: low, line, high, mm.

        With `u_new_mm` = 0 this is the confidence band of the line; with the standard uncertainty
        of a new figure, the prediction band of that figure.
        """
        years = (on - self.last).days / DAYS_PER_YEAR
        line = self.level_mm + self.rate_mm_per_year * years
        half = self.quantile * math.sqrt(self._variance(years) + u_new_mm**2)
        return line - half, line, line + half

    def _variance(self, years: float) -> float:
        level, rate, both = self.covariance
        return max(level + 2.0 * both * years + rate * years**2, 0.0)


def trend(
    points: Iterable[TrendPoint], *, level: float = 0.95, stated_dof: float = STATED_DOF
) -> Trend:
    """Return the straight line through a station's diameters over inspections.

    Parameters
    ----------
    points : iterable of Point
        At least three inspections on different days.
    level : float, optional
        Level of the intervals.
    stated_dof : float, optional
        Degrees of freedom of the stated uncertainties: 0 relies on the observed scatter alone
        (ordinary regression), infinity on the stated uncertainties alone.

    Raises
    ------
    ValueError
        If there are fewer than three days, or the uncertainties give no valid covariance.

    Notes
    -----
    Generalised least squares with C = cov of the figures from the sources of their terms:
    beta = (X' C^-1 X)^-1 X' C^-1 y, cov(beta) = f (X' C^-1 X)^-1. The stated uncertainties are
    pooled with the observed scatter, f = (m + chi²) / (m + n - 2) but never below 1, and Student's
    t has m + n - 2 degrees of freedom; m = 30 means that a stated u is itself known to some 13 %
    (JCGM 100:2008, G.4.2). Wear is taken as uniform in time; hours of use would be the better
    abscissa, where they are known.

    References
    ----------
    Aitken, On least squares and linear combination of observations, 1935. Birge, The
    calculation of errors by the method of least squares, Phys. Rev. 1932; 40: 207 (both from
    memory, confidence 0.9).
    """
    ordered = tuple(sorted(points, key=lambda point: point.on))
    if len({point.on for point in ordered}) < 3:
        raise ValueError(
            "a rate of loss needs inspections on at least 3 days; got "
            f"{len({point.on for point in ordered})}: wait for the next one."
        )
    if not stated_dof >= 0:
        raise ValueError(f"`stated_dof` must be 0 or more; got {stated_dof}.")
    if not 0 < level < 1:
        raise ValueError(f"`level` must be between 0 and 1; got {level}.")
    for point in ordered:
        if not (0 < point.mean_mm < math.inf):
            raise ValueError(
                f"the diameter on {point.on} must be more than 0; got {point.mean_mm}."
            )
        if combined_u_mm(point.budget) == 0.0:
            raise ValueError(
                f"the diameter on {point.on} has no uncertainty: give its gauge or photograph."
            )
    last = ordered[-1].on
    years = np.array([(point.on - last).days / DAYS_PER_YEAR for point in ordered])
    y = np.array([point.mean_mm for point in ordered])
    covariance = np.array(
        [[covariance_mm2(one.budget, two.budget) for two in ordered] for one in ordered]
    )
    design = np.column_stack([np.ones_like(years), years])
    if np.linalg.eigvalsh(covariance)[0] < SAME_FIGURE * covariance.max():
        raise ValueError(
            "two inspections are based on the same figure, so they are not two: leave one out."
        )
    factor = cho_factor(covariance)
    normal = design.T @ cho_solve(factor, design)
    beta_covariance = np.linalg.inv(normal)
    beta = beta_covariance @ (design.T @ cho_solve(factor, y))
    residual = y - design @ beta
    degrees = len(ordered) - 2
    chi2 = float(residual @ cho_solve(factor, residual))
    pooled = 1.0
    if math.isfinite(stated_dof):
        pooled = max((stated_dof + chi2) / (stated_dof + degrees), 1.0)
    beta_covariance = beta_covariance * pooled
    quantile = float(stdtrit(stated_dof + degrees, 0.5 + level / 2.0))
    rate = float(beta[1])
    half = quantile * math.sqrt(float(beta_covariance[1, 1]))
    return Trend(
        points=ordered,
        rate_mm_per_year=rate,
        rate_interval=(rate - half, rate + half),
        level_mm=float(beta[0]),
        covariance=(
            float(beta_covariance[0, 0]),
            float(beta_covariance[1, 1]),
            float(beta_covariance[0, 1]),
        ),
        scatter=math.sqrt(chi2 / degrees),
        widened=math.sqrt(pooled),
        quantile=quantile,
    )


def trends(
    points_by_station: Mapping[int, Sequence[TrendPoint]], *, level: float = 0.95
) -> dict[int, Trend | None]:
    """Return the line of every station; None where there are fewer than three inspections."""
    return {
        station: trend(points, level=level) if len({one.on for one in points}) >= 3 else None
        for station, points in sorted(points_by_station.items())
    }
