"""Who differs over many inspections: planted biases are named, chance differences rarely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import fisher_exact, ttest_ind
from statsmodels.stats.multitest import multipletests  # type: ignore[import-untyped]

from inspection.comparison.bland_altman import FEWEST
from inspection.comparison.crosscheck import compare
from inspection.comparison.standing_apart import own_and_shared, stand_apart
from inspection.measurement.view import DirectionalDiameter
from inspection.record.overview.examinations import ComparedEntry
from vision.uncertainty import Term


def _comparisons(
    rng: np.random.Generator, people: int, each: int, biases: dict[int, float]
) -> list[ComparedEntry]:
    found = []
    for person in range(people):
        for n in range(each):
            key = f"{person}:{n}"
            photo = Term("edges", 0.05, "mm", 1.0, "A", f"edge:{key}")
            gauge = Term("reading", 0.05, "mm", 1.0, "B", f"reading:{key}")
            compared = compare(
                DirectionalDiameter(22.0 + rng.normal(0, 0.05), (photo,), 0),
                DirectionalDiameter(
                    22.0 + biases.get(person, 0.0) + rng.normal(0, 0.05), (gauge,), 0, "C-1"
                ),
                matters_mm=0.2,
                station=n,
            )
            own, shared = own_and_shared(compared.difference_budget)
            found.append(
                ComparedEntry(
                    "visit", n, 0, compared.photo_mm, compared.gauge_mm, compared.difference_mm,
                    compared.u_difference_mm, own, shared, compared.word,
                    f"C-{person}", f"person {person}",
                )
            )  # fmt: skip
    return found


def test_a_steady_small_bias_is_named_and_the_others_are_not() -> None:
    rng = np.random.default_rng(3)
    found = stand_apart(_comparisons(rng, 8, 40, {5: -0.08}))
    flagged = {item.name for item in found if item.flagged}
    assert {"person 5", "C-5"} <= flagged
    assert found[0].name in ("person 5", "C-5")
    assert found[0].difference_mm == pytest.approx(-0.08, abs=4 * found[0].u_mm)
    assert "-0.0" in found[0].words


def test_one_biased_reader_does_not_make_the_others_stand_apart() -> None:
    """Five people with 200 comparisons each: a mean shifted by one is no fault of the rest."""
    found = stand_apart(_comparisons(np.random.default_rng(11), 5, 200, {2: -0.15}))
    assert {item.name for item in found if item.flagged} == {"person 2", "C-2"}


def test_of_two_halves_that_differ_neither_is_cleared() -> None:
    found = stand_apart(_comparisons(np.random.default_rng(12), 4, 100, {0: -0.15, 1: -0.15}))
    assert {item.name for item in found if item.flagged} >= {f"person {n}" for n in range(4)}


def test_chance_alone_is_seldom_named() -> None:
    rng = np.random.default_rng(4)
    runs = 60
    named = sum(
        any(item.flagged for item in stand_apart(_comparisons(rng, 6, 12, {}))) for _ in range(runs)
    )
    assert named <= 8  # 5 % of 60 is 3; more than 8 in one of two hundred such tests


def test_the_chances_agree_with_general_purpose_libraries() -> None:
    rng = np.random.default_rng(5)
    comparisons = _comparisons(rng, 4, 30, {1: 0.05})
    found = stand_apart(comparisons)
    told = next(item for item in found if item.name == "person 1")
    mine = [-item.difference_mm for item in comparisons if item.person == "person 1"]
    rest = [-item.difference_mm for item in comparisons if item.person != "person 1"]
    welch = ttest_ind(mine, rest, equal_var=False)
    assert told.difference_mm == pytest.approx(np.mean(mine) - np.mean(rest))
    # budgets may be larger than the scatter, and the smaller group's freedom is the safer one
    assert told.p_value >= float(welch.pvalue) * 0.5
    expected = multipletests([item.p_value for item in found], method="fdr_bh")[1]
    assert [item.adjusted for item in found] == pytest.approx(list(expected))


def test_one_person_alone_has_nobody_to_differ_from() -> None:
    assert stand_apart(_comparisons(np.random.default_rng(6), 1, 20, {0: 1.0})) == []


@pytest.mark.parametrize(("each", "named"), [(FEWEST - 1, 0), (FEWEST, 4)])
def test_too_few_comparisons_name_nobody(each: int, named: int) -> None:
    assert len(stand_apart(_comparisons(np.random.default_rng(6), 2, each, {}))) == named


def test_the_uncertainty_of_a_difference_of_means_is_that_of_its_budget() -> None:
    """What all share cancels, what one group shares does not average out (GUM, 5.2.2)."""
    rng = np.random.default_rng(7)
    print_u, gauge_u = 0.04, 0.03
    found = [
        replace(
            item, difference_mm=0.0, u_own_mm=0.05,
            shared=(("print:A", print_u), (f"gauge:{item.gauge}", -gauge_u)),
        )
        for item in _comparisons(rng, 2, 25, {})
    ]  # fmt: skip
    (one, *_) = [item for item in stand_apart(found) if item.name == "person 0"]
    # by hand: each mean has own/sqrt(25) and its gauge; the print is in both with the same sign
    assert one.u_mm == pytest.approx((2 * 0.05**2 / 25 + 2 * gauge_u**2) ** 0.5)


def test_who_disagrees_more_often_is_named_as_fishers_exact_test_says() -> None:
    calm = [
        replace(item, word="agrees") for item in _comparisons(np.random.default_rng(8), 5, 40, {})
    ]
    found = [
        replace(item, word="disagrees")
        if (item.person == "person 3" and item.station < 9) or item.station == 30
        else item
        for item in calm
    ]
    named = {item.name: item for item in stand_apart(found)}
    assert {name for name, item in named.items() if item.flagged_disagree} == {"person 3", "C-3"}
    table = [[10, 30], [4, 156]]
    exact = fisher_exact(table, alternative="greater").pvalue
    plain = [fisher_exact([[1, 39], [13, 147]], alternative="greater").pvalue] * 8
    expected = multipletests([exact, exact, *plain], method="fdr_bh")[1][0]
    assert named["person 3"].p_disagree == pytest.approx(expected)
    assert named["person 3"].disagree == 10
