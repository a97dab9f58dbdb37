"""Several photographs of one view: combined with their shared errors, reported if they disagree."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from itertools import combinations
from typing import Any

import GTC  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import norm

from inspection.measurement.view import DirectionalDiameter, diameter_of_estimate, mean_diameter
from inspection.model.log import Log
from inspection.model.rope import Inspection, Rope, Station
from inspection.screening.checks.repeat_shots import repeat_shots_tests
from inspection.screening.screen import screen_log
from vision.findings import finding
from vision.results import Estimate, Refusal
from vision.uncertainty import Term

U_EDGE, U_GAP, U_PRINT = 0.03, 0.02, 0.05


def shot(
    number: int,
    diameter_mm: float,
    *,
    view_deg: int = 0,
    at_mm: float = 0.0,
    u_edge: float = U_EDGE,
) -> Estimate:
    budget = (
        Term("print scale", U_PRINT, "mm", 1.0, "B", "print:spring:y"),
        Term("gap between rope and card", U_GAP, "mm", 1.0, "B", f"gap:{number}"),
        Term("left edge", u_edge, "mm", 1.0, "A", f"edge:{number}:left"),
    )
    return Estimate(
        diameter_mm,
        budget,
        station=1,
        view_deg=view_deg,
        at_mm=at_mm,
        photo_name=f"{number}.jpg",
        photo_sha256=f"{number:064x}",
        print_set="spring",
    )


def log_of(*results: Estimate) -> Log:
    inspection = Inspection("I-1", "R-1", date(2026, 11, 3), stations=(Station(1, 0.0),))
    return Log(Rope("R-1", 22.0), inspection, (), {}, results)


def test_print_and_gap_stay_whole_in_the_mean_and_edges_fall_with_the_root() -> None:
    views = [diameter_of_estimate(shot(n, 22.0)) for n in (1, 2, 3)]
    mean = mean_diameter(views)
    # GUM F.1.2.3 and 4.2.3
    assert mean.u_mm == pytest.approx(math.sqrt(U_PRINT**2 + U_GAP**2 + U_EDGE**2 / 3))
    assert mean.diameter_mm == pytest.approx(22.0)


def random_views(rng: np.random.Generator, count: int) -> list[DirectionalDiameter]:
    """Return views of one print and phone, each with its own edges and a sensitivity to both."""
    views = []
    for number in range(count):
        one = shot(number, float(rng.normal(22, 0.1)), u_edge=float(rng.uniform(0.02, 0.3)))
        view = diameter_of_estimate(one)
        lens = Term("focal", 0.02, "1", float(rng.normal(0, 8)), "B", "lens:phone:focal")
        views.append(replace(view, budget=(*view.budget, lens)))
    return views


def covariance_of(views: list[DirectionalDiameter]) -> NDArray[np.float64]:
    """Return the views' covariance matrix, the gap one unknown of all (GUM F.1.2.3)."""
    own = np.diag([view.budget[2].u_mm ** 2 for view in views])
    by_lens = np.array([view.budget[3].sensitivity * view.budget[3].u for view in views])
    return np.asarray(own + U_PRINT**2 + U_GAP**2 + np.outer(by_lens, by_lens), float)


