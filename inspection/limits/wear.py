"""Wear of a rope in service: uniform decrease with its severity, and local decrease.

Diameter is only one of several discard criteria: broken wires, corrosion, distortion and heat
count too, and combine. A low severity here clears nothing.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from statistics import NormalDist, median
from typing import Literal

from inspection.limits.rules import NotApplicable, exact, resolve
from inspection.limits.standards import BAND_EDGES_PCT, BANDS, ISO_4309_2017, discard_category
from inspection.measurement.doubt import DoubtedEntry, doubt_words
from inspection.measurement.section import Section, Source
from inspection.measurement.view import weighted_terms
from inspection.model.rope import Rope, Tension
from vision.uncertainty import Term, combined_u_mm

NEIGHBOURS = 2  # stations on each side that one is compared with
_TABLE = [rule for rule in ISO_4309_2017 if rule.what == "uniform decrease"]
SURE_NO = 0.05  # "no" if a decrease over the threshold is less likely than this


@dataclass(frozen=True, slots=True)
class SeverityRating:
    """Uniform decrease of diameter and its severity after ISO 4309:2017.

    Parameters
    ----------
    category : str
        Column of the table.
    decrease_mm, decrease_pct : float
        Reference minus measured diameter, mm and % of nominal.
    u_pct : float
        Its standard uncertainty, % of nominal.
    band : str
        "none", "slight", "medium", "high", "very high" or "discard".
    severity_pct : int
        0, 20, 40, 60, 80 or 100.
    spread : tuple of (str, float)
        Probability of each band, for a normal distribution and no other knowledge.
    """

    category: str
    decrease_mm: float
    decrease_pct: float
    u_pct: float
    band: str
    severity_pct: int
    spread: tuple[tuple[str, float], ...]

    @property
    def words(self) -> str:
        """Severity in one or two sentences, with the other bands that are possible."""
        sentence = (
            f"Uniform decrease {self.decrease_pct:.2f} % (u {self.u_pct:.2f} %) of nominal: "
            f"{self.band}, {self.severity_pct} % towards discard."
        )
        others = [f"{band} {p:.0%}" for band, p in self.spread if band != self.band and p >= 0.05]
        return sentence if not others else f"{sentence} It could also be: {', '.join(others)}."


def lacks_reference_only(rope: Rope) -> bool:
    """Return whether ISO 4309's table would rate the rope if its reference diameter were known."""
    return rope.reference_mm is None and not isinstance(
        resolve(_TABLE, replace(rope, reference_mm=rope.nominal_mm))[0], NotApplicable
    )


