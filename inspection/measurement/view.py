"""One diameter in one direction with its budget, from a photograph or from a gauge.

Weighted sums of views are weighted sums of their budgets, so one rule serves all: scale the
budgets, combine them, and add terms of one source before squaring. What two views share (print
scale, focal length, the gauge's own error) then cancels in a difference and stays in a mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from scipy.optimize import nnls

from inspection.model.readings import Gauge, Reading, calibrations_between, reading_terms
from vision.results import Estimate
from vision.uncertainty import Influence, Term, combined_u_mm, signed_by_source

OF_ONE_VIEW = (Influence.GAP, Influence.HEIGHT)
SAME = 1e-4  # fraction of an uncertainty: too small to show in any figure


@dataclass(frozen=True, slots=True)
class DirectionalDiameter:
    """One diameter in one direction across the rope.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm.
    budget : tuple of Term
        Its uncertainty budget.
    view_deg : int
        Direction across the rope, degrees.
    name : str
        The photograph or gauge it comes from.
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
        If the card did not give the direction.
    """
    if estimate.view_deg is None:
        raise ValueError(
            f"the photograph '{estimate.photo_name}' does not show its direction: enter it, in "
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
    """Return a gauge reading as a view, its budget from `inspection.model.readings.gauge_terms`.

    Where readings of several inspections are combined, give the inspection, so that they are not
    taken for the same, and the days of the reading and of the last inspection, so that a gauge's
    error is shared for no longer than its calibration lasts.

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
    """Return several views of one direction as one: their weighted mean of least variance.

    Generalised least squares: each is weighted by its own influences (edges, corners, shadows), and
    what they share (print, lens, gap) is counted as shared. So a blurred photograph hardly weakens
    a sharp one, and the mean is never less certain than the best of them.

    Parameters
    ----------
    views : sequence of DirectionalDiameter
        At least one, all of one direction.

    References
    ----------
    ISO/IEC Guide 98-3:2008 (GUM), 5.2.2 and F.1.2.3, for covariances and the mean's uncertainty;
    A. C. Aitken, Proc. R. Soc. Edinb. 55 (1935) 42, for the weights.
    """
    if len(views) == 1:
        return views[0]
    budgets = of_one_view(views)
    weights = _surest_weights(budgets)
    return DirectionalDiameter(
        sum(weight * view.diameter_mm for weight, view in zip(weights, views, strict=True)),
        weighted_terms(zip(weights, budgets, strict=True)),
        views[0].view_deg,
        ", ".join(view.name for view in views if view.name),
    )


def seen_from_both_sides(
    one: DirectionalDiameter, across: DirectionalDiameter
) -> tuple[DirectionalDiameter, DirectionalDiameter]:
    """Return two views at right angles, each with the height of the rope that the other shows.

    A rope that lies on the card has its axis half a diameter above it: half the diameter that the
    view at right angles shows. A single photograph assumes a round rope, d / 2 instead of d' / 2,
    which makes a thick side thinner, a thin one thicker, and the difference smaller. With s the
    change of the diameter for each mm of height,

        d = m + s (d' - d) / 2,  d' = m' + s' (d - d') / 2,

    with m and m' as the photographs gave them; d and d' are two weighted sums of these. The rest of
    the roundness assumption, for a rope that is worn on one side or thinner here, stays in the
    budget.

    Parameters
    ----------
    one, across : DirectionalDiameter
        Views at right angles; one that does not depend on the height (from a gauge, or from a card
        held off the rope) is not changed.
    """
    here, there = _by_height(one) / 2, _by_height(across) / 2
    whole = 1 + here + there
    return (
        _sum_of(one, [((1 + there) / whole, one), (here / whole, across)]),
        _sum_of(across, [((1 + here) / whole, across), (there / whole, one)]),
    )


def _by_height(view: DirectionalDiameter) -> float:
    """Return how a diameter depends on the height of the rope's axis over the card, mm per mm."""
    return sum(term.sensitivity for term in view.budget if term.influence is Influence.HEIGHT)


def _sum_of(
    view: DirectionalDiameter, parts: Sequence[tuple[float, DirectionalDiameter]]
) -> DirectionalDiameter:
    used = [(weight, part) for weight, part in parts if weight]
    return replace(
        view,
        diameter_mm=sum(weight * part.diameter_mm for weight, part in used),
        budget=weighted_terms((weight, part.budget) for weight, part in used),
    )


def of_one_view(views: Sequence[DirectionalDiameter]) -> list[tuple[Term, ...]]:
    """Return the budgets of several views of one direction, with what they share as one source.

    Photographs of one view show one card on one rope: the gap between them, and how round the rope
    is assumed to be, is the same unknown in all of them and does not average out.
    """
    common: dict[Influence | None, str] = {
        term.influence: term.source for term in views[0].budget if term.influence in OF_ONE_VIEW
    }
    return [
        tuple(replace(t, source=common.get(t.influence, t.source)) for t in view.budget)
        for view in views
    ]


def _surest_weights(budgets: Sequence[Sequence[Term]]) -> list[float]:
    """Return the weights (n,), not negative and with sum 1, whose mean has the least variance.

    Without that bound they would be negative where two views share most of their uncertainty, and
    the mean would be outside the observed range, relying on a correlation that is not known so
    well.
    """
    signed = [signed_by_source(budget) for budget in budgets]
    sources = list(dict.fromkeys(source for one in signed for source in one))
    parts = np.array([[one.get(source, 0.0) for one in signed] for source in sources])
    usual = float(np.sqrt((parts**2).sum() / len(budgets)))
    if usual == 0.0:
        return [1.0 / len(budgets)] * len(budgets)
    # |parts x|^2 + (sum(x) - 1)^2 is least, of all x that are w times a number, at v / (1 + v),
    # v the variance of w: non-negative least squares find the w of the least v. Each gets a trace
    # of independent noise, so that identical views count alike.
    own = SAME * np.eye(len(budgets))
    system = np.vstack([parts / usual, own, np.ones(len(budgets))])
    found, _ = nnls(system, np.append(np.zeros(len(system) - 1), 1.0))
    return list((found / found.sum()).tolist())
