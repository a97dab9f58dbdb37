"""Lay length and hand of the rendered samples: 143 mm, six strands, right hand (truth.csv).

The mesh's strands are regular; how uneven strands widen the figure is tested on outlines made by
formula (tests/vision/test_lay.py).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from vision.calibration.library import CalibratedCamera, camera_key
from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate, Result

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
TRUE_LAY_MM = 143.0  # sample_images/truth.csv


@pytest.mark.parametrize("name", ["station-1-view-00.jpg", "station-3-view-90.jpg"])
def test_the_lay_of_a_rendered_rope_lies_within_u(
    name: str, sample_results: dict[str, Result]
) -> None:
    one = sample_results[name]
    assert isinstance(one, Estimate)
    assert (one.strands, one.hand) == (6, "right")
    assert one.pitches >= 8
    assert one.lay_mm is not None
    # k = 3, as for the diameter (test_samples.py); U below 1 % of the lay or it says nothing
    assert abs(one.lay_mm - TRUE_LAY_MM) <= 3 * one.u_lay_mm
    assert 2 * one.u_lay_mm < 0.01 * TRUE_LAY_MM


def test_a_calibrated_lens_that_bends_every_way_gives_the_lay_too() -> None:
    photo = open_photo(SAMPLES / "station-1-view-00.jpg")
    height, width = photo.pixels.shape[:2]
    covariance = tuple(map(tuple, np.diag([1e-3, 0.5, 0.5, 1e-3, 1e-3, 1e-4, 1e-4]) ** 2))
    camera = CalibratedCamera(
        key=camera_key(photo),
        size=(width, height),
        focal_px=26 * 5000 / float(np.hypot(36, 24)),  # sample_images/rope_camera.py
        centre_px=((width - 1) / 2, (height - 1) / 2),
        k1=0.0,
        k2=1e-5,
        p1=1e-6,
        p2=-1e-6,
        covariance=covariance,
        photographs=9,
        rms_px=0.1,
        coverage=0.9,
    )
    result = measure_photo(photo, Settings(cameras={camera.key: camera}))[0]
    assert isinstance(result, Estimate)
    assert (result.strands, result.hand) == (6, "right")
    assert result.lay_mm == pytest.approx(TRUE_LAY_MM, abs=3 * result.u_lay_mm)


def test_a_smooth_bar_has_no_lay(sample_results: dict[str, Result]) -> None:
    one = sample_results["bar-16mm.jpg"]
    assert isinstance(one, Estimate)
    assert one.lay_mm is None
    assert not one.hand
