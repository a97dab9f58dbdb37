"""The test range: bent paper, lens and sensor faults, wear, the list, the scoreboard's figures."""

from __future__ import annotations

import math
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_images"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import score_hough
from range_list import FRESH_SEED, bar_scenes, range_scenes
from range_sensors import FAULTS
from rope_caliper import widths_all_round_mm
from rope_camera import Camera, camera_looking_at
from rope_card import bent_points_mm
from rope_mesh import RopeShape, outer_mesh
from rope_sensor import Sensor, develop
from rope_truth import finished
from score_figures import Scored, figures, ovality_figures, ovality_rows
from score_settings import settings_of, with_phone_calibrated

from vision.calibration.library import lens_for
from vision.camera import Lens
from vision.photo.photo import Photo
from vision.target.layout import layout_named

SIZE = (210.0, 148.0)


@pytest.fixture
def camera() -> Camera:
    return camera_looking_at(
        np.zeros(3), distance_mm=400.0, tilt_deg=0.0, azimuth_deg=0.0, roll_deg=0.0,
        focal_px=300.0, principal_offset_px=(3.0, -2.0), size_px=(400, 300),
    )  # fmt: skip


@pytest.mark.parametrize("bend", ["ends down", "curled up", "curled down"])
def test_bent_paper_keeps_its_length(bend: str) -> None:
    along = np.linspace(-0.5, 0.5, 2001)
    x, y = (along * SIZE[0], 0 * along) if bend == "ends down" else (0 * along, along * SIZE[1])
    bent = bent_points_mm(np.column_stack([x, y]), SIZE, bend, 5.0)
    length = np.linalg.norm(np.diff(bent, axis=0), axis=1).sum()
    assert length == pytest.approx(SIZE[0] if bend == "ends down" else SIZE[1], rel=1e-5)
    assert abs(bent[0, 2]) == pytest.approx(5.0, rel=0.01)  # the arc ends a little before 5 mm
    assert bent[1000] == pytest.approx([0, 0, 0], abs=1e-9)


def test_a_card_is_curled_about_the_ropes_own_direction() -> None:
    angle = np.radians(12.0)
    along, across = (
        np.array([np.cos(angle), np.sin(angle)]),
        np.array([-np.sin(angle), np.cos(angle)]),
    )
    t = np.linspace(-70, 70, 1401)
    ruling = bent_points_mm(t[:, None] * along + 40 * across, SIZE, "curled up", 8.0, 12.0)
    assert np.ptp(ruling[:, 2]) < 1e-9  # parallel to the rope the paper stays straight
    assert np.ptp(ruling[:, :2] @ across) < 1e-9
    arc = bent_points_mm(t[:, None] * across, SIZE, "curled up", 8.0, 12.0)
    assert np.linalg.norm(np.diff(arc, axis=0), axis=1).sum() == pytest.approx(140, rel=1e-5)
    assert arc[0, 2] == pytest.approx(arc[-1, 2])
    # z = a t^2, a = 8 / 74^2, arc = t (1 + (2 a t)^2 / 6 - ...): at 70 mm t is 69.52 and z 7.06
    assert arc[0, 2] == pytest.approx(7.06, abs=0.01)


def test_a_belly_hangs_in_the_middle_and_keeps_its_ends() -> None:
    places = np.array([[-105.0, 20.0], [0.0, 0.0], [105.0, -30.0]])
    assert bent_points_mm(places, SIZE, "belly", 4.0)[:, 2] == pytest.approx([0, -4, 0])


def test_a_twist_lifts_two_corners_and_lowers_two() -> None:
    corners = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) * np.array(SIZE) / 2
    assert bent_points_mm(corners, SIZE, "twist", 3.0)[:, 2] == pytest.approx([3, -3, 3, -3])


def test_an_unknown_bend_is_refused() -> None:
    with pytest.raises(ValueError, match="`bend` must be one of"):
        bent_points_mm(np.zeros((1, 2)), SIZE, "crumpled", 1.0)


def test_worn_crowns_leave_the_cylinder_that_was_turned_down() -> None:
    rope = outer_mesh(RopeShape(20.0, 6, lay_mm=130.0, worn=0.02), length_mm=100.0)
    widths = widths_all_round_mm(rope.vertices_mm, jaw_mm=90.0)
    assert widths.max() == pytest.approx(20.0 * 0.98, rel=1e-4)
    assert np.linalg.norm(rope.normals, axis=1) == pytest.approx(1.0)


def _developed(camera: Camera, light: np.ndarray, sensor: Sensor) -> np.ndarray:
    quiet = replace(sensor, full_well=1e9, read_noise=0.0, sharpening=0.0, paper_level=1.0)
    depth = np.full(light.shape[:2], 400.0, np.float32)
    rng = np.random.default_rng(1)
    pixels = develop(light, depth, camera, np.ones(3), quiet, rng)[..., 1] / 255.0
    return np.where(pixels <= 0.04045, pixels / 12.92, ((pixels + 0.055) / 1.055) ** 2.4)


