"""The stated level holds on honest logs, and a wrong uncertainty would be noticed.

Binomial bounds at 0.1 % and 99.9 %: each side fails by chance once in a thousand seeds.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.multitest import multipletests  # type: ignore[import-untyped]

from inspection.model.log import Log
from inspection.screening.figures.odd_figures import model_of
from inspection.screening.multiple_testing import (
    SHARES,
    ScreeningTest,
    adjust_for_multiplicity,
    adjusted_p_values,
)
from inspection.screening.screen import chance_tests, fact_tests, screen_log
from tests.inspection.simulated_logs import USUAL, simulate, simulate_log
from vision.results import Estimate

LOGS = 60  # the levels themselves are tabled by tests/benchmarks/screening_tables.py
SMALL = replace(USUAL, stations=(4, 12))


@pytest.fixture(scope="module")
def honest() -> list[tuple[Log, list[ScreeningTest]]]:
    """Honest logs of many people, gauges, resolutions, times and histories, with their tests."""
    rng = np.random.default_rng(20261103)
    found = []
    for _ in range(LOGS):
        log = simulate(rng, SMALL).log
        causes, patterns = chance_tests(log, model_of(log))
        found.append((log, [*(test for test, _ in causes), *patterns]))
    return found


def _least(tests: list[ScreeningTest]) -> float:
    return min(test.p for test in adjust_for_multiplicity(tests) if test.p is not None)


@pytest.mark.parametrize("level", [0.01, 0.05, 0.2])
def test_honest_logs_raise_anything_as_often_as_the_level_says(
    honest: list[tuple[Log, list[ScreeningTest]]], level: float
) -> None:
    alarms = sum(_least(tests) <= level for _, tests in honest)
    assert alarms <= binom.ppf(0.999, LOGS, level)
    # tests overlap, and e-values are bounds; a screening that still detects faults must reach at
    # least a quarter of the level
    assert alarms >= binom.ppf(0.001, LOGS, level / 4)


def test_a_log_is_flagged_where_the_smallest_probability_is_at_the_level(
    honest: list[tuple[Log, list[ScreeningTest]]],
) -> None:
    for log, tests in honest[:15]:
        assert bool(screen_log(log, level=0.2)) == (_least(tests) <= 0.2)


def test_plain_facts_are_never_seen_in_honest_logs(
    honest: list[tuple[Log, list[ScreeningTest]]],
) -> None:
    assert [test for log, _ in honest for test in fact_tests(log)] == []


# The simulated logs have one photograph of a view: several are tried in test_repeat_shots.py.
@pytest.mark.parametrize("check", sorted(SHARES.keys() - {"shots"}))
def test_no_check_alone_raises_more_than_its_level(
    honest: list[tuple[Log, list[ScreeningTest]]], check: str
) -> None:
    smallest = []
    for _, tests in honest:
        own = [test.p for test in tests if test.check == check and test.p is not None]
        if own:
            smallest.append(min(own) * len(own))
    assert len(smallest) > LOGS / 10
    for level in (0.02, 0.1):
        alarms = sum(p <= level for p in smallest)
        assert alarms <= binom.ppf(0.9995, len(smallest), level)


def test_an_uneven_rope_that_nothing_else_shows_is_not_taken_for_narrow_jaws() -> None:
    # 3 % of the level is the check's own; without photographs and history 2 of 35 were flagged by
    # it alone, and 15 of 35 at 0.05
    rng = np.random.default_rng(6963)
    uneven = replace(SMALL, uneven_pct=(0.5, 1.0), oval_pct=(0.8, 1.5))
    found = []
    for _ in range(25):
        log = simulate(rng, uneven, earlier=0, photographs=False).log
        causes, _ = chance_tests(log, model_of(log))
        found += [min((t.p or 1.0 for t, _ in causes if t.check == "narrow-jaws"), default=1.0)]
    assert sum(p <= 0.05 for p in found) <= binom.ppf(0.999, len(found), 0.05)


def test_photographs_that_are_off_by_far_more_than_their_budgets_say_would_be_noticed() -> None:
    # 1.2 % off, where the budgets state a scale to 0.17 %
    rng = np.random.default_rng(7)
    logs, alarms = 10, 0
    for _ in range(logs):
        log = simulate(rng, photographs=True, earlier=0).log
        off = tuple(
            replace(item, diameter_mm=1.012 * item.diameter_mm)
            for item in log.results
            if isinstance(item, Estimate)
        )
        alarms += bool(screen_log(replace(log, results=off)))
    assert alarms > binom.ppf(0.999, logs, 0.05)


def test_adjusted_probabilities_agree_with_a_statistics_library_where_weights_are_equal() -> None:
    rng = np.random.default_rng(11)
    for size in (1, 2, 7, 40):
        p_values = rng.random(size) ** 3
        expected = multipletests(p_values, method="holm")[1]
        assert adjusted_p_values(list(p_values), [2.0] * size) == pytest.approx(list(expected))


def test_a_weight_is_a_share_of_the_level() -> None:
    # worked by hand: 0.01 owns 3/4, so 0.01 / 0.75; then 0.2 owns all that is left
    assert adjusted_p_values([0.01, 0.2], [3.0, 1.0]) == pytest.approx([0.01 / 0.75, 0.2])


@pytest.mark.parametrize(("p_values", "weights"), [([0.1], []), ([0.1, 0.2], [1.0, 0.0])])
def test_weights_that_do_not_fit_are_refused(p_values: list[float], weights: list[float]) -> None:
    with pytest.raises(ValueError, match="weight"):
        adjusted_p_values(p_values, weights)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 5.0])
def test_a_level_that_is_not_a_probability_is_refused(level: float) -> None:
    log = simulate_log(np.random.default_rng(1))
    with pytest.raises(ValueError, match="`level` must be between 0 and 1"):
        screen_log(log, level=level)


def test_the_same_log_gives_the_same_list() -> None:
    log = simulate_log(np.random.default_rng(5), stations=9, earlier=2)
    assert screen_log(log, level=0.9) == screen_log(log, level=0.9)