def aitken(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the weights of generalised least squares: V^-1 1 / (1^T V^-1 1)."""
    weights = np.linalg.solve(covariance, np.ones(len(covariance)))
    return np.asarray(weights / weights.sum(), float)


def test_shots_count_as_generalised_least_squares_has_it() -> None:
    # the least variance with no weight below 0: of all choices of shots, the best whose own
    # weights are so
    rng = np.random.default_rng(3)
    whole = 0
    for _ in range(60):
        views = random_views(rng, int(rng.integers(2, 6)))
        covariance = covariance_of(views)
        best, seen = math.inf, math.nan
        for size in range(1, len(views) + 1):
            for chosen in map(list, combinations(range(len(views)), size)):
                part = covariance[np.ix_(chosen, chosen)]
                weights = aitken(part)
                variance = float(weights @ part @ weights)
                if weights.min() >= 0 and variance < best:
                    best = variance
                    seen = float(weights @ [views[at].diameter_mm for at in chosen])
        whole += bool(aitken(covariance).min() >= 0)
        mean = mean_diameter(views)
        assert mean.diameter_mm == pytest.approx(seen, abs=2e-5)
        assert mean.u_mm == pytest.approx(math.sqrt(best), rel=1e-5)
    assert 10 < whole < 55  # either kind is met


def test_the_uncertainty_of_the_mean_is_what_another_library_propagates() -> None:
    views = random_views(np.random.default_rng(8), 3)
    mean = mean_diameter(views)
    unknown: dict[str, Any] = {}
    total = 0.0
    for term in mean.budget:
        unknown.setdefault(term.source, GTC.ureal(0.0, 1.0))
        total = total + term.sensitivity * term.u * unknown[term.source]
    assert mean.u_mm == pytest.approx(GTC.uncertainty(total))


def test_a_blurred_shot_spoils_no_sharp_one() -> None:
    sharp, blurred = shot(1, 22.0), shot(2, 22.5, u_edge=0.3)
    one, other = diameter_of_estimate(sharp), diameter_of_estimate(blurred)
    mean = mean_diameter([one, other])
    assert mean.u_mm < one.u_mm
    # weights as 1 / u^2 of the edges: 0.03 against 0.3 mm
    assert mean.diameter_mm == pytest.approx(22.0 + 0.5 / 101)


@given(st.integers(0, 10**6), st.integers(2, 6))
def test_a_mean_is_as_certain_as_its_best_shot_and_lies_between_them(seed: int, count: int) -> None:
    views = random_views(np.random.default_rng(seed), count)
    mean = mean_diameter(views)
    assert mean.u_mm <= min(view.u_mm for view in views) * (1 + 1e-6)
    seen = [view.diameter_mm for view in views]
    assert min(seen) - 1e-9 <= mean.diameter_mm <= max(seen) + 1e-9


def test_views_that_are_quite_alike_count_alike() -> None:
    views = [diameter_of_estimate(shot(1, d)) for d in (22.0, 22.1, 22.5)]  # all sources shared
    assert mean_diameter(views).diameter_mm == pytest.approx(22.2)


def test_shots_of_two_directions_share_no_gap() -> None:
    one, other = (mean_diameter([diameter_of_estimate(shot(n, 22.0))]) for n in (1, 2))
    sources = [
        {t.source for t in view.budget if t.source.startswith("gap")} for view in (one, other)
    ]
    assert not sources[0] & sources[1]


@pytest.mark.parametrize("apart_mm", [0.05, 0.3])
def test_the_chance_is_that_of_a_normal_difference(apart_mm: float) -> None:
    (test,) = repeat_shots_tests(log_of(shot(1, 22.0), shot(2, 22.0 + apart_mm)))
    u = math.sqrt(2 * (U_GAP**2 + U_EDGE**2))  # the print's scale drops out
    assert test.p == pytest.approx(2 * norm.sf(apart_mm / u))
    assert test.limit == pytest.approx(2 * u)


def test_shots_that_disagree_are_flagged_and_others_are_not() -> None:
    far = screen_log(log_of(shot(1, 22.0), shot(2, 22.02), shot(3, 22.4)))
    assert [item.code for item in far] == ["shots-disagree"]
    assert set(far[0].where) <= {"1.jpg", "2.jpg", "3.jpg"}
    assert "3.jpg" in far[0].where
    assert not screen_log(log_of(shot(1, 22.0), shot(2, 22.05), shot(3, 21.96)))


def test_each_view_whose_shots_disagree_is_named_and_a_refused_one_is_passed_over() -> None:
    shots = [shot(n, 22.0 + 0.4 * (n % 2), view_deg=90 * (n // 2)) for n in range(4)]
    refused = Refusal((finding("no-card"),), station=1, view_deg=0, photo_name="9.jpg")
    found = screen_log(replace(log_of(*shots), results=(refused, *shots)))
    assert {item.code for item in found} == {"shots-disagree"}
    assert sorted(item.where for item in found) == [("0.jpg", "1.jpg"), ("2.jpg", "3.jpg")]


def test_other_directions_and_other_places_are_not_held_against_each_other() -> None:
    shots = shot(1, 22.0), shot(2, 23.0, view_deg=90), shot(3, 23.0, at_mm=20.0)
    assert repeat_shots_tests(log_of(*shots)) == []


def test_honest_shots_are_flagged_as_rarely_as_the_level_says() -> None:
    # 400 honest views of three shots at a level of 5 %: at most 31 with 99.9 % (binomial)
    rng = np.random.default_rng(14)
    u = math.hypot(U_GAP, U_EDGE)
    raised = 0
    for _ in range(400):
        shots = [shot(n, 22.0 + float(rng.normal(0, u))) for n in range(3)]
        (test,) = repeat_shots_tests(log_of(*shots))
        raised += (test.p or 0.0) <= 0.05
    assert 2 <= raised <= 33