def _dot(at: tuple[int, int]) -> np.ndarray:
    light = np.zeros((300, 400, 3), np.float32)
    light[at[1] - 1 : at[1] + 2, at[0] - 1 : at[0] + 2] = 0.8
    return light


def _middle(light: np.ndarray) -> np.ndarray:
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    return np.array([(x * light).sum(), (y * light).sum()]) / light.sum()


@pytest.mark.parametrize("k1", [-0.03, 0.03])
def test_distortion_moves_a_point_as_its_formula_says(camera: Camera, k1: float) -> None:
    at = np.array([320.0, 60.0])
    off = (at - camera.principal_px) / camera.focal_px
    moved = off * (1 + k1 * (off @ off)) * camera.focal_px + camera.principal_px
    assert np.abs(moved - at).max() > 0.5  # otherwise the test shows nothing
    seen = _middle(_developed(camera, _dot((320, 60)), Sensor(k1=k1)))
    assert seen == pytest.approx(moved, abs=0.06)


@pytest.mark.parametrize(
    "fault",
    [
        {"motion_px": 7.3, "motion_deg": 33.0},
        {"aperture_mm": 40.0, "focus_mm": 500.0},
        {"psf_px": 2.0},
    ],
)
def test_no_blur_moves_a_point(camera: Camera, fault: dict[str, float]) -> None:
    seen = _middle(_developed(camera, _dot((150, 120)), Sensor(**fault)))
    assert seen == pytest.approx([150, 120], abs=0.05)


def test_defocus_spreads_a_point_over_the_disc_of_a_thin_lens(camera: Camera) -> None:
    # Diameter of the disc: focal length x aperture x |1/z - 1/focus| = 300 x 40 x 1/2000 = 6 px.
    # A uniform disc has a variance of diameter^2 / 16 in each direction (derived).
    sharp = _developed(camera, _dot((150, 120)), Sensor())
    soft = _developed(camera, _dot((150, 120)), Sensor(aperture_mm=40.0, focus_mm=500.0))
    x = np.arange(400)
    variances = [
        float((light.sum(axis=0) * (x - 150) ** 2).sum() / light.sum()) for light in (sharp, soft)
    ]
    assert variances[1] - variances[0] == pytest.approx(36 / 16, rel=0.1)


def test_what_is_in_focus_stays_as_sharp_as_through_a_pinhole(camera: Camera) -> None:
    sharp = _developed(camera, _dot((150, 120)), Sensor())
    focused = _developed(camera, _dot((150, 120)), Sensor(aperture_mm=3.0, focus_mm=400.0))
    assert focused == pytest.approx(sharp, abs=1e-3)


@pytest.mark.parametrize("megapixels", [0.03, 0.48])
def test_a_resized_picture_has_its_truth_resized(camera: Camera, megapixels: float) -> None:
    sensor = Sensor(megapixels=megapixels)
    row = finished({"rope_px": 80.0}, camera, sensor)
    scale = math.sqrt(megapixels / 0.12)
    assert row["focal_px_true"] == pytest.approx(300 * scale, abs=0.01)
    seen = _middle(_developed(camera, _dot((220, 90)), sensor))
    share = (seen - [row["principal_x_px"], row["principal_y_px"]]) / row["focal_px_true"]
    whole = (np.array([220, 90]) - camera.principal_px) / camera.focal_px
    assert share == pytest.approx(whole, abs=2e-3)


def test_the_list_is_large_mixed_from_the_start_and_without_doubles() -> None:
    scenes = range_scenes()
    shots = [shot for scene in scenes for shot in scene]
    files = [shot.file for shot in shots]
    assert len(files) == len(set(files)) >= 300
    early = [scene[0].file.split("-")[0] for scene in scenes[:22]]
    assert set(early) == {"protocol", "stress", "hopeless"}
    faults = Counter(fault for fault in FAULTS for shot in shots if fault in shot.note)
    assert min(faults.values()) >= 10
    for shot in shots:
        if shot.file.startswith("protocol"):
            assert 0 <= shot.gap_mm <= 0.5
            assert shot.tilt_deg <= 25
            assert 195 <= shot.distance_mm <= 600
            assert not shot.bend
    assert {shot.file: shot for shot in shots if shot.pair}.keys() <= set(files)
    for shot in (shot for shot in shots if shot.print_checked):  # readings of its own bars
        drawn = layout_named(shot.layout).along_bar_mm * shot.scale_x
        assert abs(shot.along_read_mm - drawn) < 0.2


def test_the_fresh_range_has_the_same_kinds_and_shares_no_photograph() -> None:
    ours, fresh = range_scenes(), range_scenes(FRESH_SEED)
    kinds = [
        [scene[0].note.split(" + ")[0] for scene in scenes if scene[0].answerable]
        for scenes in (ours, fresh)
    ]
    assert kinds[0] == kinds[1]
    shapes = {scene[0].shape.diameter_mm for scene in ours}
    same = [scene for scene in fresh if scene[0].shape.diameter_mm in shapes]
    assert not [scene for scene in same if scene[0].shape.strands and scene[0].answerable]


