"""Graduations of a rule: distinguished, fitted with perspective, or refused if they can't be.

Truth is the drawing: the pinhole of `rules.py` and the numbers of the marks that it drew.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import skimage.data
from numpy.typing import NDArray

from tests.photo_arrays import photo_from_array
from tests.vision.rules import Array, Shot, draw_rule, inch_row, mm_row, shot, with_bar
from vision.findings import RefusedError
from vision.photo.photo import Photo
from vision.results import Refusal
from vision.scale_rule.measure import measure_with_scale
from vision.scale_rule.scale import Scale, ScaleRequest, read_scale

FAR = np.array([[-500.0, -500], [-400, -500], [-400, -450], [-500, -450]])
ACROSS = ((700.0, 20.0), (700.0, 90.0))


def photo_of(camera: Shot, picture: NDArray[np.uint8]) -> Photo:
    """Blurred and noisy, no bar in view."""
    return photo_from_array(with_bar(picture, FAR, seed=3), focal_px=camera.focal_px)


def asked(camera: Shot, begin_mm: float, end_mm: float, y_mm: float = -2.0, *,
          length_mm: float | None = None) -> ScaleRequest:  # fmt: skip
    ends = camera.project(np.array([[begin_mm, y_mm, 0.0], [end_mm, y_mm, 0.0]]))
    one, other = (tuple(float(v) for v in end) for end in ends)
    return ScaleRequest((one, other), length_mm or end_mm - begin_mm, across_px=ACROSS)  # type: ignore[arg-type]


def scale_seen(
    camera: Shot, upper: Array, lower: Array | None, reach: tuple[float, float]
) -> Scale:
    return read_scale(photo_of(camera, draw_rule(camera, upper=upper, lower=lower)),
                      asked(camera, *reach))  # fmt: skip


def test_mm_5_mm_cm_and_inch_marks_of_one_view_are_distinguished_and_counted() -> None:
    camera = shot(tilt_deg=(10, 8), spin_deg=5)
    scale = scale_seen(camera, mm_row(-5, 145), inch_row(0, 90, 16), (20, 120))
    assert dict(scale.marks) == {
        "mm": 151, "5 mm": 31, "cm": 15,
        "1/16 in": 91, "1/8 in": 46, "1/4 in": 23, "1/2 in": 12, "inch": 6,
    }  # fmt: skip
    # both scales in one fit leave no more than pixels make
    assert scale.face.rms_px < 0.15


def test_perspective_is_found_from_the_spacing_of_the_marks() -> None:
    camera = shot(tilt_deg=(-20, 15), spin_deg=-10, far_mm=350)
    scale = scale_seen(camera, mm_row(-5, 145), inch_row(0, 90, 16), (20, 120))
    there = camera.project(np.array([[69.5, -2.0, 0.0], [70.5, -2.0, 0.0]]))
    seen = float(np.linalg.norm(np.diff(there, axis=0)))
    assert scale.px_per_mm == pytest.approx(seen, rel=1.5e-3)
    view, known = scale.face.view, scale.face.covariance
    for tilt, name, held in ((view.tilt_x, "tilt_x", -20), (view.tilt_y, "tilt_y", 15)):
        assert abs(np.degrees(tilt) - held) < 3 * np.degrees(known.u(name))
    # the spacing differs by a tenth and more over the rule: evenly spaced marks would be far off
    ends = camera.project(np.array([[0.0, 0, 0], [1, 0, 0], [139, 0, 0], [140, 0, 0]]))
    near, far = np.linalg.norm(ends[1] - ends[0]), np.linalg.norm(ends[3] - ends[2])
    assert abs(near / far - 1) > 0.1


def test_half_mm_marks_beside_32nds_of_an_inch() -> None:
    camera = shot(far_mm=260, look_mm=(60, 0), spin_deg=2)
    scale = scale_seen(camera, mm_row(-4, 250, 0.5, (10, 20)), inch_row(0, 150, 32), (30, 90))
    counts = dict(scale.marks)
    assert {"half mm", "1/32 in"} <= counts.keys()
    assert {"5 mm", "cm"} <= counts.keys()
    assert counts["half mm"] > 200


def test_64ths_of_an_inch_are_no_half_mm() -> None:
    camera = shot(far_mm=220, look_mm=(50, 0))
    inch = inch_row(0, 256, 64)
    scale = scale_seen(camera, inch, None, (12.7, 76.2))
    assert "1/64 in" in dict(scale.marks)
    assert not {"half mm", "mm", "cm"} & dict(scale.marks).keys()


def test_light_marks_on_a_dark_tape() -> None:
    camera = shot()
    picture = draw_rule(camera, upper=mm_row(-5, 145), steel=40, ink=190, ground=120)
    scale = read_scale(photo_of(camera, picture), asked(camera, 20, 120))
    assert dict(scale.marks)["mm"] == 151
    assert scale.px_per_mm == pytest.approx(6.0, rel=1e-3)  # 2400 px / 400 mm


@pytest.mark.parametrize(("said_mm", "least", "most"), [(80.0, 98, 102), (127.0, 90, 130)])
def test_a_length_that_the_marks_contradict_is_refused_with_both_values(
    said_mm: float, least: float, most: float
) -> None:
    # 80 for 100 mm: mm marks pass for 1/32 inch but for which of them are the longer ones
    camera = shot()
    photo = photo_of(camera, draw_rule(camera, upper=mm_row(-5, 145), lower=None))
    with pytest.raises(RefusedError) as refused:
        read_scale(photo, asked(camera, 20, 120, length_mm=said_mm))
    (said,) = refused.value.findings
    assert said.code in ("length-contradicts", "no-graduations", "too-few-graduations")
    if said.code == "length-contradicts":
        assert f"{said_mm:.2f} mm" in said.seen
        assert said.value is not None
        assert least < said.value < most


def test_the_32nd_trap_is_seen_by_the_longer_marks() -> None:
    camera = shot()
    photo = photo_of(camera, draw_rule(camera, upper=mm_row(-5, 145), lower=None))
    with pytest.raises(RefusedError) as refused:
        read_scale(photo, asked(camera, 20, 120, length_mm=100 * 25.4 / 32))
    (said,) = refused.value.findings
    assert said.code == "length-contradicts"
    assert said.value == pytest.approx(100.0, rel=0.01)


def test_points_beside_the_rule_or_too_near_are_refused() -> None:
    camera = shot()
    photo = photo_of(camera, draw_rule(camera, upper=mm_row(-5, 145), lower=None))
    with pytest.raises(RefusedError) as off:
        read_scale(photo, asked(camera, 20, 120, 55.0))
    assert off.value.findings[0].code in ("no-graduations", "too-few-graduations")
    with pytest.raises(RefusedError) as near:
        read_scale(photo, asked(camera, 20, 25))
    assert near.value.findings[0].code == "points-too-near"
    assert "30 px" in near.value.findings[0].seen


def test_a_length_that_leaves_less_than_a_pixel_of_the_rule_is_refused() -> None:
    camera = shot()
    photo = photo_of(camera, draw_rule(camera, upper=mm_row(-5, 145), lower=None))
    with pytest.raises(RefusedError) as far:
        read_scale(photo, replace(asked(camera, 20, 120), length_mm=99_000.0))
    assert far.value.findings[0].code == "no-graduations"


def test_too_few_marks_are_refused_with_their_number() -> None:
    camera = shot()
    few = draw_rule(camera, upper=mm_row(0, 6, 10.0, (5, 10)), lower=None, long_mm=(-3, 62))
    answer = measure_with_scale(photo_of(camera, few), asked(camera, 0, 60))
    assert isinstance(answer.result, Refusal)
    (said,) = answer.result.findings
    assert said.code in ("too-few-graduations", "no-graduations")


@pytest.mark.parametrize("name", ["camera", "coins", "page", "moon", "brick", "grass", "noise"])
def test_pictures_of_other_things_give_no_figure(name: str) -> None:
    if name == "noise":
        grey = np.random.default_rng(5).integers(0, 255, (400, 600)).astype(np.uint8)
    else:
        grey = np.asarray(getattr(skimage.data, name)(), np.uint8)
    photo = photo_from_array(np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB), np.uint8), name)
    high, wide = grey.shape
    said = ScaleRequest(
        ((0.1 * wide, 0.5 * high), (0.9 * wide, 0.5 * high)), 100.0,
        across_px=((0.5 * wide, 0.1 * high), (0.5 * wide, 0.4 * high)),
    )  # fmt: skip
    result = measure_with_scale(photo, said).result
    assert isinstance(result, Refusal)
    assert result.findings[0].code in (
        "no-graduations", "too-few-graduations", "length-contradicts",
    )  # fmt: skip
