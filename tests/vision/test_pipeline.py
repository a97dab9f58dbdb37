"""The whole pipeline: what must not change the answer, and every way of calling it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from scenes import (
    A5,
    A6,
    BAR,
    CHECKED,
    findings_of,
    measured,
    one_estimate,
    plain_estimate,
    shot_of,
    taken,
)
from studio import Image, Placed

from vision.calibration.library import CalibratedCamera
from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate, Refusal
from vision.rope.tangent_cylinder import Hold, HoldKind
from vision.target.print_scale import PrintCheck


def test_a_photograph_without_fault_has_no_finding() -> None:
    result = plain_estimate()
    assert result.findings == ()
    assert (result.station, result.view_deg, result.print_set) == (4, 0, "test-set")
    assert abs(result.diameter_mm - 24) < result.expanded_mm()
    assert result.tilt_deg == pytest.approx(4.0, abs=0.5)
    assert result.px_per_mm == pytest.approx(2500 / (290 - 12), rel=0.02)


@pytest.mark.parametrize("quarter_turns", [1, 2])
def test_a_turned_picture_gives_the_same_diameter(quarter_turns: int) -> None:
    shot = shot_of()
    turned = replace(shot, pixels=np.ascontiguousarray(np.rot90(shot.pixels, quarter_turns)))
    here, there = plain_estimate(), one_estimate(turned)
    assert there.diameter_mm == pytest.approx(here.diameter_mm, rel=5e-4)
    assert there.u_mm == pytest.approx(here.u_mm, rel=0.05)
    assert there.station == here.station


def test_a_picture_made_twice_as_large_gives_the_same_diameter() -> None:
    shot = shot_of()
    large = np.asarray(cv2.resize(shot.pixels, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC))
    here = plain_estimate()
    there = one_estimate(replace(shot, pixels=large.astype(np.uint8), focal_px=2 * shot.focal_px))
    # 0.29 % was seen: interpolation blurs, and the edge is placed anew in another blur
    apart = there.diameter_mm - here.diameter_mm
    assert abs(apart) < np.hypot(here.u_mm, there.u_mm)
    assert there.px_per_mm == pytest.approx(2 * here.px_per_mm, rel=1e-3)


def test_stations_are_measured_one_by_one() -> None:
    settings = replace(CHECKED, at_mm=(-20.0, 0.0, 20.0, 500.0))
    results = measured(taken(shot_of(), settings=settings))
    assert [result.at_mm for result in results] == [-20.0, 0.0, 20.0, 500.0]
    *answered, off = results
    for result in answered:
        assert isinstance(result, Estimate)
        assert abs(result.diameter_mm - 24) < result.expanded_mm()
    assert isinstance(off, Refusal)
    assert [item.code for item in off.findings] == ["off-the-card"]


@pytest.mark.parametrize(("kind", "height_mm"), [(HoldKind.LEVEL, 0.0), (HoldKind.STAND_OFF, 25.0)])
def test_a_card_that_the_rope_does_not_lie_on_gives_the_same_diameter(
    kind: HoldKind, height_mm: float
) -> None:
    shot = shot_of(bar=replace(BAR, height_mm=height_mm), distance_mm=340.0)
    settings = replace(CHECKED, hold=Hold(kind, height_mm, 0.3))
    result = one_estimate(shot, settings)
    assert result.hold == kind
    assert abs(result.diameter_mm - 24) < result.expanded_mm()
    wrong = one_estimate(shot)  # taken as lying on the card, it is off by its height
    assert abs(wrong.diameter_mm - result.diameter_mm) > 0.3


def test_a_gap_makes_the_rope_thinner_by_what_geometry_says() -> None:
    shot = shot_of(bar=replace(BAR, height_mm=15.0))
    lying = one_estimate(shot)
    lifted = one_estimate(shot, replace(CHECKED, hold=Hold(offset_mm=3.0)))
    assert abs(lifted.diameter_mm - 24) < lifted.expanded_mm()
    # 3 mm nearer to a camera 290 mm away: about 1 % larger in the picture
    assert lying.diameter_mm / lifted.diameter_mm == pytest.approx(1 + 3 / 278, abs=2e-3)


def test_a_calibrated_phone_is_known_by_its_name_size_and_lens() -> None:
    shot = shot_of()
    photo, _ = taken(shot, focal_off=None)
    named = replace(photo, camera="Lantern L4", lens="26 mm")
    covariance = tuple(map(tuple, np.diag([1e-3, 0.5, 0.5, 1e-3, 1e-3, 1e-4, 1e-4]) ** 2))
    key = "Lantern L4, 1800 x 1250, 26 mm"
    camera = CalibratedCamera(
        key, (1800, 1250), 2500.0, (899.5, 624.5), 0.0, 0.0, 0.0, 0.0, covariance, 12, 0.2, 0.9
    )
    (result,) = measure_photo(named, replace(CHECKED, cameras={key: camera}))
    assert isinstance(result, Estimate)
    assert result.findings == ()
    # 0.5 % for refocusing, and for one picture in a thousand that was zoomed all the same
    assert result.u_focal_px < 0.0065 * 2500
    (guessed,) = measure_photo(named, replace(CHECKED, cameras={"Lantern L4": camera}))
    assert isinstance(guessed, Estimate)
    assert guessed.u_mm > result.u_mm


def test_a_check_of_other_cards_does_not_count() -> None:
    other = PrintCheck("other", A6, 120.0, 70.0, 0.02)
    result = one_estimate(shot_of(), Settings(print_check=other))
    assert result.print_set == ""
    assert "print-unchecked" in [item.code for item in result.findings]


def test_a_checked_print_takes_off_what_the_printer_did() -> None:
    scale = 0.995
    shot = shot_of(scale=(scale, scale))
    bars = PrintCheck("stretched", A5, 180.0 * scale, 110.0 * scale, 0.02)
    right = one_estimate(shot, replace(CHECKED, print_check=bars))
    wrong = one_estimate(shot)
    assert abs(right.diameter_mm - 24) < right.expanded_mm()
    assert right.diameter_mm / wrong.diameter_mm == pytest.approx(scale, abs=5e-4)


@pytest.mark.fault(
    "a second card in view",
    "a result for each card",
)
def test_two_cards_in_one_photograph_are_two_results() -> None:
    second = Placed(A5, 7, (6.0, -A5.height_mm - 8.0))
    shot = shot_of(
        others=[second], size=(1500, 1900), aim_mm=(0.0, -78.0), focal_px=1500.0, distance_mm=330.0
    )
    results = measured(taken(shot))
    views = {(result.station, result.view_deg): result for result in results}
    assert set(views) == {(4, 0), (4, 90)}
    assert isinstance(views[4, 0], Estimate)
    assert isinstance(views[4, 90], Refusal)  # nothing lies on the second card
    assert [item.code for item in views[4, 90].findings] == ["rope-not-found"]


def test_python_in_three_lines(tmp_path: Path) -> None:
    path = tmp_path / "rope.jpg"
    cv2.imwrite(str(path), shot_of().pixels[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 93])

    from vision.pipeline import measure_photo

    for result in measure_photo(path):
        assert isinstance(result, Estimate)
        assert abs(result.diameter_mm - 24) < result.expanded_mm()
        assert result.photo_name == "rope.jpg"
        assert result.photo_sha256 == open_photo(path).sha256
        assert {item.code for item in result.findings} == {"print-unchecked", "focal-unknown"}


def test_the_same_photograph_gives_the_same_answer_twice() -> None:
    assert measured(taken(shot_of())) == (plain_estimate(),)


def noisy(pixels: Image) -> Image:
    return np.random.default_rng(3).permuted(pixels.reshape(-1)).reshape(pixels.shape)


def test_a_scrambled_photograph_is_refused() -> None:
    shot = shot_of()
    results = measured(taken(replace(shot, pixels=noisy(shot.pixels[::2, ::2]))))
    assert [item.code for item in findings_of(results)] == ["no-card"]
