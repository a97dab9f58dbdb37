"""What cameras store beside the pixels, in all the ways they store it."""

from __future__ import annotations

import math
from datetime import datetime, timedelta, timezone

import pytest
from PIL.TiffImagePlugin import IFDRational

from vision.photo.exif import (
    DATETIME_ORIGINAL,
    DIGITAL_ZOOM,
    FOCAL_LENGTH,
    FOCAL_LENGTH_35MM,
    MAKE,
    MODEL,
    OFFSET_TIME_ORIGINAL,
    ORIENTATION,
    PIXEL_X,
    PIXEL_Y,
    PLANE_UNIT,
    PLANE_X_RESOLUTION,
    camera,
    focal_hint,
    orientation,
    taken_at,
)

W, H = 4032, 3024


def focal(tags: dict[int, object], width: int = W, height: int = H) -> float | None:
    hint = focal_hint(tags, width, height)
    return None if hint is None else hint.focal_px


def test_the_35_mm_equivalent_counts_by_the_diagonal() -> None:
    # A 35 mm frame is 36 x 24 mm (diagonal 43.2666 mm); 4032 x 3024 px has a diagonal of 5040 px.
    hint = focal_hint({FOCAL_LENGTH_35MM: 26}, W, H)
    assert hint is not None
    assert hint.focal_px == pytest.approx(26 / math.hypot(36, 24) * 5040, rel=1e-6)
    assert hint.u_focal_px == pytest.approx(0.04 * hint.focal_px)
    # field of the long side at 300 mm for a 26 mm equivalent: 399 mm (geometry of a 4:3 frame)
    assert W * 300 / hint.focal_px == pytest.approx(399, abs=1)


def test_turning_the_picture_does_not_change_its_focal_length() -> None:
    tags: dict[int, object] = {FOCAL_LENGTH_35MM: 26, PIXEL_X: W, PIXEL_Y: H}
    assert focal(tags, H, W) == pytest.approx(focal(tags))


@pytest.mark.parametrize("value", [26, 26.0, IFDRational(52, 2), (26,), (52, 2)])
def test_a_number_counts_in_every_way_of_writing_it(value: object) -> None:
    assert focal({FOCAL_LENGTH_35MM: value}) == pytest.approx(focal({FOCAL_LENGTH_35MM: 26}))


@pytest.mark.parametrize(
    "value",
    [0, -26, None, "26", b"26", math.nan, math.inf, True, (), (1, 2, 3), (26, 0), ("a", "b"),
     IFDRational(0, 0), IFDRational(26, 0), 8, 250, 10**400, [26], (10**400, 1)],
)  # fmt: skip
def test_what_is_no_focal_length_counts_as_not_written(value: object) -> None:
    assert focal({FOCAL_LENGTH_35MM: value}) is None


@pytest.mark.parametrize(
    ("unit", "per_unit"),
    [(2, 25.4 / 0.0014), (3, 10 / 0.0014), (4, 1 / 0.0014), (None, 25.4 / 0.0014)],
)
def test_focal_length_in_mm_counts_by_the_sensors_pixel_pitch(
    unit: int | None, per_unit: float
) -> None:
    # 4.25 mm over pixels of 1.4 um: 3035.7 px
    tags: dict[int, object] = {FOCAL_LENGTH: IFDRational(425, 100), PLANE_X_RESOLUTION: per_unit}
    if unit is not None:
        tags[PLANE_UNIT] = unit
    assert focal(tags) == pytest.approx(4.25 / 0.0014)


