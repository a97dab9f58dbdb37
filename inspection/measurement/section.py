"""Sections: mean diameter and ovality from the views at one station."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from inspection.measurement.ellipse import Ellipse, fit_ellipse
from inspection.measurement.view import (
    DirectionalDiameter,
    diameter_of_estimate,
    diameter_of_reading,
    mean_diameter,
    seen_from_both_sides,
    weighted_terms,
)
from inspection.model.log import Log
from inspection.model.loss import can_be_diameter
from inspection.model.quantity import Quantity
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Rope
from vision.results import Estimate, Refusal, Result
from vision.uncertainty import Term, combined_u_mm

Source = Literal["photographs", "gauge"]
SAME_PLACE_MM = 0.5  # estimates from one card closer than this are of the same place


@dataclass(frozen=True, slots=True)
class Section:
    """A station in two directions or more: mean diameter and ovality.

    Parameters
    ----------
    views : tuple of DirectionalDiameter
        One for each direction; several of one direction are combined first, and of two at right
        angles each uses the height of the rope that the other shows.
    mean_mm : float
        Mean over the directions, mm: the measured diameter d_m of ISO 4309:2017, 3.2, when
        there are two at right angles.
    mean_budget : tuple of Term
        Budget of the mean.
    difference_mm : float
        Plain signed difference, mm: 0 degrees minus 90 degrees, or the first direction minus
        the last where there are others.
    ovality_mm : float
        Larger minus smaller view, mm. Never negative, hence biased upwards where the views are
        uncertain: a perfectly round rope gives `round_rope_mm` on average, not 0. Use
        `difference_mm` for anything that is averaged.
    ovality_budget : tuple of Term
        Budget of the larger minus the smaller view.
    nominal_mm : float or None
        Nominal diameter, mm.
    station : int
        Station number.
    at_mm : float
        Place along the card, mm from its middle.
    position_m : float or None
        Place along the rope, m.
    ellipse : Ellipse or None
        Ellipse of the widths, if three directions or more determine it.
    source : {"photographs", "gauge"}
        What the diameters came from.
    """

    views: tuple[DirectionalDiameter, ...]
    mean_mm: float
    mean_budget: tuple[Term, ...]
    difference_mm: float
    ovality_mm: float
    ovality_budget: tuple[Term, ...]
    station: int
    nominal_mm: float | None = None
    at_mm: float = 0.0
    position_m: float | None = None
    ellipse: Ellipse | None = None
    source: Source = "photographs"

    @property
    def u_mean_mm(self) -> float:
        """Standard uncertainty of the mean, mm."""
        return combined_u_mm(self.mean_budget)

    @property
    def u_ovality_mm(self) -> float:
        """Standard uncertainty of the ovality (and of the signed difference), mm."""
        return combined_u_mm(self.ovality_budget)

    @property
    def round_rope_mm(self) -> float:
        """Mean ovality that a perfectly round rope would show, mm: u sqrt(2 / pi)."""
        return self.u_ovality_mm * math.sqrt(2.0 / math.pi)

    @property
    def figures(self) -> dict[Quantity, tuple[float, float]]:
        """Every quantity here that can have a limit: quantity -> (value, u), mm."""
        return {
            "mean diameter": (self.mean_mm, self.u_mean_mm),
            "ovality": (self.ovality_mm, self.u_ovality_mm),
        }

    @property
    def ovality_pct(self) -> float | None:
        """Ovality in % of the nominal diameter; None without one."""
        return None if self.nominal_mm is None else 100.0 * self.ovality_mm / self.nominal_mm

    @property
    def difference_pct(self) -> float | None:
        """Mean minus nominal in % of the nominal diameter; None without one."""
        if self.nominal_mm is None:
            return None
        return 100.0 * (self.mean_mm - self.nominal_mm) / self.nominal_mm


def best_sections(
    sections: Iterable[Section], *, contradicted: Collection[int] = ()
) -> tuple[Section, ...]:
    """Return the best section of every station, along the rope.

    The best is the one with the smallest uncertainty of the mean; that choice does not depend on
    the diameter. Where photographs and gauge contradict each other the thinner one stays, since
    one of them is wrong and a loss must not be chosen away; of two places on one card the thinner
    one stays, too.

    Parameters
    ----------
    sections : iterable of Section
        From photographs and from the gauge.
    contradicted : collection of int, optional
        Stations at which a photograph and a reading disagree.
    """
    best: dict[int, Section] = {}
    for section in sections:
        known = best.get(section.station)
        if known is None or _is_better(section, known, section.station in contradicted):
            best[section.station] = section
    return _along_rope(best.values())


def _is_better(section: Section, other: Section, contradicted: bool) -> bool:
    if contradicted or section.source == other.source:
        return section.mean_mm < other.mean_mm
    return section.u_mean_mm < other.u_mean_mm


def make_section(
    views: Iterable[DirectionalDiameter],
    *,
    station: int,
    nominal_mm: float | None = None,
    at_mm: float = 0.0,
    position_m: float | None = None,
    source: Source = "photographs",
) -> Section:
    """Return mean diameter and ovality of one place, with their budgets.

    Parameters
    ----------
    views : iterable of DirectionalDiameter
        At least two directions; several views of one direction are combined first.
    station, nominal_mm, at_mm, position_m, source
        As in `Section`.

    Raises
    ------
    ValueError
        If there are fewer than two directions, or a diameter is not more than 0.

    References
    ----------
    ISO 4309:2017, 3.2: the measured diameter is the mean of two readings at right angles.
    Ovality as (larger - smaller) / nominal: from memory, confidence 0.85.
    """
    by_direction: dict[int, list[DirectionalDiameter]] = {}
    for view in views:
        if not (math.isfinite(view.diameter_mm) and view.diameter_mm > 0):
            raise ValueError(f"a diameter must be more than 0 mm; got {view.diameter_mm}.")
        by_direction.setdefault(view.view_deg % 180, []).append(view)  # 180 deg on is the same
    if len(by_direction) < 2:
        directions = ", ".join(f"{direction} deg" for direction in by_direction) or "none"
        raise ValueError(
            f"a section needs two directions; got {directions}: add the view at right angles."
        )
    whole = {
        direction: mean_diameter(by_direction[direction]) for direction in sorted(by_direction)
    }
    for direction in [one for one in whole if one + 90 in whole]:
        whole[direction], whole[direction + 90] = seen_from_both_sides(
            whole[direction], whole[direction + 90]
        )
    merged = tuple(whole.values())
    weight = 1.0 / len(merged)
    first, last = merged[0], merged[-1]
    if {0, 90} <= whole.keys():
        first, last = whole[0], whole[90]
    larger, smaller = extremes(merged)
    return Section(
        views=merged,
        mean_mm=sum(view.diameter_mm for view in merged) * weight,
        mean_budget=weighted_terms((weight, view.budget) for view in merged),
        difference_mm=first.diameter_mm - last.diameter_mm,
        ovality_mm=larger.diameter_mm - smaller.diameter_mm,
        ovality_budget=weighted_terms([(1.0, larger.budget), (-1.0, smaller.budget)]),
        nominal_mm=nominal_mm,
        station=station,
        at_mm=at_mm,
        position_m=position_m,
        ellipse=fit_ellipse(merged),
        source=source,
    )


def extremes(
    views: Sequence[DirectionalDiameter],
) -> tuple[DirectionalDiameter, DirectionalDiameter]:
    """Return the largest and the smallest view.

    Of equal views they are different ones: a view minus itself would have no uncertainty.
    """
    return (
        max(views, key=lambda view: view.diameter_mm),
        min(reversed(views), key=lambda view: view.diameter_mm),
    )


def pair_by_card(
    results: Iterable[Result],
    *,
    nominal_mm: float | None = None,
    positions_m: Mapping[int, float] | None = None,
) -> tuple[Section, ...]:
    """Return the places photographed in two directions or more, by station and place on the card.

    Parameters
    ----------
    results : iterable of Estimate or Refusal
        Results of the photographs, in any order; those without station and direction are left out.
    nominal_mm : float or None, optional
        Nominal diameter, mm.
    positions_m : mapping or None, optional
        Station number -> position along the rope, m.
    """
    groups: dict[int, list[list[Estimate]]] = {}
    for result in results:
        if isinstance(result, Refusal) or result.place is None:
            continue
        places = groups.setdefault(result.place.station, [])
        for place in places:
            if abs(place[0].at_mm - result.at_mm) <= SAME_PLACE_MM:
                place.append(result)
                break
        else:
            places.append([result])
    sections: list[Section] = []
    for station in sorted(groups):
        for place in sorted(groups[station], key=lambda estimates: estimates[0].at_mm):
            views = [diameter_of_estimate(estimate) for estimate in place]
            if len({view.view_deg % 180 for view in views}) < 2:
                continue
            sections.append(
                make_section(
                    views,
                    nominal_mm=nominal_mm,
                    station=station,
                    at_mm=place[0].at_mm,
                    position_m=(positions_m or {}).get(station),
                )
            )
    return tuple(sections)


def sections_of_log(log: Log) -> dict[Source, tuple[Section, ...]]:
    """Return the stations with two directions or more from each source, in the rope's order.

    Readings with an unknown gauge are left out.
    """
    positions_m = log.positions_m()
    by_card = pair_by_card(log.results, nominal_mm=log.rope.nominal_mm, positions_m=positions_m)
    by_gauge = sections_of_readings(
        [reading for reading in log.readings if reading.gauge in log.gauges],
        log.gauges,
        log.rope,
        positions_m=positions_m,
        inspection=log.inspection.identity,
    )
    return {"photographs": _along_rope(by_card), "gauge": _along_rope(by_gauge)}


def _along_rope(sections: Iterable[Section]) -> tuple[Section, ...]:
    return tuple(sorted(sections, key=lambda section: (section.position_m or 0.0, section.station)))


def sections_of_readings(
    readings: Iterable[Reading],
    gauges: Mapping[str, Gauge],
    rope: Rope,
    *,
    positions_m: Mapping[int, float] | None = None,
    inspection: str = "",
    days: tuple[date, date] | None = None,
) -> tuple[Section, ...]:
    """Return the stations that were read in two directions or more, by number.

    A figure that no rope of this nominal diameter can have is left out: averaged with the other
    direction, a decimal point in the wrong place would pass for a loss of section, or hide one.

    Parameters
    ----------
    readings : iterable of Reading
        The log, in any order.
    gauges : mapping
        `Gauge.identity` -> Gauge.
    rope : Rope
        The rope that was measured; its nominal diameter and outer strands are used.
    positions_m : mapping or None, optional
        Station number -> position along the rope, m.
    inspection : str, optional
        Its identity, for the readings' budgets.
    days : (date, date), optional
        Day of the readings and of the last inspection, as in
        `inspection.measurement.view.diameter_of_reading`.

    Raises
    ------
    ValueError
        If a reading names a gauge that is not given.
    """
    groups: dict[int, list[Reading]] = {}
    sections: list[Section] = []
    for reading in readings:
        if can_be_diameter(reading.value_mm, rope.nominal_mm):
            groups.setdefault(reading.station, []).append(reading)
    for station in sorted(groups):
        place = groups[station]
        if len({reading.view_deg % 180 for reading in place}) < 2:
            continue
        views = [
            diameter_of_reading(
                reading,
                gauges,
                outer_strands=rope.outer_strands,
                inspection=inspection,
                days=days,
            )
            for reading in place
        ]
        sections.append(
            make_section(
                views,
                nominal_mm=rope.nominal_mm,
                station=station,
                position_m=(positions_m or {}).get(station),
                source="gauge",
            )
        )
    return tuple(sections)
