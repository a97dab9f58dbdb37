"""Photographs compared with trusted readings, for ropes photographed several times.

Outside references: statsmodels' restricted maximum likelihood (for the same number of photographs
of each rope it gives the analysis of variance's components), scipy's one-way analysis of variance,
and the plain limits of agreement where each rope has one photograph.
"""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import beta, f_oneway
from statsmodels.regression.mixed_linear_model import MixedLM

from inspection.comparison.bland_altman import limits_of_agreement
from inspection.comparison.gauge_study import (
    GaugeStudy,
    StudiedPhoto,
    TrustedReading,
    spread_of,
    study_of,
)
from vision.results import Estimate, Finding, Refusal
from vision.uncertainty import Term

BIAS, BETWEEN, WITHIN = 0.3, 0.4, 0.2  # %, of what is simulated


def simulated(seed: int, ropes: int, each: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    own = rng.normal(BIAS, BETWEEN, (ropes, 1))
    return np.asarray(own + rng.normal(0, WITHIN, (ropes, each)))


def test_components_are_those_of_restricted_maximum_likelihood() -> None:
    drawn = simulated(1, 12, 4)
    got = spread_of(drawn.tolist())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the optimiser's way, not of its result
        fitted = MixedLM(
            drawn.ravel(), np.ones(drawn.size), groups=np.repeat(np.arange(12), 4)
        ).fit(reml=True)
    assert got.bias_pct == pytest.approx(float(fitted.fe_params[0]), abs=1e-6)
    assert got.sd_pct**2 == pytest.approx(
        float(np.asarray(fitted.cov_re)[0, 0]) + float(fitted.scale), rel=1e-3
    )


def test_mean_squares_are_those_of_scipys_analysis_of_variance() -> None:
    by_rope = [[0.1, 0.3], [0.5, 0.4, 0.9], [-0.2, 0.1], [0.0, 0.6, 0.2, 0.2]]
    got = spread_of(by_rope)
    counts = np.array([len(one) for one in by_rope])
    total, ropes = counts.sum(), len(by_rope)
    within = sum(np.var(one) * len(one) for one in by_rope) / (total - ropes)
    between = float(f_oneway(*by_rope).statistic) * within
    usual = (total - (counts**2).sum() / total) / (ropes - 1)
    assert got.sd_pct**2 == pytest.approx((between - within) / usual + within)


def test_with_one_photograph_of_each_rope_they_are_the_plain_limits() -> None:
    drawn = simulated(2, 30, 1)
    got, plain = spread_of(drawn.tolist()), limits_of_agreement(drawn.ravel().tolist())
    assert got.bias_pct == pytest.approx(plain.bias_mm)
    assert got.bias_interval_pct == pytest.approx(plain.bias_interval_mm)
    assert got.sd_pct == pytest.approx(plain.sd_mm)
    assert (got.low_pct, got.high_pct) == pytest.approx((plain.low_mm, plain.high_mm))
    # 1 + 1.96^2 / 2 in place of the 3 that the paper rounds it to
    ours = got.high_interval_pct[1] - got.high_pct
    theirs = plain.high_interval_mm[1] - plain.high_mm
    assert ours / theirs == pytest.approx(math.sqrt((1 + 1.96**2 / 2) / 3), rel=0.02)


def test_intervals_hold_the_truth_as_often_as_they_say_and_plain_ones_do_not() -> None:
    held = {"bias": 0, "limit": 0, "plain": 0}
    trials, upper = 600, BIAS + 1.96 * math.hypot(BETWEEN, WITHIN)
    for seed in range(trials):
        drawn = simulated(1000 + seed, 12, 5)
        got, plain = spread_of(drawn.tolist()), limits_of_agreement(drawn.ravel().tolist())
        held["bias"] += got.bias_interval_pct[0] <= BIAS <= got.bias_interval_pct[1]
        held["limit"] += got.high_interval_pct[0] <= upper <= got.high_interval_pct[1]
        held["plain"] += plain.bias_interval_mm[0] <= BIAS <= plain.bias_interval_mm[1]
    # 95 % of 600 is held 547 to 586 times in 99.9 of 100 such runs (binomial)
    assert 547 <= held["bias"] <= 586
    assert held["limit"] >= 540  # an approximation with 11 degrees of freedom: 90 % at least
    assert held["plain"] < 480  # photographs taken as independent say too much


def test_fewer_than_three_ropes_give_no_limits() -> None:
    with pytest.raises(ValueError, match="at least 3 ropes; got 2"):
        spread_of([[0.1, 0.2], [0.3]])


def photo(off_mm: float, rope: str, u_mm: float = 0.03, **more: str) -> StudiedPhoto:
    trusted = TrustedReading(f"{rope} {off_mm}.jpg", 20.0, 0.02, rope, "mic", **more)
    budget = (Term("edge", u_mm, "mm", 1.0, "A", f"edge:{rope}:{off_mm}"),)
    return StudiedPhoto(trusted, Estimate(20.0 + off_mm, budget, camera="Acme"))


def refused(rope: str) -> StudiedPhoto:
    seen = Finding("too-far", "The rope is 30 px wide.", "Go nearer.", "refuse")
    return StudiedPhoto(TrustedReading("r.jpg", 20.0, 0.02, rope, "mic"), Refusal((seen,)))


@pytest.fixture
def study() -> GaugeStudy:
    photos = [photo(0.02 * i, f"rope {i}", finish="bright") for i in range(4)]
    return study_of([*photos, photo(0.5, "rope 9", finish="wet"), refused("rope 9")])


def test_all_together_and_by_group(study: GaugeStudy) -> None:
    whole = study.whole
    assert (whole.answered, whole.refused, whole.ropes) == (5, 1, 5)
    # u of a difference: 0.03 of the photograph and 0.01 of the gauge; 0.06 is still inside
    assert whole.inside == 4
    squares = [(off / math.hypot(0.03, 0.01)) ** 2 for off in (0.0, 0.02, 0.04, 0.06, 0.5)]
    assert whole.mean_z2 == pytest.approx(np.mean(squares))
    assert whole.bias_pct == pytest.approx(100 * np.mean([0.0, 0.02, 0.04, 0.06, 0.5]) / 20)
    # Clopper and Pearson (1934) by the beta distribution
    assert whole.coverage_interval == pytest.approx(
        (beta.ppf(0.025, 4, 2), beta.ppf(0.975, 5, 1)), abs=1e-6
    )
    names = {(one.factor, one.name): one.answered for one in study.groups}
    assert names["finish", "bright"] == 4
    assert names["finish", "wet"] == 1
    assert names["finish", "not stated"] == 0
    assert names["phone", "Acme"] == 5
    assert names["size", "20 to 40 mm"] == 5


def test_nothing_to_compare_is_said() -> None:
    with pytest.raises(ValueError, match="no photograph has a trusted reading"):
        study_of([])


def test_photographs_that_all_were_refused_have_no_figure() -> None:
    whole = study_of([refused("rope 1")]).whole
    assert (whole.answered, whole.bias_pct, whole.spread, whole.mean_z2) == (0, None, None, None)
