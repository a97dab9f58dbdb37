"""Trends of a rope's stations over its inspections, and how near each is to its limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from inspection.assessment import Assessment
from inspection.limits.remaining_life import TimeToLimit, time_to_limit
from inspection.measurement.doubt import doubt_words
from inspection.measurement.section import Source
from inspection.measurement.trend import Trend, TrendPoint, trend
from inspection.model.loss import LOCAL_GROUND, LOOK_THERE
from inspection.model.rope import Units
from inspection.worst_station import possible_losses
from ui.charts.data import History
from ui.charts.sources import dated, history, limit_lines
from ui.lengths import K, figure, in_units, length_text, rate_words, unit_of
from vision.uncertainty import combined_u_mm, covariance_mm2

LOSS = "possible loss of section"


@dataclass(frozen=True, slots=True)
class StationTrend:
    """The history of one station over the inspections of its rope.

    Parameters
    ----------
    rope : str
        The rope.
    station : int
        Station number.
    source : {"photographs", "gauge"}
        The source of the fitted figures. The two are never mixed, because a difference between
        them would look like wear.
    data : History
        Data of the chart.
    line : Trend or None
        The fitted line; None with fewer than three inspections.
    met : TimeToLimit or None
        When the line reaches the highest lower limit; None without a line or limit.
    words : str
        All of this in sentences.
    concern : str
        Why the line must not be relied on: a possible loss of section, or an entry to check.
    """

    rope: str
    station: int
    source: Source
    data: History
    line: Trend | None
    met: TimeToLimit | None
    words: str
    concern: str = ""

    @property
    def name(self) -> str:
        """The station and what its figures come from."""
        return f"{self.station}, by {'the gauge' if self.source == 'gauge' else 'photographs'}"

    @property
    def last_mm(self) -> float:
        """The latest figure, mm."""
        return self.data.figures[-1].mean_mm

    @property
    def least_mm(self) -> float | None:
        """The highest lower limit, mm."""
        return max(
            (limit.value_mm for limit in self.data.limits if limit.side == "least"), default=None
        )


def station_trends(assessments: Iterable[Assessment]) -> list[StationTrend]:
    """Return the trend of every station measured in at least two inspections of its rope."""
    by_rope: dict[str, list[Assessment]] = {}
    for assessment in assessments:
        by_rope.setdefault(assessment.log.rope.identity, []).append(assessment)
    trends = []
    for rope, mine in by_rope.items():
        mine.sort(key=lambda one: (one.log.inspection.on, one.log.inspection.identity))
        by_photograph = _photograph_points(mine)
        read = {history.station: list(history.points) for history in mine[-1].station_histories}
        for station in sorted({*by_photograph, *read}):
            seen, typed = by_photograph.get(station, []), read.get(station, [])
            by_gauge = len({point.on for point in typed}) > 1
            if by_gauge:
                trends.append(_trend(rope, station, "gauge", typed, seen, mine[-1]))
            if (not by_gauge or thinner_or_newer(seen, typed)) and len(
                {point.on for point in seen}
            ) > 1:
                trends.append(_trend(rope, station, "photographs", seen, [], mine[-1]))
    return trends


def thinner_or_newer(seen: Sequence[TrendPoint], typed: Sequence[TrendPoint]) -> bool:
    """Return whether photographs show what the gauge's line hides: less rope, or a later state."""
    if not seen or not typed:
        return bool(seen)
    last, read = seen[-1], typed[-1]
    thinner = read.mean_mm - last.mean_mm > _expanded_difference_mm(last, read)
    return last.on > read.on or (last.on == read.on and thinner)


def _expanded_difference_mm(one: TrendPoint, two: TrendPoint) -> float:
    shared = covariance_mm2(one.budget, two.budget)
    own = combined_u_mm(one.budget) ** 2 + combined_u_mm(two.budget) ** 2
    return K * math.sqrt(max(own - 2.0 * shared, 0.0))


def _photograph_points(assessments: list[Assessment]) -> dict[int, list[TrendPoint]]:
    points: dict[int, list[TrendPoint]] = {}
    for assessment in assessments:
        for section in assessment.photograph_sections:
            if section.station is not None:
                point = TrendPoint(
                    assessment.log.inspection.on, section.mean_mm, section.mean_budget
                )
                points.setdefault(section.station, []).append(point)
    return points


