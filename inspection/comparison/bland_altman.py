"""Agreement over many comparisons: mean difference and limits, by group, and flags.

One comparison says little. Many show whether a gauge, a person, a card set or a phone differs from
the others, and how many flags chance alone would give if nothing is wrong.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from scipy.special import stdtr, stdtrit

from inspection.comparison.crosscheck import Comparison
from inspection.comparison.deming import DemingFit, deming_regression
from inspection.measurement.view import weighted_terms
from vision.uncertainty import combined_u_mm

Group = Literal["gauge", "person", "print_set", "camera"]
Interval = tuple[float, float]
FEWEST = 3  # differences; a standard deviation of two says nothing


@dataclass(frozen=True, slots=True)
class Agreement:
    """Mean difference and limits of agreement.

    Parameters
    ----------
    count : int
        Number of differences.
    bias_mm, bias_interval_mm : float, (low, high)
        Mean difference and its confidence interval from the scatter alone, mm.
    sd_mm : float
        Standard deviation of the differences (n - 1), mm.
    low_mm, low_interval_mm, high_mm, high_interval_mm : float, (low, high)
        Limits of agreement with their confidence intervals, mm.
    p_value : float
        Probability of so large a mean difference if the true one is 0, from the scatter alone.
    u_bias_mm : float or None
        Standard uncertainty of the mean difference from the budgets, mm. Unlike the interval, it
        includes what all share (one gauge, one card set), which does not average out.
    """

    count: int
    bias_mm: float
    bias_interval_mm: Interval
    sd_mm: float
    low_mm: float
    low_interval_mm: Interval
    high_mm: float
    high_interval_mm: Interval
    p_value: float
    u_bias_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Flags:
    """Which of many p-values stand out, and how many would do so by chance.

    Parameters
    ----------
    adjusted : tuple of float
        Benjamini-Hochberg adjusted p-values, in the given order.
    flagged : tuple of bool
        Adjusted p-value at or below the level.
    below_level : int
        Plain p-values at or below the level.
    expected_by_chance : float
        Expected number of plain p-values at or below the level if nothing is wrong.
    level : float
        Accepted share of false flags among the flags.
    """

    adjusted: tuple[float, ...]
    flagged: tuple[bool, ...]
    below_level: int
    expected_by_chance: float
    level: float

    @property
    def words(self) -> str:
        """The count in one sentence."""
        return (
            f"{sum(self.flagged)} of {len(self.flagged)} stand out at a false-discovery rate of "
            f"{self.level:.0%}; {self.below_level} have a p-value up to {self.level:g}, where "
            f"{self.expected_by_chance:.1f} are expected by chance alone."
        )


def limits_of_agreement(differences_mm: Sequence[float], *, factor: float = 1.96) -> Agreement:
    """Return mean difference and limits of agreement of two methods.

    Parameters
    ----------
    differences_mm : sequence of float
        One method minus the other, mm; at least 3.
    factor : float, optional
        Limits at bias +- factor x sd: 1.96 (1999 paper) or 2 (1986 paper).

    Raises
    ------
    ValueError
        If there are fewer than 3 differences, or one is not a number.

    Notes
    -----
    se(bias) = s / sqrt(n), se(limit) = sqrt(3 s^2 / n), both with t(n - 1), as in [1]_, for
    95 %. They assume independent differences: what a whole group shares is not included.

    References
    ----------
    .. [1] Bland, Altman, Statistical methods for assessing agreement between two methods of
       clinical measurement, Lancet 1986; i: 307-310.
    """
    values = np.asarray(differences_mm, dtype=float)
    if values.ndim != 1 or len(values) < FEWEST:
        raise ValueError(
            f"limits of agreement need at least {FEWEST} differences; got {values.size}."
        )
    if not np.isfinite(values).all():
        raise ValueError("every difference must be a number: leave out places not measured.")
    count = len(values)
    bias, sd = float(values.mean()), float(values.std(ddof=1))
    quantile = float(stdtrit(count - 1, 0.975))
    se = sd / math.sqrt(count)
    half, half_limit = quantile * se, quantile * math.sqrt(3.0) * se
    low, high = bias - factor * sd, bias + factor * sd
    steps = abs(bias) / se if se > 0 else math.inf if bias else 0.0
    p_value = float(2.0 * stdtr(count - 1, -steps))
    return Agreement(
        count=count,
        bias_mm=bias,
        bias_interval_mm=(bias - half, bias + half),
        sd_mm=sd,
        low_mm=low,
        low_interval_mm=(low - half_limit, low + half_limit),
        high_mm=high,
        high_interval_mm=(high - half_limit, high + half_limit),
        p_value=p_value,
    )


def agreement_of(comparisons: Sequence[Comparison]) -> Agreement:
    """Return limits of agreement of comparisons, with the shared part of the bias's uncertainty.

    Raises
    ------
    ValueError
        If there are fewer than 3.
    """
    plain = limits_of_agreement([comparison.difference_mm for comparison in comparisons])
    weight = 1.0 / len(comparisons)
    mean_budget = weighted_terms(
        (weight, comparison.difference_budget) for comparison in comparisons
    )
    return replace(plain, u_bias_mm=combined_u_mm(mean_budget))


def agreement_by(comparisons: Iterable[Comparison], group: Group) -> dict[str, Agreement | None]:
    """Return limits of agreement by gauge, person, card set or phone, in the names' order.

    A group with fewer than 3 comparisons has None.
    """
    groups: dict[str, list[Comparison]] = {}
    for comparison in comparisons:
        name: str = getattr(comparison, group)
        groups.setdefault(name, []).append(comparison)
    return {
        name: agreement_of(groups[name]) if len(groups[name]) >= FEWEST else None
        for name in sorted(groups)
    }


def flags(p_values: Sequence[float], *, level: float = 0.05) -> Flags:
    """Return which of many p-values stand out, with the false-discovery rate controlled.

    Raises
    ------
    ValueError
        If a p-value or the level is outside 0 to 1.

    References
    ----------
    Benjamini, Hochberg, Controlling the false discovery rate, J. R. Stat. Soc. B 1995; 57:
    289-300. The p-values must be independent or positively dependent.
    """
    if not 0 < level < 1:
        raise ValueError(f"`level` must be between 0 and 1; got {level}.")
    if any(not 0 <= p <= 1 for p in p_values):
        raise ValueError("every p-value must be between 0 and 1.")
    from scipy.stats import false_discovery_control  # takes 0.4 s

    adjusted = tuple(float(p) for p in false_discovery_control(p_values)) if p_values else ()
    return Flags(
        adjusted=adjusted,
        flagged=tuple(p <= level for p in adjusted),
        below_level=sum(p <= level for p in p_values),
        expected_by_chance=level * len(p_values),
        level=level,
    )


WIDEST = 0.5  # a slope less certain than +-0.25 is not worth a line; our choice


@dataclass(frozen=True, slots=True)
class MethodComparison:
    """The comparisons evaluated together.

    Parameters
    ----------
    groups : mapping
        Limits of agreement by "gauge", "person", "print_set" and "camera", then by name; None
        for a name with fewer than 3 comparisons.
    flags : Flags
        Which comparisons stand out, and how many would do so by chance.
    line : DemingFit or None
        Photograph against gauge, with error in both; None for fewer than 4 comparisons, or
        if all gauge readings are the same.
    """

    groups: Mapping[Group, Mapping[str, Agreement | None]]
    flags: Flags
    line: DemingFit | None

    @property
    def line_words(self) -> str:
        """The line in one sentence; empty where there is none."""
        if self.line is None:
            return ""
        low, high = self.line.slope_interval
        if high - low > WIDEST:
            return "Photograph against gauge: diameters too similar, or too few, for a slope."
        slope = f"Photograph against gauge, error in both: slope {self.line.slope:.3f}"
        return f"{slope} (95 % interval {low:.3f} to {high:.3f}; 1 where they agree)."


def compare_methods(comparisons: Sequence[Comparison]) -> MethodComparison:
    """Return an inspection's comparisons evaluated together.

    Parameters
    ----------
    comparisons : sequence of Comparison
        From `inspection.comparison.crosscheck.crosscheck`.
    """
    return MethodComparison(
        groups={group: agreement_by(comparisons, group) for group in get_args(Group)},
        flags=flags([comparison.p_value for comparison in comparisons]),
        line=_line(comparisons),
    )


def _line(comparisons: Sequence[Comparison]) -> DemingFit | None:
    u2_photo = sum(comparison.u_photo_mm**2 for comparison in comparisons)
    u2_gauge = sum(comparison.u_gauge_mm**2 for comparison in comparisons)
    try:
        return deming_regression(
            [comparison.gauge_mm for comparison in comparisons],
            [comparison.photo_mm for comparison in comparisons],
            variance_ratio=u2_photo / u2_gauge,
        )
    except (ValueError, ZeroDivisionError):
        return None  # too few pairs, or no spread along the rope, to fit a line