def test_the_bars_are_smooth_and_half_of_them_polished() -> None:
    shots = [scene[0] for scene in bar_scenes()]
    assert not any(shot.shape.strands for shot in shots)
    assert sum(shot.surface == "polished" for shot in shots) == len(shots) / 2
    assert len({(shot.surface, shot.light) for shot in shots}) > 12
    assert len({shot.file for shot in shots}) == len(shots)


def _row(error: float, expanded: float, *, pair: str = "", truth: float = 20.0) -> Scored:
    known = {"file": "x.jpg", "truth_2d_mm": str(truth), "pair": pair}
    refused = "" if np.isfinite(error) else "no-card"
    plain = {"ratio": 3.0, "homography": -4.0, "hough": np.nan}
    return Scored(known, "protocol", refused, error, expanded, plain, {"own": 0.05, "print": 0.1})


def test_the_figures_are_those_that_a_hand_would_count() -> None:
    rows = [_row(0.1, 0.4), _row(-0.3, 0.4), _row(0.5, 0.4), _row(np.nan, np.nan)]
    seen = figures(rows)
    assert (seen["n"], seen["refused"]) == (4, 25.0)
    assert seen["bias"] == pytest.approx(0.1)
    assert seen["median"] == pytest.approx(0.3)
    assert seen["worst"] == pytest.approx(0.5)
    assert seen["covered"] == pytest.approx(200 / 3)
    assert seen["U"] == pytest.approx(0.4)
    assert seen["z2"] == pytest.approx((0.25 + 2.25 + 6.25) / 3)
    assert (seen["ratio"], seen["homography"], seen["hough none"]) == (3.0, 4.0, 100.0)


def test_what_two_views_share_leaves_their_difference() -> None:
    one, other = _row(0.2, 0.4, pair="a"), _row(-0.1, 0.4, pair="a", truth=20.1)
    one.sources["own a"] = 0.03
    other.sources["own b"] = 0.04
    seen = ovality_figures(ovality_rows([one, other, _row(0.0, 0.4, pair="b")]))
    assert seen["n"] == 1
    assert seen["bias"] == pytest.approx(100 * (0.04 + 0.0201) / 20.05, rel=1e-3)
    assert seen["U"] == pytest.approx(200 * 0.05 / 20.05)


def test_canny_and_hough_measure_a_plain_bar(tmp_path: Path) -> None:
    # A grey bar of 24 mm at 10 px/mm on a blue ground, askew by 7 degrees, edges anti-aliased.
    y, x = np.mgrid[:900, :1200] - np.array([450.0, 600.0])[:, None, None]
    across = -math.sin(math.radians(7)) * x + math.cos(math.radians(7)) * y
    share = np.clip(120.5 - np.abs(across), 0, 1)[..., None]
    pixels = share * [150, 152, 155] + (1 - share) * [40, 60, 150]
    pixels += np.random.default_rng(2).normal(0, 2, pixels.shape)
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(tmp_path / "bar.png")
    truth = {
        "d_nominal_mm": "24", "axis_angle_deg": "-7", "station_x_mm": "0", "station_y_mm": "0",
        "rotation_cam_card": "1 0 0 0 -1 0 0 0 -1", "t_cam_card_mm": "0 0 300",
        "focal_px_true": "3000", "principal_x_px": "600", "principal_y_px": "450",
    }  # fmt: skip
    assert score_hough.width_mm(tmp_path / "bar.png", truth) == pytest.approx(24.0, rel=0.01)


def _calibrated_lens(file: str, pair: str, camera: str = "Demo Phone A") -> Lens:
    truth = {
        "file": file, "pair": pair, "focal_px_true": "300", "principal_x_px": "199.5",
        "principal_y_px": "149.5", "print_checked": "no",
    }  # fmt: skip
    photo = Photo(np.zeros((300, 400, 3), np.uint8), file, "", "", camera=camera)
    settings = with_phone_calibrated(settings_of(truth), truth, photo)
    return lens_for(photo, settings.cameras)


def test_a_calibrated_phone_is_as_far_off_as_it_is_said_to_be() -> None:
    count = 300
    lenses = [
        [_calibrated_lens(f"{number}-{view}.jpg", f"station {number}") for view in (0, 90)]
        for number in range(count)
    ]
    u = lenses[0][0].u_log_focal
    off = np.log([[lens.focal_px / 300 for lens in station] for station in lenses])
    # 600 draws, half of them shared: their scatter is known to 4 %
    assert off.std() == pytest.approx(u, rel=0.12)
    shared = float(np.corrcoef(off.T)[0, 1])
    assert shared == pytest.approx(0.003**2 / (0.003**2 + 0.005**2), abs=0.2)  # one phone's
    aside = np.array([[lens.centre_px for lens in station] for station in lenses])
    assert aside.std(axis=(0, 1)) == pytest.approx(lenses[0][0].u_centre_px, rel=0.12)


def test_a_file_that_names_no_camera_gets_no_calibration() -> None:
    assert not _calibrated_lens("1.jpg", "", camera="").known
