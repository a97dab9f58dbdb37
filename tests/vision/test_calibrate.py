"""A camera's numbers from boards: within their stated uncertainty, and as OpenCV has them."""

from __future__ import annotations

from pathlib import Path

import board_scenes
import cv2
import numpy as np
import pytest
from board_scenes import Truth, cast, photograph_board, save, stand, stands, straight_of
from numpy.typing import NDArray
from scipy.stats import chi2

from vision.calibration.adjustment import Calibration, CalibrationError, calibrate
from vision.calibration.board import FoundBoard, find_board
from vision.calibration.library import (
    CalibratedCamera,
    calibrated_camera,
    forget_camera,
    lens_for,
    load_cameras,
    save_camera,
    turned,
)
from vision.calibration.session import calibrate_photographs, measured_stretch
from vision.camera import Lens, bent, straightened
from vision.photo.photo import open_photo

Array = NDArray[np.float64]
PHONE = Truth((4000, 3000), 3050.0, (2012.0, 1490.0), -0.06, 0.05, 6e-4, -4e-4)
SMALL = Truth((1200, 900), 915.0, (604.0, 445.0), -0.05, 0.03, 5e-4, -3e-4)
NOISE_PX = 0.15


def boards(truth: Truth, count: int, seed: int, **printed: float) -> list[FoundBoard]:
    rng = np.random.default_rng(seed)
    return [cast(truth, pose, NOISE_PX, rng, **printed) for pose in stands(count, rng)]


def of_a_flat_exact_board(seed: int) -> Calibration:
    return calibrate(boards(PHONE, 12, seed), PHONE.size, u_stretch=1e-9)


def test_values_lie_within_their_uncertainty_as_often_as_chance_says() -> None:
    # Monte Carlo (JCGM 101): known cameras, corners with noise, prints and plates of chance
    distances = []
    for seed in range(6):
        rng = np.random.default_rng(1000 + seed)
        printed = {"stretch": rng.normal(0, 0.01), "bow": rng.normal(0, 0.01)}
        found = calibrate(boards(PHONE, 12, seed, **printed), PHONE.size)
        off = np.array(found.lens) - PHONE.values
        distances.append(float(off @ np.linalg.solve(found.covariance.matrix, off)))
        assert abs(found.stretch - printed["stretch"]) < 4 * found.u_stretch
    low, high = chi2.ppf([0.001, 0.999], 7 * len(distances))
    assert low < sum(distances) < high
    assert not low < 4 * sum(distances) < high  # an uncertainty of half the size would show


def test_uncertainties_are_those_of_opencv() -> None:
    # calibrateCameraExtended of OpenCV on the same corners; it knows no bowed plate, so that
    # ours, which allows for one, may be a little larger
    found = of_a_flat_exact_board(3)
    each = boards(PHONE, 12, 3)
    K = np.array([[3000.0, 0, 2000], [0, 3000, 1500], [0, 0, 1]])
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3 | cv2.CALIB_USE_INTRINSIC_GUESS
    flat = [np.column_stack([b.corners, np.zeros(len(b.corners))]).astype(np.float32)
            for b in each]  # fmt: skip
    seen = [b.corners_px.astype(np.float32) for b in each]
    out = cv2.calibrateCameraExtended(flat, seen, PHONE.size, K, np.zeros(5), flags=flags)
    theirs, u_theirs = np.asarray(out[2]).ravel(), np.asarray(out[5]).ravel()
    K = np.asarray(out[1])
    values = np.array([K[1, 1], K[0, 2], K[1, 2], *theirs[:4]])
    u_values = u_theirs[[1, 2, 3, 4, 5, 6, 7]]
    ours = np.array([found.focal_px, *found.lens[1:]])
    u_ours = found.covariance.u_all() * np.array([found.focal_px, 1, 1, 1, 1, 1, 1])
    assert np.all(np.abs(ours - values) < u_values)  # the same data: far closer than that
    ratio = u_ours / u_values
    assert np.all((ratio > 0.85) & (ratio < 1.6)), ratio


