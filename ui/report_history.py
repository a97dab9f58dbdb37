"""Earlier inspections in the report: each station's readings by the gauge, and its line."""

from __future__ import annotations

from datetime import date

from inspection.case import Judgement
from inspection.history import Point, trend
from inspection.log import Log
from inspection.section import Section, sections_of_readings
from ui.figure_sources import history, limit_lines
from ui.figures import K, Then
from ui.report_blocks import Block, Drawn, Grid, Words
from ui.report_judged import doubted_stations


def earlier(judgement: Judgement) -> list[Block]:
    """Return each station's gauge readings over the inspections, with a line where there is one."""
    log = judgement.log
    if not log.earlier:
        return []
    by_station = _gauge_history(log)
    rows: list[tuple[str, ...]] = []
    drawn: list[Block] = []
    lines = limit_lines(one.verdict.limit for one in judgement.verdicts)
    doubted = doubted_stations(judgement)
    for station, points in sorted(by_station.items()):
        figures = [Then(on, one.mean_mm, K * one.u_mean_mm) for on, one in points]
        rows += [(str(station), one.on.isoformat(), f"{one.mean_mm:.2f}", f"{one.expanded_mm:.2f}")
                 for one in figures]  # fmt: skip
        try:
            line = trend(Point(on, one.mean_mm, one.mean_budget) for on, one in points)
        except ValueError:
            continue  # fewer than three days, or two figures that are one: the table says enough
        low, high = line.rate_interval
        loses = "A loss is beyond doubt." if line.loses else "No loss is beyond doubt."
        doubt = ""
        if station in doubted:
            doubt = " An entry of this station deserves a second look, and the line rests on it."
        caption = (
            f"Station {station}, by the gauge: {line.rate_mm_per_year:+z.3f} mm per year "
            f"(95 % interval {low:+z.3f} to {high:+z.3f} mm per year). {loses} Bars: U (k = 2); "
            "shaded: where a new reading as sure as the last is expected (95 %), if wear goes on "
            f"evenly in time.{doubt}"
        )
        drawn.append(Drawn(history(station, line, limits=lines), caption))
    if not rows:
        return [Words("Earlier inspections hold no station in two directions: no history.")]
    head = ("Station", "Day", "Mean by the gauge (mm)", "U (mm)")
    table = Grid(head, tuple(rows), (1, 1.6, 2, 1.2), right=frozenset({2, 3}))
    few: list[Block] = []
    if not drawn:
        few = [Words("A rate of loss needs inspections on at least 3 days.", "small")]
    return [table, *few, *drawn]


def _gauge_history(log: Log) -> dict[int, list[tuple[date, Section]]]:
    """Return every station's sections by the gauge, inspection by inspection."""
    found: dict[int, list[tuple[date, Section]]] = {}
    held = [(one.inspection, one.readings) for one in log.earlier]
    for inspection, readings in (*held, (log.inspection, log.readings)):
        known = [one for one in readings if one.gauge in log.gauges]
        made, _ = sections_of_readings(
            known, log.gauges, nominal_mm=log.rope.nominal_mm,
            outer_strands=log.rope.outer_strands, inspection=inspection.identity,
        )  # fmt: skip
        for one in made:
            found.setdefault(one.station or 0, []).append((inspection.on, one))
    return found
