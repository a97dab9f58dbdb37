"""Agreement by group, the part of a bias that does not average out, and flags."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests  # type: ignore[import-untyped]

from inspection.comparison.bland_altman import (
    agreement_by,
    agreement_of,
    flags,
    limits_of_agreement,
)
from inspection.comparison.crosscheck import Comparison, compare
from inspection.measurement.view import DirectionalDiameter
from vision.uncertainty import Term


def _comparison(difference_mm: float, number: int, gauge: str, person: str = "A") -> Comparison:
    shared = Term("gauge", 0.05, "mm", 1.0, "B", f"gauge:{gauge}")
    photo = DirectionalDiameter(
        40.0 + difference_mm, (Term("e", 0.1, "mm", 1.0, "A", f"edge:{number}"),), 0
    )
    reading = DirectionalDiameter(40.0, (shared,), 0, gauge)
    return replace(compare(photo, reading, station=1, matters_mm=0.4), person=person)


def _many(bias_mm: float, count: int, gauge: str, seed: int) -> list[Comparison]:
    rng = np.random.default_rng(seed)
    return [
        _comparison(float(rng.normal(bias_mm, 0.1)), seed * 1000 + i, gauge) for i in range(count)
    ]


def test_a_gauge_that_reads_low_stands_apart_in_its_group() -> None:
    groups = agreement_by([*_many(0.0, 25, "C-1", 1), *_many(0.5, 25, "C-2", 2)], "gauge")
    good, odd = groups["C-1"], groups["C-2"]
    assert good is not None
    assert odd is not None
    assert good.bias_interval_mm[0] < 0.0 < good.bias_interval_mm[1]
    assert odd.bias_interval_mm[0] > 0.4
    assert flags([good.p_value, odd.p_value]).flagged == (False, True)


def test_the_gauges_own_error_does_not_average_out() -> None:
    found = agreement_of(_many(0.0, 25, "C-1", 3))
    # 25 photographs of 0.1 mm average to 0.02 mm, the gauge's 0.05 mm stays
    assert found.u_bias_mm == pytest.approx((0.02**2 + 0.05**2) ** 0.5)
    two_gauges = agreement_of([*_many(0.0, 25, "C-1", 3), *_many(0.0, 25, "C-2", 4)])
    assert two_gauges.u_bias_mm == pytest.approx((0.1**2 / 50 + 0.05**2 / 2) ** 0.5)


def test_a_group_of_two_says_nothing() -> None:
    groups = agreement_by(_many(0.0, 2, "C-1", 5), "gauge")
    assert groups == {"C-1": None}
    assert set(agreement_by(_many(0.0, 4, "C-1", 5), "person")) == {"A"}


def test_limits_hold_19_of_20_differences() -> None:
    rng = np.random.default_rng(6)
    found = limits_of_agreement(rng.normal(0.1, 0.2, 20_000).tolist())
    later = rng.normal(0.1, 0.2, 20_000)
    inside = np.mean((later > found.low_mm) & (later < found.high_mm))
    assert inside == pytest.approx(0.95, abs=0.01)


def test_equal_differences_have_no_scatter_and_no_trouble() -> None:
    found = limits_of_agreement([0.2, 0.2, 0.2])
    assert found.sd_mm == pytest.approx(0.0, abs=1e-12)
    assert limits_of_agreement([0.0, 0.0, 0.0]).p_value == 1.0


@pytest.mark.parametrize(
    ("differences", "sentence"),
    [([0.1, 0.2], "at least 3 differences; got 2"), ([0.1, 0.2, float("nan")], "be a number")],
)
def test_too_few_or_missing_differences_are_refused(
    differences: list[float], sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        limits_of_agreement(differences)


def test_flags_are_those_of_statsmodels() -> None:
    rng = np.random.default_rng(7)
    p_values = [*rng.uniform(0, 1, 90).tolist(), *rng.uniform(0, 0.002, 10).tolist()]
    found = flags(p_values)
    rejected, adjusted, _, _ = multipletests(p_values, alpha=0.05, method="fdr_bh")
    assert found.flagged == tuple(bool(one) for one in rejected)
    assert found.adjusted == pytest.approx(adjusted.tolist())
    assert found.expected_by_chance == pytest.approx(5.0)
    assert found.below_level == sum(p <= 0.05 for p in p_values)
    assert "where 5.0 are expected by chance alone" in found.words


def test_honest_logs_are_hardly_ever_flagged() -> None:
    rng = np.random.default_rng(8)
    flagged = sum(any(flags(rng.uniform(0, 1, 40).tolist()).flagged) for _ in range(1000))
    # with nothing wrong the chance of any flag is the level: 50 of 1,000, 4 sd = 28
    assert 22 <= flagged <= 78


def test_no_p_values_give_no_flags_and_odd_ones_are_refused() -> None:
    assert flags([]).adjusted == ()
    with pytest.raises(ValueError, match="between 0 and 1"):
        flags([0.5, 1.5])
    with pytest.raises(ValueError, match="`level` must be"):
        flags([0.5], level=0.0)