def test_a_resized_copy_scales_the_focal_length_and_a_cropped_one_loses_it() -> None:
    plane: dict[int, object] = {
        FOCAL_LENGTH: 4.25, PLANE_X_RESOLUTION: 1 / 0.0014, PLANE_UNIT: 4, PIXEL_X: W, PIXEL_Y: H,
    }  # fmt: skip
    equivalent: dict[int, object] = {FOCAL_LENGTH_35MM: 26, PIXEL_X: W, PIXEL_Y: H}
    for tags in (plane, equivalent):
        whole = focal(tags)
        assert whole is not None
        assert focal(tags, W // 2, H // 2) == pytest.approx(whole / 2)
        assert focal(tags, H // 4, W // 4) == pytest.approx(whole / 4)
        assert focal(tags, W, H - 400) is None
        assert focal(tags, 1000, 1000) is None


def test_an_equivalent_that_no_phone_lens_has_is_not_believed() -> None:
    # One device wrote 28 mm at 4032 px but 177 and 311 mm for its small pictures (a camera
    # forum's thread), the lens being a few mm all the time.
    assert focal({FOCAL_LENGTH_35MM: 28, FOCAL_LENGTH: 3.99}) is not None
    assert focal({FOCAL_LENGTH_35MM: 177, FOCAL_LENGTH: 3.99}, 640, 480) is None
    assert focal({FOCAL_LENGTH_35MM: 311, FOCAL_LENGTH: 3.99}, 352, 264) is None


def test_a_sensor_that_no_camera_has_is_not_believed() -> None:
    assert focal({FOCAL_LENGTH: 4.25, PLANE_X_RESOLUTION: 72, PLANE_UNIT: 2}) is None
    assert focal({FOCAL_LENGTH: 4.25, PLANE_X_RESOLUTION: 714, PLANE_UNIT: 1}) is None


def test_two_ways_that_disagree_make_the_hint_less_certain() -> None:
    tags: dict[int, object] = {FOCAL_LENGTH_35MM: 26, FOCAL_LENGTH: 4.25, PLANE_UNIT: 4}
    one = focal_hint(tags, W, H)
    same = focal_hint({**tags, PLANE_X_RESOLUTION: 3028.6 / 4.25}, W, H)
    other = focal_hint({**tags, PLANE_X_RESOLUTION: 2400 / 4.25}, W, H)
    assert one is not None
    assert same is not None
    assert other is not None
    assert same.focal_px == pytest.approx(one.focal_px, rel=1e-3)
    assert same.u_focal_px == pytest.approx(one.u_focal_px, rel=1e-2)
    # both of them lie within its one standard uncertainty, on a scale of ratios
    for focal_px in (2400, one.focal_px):
        assert abs(math.log(other.focal_px / focal_px)) < other.u_focal_px / other.focal_px


def test_digital_zoom_widens_the_hint_to_both_ways_of_counting_it() -> None:
    plain = focal_hint({FOCAL_LENGTH_35MM: 26}, W, H)
    zoomed = focal_hint({FOCAL_LENGTH_35MM: 26, DIGITAL_ZOOM: IFDRational(14, 10)}, W, H)
    assert plain is not None
    assert zoomed is not None
    for possible in (plain.focal_px, 1.4 * plain.focal_px):
        assert abs(math.log(zoomed.focal_px / possible)) < zoomed.u_focal_px / zoomed.focal_px
    for unused in (0, 1, IFDRational(1, 1), IFDRational(0, 0)):
        assert focal({FOCAL_LENGTH_35MM: 26, DIGITAL_ZOOM: unused}) == plain.focal_px


def test_no_words_of_the_camera_give_no_hint() -> None:
    assert focal_hint({}, W, H) is None
    assert focal_hint({FOCAL_LENGTH: 4.25}, W, H) is None  # the sensor's size is not said


def test_time_is_local_unless_the_camera_says_its_zone() -> None:
    tags: dict[int, object] = {DATETIME_ORIGINAL: "2026:09:14 10:32:05"}
    assert taken_at(tags) == datetime(2026, 9, 14, 10, 32, 5)
    east = taken_at({**tags, OFFSET_TIME_ORIGINAL: "+05:30"})
    assert east is not None
    assert east.utcoffset() == timedelta(hours=5, minutes=30)
    assert east.astimezone(timezone.utc).hour == 5  # noqa: UP017 (the name people know)
    west = taken_at({**tags, OFFSET_TIME_ORIGINAL: b"-03:00\0"})
    assert west is not None
    assert west.utcoffset() == timedelta(hours=-3)
    assert taken_at({**tags, OFFSET_TIME_ORIGINAL: "Z"}) == datetime(2026, 9, 14, 10, 32, 5)


@pytest.mark.parametrize(
    "value",
    ["", "    :  :     :  :  ", "0000:00:00 00:00:00", "2026:13:01 00:00:00", "today", 5, None,
     "2026:02:30 10:00:00", ("2026:09:14 10:32:05",)],
)  # fmt: skip
def test_a_time_that_is_none_counts_as_not_written(value: object) -> None:
    assert taken_at({DATETIME_ORIGINAL: value}) is None


def test_the_camera_is_named_once_and_cleanly() -> None:
    assert camera({MAKE: "Acme\0\0", MODEL: " Pocket 3 "}) == "Acme Pocket 3"
    assert camera({MAKE: "ACME", MODEL: "Acme Pocket 3"}) == "Acme Pocket 3"
    assert camera({MAKE: b"Acme", MODEL: 7}) == "Acme"
    assert camera({}) == ""
    assert len(camera({MODEL: "x" * 5000})) <= 80
    assert camera({MODEL: "P\x1b[31m9"}) == "P[31m9"  # nothing that moves a terminal


@pytest.mark.parametrize("value", [0, 9, -1, 1.5, "6", None, (1, 2)])
def test_an_orientation_that_is_none_leaves_the_picture_as_it_is(value: object) -> None:
    assert orientation({ORIENTATION: value}) == 1