def uniform_decrease(
    rope: Rope,
    mean_mm: float,
    u_mm: float,
    *,
    tension: Tension = "none",
    covariance_mm2: float = 0.0,
) -> SeverityRating | NotApplicable:
    """Return the uniform decrease of diameter and its severity, or why there is none.

    Parameters
    ----------
    rope : Rope
        The rope, with its reference diameter, its uncertainty and its state of tension.
    mean_mm, u_mm : float
        Measured diameter (mean of two directions) and its standard uncertainty, mm.
    tension : str, optional
        State of tension while the rope was measured.
    covariance_mm2 : float, optional
        Covariance of the two (same gauge, same card set), mm²; it cancels in the decrease.

    Raises
    ------
    ValueError
        If a figure is not a number, or not more than 0.

    Notes
    -----
    decrease = (d_ref - d_m) / d_nominal. The comparison with the bands is done in decimal
    numbers: in floating point (16.4 - 15.2) / 16 falls just short of 7.5 %, one band too low.

    References
    ----------
    ISO 4309:2017; definitions of d_m and d_ref (3.2, 3.3) confirmed, formula and bands from
    memory, confidence 0.9.

    Examples
    --------
    >>> uniform_decrease(Rope("R-1", 40.0, reference_mm=41.2), 39.5, 0.0).severity_pct
    20
    """
    if not (0 < mean_mm < math.inf and 0 <= u_mm < math.inf):
        raise ValueError(
            f"the diameter must be more than 0 and its uncertainty 0 or more; got {mean_mm} mm "
            f"and {u_mm} mm."
        )
    limit = resolve(_TABLE, rope, tension=tension)[0]
    if isinstance(limit, NotApplicable):
        return limit
    category = discard_category(rope)
    edges = BAND_EDGES_PCT[category]
    nominal = exact(rope.nominal_mm)
    # rounded because a mean of two readings has float noise; without a reference the rule did not
    # apply (above)
    decrease = exact(rope.reference_mm or 0.0) - exact(round(mean_mm, 9))
    pct = round(100 * decrease / nominal, 9)
    index = bisect_right([Decimal(str(edge)) for edge in edges], pct)
    u_reference_mm = rope.u_reference_mm or 0.0
    u = math.sqrt(max(u_mm**2 + u_reference_mm**2 - 2.0 * covariance_mm2, 0.0))
    u_pct = 100.0 * u / rope.nominal_mm
    if u_pct == 0.0:
        spread = [float(place == index) for place in range(len(BANDS))]
    else:
        true = NormalDist(float(pct), u_pct)
        below = [true.cdf(edge) for edge in edges]
        spread = [high - low for low, high in pairwise([0.0, *below, 1.0])]
    band, severity_pct = BANDS[index]
    return SeverityRating(
        category=category,
        decrease_mm=float(decrease),
        decrease_pct=float(pct),
        u_pct=u_pct,
        band=band,
        severity_pct=severity_pct,
        spread=tuple((name, p) for (name, _), p in zip(BANDS, spread, strict=True)),
    )


@dataclass(frozen=True, slots=True)
class StationSeverity:
    """The severity of one station, the source of its figure, and why the table may not apply.

    Parameters
    ----------
    station : int or None
        Station number.
    source : {"photographs", "gauge"}
        What the figure came from.
    severity : SeverityRating
        Decrease and band.
    out_of_scope : str
        Why the table does not apply there; empty if it does.
    doubts : tuple of DoubtedEntry
        The entries to be checked that put it in doubt.
    """

    station: int
    source: Source
    severity: SeverityRating
    out_of_scope: str = ""
    doubts: tuple[DoubtedEntry, ...] = ()

    @property
    def doubted(self) -> bool:
        """Whether an entry to be checked puts it in doubt."""
        return bool(self.doubts)

    @property
    def band(self) -> str:
        """The band in words, marked if the table does not apply or the figure is doubted."""
        marks = ["out of scope"] * bool(self.out_of_scope) + ["doubted"] * self.doubted
        return f"{self.severity.band} ({', '.join(marks)})" if marks else self.severity.band


@dataclass(frozen=True, slots=True)
class LocalDecrease:
    """One station against its neighbours.

    Parameters
    ----------
    station : int
        Station number.
    position_m : float or None
        Place along the rope, m.
    deficit_mm : float
        Median of the neighbours minus this station, mm; positive where it is thinner.
    deficit_pct : float
        The same in % of nominal.
    u_mm : float
        Standard uncertainty of the deficit, mm; what the stations share has cancelled.
    p_value : float
        Probability of a deficit so far above the threshold if the true one is at the threshold,
        one-sided, not corrected for the number of stations.
    outcome : {"no", "cannot say", "local decrease"}
        By the rule stated in `local_decreases`.
    source : {"photographs", "gauge"}
        What the station's figure came from.
    doubts : tuple of DoubtedEntry
        The entries to be checked that put it in doubt.
    """

    station: int
    position_m: float | None
    deficit_mm: float
    deficit_pct: float
    u_mm: float
    p_value: float
    outcome: Literal["no", "cannot say", "local decrease"]
    source: Source = "photographs"
    doubts: tuple[DoubtedEntry, ...] = ()

    @property
    def doubted(self) -> bool:
        """Whether an entry to be checked puts it in doubt."""
        return bool(self.doubts)

    @property
    def words(self) -> str:
        """The decrease as a sentence, and the entries that put it in doubt."""
        doubt = doubt_words(self.doubts, self.source)
        return (
            f"Station {self.station}, by {'the ' if self.source == 'gauge' else ''}{self.source}, "
            f"is {self.deficit_mm:.2f} mm ({self.deficit_pct:.1f} % of nominal) thinner than its "
            "neighbours." + (f" {doubt}" if doubt else "")
        )


