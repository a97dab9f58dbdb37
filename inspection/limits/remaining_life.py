"""When a station's diameter would reach a limit if its trend continued, as an interval.

For every station over the inspections of a log: rate of loss, and when a limit would be reached.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from inspection.limits.rules import Limit, NotApplicable
from inspection.measurement.section import sections_of_readings
from inspection.measurement.trend import DAYS_PER_YEAR, Trend, TrendPoint, trend
from inspection.model.log import Log

FURTHEST_YEARS = 100.0  # no date beyond this is computed
# Common practice, no source: an extrapolation is not good to the day, and beyond ten years nobody
# plans by it.
SHOWN_YEARS = 10.0
BY_MONTH_YEARS = 2.0  # up to here words name the month, then the year
NO_CLEARANCE = (
    "This is a straight-line extrapolation and does not clear the rope: wear can speed up at any "
    "time, and the competent person decides."
)


@dataclass(frozen=True, slots=True)
class TimeToLimit:
    """When a station's line reaches a lower limit, as an interval.

    Parameters
    ----------
    limit_mm : float
        The limit, mm.
    earliest : date or None
        First day on which the band's lower edge reaches it; the day of the last inspection if it
        has already; None if it does not within 100 years.
    middle : date or None
        Day on which the line itself reaches it; None if it does not within 100 years.
    latest : date or None
        First day on which the band's upper edge has reached it, too; None if no latest day can be
        given, because a rate of 0 can't be excluded.
    words : str
        The interval in words, with the caution that it does not clear the rope.
    when : str
        The interval alone, for a table.
    """

    limit_mm: float
    earliest: date | None
    middle: date | None
    latest: date | None
    words: str
    when: str


def time_to_limit(line: Trend, limit: Limit | float) -> TimeToLimit:
    """Return when the line reaches a lower limit, as an interval.

    Parameters
    ----------
    line : Trend
        From `trend`.
    limit : Limit or float
        A limit with `low_mm`, or the least diameter itself, mm.

    Raises
    ------
    ValueError
        If the limit is not a lower limit.

    Notes
    -----
    All days on which the limit is within the confidence band (Fieller's interval): the roots of
    (level + rate x - limit)² = q² var(x). Where the rate is not significant the interval has no
    end, and none is invented. The limit's own uncertainty widens it.

    References
    ----------
    Fieller, Some problems in interval estimation, J. R. Stat. Soc. B 1954; 16: 175-185.
    """
    low_mm = limit.low_mm if isinstance(limit, Limit) else limit
    u_limit_mm = limit.u_base_mm if isinstance(limit, Limit) else 0.0
    if low_mm is None or not math.isfinite(low_mm):
        raise ValueError("the time to a limit needs a limit below which the rope must not wear.")
    level, rate, both = line.covariance
    q2 = line.quantile**2
    above = line.level_mm - low_mm
    a = line.rate_mm_per_year**2 - q2 * rate
    b = 2.0 * (above * line.rate_mm_per_year - q2 * both)
    c = above**2 - q2 * (level + u_limit_mm**2)
    meets_lower: list[float] = []
    meets_upper: list[float] = []
    for years in _roots(a, b, c):
        if years >= 0:
            # the line is above the limit where the lower edge reaches it, and below it where the
            # upper edge does
            over = above + line.rate_mm_per_year * years > 0
            (meets_lower if over else meets_upper).append(years)
    half_now = line.quantile * math.sqrt(level + u_limit_mm**2)
    earliest = 0.0 if above - half_now <= 0 else min(meets_lower, default=math.inf)
    latest = 0.0 if above + half_now <= 0 else min(meets_upper, default=math.inf)
    middle = math.inf
    if above <= 0:
        middle = 0.0
    elif line.rate_mm_per_year < 0:
        middle = -above / line.rate_mm_per_year
    first, mid, last = (_day(line.last, years) for years in (earliest, middle, latest))
    words, when = _words(low_mm, line, first, last)
    return TimeToLimit(low_mm, first, mid, last, words, when)


def _roots(a: float, b: float, c: float) -> tuple[float, ...]:
    """Return the real roots of a x² + b x + c, without loss of precision."""
    if a == 0.0:
        return () if b == 0.0 else (-c / b,)
    inside = b * b - 4.0 * a * c
    if inside < 0:
        return ()
    half = -0.5 * (b + math.copysign(math.sqrt(inside), b))
    return (half / a,) if half == 0.0 else (half / a, c / half)


def _day(last: date, years: float) -> date | None:
    if not years <= FURTHEST_YEARS:
        return None
    try:
        return last + timedelta(days=math.floor(years * DAYS_PER_YEAR))
    except OverflowError:
        return None


def _words(limit_mm: float, line: Trend, first: date | None, last: date | None) -> tuple[str, str]:
    """Return the interval in a sentence with its cautions, and alone."""
    limit = f"The limit of {limit_mm:.2f} mm"
    begin, end = _rounded(first, line.last), _rounded(last, line.last)
    if not begin:
        when = f"not within {SHOWN_YEARS:.0f} years"
        text = (
            f"{limit} is not reached within {SHOWN_YEARS:.0f} years on a line like this; no line "
            "can be relied on for longer."
        )
    elif last == line.last:
        when = "already"
        text = f"{limit} has been reached already."
    else:
        start = "already" if first == line.last else f"from {begin}"
        when = f"{start}, {f'in {end} at the latest' if end else 'no latest date'}"
        finish = f"in {end} at the latest" if end else "no latest date can be given"
        text = f"{limit} may be reached {start}; {finish}."
    if not line.loses and last != line.last:
        text += " A loss is not yet certain."
    return f"{text} {NO_CLEARANCE}", when


def _rounded(day: date | None, last: date) -> str:
    """Return the month or the year of an extrapolated day; empty if it is too far away.

    Both begin before the day itself: "from" them is never later than the day.
    """
    years = math.inf if day is None else (day - last).days / DAYS_PER_YEAR
    if day is None or years > SHOWN_YEARS:
        return ""
    return f"{day:%Y-%m}" if years <= BY_MONTH_YEARS else f"{day.year}"


@dataclass(frozen=True, slots=True)
class StationHistory:
    """One station over the inspections, by the gauge.

    Parameters
    ----------
    station : int
        Station number.
    points : tuple of TrendPoint
        Its mean diameter at each inspection, oldest first.
    line : Trend or None
        The line through them; None where there is none.
    limit : TimeToLimit or None
        When the line reaches the highest of the discard limits for the mean diameter.
    why : str
        Why there is no line; empty where there is one.
    """

    station: int
    points: tuple[TrendPoint, ...]
    line: Trend | None
    limit: TimeToLimit | None = None
    why: str = ""


def station_histories(
    log: Log, limits: Sequence[Limit | NotApplicable] = ()
) -> tuple[StationHistory, ...]:
    """Return the history of every station that earlier inspections of the log also contain.

    Parameters
    ----------
    log : Log
        The inspection with the earlier ones.
    limits : sequence of Limit or NotApplicable, optional
        From `inspection.limits.standards.limits_for`.

    Notes
    -----
    Only the gauge's readings make a history: they are what earlier inspections of a log contain.
    A gauge's own error is shared by inspections between two calibrations only.
    """
    points: dict[int, list[TrendPoint]] = {}
    visits = [(one.inspection, one.readings) for one in log.earlier]
    for inspection, readings in (*visits, (log.inspection, log.readings)):
        made = sections_of_readings(
            [one for one in readings if one.gauge in log.gauges],
            log.gauges,
            log.rope,
            inspection=inspection.identity,
            days=(inspection.on, log.inspection.on),
        )
        for one in made:
            point = TrendPoint(inspection.on, one.mean_mm, one.mean_budget)
            points.setdefault(one.station, []).append(point)
    lows = [
        limit
        for limit in limits
        if isinstance(limit, Limit)
        and limit.low_mm is not None
        and limit.rule.quantity == "mean diameter"
        and limit.rule.purpose == "discard"
    ]
    nearest = max(lows, key=lambda limit: limit.low_mm or 0.0, default=None)
    return tuple(
        _over_time(station, sorted(found, key=lambda point: point.on), nearest)
        for station, found in sorted(points.items())
        if len({point.on for point in found}) > 1
    )


def _over_time(station: int, points: list[TrendPoint], limit: Limit | None) -> StationHistory:
    try:
        line = trend(points)
    except ValueError as reason:
        return StationHistory(station, tuple(points), None, None, str(reason))
    met = None if limit is None else time_to_limit(line, limit)
    return StationHistory(station, tuple(points), line, met)
