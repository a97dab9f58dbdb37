"""Chart data from their sources: assessments, sections, budgets, trends, typed readings."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import timedelta

from inspection.assessment import Assessment
from inspection.limits.rules import Limit
from inspection.measurement.section import Section, Source
from inspection.measurement.trend import Trend, TrendPoint
from inspection.model.readings import Reading
from inspection.screening.checks.digit_preference import cells_of_scale, gauge_steps
from ui.charts.data import (
    AlongRope,
    DatedDiameter,
    Difference,
    Differences,
    Digits,
    Direction,
    Figure,
    History,
    LimitLine,
    Roundness,
    Share,
    round_down,
)
from ui.lengths import K
from vision.uncertainty import Term, combined_u_mm, shares


def limit_lines(limits: Iterable[Limit]) -> tuple[LimitLine, ...]:
    """Return the limits of a station's mean diameter as lines, each once.

    The rope size that fits a groove is not a limit of the rope. It is far away, and would squeeze
    the figures into a strip of the chart.
    """
    lines = []
    for limit in limits:
        if limit.rule.quantity != "mean diameter" or limit.rule.purpose == "fit":
            continue
        words = f"{limit.rule.rule_set}, {limit.rule.what}"
        if limit.low_mm is not None:
            lines.append(LimitLine(limit.low_mm, "least", words))
        if limit.high_mm is not None:
            lines.append(LimitLine(limit.high_mm, "most", words))
    return tuple(dict.fromkeys(lines))


def along_rope(assessment: Assessment) -> AlongRope:
    """Return the stations' mean diameters by photographs and by gauge, with their limits."""
    figures = tuple(
        Figure(
            section.station or 0, section.position_m, source, section.mean_mm, K * section.u_mean_mm
        )
        for source, sections in assessment.sections_by_source
        for section in sections
    )
    rope = assessment.log.rope
    limits = limit_lines(verdict.verdict.limit for verdict in assessment.verdicts)
    return AlongRope(figures, limits, rope.nominal_mm, rope.reference_mm)


def roundness(section: Section, source: Source) -> Roundness:
    """Return a station's directions, with deviations magnified to at most 30 % of the radius."""
    directions = tuple(
        Direction(view.view_deg, view.diameter_mm, K * view.u_mm) for view in section.views
    )
    most = max(
        abs(direction.diameter_mm - section.mean_mm) + direction.expanded_mm
        for direction in directions
    )
    wanted = 0.3 * section.mean_mm / max(most, 1e-6 * section.mean_mm)
    return Roundness(
        section.station or 0,
        source,
        section.mean_mm,
        directions,
        max(round_down(wanted), 1.0),
        section.ellipse,
    )


def differences(assessment: Assessment) -> Differences:
    """Return photograph minus gauge, with the mean of both, for every comparison."""
    points = tuple(
        Difference(
            comparison.place.words,
            0.5 * (comparison.photo_mm + comparison.gauge_mm),
            comparison.difference_mm,
            K * comparison.u_difference_mm,
            comparison.word,
        )
        for comparison in assessment.crosscheck.comparisons
    )
    agreement = assessment.agreement
    if agreement is None:
        return Differences(points)
    return Differences(points, agreement.bias_mm, agreement.low_mm, agreement.high_mm)


def budget_shares(terms: Iterable[Term], *, most: int = 8) -> tuple[Share, ...]:
    """Return the largest shares of a budget, at most `most`; the last combines the rest.

    Terms with the same name are combined.
    """
    by_name: dict[str, tuple[float, float]] = {}
    for term, share in shares(terms):
        pct, variance = by_name.get(term.quantity, (0.0, 0.0))
        by_name[term.quantity] = (pct + 100.0 * share, variance + term.u_mm**2)
    ranked = sorted(by_name.items(), key=lambda item: item[1][0], reverse=True)
    parts = [Share(name, pct, math.sqrt(var)) for name, (pct, var) in ranked]
    if len(parts) <= most:
        return tuple(parts)
    rest = parts[most - 1 :]
    together = Share(
        f"{len(rest)} smaller sources together",
        sum(one.share_pct for one in rest),
        math.sqrt(sum(one.u_mm**2 for one in rest)),
    )
    return (*parts[: most - 1], together)


def history(
    station: int,
    trend: Trend | None,
    figures: Sequence[DatedDiameter] = (),
    *,
    limits: Sequence[LimitLine] = (),
    ahead: timedelta = timedelta(days=365),
) -> History:
    """Return a station's history; the band predicts a figure as uncertain as the latest."""
    if trend is None:
        return History(station, tuple(figures), limits=tuple(limits))
    u_new = combined_u_mm(trend.points[-1].budget)
    first = trend.points[0].on
    until = trend.last + ahead
    days = [first + (until - first) * part / 24 for part in range(25)]
    band = tuple((day, *trend.band_mm(day, u_new_mm=u_new)) for day in days)
    measured = tuple(dated(point) for point in trend.points)
    return History(station, measured, band, tuple(limits))


def dated(point: TrendPoint) -> DatedDiameter:
    """Return a point of a trend with its expanded uncertainty."""
    return DatedDiameter(point.on, point.mean_mm, K * combined_u_mm(point.budget))


def last_digits(readings: Sequence[Reading], step_mm: float) -> Digits | None:
    """Return how often each last digit was typed; None if last digits carry no information."""
    steps, step = gauge_steps(readings, step_mm)
    cells = cells_of_scale(step)
    if cells is None:
        return None
    measured = Counter(value % cells for value in steps)
    labels = tuple(str(digit * (10 // cells)) for digit in range(cells))
    return Digits(labels, tuple(measured.get(digit, 0) for digit in range(cells)), step)
