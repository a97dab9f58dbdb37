"""Several photographs of one view: combined with what they share, looked at where they disagree."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from scipy.stats import norm

from inspection.measurement.view import diameter_of_estimate, mean_diameter
from inspection.model.log import Log
from inspection.model.rope import Inspection, Rope, Station
from inspection.screening.repeat_shots import repeat_shots_tests
from inspection.screening.screen import screen_log
from vision.results import Estimate
from vision.uncertainty import Term

U_EDGE, U_GAP, U_PRINT = 0.03, 0.02, 0.05


def shot(number: int, diameter_mm: float, *, view_deg: int = 0, at_mm: float = 0.0) -> Estimate:
    budget = (
        Term("print scale", U_PRINT, "mm", 1.0, "B", "print:spring:y"),
        Term("gap between rope and card", U_GAP, "mm", 1.0, "B", f"gap:{number}"),
        Term("left edge", U_EDGE, "mm", 1.0, "A", f"edge:{number}:left"),
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
