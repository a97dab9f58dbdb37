"""Stations over the inspections of a log: rate of loss, and when a limit would be met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from inspection.history import Point, Trend, trend
from inspection.limit_time import LimitTime, time_to_limit
from inspection.limits import Limit, NotApplicable
from inspection.log import Log
from inspection.section import sections_of_readings


@dataclass(frozen=True, slots=True)
class OverTime:
    """One station over the inspections, by the gauge.

    Parameters
    ----------
    station : int
        Station number.
    points : tuple of Point
        Its mean diameter at each inspection, oldest first.
    line : Trend or None
        The line through them; None where there is none.
    limit : LimitTime or None
        When the line meets the highest of the discard limits for the mean diameter.
    why : str
        Why there is no line; empty where there is one.
    """

    station: int
    points: tuple[Point, ...]
    line: Trend | None
    limit: LimitTime | None = None
    why: str = ""


def stations_over_time(
    log: Log, limits: Sequence[Limit | NotApplicable] = ()
) -> tuple[OverTime, ...]:
    """Return every station that earlier inspections of the log hold, too.

    Parameters
    ----------
    log : Log
        The inspection with the earlier ones.
    limits : sequence of Limit or NotApplicable, optional
        From `inspection.limit_tables.limits_for`.

    Notes
    -----
    Only the gauge's readings make a history: they are what earlier inspections of a log hold.
    """
    points: dict[int, list[Point]] = {}
    held = [(one.inspection, one.readings) for one in log.earlier]
    for inspection, readings in (*held, (log.inspection, log.readings)):
        made, _ = sections_of_readings(
            [one for one in readings if one.gauge in log.gauges], log.gauges,
            nominal_mm=log.rope.nominal_mm, outer_strands=log.rope.outer_strands,
            inspection=inspection.identity,
        )  # fmt: skip
        for one in made:
            point = Point(inspection.on, one.mean_mm, one.mean_budget)
            points.setdefault(one.station or 0, []).append(point)
    lows = [
        limit for limit in limits
        if isinstance(limit, Limit) and limit.low_mm is not None
        and limit.rule.quantity == "mean diameter" and limit.rule.purpose == "discard"
    ]  # fmt: skip
    nearest = max(lows, key=lambda limit: limit.low_mm or 0.0, default=None)
    return tuple(
        _over_time(station, sorted(found, key=lambda point: point.on), nearest)
        for station, found in sorted(points.items())
        if len({point.on for point in found}) > 1
    )


def _over_time(station: int, points: list[Point], limit: Limit | None) -> OverTime:
    try:
        line = trend(points)
    except ValueError as reason:
        return OverTime(station, tuple(points), None, None, str(reason))
    met = None if limit is None else time_to_limit(line, limit)
    return OverTime(station, tuple(points), line, met)
