"""The measured diameter of a rope: places at least 1 m apart, two directions each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from inspection.measurement.section import Section, extremes
from inspection.measurement.view import weighted_terms
from inspection.model.quantity import Quantity
from vision.uncertainty import Term, combined_u_mm

APART_M = 1.0  # least distance between the two places of a new rope's measured diameter


@dataclass(frozen=True, slots=True)
class MeasuredDiameter:
    """The measured diameter of a rope from places at least 1 m apart, two directions each.

    Parameters
    ----------
    sections : tuple of Section
        The places that count, in order along the rope.
    left_out : tuple of Section
        Places less than 1 m from one that counts.
    mean_mm : float
        Mean of the places' means, mm (of 4 readings in the standard's method).
    mean_budget : tuple of Term
        Budget of the mean.
    largest_difference_mm : float
        Largest minus smallest of the views at two neighbouring places (four readings in the
        standard's method), of the pair where it is largest, mm; biased upwards like every range.
    difference_budget : tuple of Term
        Budget of that difference.
    nominal_mm : float
        Nominal diameter, mm.
    """

    sections: tuple[Section, ...]
    mean_mm: float
    mean_budget: tuple[Term, ...]
    largest_difference_mm: float
    difference_budget: tuple[Term, ...]
    nominal_mm: float
    left_out: tuple[Section, ...] = ()

    @property
    def u_mean_mm(self) -> float:
        """Standard uncertainty of the mean, mm."""
        return combined_u_mm(self.mean_budget)

    @property
    def u_difference_mm(self) -> float:
        """Standard uncertainty of the largest difference, mm."""
        return combined_u_mm(self.difference_budget)

    @property
    def variation_mm(self) -> float:
        """Largest minus smallest mean of the places, mm (lift ropes)."""
        means = [section.mean_mm for section in self.sections]
        return max(means) - min(means)

    @property
    def u_variation_mm(self) -> float:
        """Standard uncertainty of the variation, mm; what the places share has cancelled."""
        ranked = sorted(self.sections, key=lambda section: section.mean_mm)
        return combined_u_mm(
            weighted_terms([(1.0, ranked[-1].mean_budget), (-1.0, ranked[0].mean_budget)])
        )

    @property
    def figures(self) -> dict[Quantity, tuple[float, float]]:
        """Every quantity here that can have a limit: quantity -> (value, u), mm.

        The ovality is that of the place where it is largest.
        """
        worst = max(self.sections, key=lambda section: section.ovality_mm)
        return {
            "measured diameter": (self.mean_mm, self.u_mean_mm),
            "largest difference": (self.largest_difference_mm, self.u_difference_mm),
            "variation of the mean": (self.variation_mm, self.u_variation_mm),
            "ovality": (worst.ovality_mm, worst.u_ovality_mm),
        }

    @property
    def difference_pct(self) -> float:
        """Largest difference in % of nominal: the roundness figure of EN 12385-4."""
        return 100.0 * self.largest_difference_mm / self.nominal_mm

    @property
    def mean_pct(self) -> float:
        """Mean minus nominal in % of nominal: compared with the new-rope tolerance."""
        return 100.0 * (self.mean_mm - self.nominal_mm) / self.nominal_mm


def measured_diameter(sections: Sequence[Section], *, nominal_mm: float) -> MeasuredDiameter:
    """Return the measured diameter of a rope and the largest difference of its readings.

    Parameters
    ----------
    sections : sequence of Section
        Places on a straight length, each with its `position_m`; at least two of them 1 m
        apart. Starting from the first along the rope, a place counts if it is at least 1 m beyond
        the last that counts.
    nominal_mm : float
        Nominal diameter, mm.

    Raises
    ------
    ValueError
        If there are fewer than two places at least 1 m apart, or one has no position.

    References
    ----------
    EN 12385-1 and ISO 2408: two places at least 1 m apart on a straight length, two readings
    at right angles at each, mean of the four (confirmed in public copies of the method). The
    roundness figure (largest - smallest of the readings) / nominal after EN 12385-4: from
    memory, confidence 0.85; its limits are confirmed.
    """
    if not (math.isfinite(nominal_mm) and nominal_mm > 0):
        raise ValueError(f"`nominal_mm` must be more than 0; got {nominal_mm}.")
    if len(sections) < 2:
        raise ValueError(
            f"a measured diameter needs two places at least {APART_M:g} m apart; got "
            f"{len(sections)}: measure one more."
        )
    placed: list[tuple[float, Section]] = []
    for section in sections:
        if section.position_m is None:
            raise ValueError(f"station {section.station} has no position along the rope: enter it.")
        placed.append((section.position_m, section))
    placed.sort(key=lambda item: item[0])
    counted = placed[:1]
    left_out: list[tuple[float, Section]] = []
    for here in placed[1:]:
        apart = here[0] - counted[-1][0] >= APART_M - 1e-9
        (counted if apart else left_out).append(here)
    if len(counted) < 2:
        raise ValueError(
            f"the places at {placed[0][0]:g} m and {placed[-1][0]:g} m are "
            f"{placed[-1][0] - placed[0][0]:.2f} m apart: choose places at least {APART_M:g} m "
            "apart."
        )
    chosen = tuple(section for _, section in counted)
    weight = 1.0 / len(chosen)
    larger, smaller = max(
        (extremes((*one.views, *two.views)) for one, two in pairwise(chosen)),
        key=lambda pair: pair[0].diameter_mm - pair[1].diameter_mm,
    )
    return MeasuredDiameter(
        sections=chosen,
        left_out=tuple(section for _, section in left_out),
        mean_mm=sum(section.mean_mm for section in chosen) * weight,
        mean_budget=weighted_terms((weight, section.mean_budget) for section in chosen),
        largest_difference_mm=larger.diameter_mm - smaller.diameter_mm,
        difference_budget=weighted_terms([(1.0, larger.budget), (-1.0, smaller.budget)]),
        nominal_mm=nominal_mm,
    )
