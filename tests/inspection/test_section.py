"""Sections and measured diameters: values by hand, covariance against GTC."""

from __future__ import annotations

import math

import GTC  # type: ignore[import-untyped]
import pytest

from inspection.measurement.measured_diameter import measured_diameter
from inspection.measurement.section import Section, make_section, pair_by_card, sections_of_readings
from inspection.measurement.view import (
    DirectionalDiameter,
    diameter_of_estimate,
    diameter_of_reading,
)
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Rope
from vision.results import Estimate, Finding, Refusal, Result
from vision.uncertainty import Term

SCALE = Term("print scale", 0.004, "1", 20.0, "B", "print:A-1:y")


def _view(
    diameter_mm: float, view_deg: int, u_edge_mm: float, name: str = ""
) -> DirectionalDiameter:
    edges = Term("edges", u_edge_mm, "mm", 1.0, "A", f"edge:{name}:{view_deg}:{diameter_mm}")
    return DirectionalDiameter(diameter_mm, (SCALE, edges), view_deg, name)


def _section(first_mm: float, second_mm: float, position_m: float | None = None) -> Section:
    views = (_view(first_mm, 0, 0.03, f"{position_m}"), _view(second_mm, 90, 0.04, f"{position_m}"))
    return make_section(views, nominal_mm=20.0, station=1, position_m=position_m)


def test_the_print_scale_stays_in_the_mean_and_cancels_in_the_ovality() -> None:
    section = _section(20.4, 20.1)
    # the same sums by an uncertain-number library that knows nothing of ours
    scale = GTC.ureal(1.0, 0.004)
    one = 20.0 * (scale - 1) + GTC.ureal(20.4, 0.03)
    two = 20.0 * (scale - 1) + GTC.ureal(20.1, 0.04)
    assert section.mean_mm == pytest.approx(20.25)
    assert section.u_mean_mm == pytest.approx(GTC.uncertainty((one + two) / 2))
    assert section.u_ovality_mm == pytest.approx(GTC.uncertainty(one - two))
    assert section.u_ovality_mm == pytest.approx(0.05)  # 3-4-5 by hand
    assert section.ovality_pct == pytest.approx(1.5)
    assert section.difference_pct == pytest.approx(1.25)


def test_ovality_forgets_the_sign_and_the_difference_keeps_it() -> None:
    assert _section(20.4, 20.1).difference_mm == pytest.approx(0.3)
    assert _section(20.1, 20.4).difference_mm == pytest.approx(-0.3)
    assert _section(20.1, 20.4).ovality_mm == pytest.approx(0.3)


def test_two_equal_views_still_have_an_uncertain_ovality() -> None:
    section = _section(20.2, 20.2)
    assert section.ovality_mm == 0.0
    assert section.u_ovality_mm == pytest.approx(0.05)
    # mean of |N(0, u)| is u sqrt(2 / pi), the half-normal distribution
    assert section.round_rope_mm == pytest.approx(0.05 * math.sqrt(2 / math.pi))


def test_several_views_of_one_direction_are_combined_first() -> None:
    section = make_section(
        [_view(20.4, 0, 0.03, "a"), _view(20.2, 0, 0.03, "b"), _view(20.0, 90, 0.04, "c")],
        station=1,
    )
    assert section.mean_mm == pytest.approx((20.3 + 20.0) / 2)
    assert section.ovality_mm == pytest.approx(0.3)
    assert section.u_ovality_mm == pytest.approx(math.sqrt(0.03**2 / 2 + 0.04**2))
    assert section.ovality_pct is None


def test_three_directions_give_the_range_as_ovality() -> None:
    section = make_section(
        [_view(20.0, 0, 0.03), _view(20.4, 60, 0.03), _view(20.2, 120, 0.03)], station=1
    )
    assert section.ovality_mm == pytest.approx(0.4)
    assert section.difference_mm == pytest.approx(-0.2)  # the first minus the last
    assert section.mean_mm == pytest.approx(20.2)


def test_one_direction_is_no_section() -> None:
    with pytest.raises(ValueError, match="two directions; got 0 deg"):
        make_section([_view(20.4, 0, 0.03), _view(20.2, 0, 0.03)], station=1)
    with pytest.raises(ValueError, match="more than 0 mm; got nan"):
        make_section([_view(math.nan, 0, 0.03), _view(20.2, 90, 0.03)], station=1)


def _estimate(station: int | None, view_deg: int | None, mm: float, at_mm: float = 0.0) -> Estimate:
    return Estimate(
        mm,
        (SCALE,),
        station=station,
        view_deg=view_deg,
        at_mm=at_mm,
        photo_name=f"{station}-{view_deg}.jpg",
    )