def local_decreases(
    sections: Iterable[Section],
    *,
    nominal_mm: float,
    least_pct: float = 1.0,
    level: float = 0.05,
) -> tuple[LocalDecrease, ...]:
    """Return each station against its neighbours, in the rope's order; empty for fewer than three.

    The standard speaks of an obvious local decrease and gives no percentage. Our rule, stated
    here and in the report: a station is compared with the median of up to two neighbours on
    each side, so that steady wear towards one end is not a local decrease. More than `least_pct`
    of nominal thinner, beyond the uncertainty (one-sided, `level` shared among all stations), is
    a "local decrease"; the outcome is "no" if it is at most that much thinner, with 95 %
    probability; everything else is "cannot say".

    Parameters
    ----------
    sections : iterable of Section
        Ordered by position, or by number where positions lack.
    nominal_mm : float
        Nominal diameter, mm.
    least_pct : float, optional
        Smallest decrease that is called obvious, % of nominal. Our choice, no source: the width of
        one severity band of ISO 4309.
    level : float, optional
        Probability of any false alarm over the whole rope.

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    ISO 4309:2017, obvious local decrease means discard (from memory, confidence 0.9). It hints
    at a broken core.
    """
    if not (0 < nominal_mm < math.inf and 0 <= least_pct < math.inf and 0 < level < 1):
        raise ValueError(
            "`nominal_mm` must be more than 0, `least_pct` 0 or more, `level` between 0 and 1; "
            f"got {nominal_mm}, {least_pct}, {level}."
        )
    along = list(sections)
    if len(along) < 3:
        return ()
    if all(section.position_m is not None for section in along):
        along.sort(key=lambda section: section.position_m or 0.0)
    else:
        along.sort(key=lambda section: section.station)
    return tuple(
        _against_neighbours(along, index, nominal_mm, least_pct, level)
        for index in range(len(along))
    )


def _against_neighbours(
    along: Sequence[Section], index: int, nominal_mm: float, least_pct: float, level: float
) -> LocalDecrease:
    here = along[index]
    near = [*along[max(0, index - NEIGHBOURS) : index], *along[index + 1 : index + 1 + NEIGHBOURS]]
    deficit = median(section.mean_mm for section in near) - here.mean_mm
    u = combined_u_mm([*_median_budget(near), *weighted_terms([(-1.0, here.mean_budget)])])
    threshold = least_pct * nominal_mm / 100.0
    beyond = deficit - threshold
    steps = beyond / u if u > 0 else math.copysign(math.inf, beyond)
    p_value = 0.5 * math.erfc(steps / math.sqrt(2.0))
    outcome: Literal["no", "cannot say", "local decrease"] = "cannot say"
    if p_value * len(along) < level:
        outcome = "local decrease"
    elif 1.0 - p_value <= SURE_NO:
        outcome = "no"
    return LocalDecrease(
        here.station,
        here.position_m,
        deficit,
        100.0 * deficit / nominal_mm,
        u,
        p_value,
        outcome,
        here.source,
    )


def _median_budget(near: Sequence[Section]) -> tuple[Term, ...]:
    """Return the budget of the one or two middle stations, which give the median."""
    ranked = sorted(near, key=lambda section: section.mean_mm)
    half = len(ranked) // 2
    middle = [ranked[half]] if len(ranked) % 2 else ranked[half - 1 : half + 1]
    return weighted_terms((1.0 / len(middle), section.mean_budget) for section in middle)
