"""A rope on its card through a lens that bends: calibrated it is measured right, else not."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from board_scenes import Truth, bend
from scenes import CHECKED, shot_of, taken

from vision.calibration.library import CalibratedCamera
from vision.pipeline import measure_photo
from vision.results import Estimate

KEY = "Lantern L4, 1800 x 1250, 26 mm"
LENS = Truth((1800, 1250), 2500.0, (899.5, 624.5), -0.25, 0.1, 8e-4, -6e-4)


def test_distortion_left_in_shows_and_calibrated_it_is_gone() -> None:
    # the card fills the picture, its strips far from the middle, where the lens bends most
    shot = shot_of(distance_mm=270.0)
    width, height = LENS.size
    u, v = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    aim_x, aim_y = (u - LENS.centre_px[0]) / LENS.focal_px, (v - LENS.centre_px[1]) / LENS.focal_px
    x, y = aim_x.copy(), aim_y.copy()
    for _ in range(12):  # where a straight lens would have put what this one shows here
        bent_x, bent_y = bend(LENS, x, y)
        x, y = x + aim_x - bent_x, y + aim_y - bent_y
    column, row = x * LENS.focal_px + LENS.centre_px[0], y * LENS.focal_px + LENS.centre_px[1]
    # a lens bends light, not pixels: from as many pixels the outline would ripple by 0.09 px
    large = {"size": (2 * width, 2 * height), "focal_px": 5000.0, "blur_px": 1.5, "fine": 1}
    fine = shot_of(distance_mm=270.0, **large)
    pixels = cv2.remap(fine.pixels, *((2 * one + 0.5).astype(np.float32) for one in (column, row)),
                       cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    moved = np.hypot(column - u, row - v).max()
    assert 15 < moved < 60  # px, at the corners: a wide lens that nobody straightened
    plain, _ = taken(shot)
    photo = replace(plain, pixels=np.asarray(pixels, np.uint8), camera="Lantern L4", lens="26 mm")
    covariance = np.diag([2e-4, 0.2, 0.2, 4e-4, 8e-4, 4e-5, 4e-5]) ** 2
    camera = CalibratedCamera(
        KEY, LENS.size, LENS.focal_px, LENS.centre_px, LENS.k1, LENS.k2, LENS.p1, LENS.p2,
        tuple(map(tuple, covariance)), 12, 0.1, 0.95,
    )  # fmt: skip
    (straight,) = measure_photo(plain, CHECKED)
    (left_in,) = measure_photo(photo, CHECKED)
    (calibrated,) = measure_photo(photo, replace(CHECKED, cameras={KEY: camera}))
    assert isinstance(straight, Estimate)
    assert isinstance(calibrated, Estimate)
    assert abs(calibrated.diameter_mm - 24) < calibrated.expanded_mm()
    # as good as the same photograph through a lens without distortion: a tenth of a percent
    assert abs(calibrated.diameter_mm - straight.diameter_mm) < 0.024
    lens = [sum(t.u_mm**2 for t in one.budget if t.source.startswith("lens:")) ** 0.5
            for one in (calibrated, straight)]  # fmt: skip
    assert lens[0] < 0.5 * lens[1]
    if isinstance(left_in, Estimate):
        off = abs(left_in.diameter_mm - 24)
        assert off > 2 * abs(calibrated.diameter_mm - 24)
        print("left in", left_in.diameter_mm, left_in.expanded_mm())
    print("calibrated", calibrated.diameter_mm, calibrated.expanded_mm(), straight.diameter_mm)