def test_photographs_are_paired_by_what_their_cards_say() -> None:
    refused = Refusal((Finding("no-card", "No card.", "Add one.", "refuse"),))
    results: list[Result] = [
        _estimate(2, 90, 20.0),
        _estimate(1, 0, 20.4),
        _estimate(None, 0, 21.0),
        refused,
        _estimate(1, 90, 20.2),
        _estimate(1, 0, 20.6, 30.0),
        _estimate(1, 90, 20.3, 30.1),
        _estimate(3, None, 20.0),
    ]
    sections = pair_by_card(results, nominal_mm=20.0, positions_m={1: 12.5})
    assert [section.position_m for section in sections] == [12.5, 12.5]
    assert [(s.station, s.at_mm) for s in sections] == [(1, 0.0), (1, 30.0)]
    assert sections[1].mean_mm == pytest.approx(20.45)


def test_a_view_needs_its_direction() -> None:
    with pytest.raises(ValueError, match=r"'3-None.jpg' does not show its direction"):
        diameter_of_estimate(_estimate(3, None, 20.0))


def test_gauge_readings_make_a_section_and_their_gauges_error_cancels() -> None:
    gauge = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)
    views = [
        diameter_of_reading(Reading(f"{mm}", mm, 1, deg, "C-1", "A. Inspector"), {"C-1": gauge})
        for mm, deg in ((20.42, 0), (20.30, 90))
    ]
    section = make_section(views, nominal_mm=20.0, station=1)
    own = [math.hypot(0.01 / math.sqrt(12), 0.0015 * mm) for mm in (20.42, 20.30)]
    assert section.u_ovality_mm == pytest.approx(math.hypot(*own))
    assert section.u_mean_mm == pytest.approx(
        math.hypot(0.03 / math.sqrt(3), *(u / 2 for u in own))
    )


def test_a_log_makes_sections_station_by_station() -> None:
    gauges = {"C-1": Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)}
    rope = Rope("R-1", 20.0)

    def reading(station: int, view_deg: int, mm: float, gauge: str = "C-1") -> Reading:
        return Reading(f"{mm}", mm, station, view_deg, gauge, "A. Inspector")

    log = [
        reading(2, 90, 20.2),
        reading(1, 0, 20.4),
        reading(2, 0, 20.6),
        reading(1, 90, 20.2),
        reading(3, 0, 20.0),
    ]
    sections = sections_of_readings(log, gauges, rope, positions_m={1: 0.0, 2: 1.5})
    assert [(s.station, s.position_m) for s in sections] == [(1, 0.0), (2, 1.5)]
    assert [round(s.mean_mm, 9) for s in sections] == [20.3, 20.4]
    result = measured_diameter(sections, nominal_mm=20.0)
    # one gauge read all four: its error stays in the mean and leaves every difference
    own = [math.hypot(0.01 / math.sqrt(12), 0.0015 * mm) for mm in (20.4, 20.2, 20.6, 20.2)]
    assert result.u_mean_mm == pytest.approx(math.hypot(0.03 / math.sqrt(3), *(u / 4 for u in own)))
    assert result.variation_mm == pytest.approx(0.1)
    assert result.u_variation_mm == pytest.approx(math.hypot(*own) / 2)
    assert result.figures["ovality"] == pytest.approx((0.4, math.hypot(own[2], own[3])))
    assert result.figures["largest difference"][0] == pytest.approx(0.4)
    assert sections[0].figures["mean diameter"][0] == pytest.approx(20.3)
    with pytest.raises(ValueError, match="names gauge 'C-5', which is not recorded"):
        sections_of_readings([reading(1, 0, 20.0, "C-5"), reading(1, 90, 20.0)], gauges, rope)


def test_four_readings_make_the_measured_diameter_and_the_largest_difference() -> None:
    # by hand: mean (20.4 + 20.2 + 20.6 + 20.1) / 4 = 20.325; 20.6 - 20.1 = 0.5 = 2.5 % of 20
    result = measured_diameter(
        [_section(20.4, 20.2, 3.0), _section(20.6, 20.1, 4.0)], nominal_mm=20.0
    )
    assert result.mean_mm == pytest.approx(20.325)
    assert result.mean_pct == pytest.approx(1.625)
    assert result.largest_difference_mm == pytest.approx(0.5)
    assert result.difference_pct == pytest.approx(2.5)
    scale = GTC.ureal(1.0, 0.004)
    views = [20.0 * (scale - 1) + GTC.ureal(20.0, u) for u in (0.03, 0.04, 0.03, 0.04)]
    assert result.u_mean_mm == pytest.approx(GTC.uncertainty(sum(views[1:], views[0]) / 4))
    assert result.u_difference_mm == pytest.approx(GTC.uncertainty(views[2] - views[3]))


@pytest.mark.parametrize(
    ("positions_m", "sentence"),
    [
        ((3.0, 3.99), "0.99 m apart: choose places at least 1 m apart"),
        ((4.5, 3.6), "at 3.6 m and 4.5 m are 0.90 m apart"),
        ((3.0, None), "has no position along the rope"),
        ((3.0,), "needs two places"),
    ],
)
def test_places_that_make_no_measured_diameter_are_refused(
    positions_m: tuple[float | None, ...], sentence: str
) -> None:
    sections = [_section(20.4, 20.2, position_m) for position_m in positions_m]
    with pytest.raises(ValueError, match=sentence):
        measured_diameter(sections, nominal_mm=20.0)
