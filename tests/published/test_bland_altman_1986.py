"""Limits of agreement on the peak-flow data of Bland and Altman, Lancet 1986; i: 307-310.

Data: read in a public R package. The paper's printed figures: from memory, confidence 0.9. The
paper rounds the mean and the standard deviation before calculating further, so its limits and
intervals differ from unrounded ones by up to 0.2 l/min.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.stats.weightstats as weightstats  # type: ignore[import-untyped]

from inspection.comparison.bland_altman import limits_of_agreement

DATA = Path(__file__).parent / "bland_altman_1986.csv"
ROUNDED = 0.2  # l/min, see above


def _column(name: str) -> np.ndarray:
    lines = DATA.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return np.array([float(row[name]) for row in rows])


def test_the_first_readings_give_the_papers_figures() -> None:
    differences = (_column("large_1") - _column("mini_1")).tolist()
    found = limits_of_agreement(differences, factor=2.0)
    assert found.count == 17
    assert round(found.bias_mm, 1) == -2.1
    assert round(found.sd_mm, 1) == 38.8
    assert found.low_mm == pytest.approx(-79.7, abs=ROUNDED)
    assert found.high_mm == pytest.approx(75.5, abs=ROUNDED)
    assert found.bias_interval_mm == pytest.approx((-22.0, 17.8), abs=ROUNDED)
    assert found.low_interval_mm == pytest.approx((-114.3, -45.1), abs=ROUNDED)
    assert found.high_interval_mm == pytest.approx((40.9, 110.1), abs=ROUNDED)


def test_the_unrounded_figures_come_out_to_the_last_digit() -> None:
    # own arithmetic on the printed data, done apart from this code
    found = limits_of_agreement((_column("large_1") - _column("mini_1")).tolist())
    assert round(found.bias_mm, 3) == -2.118
    assert round(found.sd_mm, 3) == 38.765
    assert (round(found.low_mm, 2), round(found.high_mm, 2)) == (-78.1, 73.86)


def test_means_of_two_readings_have_a_smaller_scatter() -> None:
    large = (_column("large_1") + _column("large_2")) / 2
    mini = (_column("mini_1") + _column("mini_2")) / 2
    found = limits_of_agreement((large - mini).tolist())
    assert round(found.bias_mm, 1) == -6.0
    assert round(found.sd_mm, 1) == 33.2
    # the paper's correction to single readings: s^2 + (s_L^2 + s_M^2) / 4
    within = [
        float(np.sum((_column(f"{name}_1") - _column(f"{name}_2")) ** 2)) / (2 * 17) / 2
        for name in ("large", "mini")
    ]
    assert round(math.sqrt(found.sd_mm**2 + sum(within)), 1) == 37.7


def test_the_mean_and_its_interval_are_those_of_statsmodels() -> None:
    differences = _column("large_1") - _column("mini_1")
    reference = weightstats.DescrStatsW(differences)
    found = limits_of_agreement(differences.tolist())
    assert found.bias_interval_mm == pytest.approx(reference.tconfint_mean(0.05))
    assert found.p_value == pytest.approx(reference.ttest_mean(0.0)[1])
