"""Lay length and hand of the rendered samples: 143 mm, six strands, right hand (truth.csv).

The mesh's strands are regular; how uneven strands widen the figure is tested on outlines made by
formula (tests/vision/test_lay.py).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.target.print_scale import load_print_checks

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
TRUE_LAY_MM = 143.0  # sample_images/truth.csv


@pytest.mark.parametrize("name", ["station-1-view-00.jpg", "station-3-view-90.jpg"])
def test_the_lay_of_a_rendered_rope_lies_within_u(name: str) -> None:
    check = load_print_checks(SAMPLES / "print_checks.json")["demo-set"]
    one = measure_photo(SAMPLES / name, Settings(print_check=check))[0]
    assert isinstance(one, Estimate)
    assert (one.strands, one.hand) == (6, "right")
    assert one.pitches >= 8
    assert one.lay_mm is not None
    # k = 3, as for the diameter (test_samples.py); U below 1 % of the lay or it says nothing
    assert abs(one.lay_mm - TRUE_LAY_MM) <= 3 * one.u_lay_mm
    assert 2 * one.u_lay_mm < 0.01 * TRUE_LAY_MM


def test_a_smooth_bar_has_no_lay() -> None:
    one = measure_photo(SAMPLES / "bar-16mm.jpg")[0]
    assert isinstance(one, Estimate)
    assert one.lay_mm is None
    assert not one.hand
