"""Cross-check of readings and photographs: matching, wording, and shared errors."""

from __future__ import annotations

import math

import GTC  # type: ignore[import-untyped]
import numpy as np
import pytest
from scipy.stats import chi2
from scipy.stats import t as student

from inspection.comparison.crosscheck import CrossCheck, compare, crosscheck
from inspection.measurement.view import DirectionalDiameter
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Rope
from vision.results import Estimate, Finding, Refusal, Result
from vision.uncertainty import Term

ROPE = Rope("R-1", 40.0)
GAUGES = {"C-1": Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)}


def _estimate(station: int | None, view_deg: int | None, mm: float, u_mm: float = 0.1) -> Estimate:
    edge = Term("edges", u_mm, "mm", 1.0, "A", f"edge:{station}:{view_deg}")
    return Estimate(
        mm,
        (edge,),
        station=station,
        view_deg=view_deg,
        camera="phone 1",
        print_set="A-1",
        photo_name=f"{station}-{view_deg}.jpg",
    )


def _reading(station: int, view_deg: int, mm: float, gauge: str = "C-1") -> Reading:
    return Reading(f"{mm}", mm, station, view_deg, gauge, "A. Inspector")


def _check(results: list[Result], readings: list[Reading]) -> CrossCheck:
    return crosscheck(results, readings, GAUGES, ROPE)


def test_each_reading_meets_the_photograph_of_its_place_and_direction() -> None:
    refused = Refusal((Finding("no-card", "No card.", "Add one.", "refuse"),), station=3)
    results: list[Result] = [
        _estimate(2, 90, 40.5),
        _estimate(1, 0, 40.8),
        _estimate(1, 90, 40.6),
        _estimate(None, None, 40.0),
        refused,
    ]
    readings = [_reading(1, 90, 40.55), _reading(1, 0, 40.85), _reading(3, 0, 40.1)]
    found = _check(results, readings)
    assert [(c.station, c.view_deg, c.typed) for c in found.comparisons] == [
        (1, 0, "40.85"),
        (1, 90, "40.55"),
    ]
    assert found.comparisons[0].difference_mm == pytest.approx(-0.05)
    assert [photo.diameter_mm for photo in found.photos_alone] == [40.0, 40.5]
    assert [reading.station for reading in found.readings_alone] == [3]
    assert found.refused == (refused,)
    first = found.comparisons[0]
    assert (first.gauge, first.person, first.print_set, first.camera) == (
        "C-1",
        "A. Inspector",
        "A-1",
        "phone 1",
    )


def test_the_uncertainty_of_the_difference_is_both_together() -> None:
    (found,) = _check([_estimate(1, 0, 40.8)], [_reading(1, 0, 40.7)]).comparisons
    gauge = math.sqrt(0.03**2 / 3 + 0.01**2 / 12 + (0.0015 * 40.7) ** 2)
    assert found.u_gauge_mm == pytest.approx(gauge)
    assert found.u_difference_mm == pytest.approx(math.hypot(0.1, gauge))
    assert found.word == "agrees"


def test_a_print_that_was_checked_with_the_same_caliper_shares_its_error() -> None:
    shared = Term("caliper", 0.05, "mm", 1.0, "B", "gauge:C-1")
    photo = DirectionalDiameter(40.8, (shared, Term("edges", 0.06, "mm", 1.0, "A", "edge")), 0)
    gauge = DirectionalDiameter(40.7, (shared, Term("reading", 0.08, "mm", 1.0, "A", "reading")), 0)
    found = compare(photo, gauge, station=1, matters_mm=0.4)
    caliper = GTC.ureal(0.0, 0.05)
    difference = (caliper + GTC.ureal(40.8, 0.06)) - (caliper + GTC.ureal(40.7, 0.08))
    assert found.u_difference_mm == pytest.approx(GTC.uncertainty(difference))
    assert found.u_difference_mm == pytest.approx(0.1)  # 6-8-10: the 0.05 has gone
    assert found.en == pytest.approx(0.5)


def test_a_difference_has_the_degrees_of_freedom_of_its_parts() -> None:
    photo = DirectionalDiameter(40.8, (Term("edges", 0.06, "mm", 1.0, "A", "edge"),), 0)
    gauge = DirectionalDiameter(40.7, (Term("again", 0.08, "mm", 1.0, "A", "reading:1"),), 0)
    found = compare(photo, gauge, station=1, matters_mm=0.4, reading_dof=7.0)
    expected = GTC.dof(GTC.ureal(40.8, 0.06) - GTC.ureal(40.7, 0.08, 7.0))
    assert found.dof == pytest.approx(expected)
    assert found.p_value == pytest.approx(2.0 * student.sf(1.0, expected))  # 0.1 mm over 0.1 mm


def test_what_was_learned_from_few_readings_counts_so_in_every_comparison() -> None:
    results, readings = [_estimate(1, 0, 40.8)], [_reading(1, 0, 40.7)]
    (found,) = crosscheck(results, readings, GAUGES, ROPE, dof={"C-1": 7.0}).comparisons
    parts = GTC.ureal(0.0, 0.03 / math.sqrt(3)) + GTC.ureal(0.0, 0.0015 * 40.7, 7.0)
    # the step's rounding is counted with the repeating: 0.2 % of its variance
    assert found.dof == pytest.approx(GTC.dof(GTC.ureal(40.8, 0.1) - parts), rel=0.01)
    (other,) = crosscheck(results, readings, GAUGES, ROPE, dof={"C-2": 7.0}).comparisons
    assert other.dof == 1e9


