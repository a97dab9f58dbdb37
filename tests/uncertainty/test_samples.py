"""The stated uncertainty against the truth of the rendered sample photographs.

Nine photographs are few: the mean of z^2 (error over standard uncertainty, squared) of an honest
budget lies within the chi-squared bounds below for 99.8 of 100 such sets, and a budget twice as
wide as it should be would be noticed only if the honest figure were near its middle. The range of
tests/benchmarks says more; this one guards what every run can see.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from vision.results import Estimate, Refusal, Result

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
TRUTH = {
    row["file"]: row for row in csv.DictReader((SAMPLES / "truth.csv").read_text().splitlines())
}
ANSWERABLE = [name for name, row in TRUTH.items() if row["answerable"] == "yes"]
HOPELESS = [name for name, row in TRUTH.items() if row["answerable"] != "yes"]


def _error_mm(result: Result, name: str) -> tuple[float, float]:
    assert isinstance(result, Estimate), f"{name} was refused"
    return result.diameter_mm - float(TRUTH[name]["truth_2d_mm"]), result.u_mm


@pytest.mark.parametrize("name", ANSWERABLE)
def test_the_truth_lies_within_the_expanded_uncertainty_and_half_a_percent(
    name: str, sample_results: dict[str, Result]
) -> None:
    error, u = _error_mm(sample_results[name], name)
    # k = 3 for one of nine to stray (k = 2 lets 1 of 20 out); 0.5 % is the project's own claim
    assert abs(error) <= 3 * u
    assert abs(error) <= 0.005 * float(TRUTH[name]["truth_2d_mm"])


@pytest.mark.parametrize("name", HOPELESS)
def test_a_hopeless_photograph_gives_no_diameter(
    name: str, sample_results: dict[str, Result]
) -> None:
    assert isinstance(sample_results[name], Refusal)


def _mean_square_z(sample_results: dict[str, Result]) -> float:
    pairs = [_error_mm(sample_results[name], name) for name in ANSWERABLE]
    return float(np.mean([(error / u) ** 2 for error, u in pairs]))


LOW, HIGH = chi2.ppf([0.001, 0.999], len(ANSWERABLE)) / len(ANSWERABLE)


def test_seen_scatter_is_no_more_than_the_stated_uncertainty(
    sample_results: dict[str, Result],
) -> None:
    assert _mean_square_z(sample_results) < HIGH


def test_seen_scatter_is_no_less_than_the_stated_uncertainty(
    sample_results: dict[str, Result],
) -> None:
    assert _mean_square_z(sample_results) > LOW


@pytest.mark.parametrize("factor", [0.25, 4.0])
def test_an_uncertainty_four_times_wrong_would_be_noticed(
    factor: float, sample_results: dict[str, Result]
) -> None:
    assert not LOW < _mean_square_z(sample_results) / factor**2 < HIGH


def test_typical_expanded_uncertainty_is_under_a_percent(
    sample_results: dict[str, Result],
) -> None:
    shares = [
        result.expanded_mm() / result.diameter_mm
        for result in sample_results.values()
        if isinstance(result, Estimate)
    ]
    assert np.median(shares) <= 0.008  # what the README promises for a checked print
