"""The stated level holds on honest logs, and a wrong uncertainty would be noticed.

Binomial bounds at 0.1 % and 99.9 %: one of the sides fails by chance once in a thousand seeds.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.multitest import multipletests  # type: ignore[import-untyped]

from inspection.model.log import Log
from inspection.screening.multiple_testing import SHARES, Look, adjusted_p_values, share_out
from inspection.screening.screen import chance_looks, fact_looks, scrutinise
from tests.inspection.simulated_logs import simulate_log
from vision.results import Estimate

LOGS = 1000


@pytest.fixture(scope="module")
def honest() -> list[tuple[Log, list[Look]]]:
    rng = np.random.default_rng(20261103)
    logs = [simulate_log(rng) for _ in range(LOGS)]
    return [(log, chance_looks(log)) for log in logs]


@pytest.mark.parametrize("level", [0.01, 0.05, 0.2])
def test_honest_logs_raise_anything_as_often_as_the_level_says(
    honest: list[tuple[Log, list[Look]]], level: float
) -> None:
    least = [min(look.p for look in share_out(looks) if look.p is not None) for _, looks in honest]
    alarms = sum(p <= level for p in least)
    assert alarms <= binom.ppf(0.999, LOGS, level)
    # looks overlap and counts come in whole numbers, so the level is a bound; half of it is
    # what a scrutiny that still sees something must reach
    assert alarms >= binom.ppf(0.001, LOGS, level / 2)


def test_scrutinise_reports_exactly_when_the_smallest_probability_is_at_the_level(
    honest: list[tuple[Log, list[Look]]],
) -> None:
    for log, looks in honest[:150]:
        smallest = min(look.p for look in share_out(looks) if look.p is not None)
        assert bool(scrutinise(log, level=0.2)) == (smallest <= 0.2)


def test_plain_facts_are_never_seen_in_honest_logs(honest: list[tuple[Log, list[Look]]]) -> None:
    assert [look for log, _ in honest for look in fact_looks(log)] == []


@pytest.mark.parametrize("check", sorted(SHARES))
def test_no_check_alone_raises_more_than_its_level(
    honest: list[tuple[Log, list[Look]]], check: str
) -> None:
    smallest = []
    for _, looks in honest:
        own = [look.p for look in looks if look.check == check and look.p is not None]
        if own:
            smallest.append(min(own) * len(own))
    assert len(smallest) > LOGS / 5
    for level in (0.02, 0.1):
        alarms = sum(p <= level for p in smallest)
        assert alarms <= binom.ppf(0.9995, len(smallest), level)


def test_uncertainties_stated_at_half_would_be_noticed() -> None:
    rng = np.random.default_rng(7)
    logs, alarms = 150, 0
    for _ in range(logs):
        log = simulate_log(rng, photographs=True)
        halved = tuple(
            replace(item, budget=tuple(replace(term, u=term.u / 2) for term in item.budget))
            for item in log.results
            if isinstance(item, Estimate)
        )
        alarms += bool(scrutinise(replace(log, results=halved)))
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
def test_a_level_that_is_no_probability_is_refused(level: float) -> None:
    log = simulate_log(np.random.default_rng(1))
    with pytest.raises(ValueError, match="`level` must lie between 0 and 1"):
        scrutinise(log, level=level)


def test_the_same_log_gives_the_same_list() -> None:
    log = simulate_log(np.random.default_rng(5), stations=9, earlier=2)
    assert scrutinise(log, level=0.9) == scrutinise(log, level=0.9)