@pytest.mark.parametrize(("dof", "word"), [(1e9, "disagrees"), (7.0, "doubtful")])
def test_what_is_known_from_a_few_readings_must_stand_out_farther(dof: float, word: str) -> None:
    photo = DirectionalDiameter(41.0, (Term("edges", 0.06, "mm", 1.0, "A", "edge"),), 0)
    gauge = DirectionalDiameter(40.69, (Term("again", 0.08, "mm", 1.0, "A", "reading:1"),), 0)
    assert compare(photo, gauge, station=1, matters_mm=0.4, reading_dof=dof).word == word


def test_large_uncertainties_agree_with_anything_and_so_cannot_say() -> None:
    (found,) = _check([_estimate(1, 0, 40.8, 0.4)], [_reading(1, 0, 40.7)]).comparisons
    assert found.word == "cannot say"
    assert "the photograph needs U (k = 2) of" in found.needed


def test_what_is_needed_is_enough_and_no_more() -> None:
    def word(u_mm: float) -> str:
        (found,) = _check([_estimate(1, 0, 40.8, u_mm)], [_reading(1, 0, 40.7)]).comparisons
        return found.word

    (found,) = _check([_estimate(1, 0, 40.8, 0.4)], [_reading(1, 0, 40.7)]).comparisons
    room = math.sqrt(0.2**2 - found.u_gauge_mm**2)
    assert f"U (k = 2) of {2 * room:.2f} mm" in found.needed
    assert word(room * 0.999) == "agrees"
    assert word(room * 1.001) == "cannot say"


def _mean_square_zeta(stated_over_true: float) -> float:
    """Draw honest pairs from their budgets, shared caliper included; return the mean of zeta²."""
    rng = np.random.default_rng(31)
    squares = []
    for _ in range(400):
        caliper, edges, again = (
            float(rng.normal(0.0, u)) / stated_over_true for u in (0.05, 0.06, 0.08)
        )
        shared = Term("caliper", 0.05, "mm", 1.0, "B", "gauge:C-1")
        photo = DirectionalDiameter(
            40.0 + caliper + edges, (shared, Term("edges", 0.06, "mm", 1.0, "A", "edge")), 0
        )
        gauge = DirectionalDiameter(
            40.0 + caliper + again, (shared, Term("reading", 0.08, "mm", 1.0, "A", "reading")), 0
        )
        squares.append(compare(photo, gauge, station=1, matters_mm=0.4).zeta ** 2)
    return float(np.mean(squares))


LOW, HIGH = (float(chi2.ppf(p, 400)) / 400 for p in (0.001, 0.999))


def test_honest_pairs_score_as_their_uncertainty_says() -> None:
    assert LOW < _mean_square_zeta(1.0) < HIGH


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_wrong_uncertainty_would_be_noticed(factor: float) -> None:
    assert not LOW < _mean_square_zeta(factor) < HIGH


def test_a_difference_that_stands_out_is_told_whatever_the_uncertainty() -> None:
    (found,) = _check([_estimate(1, 0, 42.5, 0.4)], [_reading(1, 0, 40.7)]).comparisons
    assert found.word == "disagrees"
    assert found.needed == ""


def test_a_gauge_that_is_too_unsure_is_told_so() -> None:
    plain = {"C-1": Gauge("C-1", "plain caliper", 0.1, 0.1)}
    (found,) = crosscheck(
        [_estimate(1, 0, 40.8, 0.05)], [_reading(1, 0, 40.7)], plain, ROPE
    ).comparisons
    assert found.word == "cannot say"
    assert "the gauge needs U (k = 2) of" in found.needed
    (found,) = crosscheck(
        [_estimate(1, 0, 40.8, 0.5)], [_reading(1, 0, 40.7)], plain, ROPE
    ).comparisons
    assert "both need a smaller U" in found.needed


def test_the_words_carry_both_figures_and_the_score() -> None:
    (found,) = _check([_estimate(1, 0, 41.3)], [_reading(1, 0, 40.7)]).comparisons
    assert found.words == (
        "Photograph 41.30 mm, gauge 40.70 mm: +0.60 mm, U (k = 2) 0.24 mm, E_n +2.53: disagrees."
    )


def test_a_gauge_that_is_not_recorded_is_asked_for() -> None:
    with pytest.raises(ValueError, match="names gauge 'C-8', which is not recorded"):
        _check([_estimate(1, 0, 40.8)], [_reading(1, 0, 40.7, "C-8")])


def test_nothing_can_be_compared_without_any_uncertainty() -> None:
    with pytest.raises(ValueError, match="have no uncertainty"):
        compare(
            DirectionalDiameter(40.0, (), 0),
            DirectionalDiameter(40.0, (), 0),
            station=1,
            matters_mm=0.4,
        )
    with pytest.raises(ValueError, match="`matters_mm` must be more than 0"):
        compare(
            DirectionalDiameter(40.0, (), 0),
            DirectionalDiameter(40.0, (), 0),
            station=1,
            matters_mm=0.0,
        )
