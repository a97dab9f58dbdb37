"""Charts of one station: sources of its uncertainty, and its inspection history."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import streamlit as st

from inspection.assessment import Assessment
from inspection.measurement.trend import Trend, TrendPoint, trend
from inspection.model.rope import Units
from ui.charts.checks import budget_chart
from ui.charts.data import DatedDiameter, History
from ui.charts.rope import history_chart
from ui.charts.sources import budget_shares, dated, history
from ui.lengths import K, figure, length_text, rate_words, unit_of
from ui.presenters.review.queue import budget_in_words
from ui.web.components.chart import chart_spec, show_chart
from vision.results import Estimate
from vision.uncertainty import combined_u_mm

AHEAD = timedelta(days=90)  # how far the band extends beyond the inspection date


def show_budget(estimate: Estimate) -> None:
    """Show the sources of a photograph's uncertainty: a sentence, and bars."""
    parts = budget_shares(estimate.budget)
    words = budget_in_words([(part.quantity, part.share_pct / 100) for part in parts])
    st.markdown(f":material/functions: {words}")
    if parts:
        show_chart(budget_chart, parts, words=words)


def show_history(assessment: Assessment, station: int) -> None:
    """Show a station's history, with the interval in which today's figure was expected."""
    chart = station_history(assessment, station)
    if chart is None:
        st.caption("No history yet: no earlier inspection has this station in two directions.")
        return
    data, words = chart
    show_chart(history_chart, data, words=f"Station {station}: inspection history. {words}")
    st.markdown(f":material/history: {words}")


def make_ready(assessment: Assessment, station: int, estimates: Sequence[Estimate]) -> None:
    """Make a station's charts before they are needed."""
    units = assessment.log.rope.units
    chart = station_history(assessment, station)
    if chart is not None:
        chart_spec(history_chart.__name__, chart[0], units, history_chart)
    for estimate in estimates:
        chart_spec(budget_chart.__name__, budget_shares(estimate.budget), units, budget_chart)


def station_history(assessment: Assessment, station: int) -> tuple[History, str] | None:
    """Return a station's inspection history, and the figure expected today in words.

    Where there are three earlier inspections the band is computed from these alone, so that
    today's figure is compared with it without influencing it.

    Returns
    -------
    chart : (History, str) or None
        None where no earlier inspection has the station.
    """
    over = next(
        (history for history in assessment.station_histories if history.station == station), None
    )
    if over is None:
        return None
    today = assessment.log.inspection.on
    earlier = [point for point in over.points if point.on < today]
    now = [point for point in over.points if point.on == today]
    photographed = [
        DatedDiameter(today, section.mean_mm, K * section.u_mean_mm)
        for section in assessment.photograph_sections
        if section.station == station
    ]
    line = _line(earlier)
    by_gauge = tuple(dated(point) for point in over.points)
    if line is None:
        data = history(station, over.line, by_gauge, ahead=AHEAD)
        words = "An expected range for today needs three earlier inspections of this station."
    else:
        data = history(station, line, ahead=today - line.last + AHEAD)
        words = _expected(line, today, now, photographed, assessment.log.rope.units)
    return replace(data, figures=by_gauge, photographs=tuple(photographed)), words


def _line(points: list[TrendPoint]) -> Trend | None:
    try:
        return trend(points)
    except ValueError:
        return None  # fewer than three dates, or coinciding points


def _expected(
    line: Trend,
    today: date,
    now: list[TrendPoint],
    photographed: list[DatedDiameter],
    units: Units,
) -> str:
    """Return the figure expected today from the earlier inspections, and what was found."""
    new = now[-1] if now else line.points[-1]
    low, _, high = line.band_mm(today, u_new_mm=combined_u_mm(new.budget))
    expected = (
        f"Expected by gauge from {len(line.points)} earlier inspections: "
        f"{figure(low, units)} to {length_text(high, units=units)} (95 %)"
    )
    found = [("gauge reading", one.mean_mm) for one in now]
    found += [("by photographs", one.mean_mm) for one in photographed]
    compared = [
        f"{source} {length_text(value, units=units)}, "
        + ("within" if low <= value <= high else "outside")
        for source, value in found
    ]
    rate_low, rate_high = line.rate_interval
    return (
        f"{'; '.join([expected, *compared])}. Trend up to then: "
        f"{rate_words(line.rate_mm_per_year, units)} {unit_of(units)} per year (95 % interval "
        f"{rate_words(rate_low, units)} to {rate_words(rate_high, units)})."
    )
