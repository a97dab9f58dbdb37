"""The effect of the card's print on the pose, and that its covariance is always usable."""

from __future__ import annotations

import numpy as np
import pytest
from studio import Array, look, pinhole

from vision.camera import Lens, camera_centre_mm, lens_of
from vision.target.detect import FoundCard
from vision.target.layout import Card, chess_corners_mm, layout_named
from vision.target.pose import Pose, solve_pose

LAYOUT = layout_named("A5 middle")
FLAT = chess_corners_mm(LAYOUT)
CHECKED = Card(LAYOUT, 0, u_scale_x=4e-4, u_scale_y=4e-4)
UNCHECKED = Card(LAYOUT, 0)
SIZE, FOCAL_PX = (4000, 3000), 3100.0
LENSES = {
    "calibrated": lens_of(*SIZE, FOCAL_PX, 0.002 * FOCAL_PX),
    "written": lens_of(*SIZE, FOCAL_PX, 0.04 * FOCAL_PX),
    "unknown": lens_of(*SIZE, None, None),
}


def cast(
    tilt_deg: float, scale: tuple[float, float], *, distance_mm: float = 330.0, noise_px: float
) -> tuple[FoundCard, Array]:
    """Return the corners of a print that is stretched by `scale`, and the camera centre, mm."""
    R, t = look(tilt_deg, 35.0, 8.0, distance_mm)
    solid = np.column_stack([FLAT * scale, np.zeros(len(FLAT))])
    seen = pinhole(solid, R, t, FOCAL_PX, SIZE)
    seen = seen + np.random.default_rng(1).normal(0, 1, seen.shape) * noise_px
    return FoundCard(LAYOUT, 0, FLAT, seen, np.eye(3)), -R.T @ t


def codes(pose: Pose) -> list[str]:
    return [item.code for item in pose.findings]


@pytest.mark.parametrize("tilt_deg", [0, 2, 8, 20, 35])
@pytest.mark.parametrize("scale", [(1.01, 1.0), (1.0, 1.01), (1.005, 0.995), (0.997, 1.0)])
def test_a_print_stretched_one_way_is_no_bend_and_no_other_focal_length(
    tilt_deg: float, scale: tuple[float, float]
) -> None:
    # Laser prints of one user were up to 1 % off and not alike along and across (see
    # `vision.target.print_scale`). Seen square on, 0.3 % one way used to pass for a bend of 2 mm.
    found, centre = cast(tilt_deg, scale, noise_px=0.08)
    pose = solve_pose(found, UNCHECKED, LENSES["written"])
    assert codes(pose) == []
    assert abs(pose.focal_px - FOCAL_PX) < 3 * pose.u_focal_px
    # the overall scale of an unchecked print is not seen by any camera: 1 % of the distance
    off = np.linalg.norm(camera_centre_mm(pose.camera) - centre)
    assert off < 3 * np.hypot(0.01, pose.u_focal_px / pose.focal_px) * np.linalg.norm(centre)


@pytest.mark.parametrize("lens", LENSES.values(), ids=list(LENSES))
@pytest.mark.parametrize("card", [CHECKED, UNCHECKED], ids=["checked", "unchecked"])
@pytest.mark.parametrize("noise_px", [0.0, 0.3])
def test_the_covariance_can_be_factored_whatever_the_view(
    lens: Lens, card: Card, noise_px: float
) -> None:
    # Focal length, distance, tilt and print hang together to many digits; the budget takes
    # their covariance apart (Cholesky), which must never fail.
    for tilt_deg in (0, 1, 4, 15, 40):
        for distance_mm in (120.0, 330.0, 1500.0):
            found, _ = cast(tilt_deg, (1, 1), distance_mm=distance_mm, noise_px=noise_px)
            pose = solve_pose(found, card, lens)
            for covariance in (pose.covariance, pose.whole_covariance):
                np.linalg.cholesky(covariance.matrix)
                np.linalg.cholesky(covariance.ordered(covariance.names[::-1]))
            assert np.isfinite(pose.scale_shift).all()


@pytest.mark.parametrize("tilt_deg", [0, 20])
def test_what_the_print_adds_grows_with_its_uncertainty(tilt_deg: float) -> None:
    found, _ = cast(tilt_deg, (1, 1), noise_px=0.05)
    u = [
        solve_pose(found, card, LENSES["calibrated"]).whole_covariance.u("z_mm")
        for card in (CHECKED, UNCHECKED)
    ]
    assert u[1] > 2 * u[0]
