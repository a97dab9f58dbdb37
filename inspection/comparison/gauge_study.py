"""Photographs against trusted readings of many ropes: bias, limits of agreement, coverage of U.

Unlike a cross-check, a study has a reference: the trusted reading. Ropes differ in size, so
differences are in % of it. Photographs of one rope are alike, so what is known about the mean
difference grows with the number of ropes, not of photographs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.stats import binomtest, t

from inspection.comparison.bland_altman import FEWEST, Interval
from vision.results import Estimate, Refusal
from vision.uncertainty import Influence, Term, combined_u_mm

FACTORS = ("all", "size", "finish", "phone", "card set", "rope")
BANDS_MM = (0.0, 10.0, 20.0, 40.0, math.inf)  # of the trusted diameter; our choice
NOT_STATED = "not stated"
LIMITS_AT = 1.96  # limits of agreement, in standard deviations either side of the bias


@dataclass(frozen=True, slots=True)
class TrustedReading:
    """The reading of a trusted gauge where a photograph was taken.

    Parameters
    ----------
    photo : str
        File name of the photograph.
    diameter_mm : float
        The reading in the photograph's direction, mm.
    expanded_mm : float
        Its expanded uncertainty (k = 2), mm; more than 0.
    rope : str
        Which rope or bar; photographs of one rope are taken as alike.
    gauge : str
        Which gauge. Its error is taken as the same for all its readings.
    finish, phone, card_set : str
        Factors by which the results are grouped; empty if not stated.
    """

    photo: str
    diameter_mm: float
    expanded_mm: float
    rope: str
    gauge: str
    finish: str = ""
    phone: str = ""
    card_set: str = ""


@dataclass(frozen=True, slots=True)
class StudiedPhoto:
    """A photograph with its trusted reading.

    Parameters
    ----------
    trusted : TrustedReading
        The reading.
    result : Estimate or Refusal
        What the photograph gave.
    """

    trusted: TrustedReading
    result: Estimate | Refusal

    @property
    def difference_budget(self) -> tuple[Term, ...]:
        """Budget of photograph minus trusted reading; empty where there is no figure."""
        if isinstance(self.result, Refusal):
            return ()
        u = self.trusted.expanded_mm / 2.0
        source = Influence.GAUGE.source(self.trusted.gauge)
        return (*self.result.budget, Term("trusted gauge", u, "mm", -1.0, "B", source))

    @property
    def difference_mm(self) -> float | None:
        """Photograph minus trusted reading, mm; None where the photograph was refused."""
        if isinstance(self.result, Refusal):
            return None
        return self.result.diameter_mm - self.trusted.diameter_mm

    @property
    def difference_pct(self) -> float | None:
        """The difference in % of the trusted reading."""
        mm = self.difference_mm
        return None if mm is None else 100.0 * mm / self.trusted.diameter_mm

    @property
    def expanded_difference_mm(self) -> float | None:
        """Expanded uncertainty (k = 2) of the difference, mm."""
        budget = self.difference_budget
        return 2.0 * combined_u_mm(budget) if budget else None

    @property
    def inside(self) -> bool | None:
        """Whether the difference is within its expanded uncertainty."""
        mm, expanded = self.difference_mm, self.expanded_difference_mm
        return None if mm is None or expanded is None else abs(mm) <= expanded

    def name_in(self, factor: str) -> str:
        """Return the group of a factor to which it belongs."""
        if factor == "size":
            low, high = next(
                (low, high)
                for low, high in pairwise(BANDS_MM)
                if low <= self.trusted.diameter_mm < high
            )
            return f"{low:g} mm and more" if math.isinf(high) else f"{low:g} to {high:g} mm"
        names: dict[str, Callable[[], str]] = {
            "all": lambda: "all",
            "finish": lambda: self.trusted.finish,
            "phone": lambda: self.trusted.phone or self.result.camera,
            "card set": lambda: self.trusted.card_set,
            "rope": lambda: self.trusted.rope,
        }
        return names[factor]() or NOT_STATED


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean difference and limits of agreement of photographs of several ropes, %.

    Parameters
    ----------
    bias_pct, bias_interval_pct : float, (low, high)
        Mean difference and its 95 % interval, by the scatter between ropes.
    sd_pct : float
        Standard deviation of a single difference, between ropes and within them together.
    low_pct, low_interval_pct, high_pct, high_interval_pct : float, (low, high)
        Limits of agreement, bias -+ 1.96 sd, each with its 95 % interval.
    """

    bias_pct: float
    bias_interval_pct: Interval
    sd_pct: float
    low_pct: float
    low_interval_pct: Interval
    high_pct: float
    high_interval_pct: Interval