@pytest.fixture(scope="module")
def photographs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Nine photographs of the printed page; every third one stored upside down."""
    place = tmp_path_factory.mktemp("boards")
    upside_down = Truth(
        SMALL.size, SMALL.focal_px, (1199 - SMALL.centre_px[0], 899 - SMALL.centre_px[1]),
        SMALL.k1, SMALL.k2, -SMALL.p1, -SMALL.p2,
    )  # fmt: skip
    for i, pose in enumerate(stands(9, np.random.default_rng(5))):
        turned_over = i % 3 == 2  # the upright picture's lens is the sensor's, half a turn on
        pixels = photograph_board(upside_down if turned_over else SMALL, pose, seed=i)
        stored = pixels[::-1, ::-1] if turned_over else pixels
        save(place / f"{i}.jpg", np.ascontiguousarray(stored), orientation=3 if turned_over else 1)
    straight_of.cache_clear()
    board_scenes._page.cache_clear()
    return sorted(place.iterdir())


def test_photographs_of_the_printed_page_give_the_lens_that_took_them(
    photographs: list[Path], tmp_path: Path
) -> None:
    bad = tmp_path / "text.jpg"
    bad.write_text("none")
    again = tmp_path / "again.jpg"
    again.write_bytes(photographs[0].read_bytes())
    done = calibrate_photographs([*photographs, bad, again])
    assert done.camera.key == "Lantern L4, 1200 x 900, 26 mm"
    assert done.camera.photographs == 9
    assert ["text.jpg" in done.left_out[0], "again.jpg" in done.left_out[1]] == [True, True]
    off = np.array(done.calibration.lens) - SMALL.values
    distance = float(off @ np.linalg.solve(done.calibration.covariance.matrix, off))
    assert distance < chi2.ppf(0.999, 7)
    assert float(np.median(done.calibration.rms_px)) < 0.2
    assert abs(done.calibration.stretch) < 4 * done.calibration.u_stretch


def test_photographs_that_say_too_little_are_refused(
    photographs: list[Path], tmp_path: Path
) -> None:
    with pytest.raises(CalibrationError, match="found in 7 photographs; at least 8 are needed"):
        calibrate_photographs(photographs[:7])
    blank = tmp_path / "blank.jpg"
    save(blank, np.full((900, 1200, 3), 120, np.uint8))
    with pytest.raises(CalibrationError, match="none of the photographs shows"):
        calibrate_photographs([blank])
    other = tmp_path / "tele.jpg"
    save(other, open_photo(photographs[0]).pixels, equivalent=77)
    with pytest.raises(CalibrationError, match=r"2 cameras, sizes or lenses: .* 77 mm \(1\)"):
        calibrate_photographs([*photographs, other])
    nameless = tmp_path / "nameless.jpg"
    save(nameless, open_photo(photographs[1]).pixels, model="")
    with pytest.raises(CalibrationError, match=r"nameless\.jpg does not say which camera"):
        calibrate_photographs([*photographs, nameless])


def test_the_same_direction_a_zoom_and_a_bare_corner_are_refused() -> None:
    rng = np.random.default_rng(1)
    front = [cast(PHONE, stand(0.5 * i, 40.0 * i, 5.0 * i, (0.6 * (i - 5), 0.3 * (i - 5), 11.0)),
                  NOISE_PX, rng) for i in range(10)]  # fmt: skip
    with pytest.raises(CalibrationError, match="much the same direction"):
        calibrate(front, PHONE.size)
    zoomed = Truth(PHONE.size, 1.2 * PHONE.focal_px, PHONE.centre_px)
    mixed = boards(PHONE, 11, 2)
    mixed.insert(4, cast(zoomed, stand(30, 20, 0, (0.0, 0.0, 14.0)), NOISE_PX, rng))
    with pytest.raises(
        CalibrationError, match="photograph 5 was taken with a different focal length"
    ):
        calibrate(mixed, PHONE.size)
    middle = [cast(PHONE, stand(35, 36.0 * i, 9.0 * i, (0.0, 0.0, 24.0)), NOISE_PX, rng)
              for i in range(10)]  # fmt: skip
    with pytest.raises(CalibrationError, match=r"covers [0-9]+ % of the picture"):
        calibrate(middle, PHONE.size)


def test_a_card_is_no_board_and_a_board_no_card() -> None:
    assert find_board(np.full((600, 800), 128, np.uint8)) is None


@pytest.mark.parametrize("readings", [(275.0, 275.0, 0.1), (10.83, 6.89, 0.1), (275, 175, 0.0)])
def test_readings_of_no_board_are_refused(readings: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"do not fit a board|uncertainty of a reading"):
        measured_stretch(*readings)


def test_points_go_through_a_lens_and_back_as_opencv_sends_them() -> None:
    lens = Lens(3050.0, 0.01, (2012.0, 1490.0), 3.0, k1=-0.06, k2=0.05, p1=6e-4, p2=-4e-4)
    seen = np.random.default_rng(0).uniform([0, 0], [4000, 3000], (200, 2))
    straight = straightened(lens, seen)
    assert np.abs(bent(lens, straight) - seen).max() < 1e-6
    K = np.array([[3050.0, 0, 2012.0], [0, 3050.0, 1490.0], [0, 0, 1]])
    rays = np.column_stack([(straight - [2012.0, 1490.0]) / 3050.0, np.ones(len(seen))])
    theirs, _ = cv2.projectPoints(
        rays.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), K, np.array([-0.06, 0.05, 6e-4, -4e-4])
    )
    assert np.abs(theirs.reshape(-1, 2) - seen).max() < 1e-6


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_lens_turns_with_its_picture(orientation: int, tmp_path: Path) -> None:
    # one bright pixel where the lens's middle is: the photograph shows where it goes
    width, height, x, y = 64, 48, 40, 10
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[y - 1 : y + 2, x - 1 : x + 2] = 255
    save(tmp_path / "dot.jpg", pixels, orientation=orientation)
    photo = open_photo(tmp_path / "dot.jpg")
    key = "Lantern L4, 64 x 48, 26 mm"
    covariance = tuple(map(tuple, np.diag([1e-3, 0.5, 0.5, 1e-3, 1e-3, 1e-4, 1e-4]) ** 2))
    camera = CalibratedCamera(
        key, (width, height), 50.0, (x, y), -0.05, 0.01, 2e-4, -3e-4, covariance, 9, 0.1, 0.9
    )
    lens = lens_for(photo, {key: camera})
    bright = np.argwhere(photo.pixels[..., 0] > 128)[:, ::-1].mean(axis=0)
    assert np.abs(np.array(lens.centre_px) - bright).max() < 0.3
    # a stored point, bent by the stored lens and turned, is the turned point bent by the turned one
    turn, shift = turned(orientation, width, height)
    stored = Lens(50.0, 0.01, (x, y), 1.0, k1=-0.05, k2=0.01, p1=2e-4, p2=-3e-4)
    spot = np.array([[5.0, 7.0], [60.0, 44.0]])
    one = bent(stored, spot) @ turn.T + shift
    two = bent(lens, spot @ turn.T + shift)
    assert np.abs(one - two).max() < 1e-9


def test_cameras_are_kept_listed_and_forgotten(tmp_path: Path) -> None:
    file = tmp_path / "new" / "cameras.json"
    assert load_cameras(file) == {}
    camera = calibrated_camera("Lantern L4", of_a_flat_exact_board(1), photographs=12, on=None)
    save_camera(file, camera)
    assert load_cameras(file) == {"Lantern L4": camera}
    with pytest.raises(ValueError, match="no camera called 'Other'"):
        forget_camera(file, "Other")
    forget_camera(file, "Lantern L4")
    assert load_cameras(file) == {}
    for damaged in ('{"a": {"k1": 1}}', "[]", "{"):
        file.write_text(damaged)
        with pytest.raises(ValueError, match="mend"):
            load_cameras(file)
