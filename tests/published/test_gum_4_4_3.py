"""The bench check's figures compared with the GUM's worked example of repeated observations.

ISO/IEC Guide 98-3:2008 (JCGM 100:2008), 4.4.3 and table 1: twenty temperatures with mean 100.145
(printed as 100.14) and experimental standard deviation 1.489.
"""

from __future__ import annotations

import math
from datetime import date

import pytest
from scipy.stats import binom

from inspection.measurement.bench_check import INSIDE_SHARE, BenchCheck, bench_check
from vision.results import Estimate
from vision.uncertainty import Term

TABLE_1 = (
    96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68,
    100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
)  # fmt: skip
DAY = date(2026, 11, 29)


def of(diameters: tuple[float, ...], *, u_own: float, u_shared: float, true: float) -> BenchCheck:
    estimates = [
        Estimate(
            value,
            (
                Term("noise", u_own, "mm", 1.0, "A", f"edge:{number}"),
                Term("print scale", u_shared, "mm", 1.0, "B", "print:spring:y"),
            ),
            camera="Lantern L4",
            print_set="spring",
        )
        for number, value in enumerate(diameters)
    ]
    return bench_check(estimates, true_mm=true, u_true_mm=0.01, refused=0, on=DAY)


def test_mean_and_standard_deviations_are_the_guides() -> None:
    check = of(TABLE_1, u_own=1.5, u_shared=0.0, true=100.0)
    assert 100 + check.mean_error_mm == pytest.approx(100.145, abs=5e-4)
    assert check.repeatability_mm == pytest.approx(1.489, abs=5e-4)
    assert check.holds


def test_what_all_photographs_share_is_counted_once() -> None:
    # GUM F.1.2.3: a shared effect does not average out, independent ones fall with the root
    check = of(TABLE_1, u_own=1.5, u_shared=0.2, true=100.0)
    assert check.u_mean_error_mm == pytest.approx(math.sqrt(1.5**2 / 20 + 0.2**2 + 0.01**2))


def test_the_whole_way_of_measuring_is_iso_22514_7s() -> None:
    # bias as a rectangular distribution (|bias| / sqrt 3), repeatability and reference
    check = of(TABLE_1, u_own=1.5, u_shared=0.0, true=100.0)
    assert check.u_process_mm == pytest.approx(
        math.sqrt(0.145**2 / 3 + 1.489**2 + 0.01**2), abs=1e-3
    )


def test_so_few_inside_by_chance_is_the_binomials_tail() -> None:
    check = of(TABLE_1, u_own=0.5, u_shared=0.0, true=100.0)
    assert check.inside == sum(abs(value - 100) <= 2 * math.hypot(0.5, 0.01) for value in TABLE_1)
    assert check.as_rare_as == pytest.approx(binom.cdf(check.inside, 20, INSIDE_SHARE), rel=1e-9)
    assert not check.holds
    assert check.verdict.startswith("Don't rely on U")


def test_a_mean_that_u_does_not_explain_is_told_however_many_lie_inside() -> None:
    shifted = tuple(100.0 + 0.09 + 0.001 * k for k in range(8))
    check = of(shifted, u_own=0.05, u_shared=0.0, true=100.0)
    assert check.inside == 8
    assert abs(check.e_n) > 1
    assert not check.holds
    assert "measure the card's bars again" in check.verdict


@pytest.mark.parametrize(
    ("diameters", "true", "sentence"),
    [
        (TABLE_1[:5], 100.0, "at least 6 are needed"),
        (TABLE_1, 50.0, "give the diameter of the bar that was photographed"),
        (TABLE_1, float("nan"), "between 1 and 500 mm"),
    ],
)
def test_what_is_no_check_is_refused_in_a_sentence(
    diameters: tuple[float, ...], true: float, sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        of(diameters, u_own=1.0, u_shared=0.0, true=true)


def test_an_old_check_is_reminded_of() -> None:
    check = of(TABLE_1, u_own=1.5, u_shared=0.0, true=100.0)
    assert "do it again" not in check.reminder(date(2027, 11, 1))
    assert "more than a year old: repeat it" in check.reminder(date(2027, 12, 1))
