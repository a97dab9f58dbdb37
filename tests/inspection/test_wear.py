"""Severity with its spread, and local decrease along the rope."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspection.limits.rules import NotApplicable
from inspection.limits.wear import LocalDecrease, SeverityRating, local_decreases, uniform_decrease
from inspection.measurement.section import Section, make_section
from inspection.measurement.view import DirectionalDiameter
from inspection.model.rope import Rope
from vision.uncertainty import Term

ROPE = Rope("R-1", 40.0, reference_mm=41.2)


def test_the_spread_over_the_bands_is_that_of_drawn_diameters() -> None:
    found = uniform_decrease(replace(ROPE, u_reference_mm=0.15), 39.2, 0.2)
    assert isinstance(found, SeverityRating)
    assert found.u_pct == pytest.approx(100 * 0.25 / 40)
    draws = 100 * (41.2 - np.random.default_rng(4).normal(39.2, 0.25, 200_000)) / 40
    counts = np.histogram(draws, bins=[-99, 3.5, 4.5, 5.5, 6.5, 7.5, 99])[0] / len(draws)
    # 0.005: four standard deviations of a share of 200,000 draws
    assert [p for _, p in found.spread] == pytest.approx(counts.tolist(), abs=0.005)
    assert sum(p for _, p in found.spread) == pytest.approx(1.0)
    assert "It could also be" in found.words


def test_a_certain_figure_lies_in_one_band() -> None:
    found = uniform_decrease(ROPE, 39.5, 0.0)
    assert isinstance(found, SeverityRating)
    assert dict(found.spread)["slight"] == 1.0
    assert found.words == (
        "Uniform decrease 4.25 % (u 0.00 %) of nominal: slight, 20 % towards discard."
    )


def test_a_gauge_that_measured_both_makes_the_decrease_more_certain() -> None:
    shared = uniform_decrease(
        replace(ROPE, u_reference_mm=0.2), 39.2, 0.2, covariance_mm2=0.2 * 0.2
    )
    assert isinstance(shared, SeverityRating)
    assert shared.u_pct == 0.0


def test_a_reference_at_another_tension_gives_no_severity() -> None:
    # a rope under load is thinner: that is no wear
    unloaded = replace(ROPE, reference_tension="none")
    loaded = uniform_decrease(unloaded, 39.2, 0.1, tension="in service, unknown")
    assert isinstance(loaded, NotApplicable)
    assert "can't be compared" in loaded.reason
    assert isinstance(uniform_decrease(unloaded, 39.2, 0.1), SeverityRating)


def test_a_rope_that_grew_has_no_severity() -> None:
    found = uniform_decrease(ROPE, 41.5, 0.0)
    assert isinstance(found, SeverityRating)
    assert (found.severity_pct, found.decrease_pct) == (0, -0.75)


@pytest.mark.parametrize(("mean_mm", "u_mm"), [(0.0, 0.1), (float("nan"), 0.1), (40.0, -1.0)])
def test_an_impossible_diameter_has_no_severity(mean_mm: float, u_mm: float) -> None:
    with pytest.raises(ValueError, match="must be more than 0"):
        uniform_decrease(ROPE, mean_mm, u_mm)


def _section(number: int, mean_mm: float, u_mm: float, shared_mm: float = 0.4) -> Section:
    def view(view_deg: int) -> DirectionalDiameter:
        scale = Term("print scale", shared_mm, "mm", 1.0, "B", "print:A-1")
        edge = Term("edges", u_mm * 2**0.5, "mm", 1.0, "A", f"edge:{number}:{view_deg}")
        return DirectionalDiameter(mean_mm, (scale, edge), view_deg)

    return make_section([view(0), view(90)], station=number, position_m=10.0 * number)


def _along(means_mm: list[float], u_mm: float = 0.05) -> tuple[LocalDecrease, ...]:
    sections = [_section(number, mean, u_mm) for number, mean in enumerate(means_mm, start=1)]
    return local_decreases(sections, nominal_mm=40.0)


def test_a_local_decrease_is_found_though_the_scale_of_all_cards_is_uncertain() -> None:
    # 2 % thinner than the neighbours; the 1 % that the cards share cancels
    places = _along([40.8, 40.82, 40.0, 40.79, 40.81])
    assert [place.outcome for place in places] == ["no", "no", "local decrease", "no", "no"]
    assert places[2].deficit_mm == pytest.approx(0.805)
    assert places[2].u_mm == pytest.approx((0.05**2 + 0.05**2 / 2) ** 0.5)


def test_three_stations_are_enough() -> None:
    places = _along([40.8, 39.8, 40.8])
    assert [place.outcome for place in places] == ["no", "local decrease", "no"]
    assert places[1].deficit_pct == pytest.approx(2.5)  # 1 mm of 40 mm


@pytest.mark.parametrize(
    ("deficit_mm", "outcome"),
    # threshold 0.4 mm, u 0.0612 mm: "no" up to 0.4 - 1.645 u = 0.299 mm; a find among 5 stations
    # from 0.4 + 2.326 u = 0.542 mm on (1 % one-sided; normal distribution by table)
    [(0.29, "no"), (0.31, "cannot say"), (0.4, "cannot say"), (0.53, "cannot say"),
     (0.56, "local decrease")],
)  # fmt: skip
def test_no_and_yes_are_both_said_only_beyond_the_uncertainty(
    deficit_mm: float, outcome: str
) -> None:
    places = _along([40.8, 40.8, 40.8 - deficit_mm, 40.8, 40.8])
    assert places[2].u_mm == pytest.approx(0.0612, abs=1e-4)
    assert places[2].outcome == outcome


def test_even_wear_towards_one_end_is_no_local_decrease() -> None:
    means = [41.0 - 0.15 * i for i in range(10)]
    assert {place.outcome for place in _along(means)} == {"no"}


def test_a_decrease_over_two_stations_is_not_hidden_by_its_neighbour() -> None:
    places = _along([40.8, 40.8, 40.8, 39.6, 39.6, 40.8, 40.8, 40.8])
    assert [p.station for p in places if p.outcome == "local decrease"] == [4, 5]


def test_an_uncertain_decrease_is_neither_found_nor_denied() -> None:
    places = _along([40.8, 40.8, 40.3, 40.8, 40.8], u_mm=0.3)
    assert places[2].outcome == "cannot say"


def test_the_order_is_the_ropes_and_not_the_lists() -> None:
    sections = [_section(number, 40.8 - (number == 3), 0.05) for number in (3, 1, 5, 2, 4)]
    places = local_decreases(sections, nominal_mm=40.0)
    assert [place.station for place in places] == [1, 2, 3, 4, 5]
    unplaced = [replace(section, position_m=None) for section in sections]
    assert [p.station for p in local_decreases(unplaced, nominal_mm=40.0)] == [1, 2, 3, 4, 5]


def test_false_alarms_are_no_more_frequent_than_stated() -> None:
    # 8 stations exactly at the threshold of 0 %: the worst honest rope, level 5 % over the rope
    rng = np.random.default_rng(11)
    alarms = 0
    for _ in range(400):
        sections = [_section(i, float(rng.normal(40.8, 0.05)), 0.05) for i in range(8)]
        places = local_decreases(sections, nominal_mm=40.0, least_pct=0.0)
        alarms += any(place.outcome == "local decrease" for place in places)
    # binomial: 400 x 5 % = 20, four standard deviations 17; the median's budget is on the safe
    # side, so fewer are expected, but not none
    assert 2 <= alarms <= 37


def test_two_stations_are_too_few_to_look_for_a_local_decrease() -> None:
    assert _along([40.0, 40.1]) == ()
    with pytest.raises(ValueError, match="`level` between 0 and 1"):
        local_decreases([], nominal_mm=40.0, level=1.5)
    with pytest.raises(ValueError, match="`nominal_mm` must be more than 0"):
        local_decreases([], nominal_mm=0.0)


def test_two_thin_stations_at_an_end_hide_neither() -> None:
    # 2.5 % of 40 mm: the last one's two neighbours are one thin and one sound station
    places = _along([40.8, 40.8, 40.8, 40.8, 39.8, 39.8], u_mm=0.02)
    assert [p.station for p in places if p.outcome == "local decrease"] == [5, 6]