def _trend(
    rope: str,
    station: int,
    source: Source,
    points: list[TrendPoint],
    beside: list[TrendPoint],
    last: Assessment,
) -> StationTrend:
    limits = limit_lines(
        verdict.verdict.limit for verdict in last.verdicts if verdict.station == station
    )
    line = None
    why = ""
    try:
        line = trend(points)
    except ValueError as reason:
        why = f"No line was fitted: {reason}"
    data = replace(
        history(station, line, limits=limits),
        figures=tuple(dated(point) for point in points),
        photographs=tuple(dated(one) for one in beside),
        by_photographs=source == "photographs",
    )
    least = max((limit.value_mm for limit in limits if limit.side == "least"), default=None)
    met = None if line is None or least is None else time_to_limit(line, least)
    by = "by gauge" if source == "gauge" else "by photographs"
    units = last.log.rope.units
    summary = f"Station {station} {by}: latest {length_text(points[-1].mean_mm, units=units)}."
    if line is not None:
        low, high = line.rate_interval
        summary += (
            f" {rate_words(line.rate_mm_per_year, units)} {unit_of(units)} per year "
            f"(95 % interval {rate_words(low, units)} to {rate_words(high, units)})."
        )
    concern = loss = ""
    if station in last.doubted:
        concern = "an entry"
        why += f" {in_units(doubt_words(last.doubts_at(station), source), units)}"
    if source == "gauge" and thinner_or_newer(beside, points):
        seen = length_text(beside[-1].mean_mm, units=units)
        why += f" By photographs it is {seen} on {beside[-1].on}."
    if station in possible_losses(last):
        concern = LOSS
        loss = f"{LOOK_THERE}, whatever this line says. {LOCAL_GROUND}"
    return StationTrend(
        rope,
        station,
        source,
        data,
        line,
        met,
        " ".join(
            part.strip()
            for part in (
                loss,
                summary,
                _largest_drop(points, units),
                why,
                in_units(met.words, units) if met else "",
            )
            if part
        ),
        concern,
    )


def _largest_drop(points: Sequence[TrendPoint], units: Units) -> str:
    """Return the largest loss between two inspections in words, if it exceeds its uncertainty."""
    lost, drop = 0.0, ""
    for one, two in pairwise(sorted(points, key=lambda point: point.on)):
        change = two.mean_mm - one.mean_mm
        expanded = _expanded_difference_mm(one, two)
        if change < min(lost, -expanded):
            lost = change
            drop = (
                f"Largest loss between two inspections: {length_text(-change, units=units)} "
                f"(U {length_text(expanded, units=units)}), {one.on} to {two.on}."
            )
    return drop


def nearest_first(trends: Iterable[StationTrend]) -> list[StationTrend]:
    """Return stations by when they may reach their limit, then by their margin.

    Those that may have lost section come before all others, by their margin: no line says when
    they must go.
    """

    def key(trend: StationTrend) -> tuple[bool, float, float]:
        day = trend.met.earliest if trend.met is not None else None
        room = math.inf if trend.least_mm is None else trend.last_mm - trend.least_mm
        if trend.concern == LOSS:
            return False, room, 0.0
        return True, math.inf if day is None else float(day.toordinal()), room

    return sorted(trends, key=key)


def trend_row(trend: StationTrend, units: Units = "mm") -> list[str]:
    """Return a row: rope, station, what to check, source, latest, rate, limit, when."""
    rate = "needs three inspections"
    if trend.line is not None:
        low, high = trend.line.rate_interval
        steady = rate_words(trend.line.rate_mm_per_year, units)
        rate = f"{steady} ({rate_words(low, units)} to {rate_words(high, units)})"
    least = trend.least_mm
    return [
        trend.rope,
        str(trend.station),
        trend.concern,
        trend.source,
        figure(trend.last_mm, units),
        rate,
        "no limit" if least is None else figure(least, units),
        "" if trend.met is None else trend.met.when,
    ]