@dataclass(frozen=True, slots=True)
class StudyGroup:
    """The results of a group of photographs.

    Parameters
    ----------
    factor, name : str
        E.g. "finish" and "galvanised".
    answered, refused, ropes : int
        Photographs with and without a figure; ropes with a figure.
    bias_pct : float or None
        Mean difference, %; None without a figure.
    spread : Spread or None
        None for fewer than 3 ropes, whose scatter says nothing.
    inside : int
        Differences within their expanded uncertainty.
    coverage_interval : (low, high) or None
        95 % interval of the share inside, 0 to 1 (Clopper and Pearson), photographs as independent.
    mean_z2 : float or None
        Mean square of difference over standard uncertainty: 1 where U is realistic.
    """

    factor: str
    name: str
    answered: int
    refused: int
    ropes: int
    bias_pct: float | None
    spread: Spread | None
    inside: int
    coverage_interval: Interval | None
    mean_z2: float | None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """All photographs of a comparison, and their results by group.

    Parameters
    ----------
    photos : tuple of StudiedPhoto
        In the order of the table.
    groups : tuple of StudyGroup
        First all together, then by size, finish, phone, card set and rope.
    """

    photos: tuple[StudiedPhoto, ...]
    groups: tuple[StudyGroup, ...]

    @property
    def whole(self) -> StudyGroup:
        """All photographs together."""
        return self.groups[0]


def study_of(photos: Sequence[StudiedPhoto]) -> GaugeStudy:
    """Return the results of photographs with trusted readings.

    Parameters
    ----------
    photos : sequence of StudiedPhoto
        At least one.

    Raises
    ------
    ValueError
        If there is none.
    """
    if not photos:
        raise ValueError("there is nothing to compare: no photograph has a trusted reading.")
    groups = []
    for factor in FACTORS:
        for name in sorted({one.name_in(factor) for one in photos}, key=_in_order):
            here = [one for one in photos if one.name_in(factor) == name]
            groups.append(_group(factor, name, here))
    return GaugeStudy(tuple(photos), tuple(groups))


def _in_order(name: str) -> tuple[float, str]:
    """Sort sizes by number, everything else alphabetically."""
    first = name.split(" ")[0]
    return (float(first) if first.replace(".", "").isdecimal() else math.inf, name)


def _group(factor: str, name: str, photos: Sequence[StudiedPhoto]) -> StudyGroup:
    answered = [one for one in photos if isinstance(one.result, Estimate)]
    by_rope: dict[str, list[float]] = {}
    for one in answered:
        by_rope.setdefault(one.trusted.rope, []).append(float(one.difference_pct or 0.0))
    inside = sum(bool(one.inside) for one in answered)
    squares = [
        (float(one.difference_mm or 0.0) / combined_u_mm(one.difference_budget)) ** 2
        for one in answered
    ]
    share = binomtest(inside, len(answered)).proportion_ci(0.95, "exact") if answered else None
    return StudyGroup(
        factor=factor,
        name=name,
        answered=len(answered),
        refused=len(photos) - len(answered),
        ropes=len(by_rope),
        bias_pct=float(np.mean(np.concatenate(list(by_rope.values())))) if by_rope else None,
        spread=spread_of(list(by_rope.values())) if len(by_rope) >= FEWEST else None,
        inside=inside,
        coverage_interval=None if share is None else (float(share.low), float(share.high)),
        mean_z2=float(np.mean(squares)) if squares else None,
    )


def spread_of(by_rope: Sequence[Sequence[float]]) -> Spread:
    """Return mean difference and limits of agreement for ropes photographed several times.

    Parameters
    ----------
    by_rope : sequence of sequence of float
        The differences of each rope, %; at least 3 ropes.

    Raises
    ------
    ValueError
        If there are fewer than 3 ropes.

    Notes
    -----
    Analysis of variance of the differences with the rope as factor [1]_: with k ropes, N
    differences, m0 = (N - sum m^2 / N) / (k - 1) and the mean squares between (B) and within (W)
    ropes, a single difference has s^2 = max(0, (B - W) / m0) + W. With one difference per rope,
    s is the plain standard deviation. The mean has variance B / N with k - 1 degrees of freedom;
    the variance of s is s^2 / 2 f with Satterthwaite's f.

    References
    ----------
    .. [1] Bland, Altman, Agreement between methods of measurement with multiple observations per
       individual, J. Biopharm. Stat. 2007; 17: 571-582, section 3 (from memory).
    """
    ropes = len(by_rope)
    if ropes < FEWEST:
        raise ValueError(f"limits of agreement need at least {FEWEST} ropes; got {ropes}.")
    counts = np.array([len(one) for one in by_rope], dtype=float)
    means = np.array([float(np.mean(one)) for one in by_rope])
    total = float(counts.sum())
    bias = float(np.sum(counts * means) / total)
    between = float(np.sum(counts * (means - bias) ** 2)) / (ropes - 1)
    spare = total - ropes
    squares = sum(float(np.sum((np.asarray(one) - np.mean(one)) ** 2)) for one in by_rope)
    within = squares / spare if spare else 0.0
    usual = (total - float(np.sum(counts**2)) / total) / (ropes - 1)
    of_ropes = max(0.0, (between - within) / usual)
    variance = of_ropes + within
    parts = (between / usual) ** 2 / (ropes - 1)
    if spare:
        parts += ((1.0 - 1.0 / usual) * within) ** 2 / spare
    freedom = variance**2 / parts if parts > 0 else math.inf
    quantile = float(t.ppf(0.975, ropes - 1))
    sd, half = math.sqrt(variance), quantile * math.sqrt(between / total)
    half_limit = quantile * math.sqrt(between / total + LIMITS_AT**2 * variance / (2.0 * freedom))
    low, high = bias - LIMITS_AT * sd, bias + LIMITS_AT * sd
    return Spread(
        bias,
        (bias - half, bias + half),
        sd,
        low,
        (low - half_limit, low + half_limit),
        high,
        (high - half_limit, high + half_limit),
    )
