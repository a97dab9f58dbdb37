"""Standing apart: whose readings differ from everybody else's over many inspections.

One gauge or person in an inspection is seldom told from chance; over many inspections a small
steady difference shows. Many are looked at together, so that the share of false names among those
that are named is held, not the chance of each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from scipy.special import stdtr

from inspection.comparison.bland_altman import FEWEST, flags
from inspection.comparison.crosscheck import Comparison
from inspection.measurement.view import weighted_terms
from vision.uncertainty import combined_u_mm

GaugeOrPerson = Literal["gauge", "person"]


@dataclass(frozen=True, slots=True)
class StandsApart:
    """One gauge or person against all others.

    Parameters
    ----------
    kind : {"gauge", "person"}
        What it is.
    name : str
        Which one.
    count : int
        Comparisons with photographs.
    difference_mm : float
        How much more it reads than the others, each against the photograph of the place, mm.
    u_mm : float
        Standard uncertainty of that, mm.
    p_value : float
        How likely so large a difference is if there is none.
    adjusted : float
        The same after all that were looked at (Benjamini-Hochberg).
    flagged : bool
        Whether it stands apart at the level.
    """

    kind: GaugeOrPerson
    name: str
    count: int
    difference_mm: float
    u_mm: float
    p_value: float
    adjusted: float
    flagged: bool

    @property
    def words(self) -> str:
        """The difference in one sentence; it speaks of readings, not of people."""
        return (
            f"{self.count} readings by {self.kind} {self.name} lie {self.difference_mm:+z.3f} mm "
            f"from the others' (U, k = 2, {2 * self.u_mm:.3f} mm), each against its photograph."
        )


def stand_apart(comparisons: Sequence[Comparison], *, level: float = 0.05) -> list[StandsApart]:
    """Return every gauge and person against all others, the oddest first.

    Parameters
    ----------
    comparisons : sequence of Comparison
        Of all inspections that are looked at together.
    level : float, optional
        Share of false names among those that are flagged which is put up with.

    Notes
    -----
    The difference of two means of gauge minus photograph; what both share (a card set) cancels.
    Its uncertainty is that of the budgets or of the seen scatter, whichever is larger, with
    Student's t for the smaller group. Groups with fewer than 3 comparisons, or without others,
    say nothing. The p-values of a gauge and of the one person who uses it go together, which the
    procedure allows (Benjamini, Yekutieli, Ann. Stat. 2001; 29: 1165, positive dependence; from
    memory, confidence 0.85).
    """
    found: list[tuple[GaugeOrPerson, str, int, float, float, float]] = []
    kinds: tuple[GaugeOrPerson, ...] = ("gauge", "person")
    for kind in kinds:
        for name in sorted({str(getattr(item, kind)) for item in comparisons}):
            theirs = [item for item in comparisons if getattr(item, kind) == name]
            others = [item for item in comparisons if getattr(item, kind) != name]
            if name and min(len(theirs), len(others)) >= FEWEST:
                found.append((kind, name, len(theirs), *_difference(theirs, others)))
    adjusted = flags([p for *_, p in found], level=level)
    apart = [
        StandsApart(*row, adjusted=p, flagged=flagged)
        for row, p, flagged in zip(found, adjusted.adjusted, adjusted.flagged, strict=True)
    ]
    return sorted(apart, key=lambda item: (item.adjusted, item.p_value, item.kind, item.name))


def _difference(
    theirs: Sequence[Comparison], others: Sequence[Comparison]
) -> tuple[float, float, float]:
    """Return how much more one group reads, its standard uncertainty, mm, and its chance."""
    means, scatter, budget = [], 0.0, []
    for group, sign in ((theirs, -1.0), (others, 1.0)):
        count = len(group)
        mean = math.fsum(item.difference_mm for item in group) / count
        variance = math.fsum((item.difference_mm - mean) ** 2 for item in group) / (count - 1)
        means.append(sign * mean)  # photograph minus gauge, so that the sign turns
        scatter += variance / count
        budget += [(sign / count, item.difference_budget) for item in group]
    u = math.sqrt(max(combined_u_mm(weighted_terms(budget)) ** 2, scatter))
    dof = min(len(theirs), len(others)) - 1.0
    difference = sum(means)
    return difference, u, 2.0 * float(stdtr(dof, -abs(difference) / u)) if u > 0 else 1.0
