"""A gauge's budget; the shortfall of one section compared with a brute-force outline."""

from __future__ import annotations

import math

import numpy as np
import pytest

from inspection.model.readings import (
    Gauge,
    Reading,
    gauge_terms,
    one_section_shortfall_pct,
    reading_terms,
)
from vision.uncertainty import combined_u_mm, covariance_mm2

WIDE = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)


def test_resolution_and_permissible_error_are_rectangular() -> None:
    # MPE 0.03 mm -> u 0.0173 mm; step 0.01 mm -> u 0.0029 mm (JCGM 100:2008, 4.3.7)
    error, step, again = gauge_terms(WIDE, diameter_mm=20.0, key="r", repeatability_mm=0.0)
    assert round(error.u_mm, 4) == 0.0173
    assert round(step.u_mm, 4) == 0.0029
    assert again.u_mm == 0.0


def test_readings_0_13_mm_apart_on_a_35_mm_rope_lie_within_two_standard_deviations() -> None:
    # common practice, no source: such a pair counts as acceptable in the field
    _, step, again = gauge_terms(WIDE, diameter_mm=35.0, key="r")
    of_difference = math.sqrt(2.0) * math.hypot(step.u_mm, again.u_mm)
    assert 1.0 < 0.13 / of_difference < 2.0


def _brute_force_widths(strands: int) -> np.ndarray:
    """Width between parallel jaws over the enclosing diameter, by sampling the outline."""
    ring = 1.0
    radius = ring * math.sin(math.pi / strands)
    around = np.linspace(0.0, 2.0 * math.pi, 1441)
    centres = 2.0 * math.pi * np.arange(strands) / strands
    x = (ring * np.cos(centres)[:, None] + radius * np.cos(around)).ravel()
    y = (ring * np.sin(centres)[:, None] + radius * np.sin(around)).ravel()
    turns = np.linspace(0.0, math.pi, 721)[:-1]
    across = np.cos(turns)[:, None] * x + np.sin(turns)[:, None] * y
    widths: np.ndarray = (across.max(axis=1) - across.min(axis=1)) / (2.0 * (ring + radius))
    return widths


@pytest.mark.parametrize("strands", [4, 5, 6, 7, 8, 9, 10, 12, 16, 17, 18])
def test_one_section_falls_short_as_the_sampled_outline_does(strands: int) -> None:
    widths = 100.0 * (1.0 - _brute_force_widths(strands))
    least, mean, most = one_section_shortfall_pct(strands)
    # 0.01 % of the diameter: the sampling of outline and turns
    assert least == pytest.approx(widths.min(), abs=0.01)
    assert mean == pytest.approx(widths.mean(), abs=0.01)
    assert most == pytest.approx(widths.max(), abs=0.01)


def test_narrow_jaws_are_less_certain_than_wide_ones_and_most_so_on_few_strands() -> None:
    plain = Gauge("C-2", "plain caliper", 0.01, 0.03)
    u = [
        combined_u_mm(gauge_terms(plain, diameter_mm=35.0, key="r", outer_strands=strands))
        for strands in (6, 8, 16)
    ]
    wide = gauge_terms(WIDE, diameter_mm=35.0, key="r", outer_strands=16)
    assert u[0] > u[1] > u[2] > combined_u_mm(wide)
    # the bias on six strands: at most one crown pitch's half of the way to the valley,
    # 2 (1 - cos 15 deg) / 3 = 2.27 % of the diameter, uncorrected
    bias, spread = gauge_terms(plain, diameter_mm=100.0, key="r", outer_strands=6)[3:]
    assert bias.u_mm == pytest.approx(2.2716 / 2, abs=1e-4)
    assert spread.u_mm == pytest.approx(2.2716 / (2 * math.sqrt(3)), abs=1e-4)


def test_the_gauges_own_error_is_shared_and_reading_again_is_not() -> None:
    one = gauge_terms(WIDE, diameter_mm=20.0, key="station 1")
    two = gauge_terms(WIDE, diameter_mm=20.0, key="station 2")
    assert covariance_mm2(one, two) == pytest.approx(0.03**2 / 3)
    other = gauge_terms(
        Gauge("C-9", "wide-jaw caliper", 0.01, 0.03), diameter_mm=20.0, key="station 3"
    )
    assert covariance_mm2(one, other) == 0.0


def test_readings_of_two_inspections_share_the_gauge_only() -> None:
    reading = Reading("20,5", 20.5, 1, 0, "C-1", "A. Inspector")
    spring = reading_terms(reading, WIDE, inspection="spring")
    autumn = reading_terms(reading, WIDE, inspection="autumn")
    assert covariance_mm2(spring, autumn) == pytest.approx(0.03**2 / 3)
    assert combined_u_mm(spring) == combined_u_mm(autumn)


def test_a_reading_is_judged_by_the_gauge_that_it_names() -> None:
    with pytest.raises(ValueError, match="'C-7', not 'C-1'"):
        reading_terms(Reading("20.5", 20.5, 1, 0, "C-7", "A. Inspector"), WIDE)


@pytest.mark.parametrize(
    ("resolution_mm", "error_mm", "diameter_mm", "sentence"),
    [
        (0.0, 0.03, 20.0, "resolution of 0.0 mm"),
        (math.nan, 0.03, 20.0, "resolution of nan mm"),
        (0.01, -0.03, 20.0, "permissible error of -0.03"),
        (0.01, 0.03, 0.0, "more than 0; got 0.0"),
        (0.01, 0.03, math.inf, "more than 0; got inf"),
    ],
)
def test_a_gauge_with_an_impossible_figure_is_refused(
    resolution_mm: float, error_mm: float, diameter_mm: float, sentence: str
) -> None:
    gauge = Gauge("C-1", "wide-jaw caliper", resolution_mm, error_mm)
    with pytest.raises(ValueError, match=sentence):
        gauge_terms(gauge, diameter_mm=diameter_mm, key="r")
