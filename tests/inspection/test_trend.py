"""The rate of loss compared with scipy and statsmodels, and its coverage on simulated histories."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]
from scipy.stats import linregress

from inspection.measurement.trend import DAYS_PER_YEAR, TrendPoint, trend, trends
from vision.uncertainty import Term, covariance_mm2

START = date(2020, 3, 1)


def _point(
    day: int, mean_mm: float, *, own_mm: float = 0.05, gauge: str = "", gauge_mm: float = 0.0
) -> TrendPoint:
    terms = [Term("reading", own_mm, "mm", 1.0, "A", f"reading:{day}")]
    if gauge:
        terms.append(Term("gauge", gauge_mm, "mm", 1.0, "B", f"gauge:{gauge}"))
    return TrendPoint(START + timedelta(days=day), mean_mm, tuple(terms))


DAYS = (0, 190, 371, 540, 800, 1100)
MEANS = (41.20, 41.02, 40.95, 40.60, 40.52, 40.10)
YEARS = np.array([(day - DAYS[-1]) / DAYS_PER_YEAR for day in DAYS])


def test_believing_the_seen_scatter_alone_is_ordinary_regression() -> None:
    line = trend(
        (_point(day, mean, own_mm=0.01) for day, mean in zip(DAYS, MEANS, strict=True)),
        stated_dof=0.0,
    )
    reference = linregress(YEARS, MEANS)
    assert line.scatter > 1  # the stated 0.01 mm is too small here, so the seen scatter counts
    assert line.rate_mm_per_year == pytest.approx(reference.slope)
    assert line.level_mm == pytest.approx(reference.intercept)
    half = line.rate_interval[1] - line.rate_mm_per_year
    assert half == pytest.approx(2.776445 * reference.stderr, rel=1e-5)  # t(0.975; 4) by table
    assert math.sqrt(line.covariance[0]) == pytest.approx(reference.intercept_stderr)


def test_believing_the_stated_uncertainties_alone_is_generalised_least_squares() -> None:
    gauges = ("A", "A", "B", "B", "C", "C")
    points = [
        _point(day, mean, own_mm=0.04 + 0.01 * i, gauge=gauge, gauge_mm=0.08)
        for i, (day, mean, gauge) in enumerate(zip(DAYS, MEANS, gauges, strict=True))
    ]
    line = trend(points, stated_dof=math.inf)
    covariance = [[covariance_mm2(a.budget, b.budget) for b in points] for a in points]
    reference = sm.GLS(np.array(MEANS), sm.add_constant(YEARS), sigma=np.array(covariance)).fit(
        cov_type="fixed scale"
    )
    assert (line.level_mm, line.rate_mm_per_year) == pytest.approx(tuple(reference.params))
    expected = reference.cov_params()
    assert line.covariance == pytest.approx(
        (expected[0, 0], expected[1, 1], expected[0, 1]), rel=1e-6
    )
    assert line.rate_interval == pytest.approx(tuple(reference.conf_int()[1]), rel=1e-6)


def test_figures_that_scatter_less_than_stated_narrow_nothing() -> None:
    line = trend(_point(day, 41.0 - 0.3 * day / DAYS_PER_YEAR) for day in DAYS)
    assert line.last == START + timedelta(days=DAYS[-1])
    assert line.scatter == pytest.approx(0.0, abs=1e-6)
    assert line.widened == 1.0
    reference = sm.WLS(
        41.0 - 0.3 * np.array(DAYS) / DAYS_PER_YEAR,
        sm.add_constant(YEARS),
        weights=np.full(6, 0.05**-2),
    ).fit(cov_type="fixed scale")
    half = line.rate_interval[1] - line.rate_mm_per_year
    # 30 degrees of freedom of the stated u and 4 of the line: t(0.975; 34) by table
    assert half == pytest.approx(2.032245 * float(reference.bse[1]), rel=1e-5)


def test_one_gauge_for_all_shifts_the_line_and_leaves_the_rate_alone() -> None:
    own = trend(_point(day, mean) for day, mean in zip(DAYS, MEANS, strict=True))
    one = trend(
        _point(day, mean, gauge="A", gauge_mm=0.3) for day, mean in zip(DAYS, MEANS, strict=True)
    )
    assert one.rate_mm_per_year == pytest.approx(own.rate_mm_per_year)
    assert one.rate_interval == pytest.approx(own.rate_interval)
    assert one.covariance[0] == pytest.approx(own.covariance[0] + 0.3**2 * own.widened**2)


def test_a_gauge_changed_on_the_way_makes_the_rate_less_sure() -> None:
    means = [41.0, 41.0, 41.0, 40.6, 40.6, 40.6]  # a step where gauge B came in
    same = trend(
        _point(day, mean, gauge="A", gauge_mm=0.2) for day, mean in zip(DAYS, means, strict=True)
    )
    changed = trend(
        _point(day, mean, gauge="AAABBB"[i], gauge_mm=0.2)
        for i, (day, mean) in enumerate(zip(DAYS, means, strict=True))
    )
    assert same.loses
    assert not changed.loses


def _covered(own_mm: float, true_mm: float, histories: int = 400) -> float:
    rng = np.random.default_rng(21)
    hits = 0
    for _ in range(histories):
        points = [
            _point(
                day, 41.0 - 0.3 * day / DAYS_PER_YEAR + float(rng.normal(0, true_mm)), own_mm=own_mm
            )
            for day in DAYS
        ]
        low, high = trend(points).rate_interval
        hits += low <= -0.3 <= high
    return hits / histories


def test_the_interval_holds_the_true_rate_as_often_as_it_says() -> None:
    # 95 %; four standard deviations of 400 draws are 4.4 %; t(34) and no narrowing put it on the
    # safe side
    assert 0.93 <= _covered(0.05, 0.05) <= 0.995


def test_a_stated_uncertainty_that_is_far_too_small_would_be_noticed() -> None:
    # the seen scatter widens the interval: better than a stated u of a quarter would give alone
    # (about 37 %), but no longer 95 %
    assert 0.5 < _covered(0.0125, 0.05) < 0.93
    line = trend([_point(day, 41.0 + (-1) ** i * 0.3, own_mm=0.05) for i, day in enumerate(DAYS)])
    assert line.scatter > 3
    assert line.widened > 1.5


def test_the_bands_widen_away_from_the_figures_and_for_a_new_figure() -> None:
    line = trend(_point(day, mean) for day, mean in zip(DAYS, MEANS, strict=True))
    middle = START + timedelta(days=500)
    later = line.last + timedelta(days=1000)
    widths = [
        high - low
        for low, _, high in (line.band_mm(middle), line.band_mm(line.last), line.band_mm(later))
    ]
    assert widths[0] < widths[1] < widths[2]
    low, value, high = line.band_mm(later, u_new_mm=0.1)
    assert high - low > widths[2]
    assert value == pytest.approx(line.level_mm + line.rate_mm_per_year * 1000 / DAYS_PER_YEAR)
    # the prediction band of ordinary regression, by its textbook formula
    plain = trend(
        (_point(day, mean, own_mm=0.01) for day, mean in zip(DAYS, MEANS, strict=True)),
        stated_dof=0.0,
    )
    residual = np.array(MEANS) - plain.level_mm - plain.rate_mm_per_year * YEARS
    s = math.sqrt(float(residual @ residual) / 4)
    at = 1000 / DAYS_PER_YEAR
    spread = float(((YEARS - YEARS.mean()) ** 2).sum())
    half = 2.776445 * s * math.sqrt(1 + 1 / 6 + (at - float(YEARS.mean())) ** 2 / spread)
    low, value, high = plain.band_mm(later, u_new_mm=s)
    assert high - value == pytest.approx(half, rel=1e-5)


def test_stations_with_too_short_a_history_have_no_line() -> None:
    points = [_point(day, mean) for day, mean in zip(DAYS, MEANS, strict=True)]
    found = trends({2: points, 1: points[:2], 3: points[:3]})
    assert found[1] is None
    assert found[2] is not None
    assert found[3] is not None
    assert list(found) == [1, 2, 3]


def test_points_that_make_no_history_are_refused() -> None:
    two = [_point(0, 41.0), _point(200, 40.9)]
    with pytest.raises(ValueError, match="on at least 3 days; got 2"):
        trend(two)
    with pytest.raises(ValueError, match="on at least 3 days; got 2"):
        trend([*two, _point(200, 40.8)])
    with pytest.raises(ValueError, match="has no uncertainty"):
        trend([*two, TrendPoint(START + timedelta(days=400), 40.8, ())])
    same = TrendPoint(START + timedelta(days=400), 40.9, two[1].budget)
    with pytest.raises(ValueError, match="the same figure"):
        trend([*two, same])
    with pytest.raises(ValueError, match="must be more than 0; got nan"):
        trend([*two, _point(400, math.nan)])
    with pytest.raises(ValueError, match="`stated_dof`"):
        trend([*two, _point(400, 40.0)], stated_dof=-1.0)
