"""The time to a limit compared with a search day by day, and the case without a latest date."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from inspection.limits.remaining_life import NO_CLEARANCE, TimeToLimit, time_to_limit
from inspection.limits.rules import Limit
from inspection.limits.standards import limits_for
from inspection.measurement.trend import Trend, TrendPoint, trend
from inspection.model.rope import Rope
from tests.benchmarks.trend_coverage import coverage
from vision.uncertainty import Term

START = date(2020, 3, 1)
DAYS = (0, 190, 371, 540, 800, 1100)


def _line(rate_mm_per_year: float, own_mm: float = 0.05, level_mm: float = 41.0) -> Trend:
    return trend(
        TrendPoint(
            START + timedelta(days=day),
            level_mm + rate_mm_per_year * day / 365.25,
            (Term("reading", own_mm, "mm", 1.0, "A", f"reading:{day}"),),
        )
        for day in DAYS
    )


def _walk(line: Trend, limit_mm: float, edge: int) -> date | None:
    """Return the first day on which an edge of the band (0 low, 1 line, 2 high) meets the limit."""
    for days in range(100 * 366):
        on = line.last + timedelta(days=days)
        if line.band_mm(on)[edge] <= limit_mm:
            return on
    return None


@pytest.mark.parametrize("rate", [-0.6, -0.2, -0.08])
def test_the_dates_are_those_of_a_walk_through_the_days(rate: float) -> None:
    line = _line(rate)
    found = time_to_limit(line, 38.2)
    for got, edge in ((found.earliest, 0), (found.middle, 1), (found.latest, 2)):
        walked = _walk(line, 38.2, edge)
        assert (got is None) == (walked is None)
        if got is not None and walked is not None:
            assert abs((got - walked).days) <= 1


def test_the_interval_is_in_order_and_says_that_it_is_no_clearance() -> None:
    found = time_to_limit(_line(-0.5), 38.2)
    assert found.earliest is not None
    assert found.middle is not None
    assert found.latest is not None
    assert found.earliest < found.middle < found.latest
    assert f"from {found.earliest.year}; in {found.latest.year} at the latest." in found.words
    assert "not yet certain" not in found.words
    assert found.words.endswith(NO_CLEARANCE)


def test_a_loss_that_is_not_beyond_doubt_has_no_latest_day() -> None:
    line = _line(-0.04, own_mm=0.2)
    assert not line.loses
    found = time_to_limit(line, 38.2)
    assert found.latest is None
    assert found.earliest is not None
    near = time_to_limit(line, 40.0)
    assert "no latest date can be given" in near.words
    assert "A loss is not yet certain" in near.words
    level = time_to_limit(replace(line, rate_mm_per_year=0.0), 38.2)  # a line that never meets it
    assert (level.middle, level.latest) == (None, None)
    assert level.earliest is not None


def test_a_growing_rope_may_still_meet_the_limit_if_the_rate_is_uncertain() -> None:
    found = time_to_limit(_line(0.02, own_mm=0.2), 38.2)
    assert found.middle is None
    assert found.latest is None
    assert found.earliest is not None


def test_a_rope_that_surely_grows_meets_no_lower_limit() -> None:
    found = time_to_limit(_line(0.5), 38.2)
    assert (found.earliest, found.middle, found.latest) == (None, None, None)
    assert "not reached within 10 years" in found.words
    assert found.words.endswith(NO_CLEARANCE)


def test_a_limit_that_is_met_is_met_already() -> None:
    line = _line(-0.5)
    found = time_to_limit(line, 41.0)
    assert found.earliest == found.middle == found.latest == line.last
    assert "has been reached already" in found.words
    near = time_to_limit(line, line.level_mm - 0.01)
    assert near.earliest == line.last
    assert near.latest is not None
    assert near.latest > line.last


@pytest.mark.parametrize(
    ("limit_mm", "when"),
    [
        (39.2, "from 2023-07, in 2023-12 at the latest"),  # within two years: by month
        (38.2, "from 2025, in 2026 at the latest"),  # after two years: by year
        (34.8, "from 2031, no latest date"),  # the latest day is more than ten years away
        (30.0, "not within 10 years"),
    ],
)
def test_an_extrapolated_date_is_no_more_precise_than_it_can_be(limit_mm: float, when: str) -> None:
    found = time_to_limit(_line(-0.5), limit_mm)
    assert found.when == when
    assert found.words.endswith(NO_CLEARANCE)
    assert not re.search(r"\d{4}-\d\d-\d\d", found.words)
    assert found.earliest is not None
    if begun := re.match(r"from (\d{4})(?:-(\d\d))?", found.when):
        # rounded to an earlier day, never a later one
        assert date(int(begun[1]), int(begun[2] or 1), 1) <= found.earliest


def test_the_limits_own_uncertainty_widens_the_interval() -> None:
    def found(u_reference_mm: float) -> TimeToLimit:
        limit = limits_for(
            Rope("R", 40.0, reference_mm=41.2, u_reference_mm=u_reference_mm),
            rule_sets=["ISO 4309:2017"],
        )[0]
        assert isinstance(limit, Limit)
        return time_to_limit(_line(-0.5), limit)

    sure, unsure = found(0.0), found(0.2)
    assert sure.earliest is not None
    assert unsure.earliest is not None
    assert sure.latest is not None
    assert unsure.latest is not None
    assert unsure.earliest < sure.earliest < sure.latest < unsure.latest
    assert unsure.middle == sure.middle


def test_the_interval_holds_the_true_day_as_often_as_it_says() -> None:
    # the true line meets 39.0 mm after (41 - 39) / 0.4 = 5 years
    truth = START + timedelta(days=round(5 * 365.25))
    rng = np.random.default_rng(22)
    hits = 0
    for _ in range(400):
        line = trend(
            TrendPoint(
                START + timedelta(days=day),
                41.0 - 0.4 * day / 365.25 + float(rng.normal(0, 0.1)),
                (Term("reading", 0.1, "mm", 1.0, "A", f"reading:{day}"),),
            )
            for day in DAYS
        )
        found = time_to_limit(line, 39.0)
        hits += (found.earliest is not None and found.earliest <= truth) and (
            found.latest is None or found.latest >= truth
        )
    # 95 % or a little more (see the rate); four standard deviations of 400 draws are 4.4 %
    assert 0.93 <= hits / 400 <= 0.995


def test_an_upper_limit_is_not_what_wear_runs_into() -> None:
    limit = limits_for(Rope("R", 40.0, reference_mm=41.2), rule_sets=["ISO 4309:2017"])[1]
    assert isinstance(limit, Limit)
    with pytest.raises(ValueError, match="below which the rope must not wear"):
        time_to_limit(_line(-0.5), limit)


def test_intervals_of_the_rate_hold_it_for_thin_and_thick_ropes_and_recalibrated_gauges() -> None:
    # 95 % is stated; six stations share a gauge, so that 40 histories determine it to about 3 %.
    # Under 0.15 % of the diameter for everybody, 8 mm ropes had 80 %.
    for nominal in (8.0, 40.0):
        held = coverage(nominal, histories=40, seed=11, learned=True)
        assert 0.90 <= held <= 1.0
    assert coverage(8.0, histories=40, seed=11, learned=False) < 0.90
