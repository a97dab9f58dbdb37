"""One diameter in one direction with its budget, from a photograph or from a gauge.

Sums of views are weighted sums of budgets, so one rule serves all: scale the budgets, put them
together, and let terms of one source add before squaring. What two views share (print scale,
focal length, the gauge's own error) then cancels in a difference and stays in a mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from inspection.model.readings import Gauge, Reading, calibrations_between, reading_terms
from vision.results import Estimate
from vision.uncertainty import Influence, Term, combined_u_mm

OF_ONE_VIEW = (Influence.GAP, Influence.HEIGHT)


@dataclass(frozen=True, slots=True)
class DirectionalDiameter:
    """One diameter in one direction across the rope.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm.
    budget : tuple of Term
        Everything that makes it uncertain.
    view_deg : int
        Direction across the rope, degrees.
    name : str
        Photograph or gauge that it comes from.
    """

    diameter_mm: float
    budget: tuple[Term, ...]
    view_deg: int
    name: str = ""

    @property
    def u_mm(self) -> float:
        """Combined standard uncertainty, mm."""
        return combined_u_mm(self.budget)


def weighted_terms(parts: Iterable[tuple[float, Iterable[Term]]]) -> tuple[Term, ...]:
    """Return the budget of a weighted sum of results: their terms, sensitivities scaled.

    Examples
    --------
    Print scale is shared, so it cancels in a difference and the edges stay:

    >>> scale = Term("print scale", 0.002, "1", 20.0, "B", "print:A-1:y")
    >>> one = (scale, Term("edges", 0.03, "mm", 1.0, "A", "edge:1"))
    >>> two = (scale, Term("edges", 0.04, "mm", 1.0, "A", "edge:2"))
    >>> round(combined_u_mm(weighted_terms([(1.0, one), (-1.0, two)])), 6)
    0.05
    """
    return tuple(
        replace(term, sensitivity=weight * term.sensitivity)
        for weight, terms in parts
        for term in terms
    )


def diameter_of_estimate(estimate: Estimate) -> DirectionalDiameter:
    """Return a photograph's estimate as a view.

    Raises
    ------
    ValueError
        If the card did not say the direction.
    """
    if estimate.view_deg is None:
        raise ValueError(
            f"the photograph '{estimate.photo_name}' does not say its direction: say it, in "
            "degrees across the rope."
        )
    return DirectionalDiameter(
        estimate.diameter_mm, estimate.budget, estimate.view_deg, estimate.photo_name
    )


def diameter_of_reading(
    reading: Reading,
    gauges: Mapping[str, Gauge],
    *,
    outer_strands: int | None = None,
    inspection: str = "",
    days: tuple[date, date] | None = None,
) -> DirectionalDiameter:
    """Return a gauge reading as a view, its budget after `inspection.model.readings.gauge_terms`.

    Name the inspection where readings of several inspections meet, so that they are not taken
    for one, and the days of the reading and of the last inspection, so that a gauge's error is
    shared for no longer than its calibration lasts.

    Raises
    ------
    ValueError
        If the reading's gauge is not among `gauges`.
    """
    if reading.gauge not in gauges:
        raise ValueError(
            f"the reading at station {reading.station} names gauge '{reading.gauge}', which is "
            "not recorded: add the gauge with its resolution and permissible error."
        )
    gauge = gauges[reading.gauge]
    terms = reading_terms(
        reading,
        gauge,
        outer_strands=outer_strands,
        inspection=inspection,
        calibrations_ago=calibrations_between(gauge, *days) if days else 0,
    )
    return DirectionalDiameter(reading.value_mm, terms, reading.view_deg, gauge.identity)


def mean_diameter(views: Sequence[DirectionalDiameter]) -> DirectionalDiameter:
    """Return several views of one direction as one, their mean.

    Photographs of one view show one card on one rope: the gap between them, and how round the rope
    is taken to be, is the same unknown in all of them and does not average out.
    """
    if len(views) == 1:
        return views[0]
    common: dict[Influence | None, str] = {
        term.influence: term.source for term in views[0].budget if term.influence in OF_ONE_VIEW
    }
    weight = 1.0 / len(views)
    return DirectionalDiameter(
        sum(view.diameter_mm for view in views) * weight,
        tuple(
            replace(term, source=common.get(term.influence, term.source))
            for term in weighted_terms((weight, view.budget) for view in views)
        ),
        views[0].view_deg,
        ", ".join(view.name for view in views if view.name),
    )
