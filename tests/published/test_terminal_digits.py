"""Last digits against published counts and general-purpose statistics.

Sources: an exercise on students' weights and their last digits (public exercise page); digits
made up by a person (open textbook of the University of Queensland, "Categorical data").
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from scipy.stats import chisquare, multinomial

from inspection.screening.checks.digit_preference import digit_count, last_digit_test

STUDENTS = [15, 5, 3, 8, 5, 17, 7, 6, 9, 5]
MADE_UP = [47, 101, 109, 90, 145, 111, 132, 75, 50, 40]
VECTOR = [18, 6, 9, 7, 8, 16, 8, 9, 7, 12]  # our own counts; chi-square worked out by hand


@pytest.mark.parametrize(
    ("counts", "chi_square", "p_value", "digits"),
    [(STUDENTS, 23.50, 0.0052, 4), (VECTOR, 14.8, 0.097, 3)],
)
def test_published_chi_square_and_p_are_reached_to_their_printed_digits(
    counts: list[int], chi_square: float, p_value: float, digits: int
) -> None:
    found, p = last_digit_test(counts)
    assert found == pytest.approx(chi_square, abs=0.005)
    assert round(p, digits) == p_value


def test_digits_made_up_by_a_person_stand_out() -> None:
    found, p = last_digit_test(MADE_UP)
    assert round(found, 2) == 132.07
    assert p == pytest.approx(4.5e-24, rel=0.02)  # two printed digits


@pytest.mark.parametrize("counts", [STUDENTS, MADE_UP, VECTOR, [60, 40], [30, 20, 25, 25, 40]])
def test_large_samples_agree_with_scipy(counts: list[int]) -> None:
    reference = chisquare(counts)
    found, p = last_digit_test(counts)
    assert found == pytest.approx(reference.statistic, rel=1e-12)
    assert p == pytest.approx(reference.pvalue, rel=1e-9)


@pytest.mark.parametrize("counts", [[4, 0], [3, 1, 0, 2, 1], [5, 1, 0], [2, 2, 2, 0, 0]])
def test_small_samples_agree_with_every_table_counted_one_by_one(counts: list[int]) -> None:
    cells, total = len(counts), sum(counts)
    seen = sum(count**2 for count in counts)
    tables = (t for t in product(range(total + 1), repeat=cells) if sum(t) == total)
    expected = math.fsum(
        multinomial.pmf(table, total, [1 / cells] * cells)
        for table in tables
        if sum(count**2 for count in table) >= seen
    )
    assert last_digit_test(counts)[1] == pytest.approx(expected, rel=1e-9)


def test_small_samples_of_ten_digits_agree_with_simulation() -> None:
    counts = [5, 1, 0, 2, 1, 4, 1, 0, 1, 1]
    rng = np.random.default_rng(20261103)
    drawn = rng.multinomial(sum(counts), [0.1] * 10, size=200_000)
    share = float(np.mean((drawn**2).sum(axis=1) >= sum(c * c for c in counts)))
    p = last_digit_test(counts)[1]
    # four standard deviations of the simulated share
    assert abs(share - p) < 4 * math.sqrt(p * (1 - p) / 200_000)


def test_exact_and_asymptotic_values_meet_where_they_hand_over() -> None:
    counts = [9, 3, 5, 4, 5, 7, 4, 5, 3, 4]  # 49 readings: just below 5 expected a digit
    exact = last_digit_test(counts)[1]
    assert exact == pytest.approx(chisquare(counts).pvalue, rel=0.08)


@pytest.mark.parametrize(
    ("step", "digits"), [(0.01, 10), (0.02, 5), (0.05, 2), (0.1, 10), (0.5, 2), (1.0, 10)]
)
def test_the_step_of_a_gauge_says_how_many_digits_there_are(step: float, digits: int) -> None:
    assert digit_count(step) == digits


def test_a_coarse_gauge_is_not_blamed_for_its_own_step() -> None:
    # 50 readings of a gauge with a step of 0.05: 26 end in 0, 24 in 5
    assert last_digit_test([26, 24])[1] > 0.7
    wrongly_as_ten = chisquare([26, 0, 0, 0, 0, 24, 0, 0, 0, 0]).pvalue
    assert wrongly_as_ten < 1e-20


@pytest.mark.parametrize("step", [0.03, 0.0, -0.01, float("nan")])
def test_a_step_that_no_gauge_has_is_refused(step: float) -> None:
    with pytest.raises(ValueError, match="`step` must be"):
        digit_count(step)


@pytest.mark.parametrize("counts", [[4], [0, 0], [3, -1]])
def test_counts_that_make_no_sense_are_refused(counts: list[int]) -> None:
    with pytest.raises(ValueError, match="got"):
        last_digit_test(counts)
