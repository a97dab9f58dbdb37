"""A polished bar's flank mirrors the stripes: what that does to its outline.

Seen square from far off, a sight that meets a flank of radius r where it leans by psi, r (1 - cos
psi) inside its limb, is turned by 2 psi and meets the paper (h + r sin psi) tan(2 psi) farther out,
h the limb's height. That is worked out here by itself, added up and blurred; the tool follows its
sights through the camera.
"""

from __future__ import annotations

import numpy as np
import pytest
from scenes import A5
from scipy.special import ndtr
from studio import Array

from vision.camera import Lens, camera_of
from vision.rope.edge_light import EVERY_PX, rim_px
from vision.rope.lock_in import Scene
from vision.rope.profiles import half_way
from vision.target.layout import Card

R = 12.0
PX_MM = 0.1
PERIOD = 4.107  # mm, of A5's stripes square to a bar that lies along the card
FAR_MM = 1e5
CAMERA = camera_of(
    Lens(FAR_MM / PX_MM, 0.01, (999.5, 749.5), 1.0),
    np.array([np.pi, 0, 0]),
    np.array([0, 0, FAR_MM]),
)
BAR = Scene(
    np.zeros((1500, 2000), np.float32), CAMERA, Card(A5), np.zeros(1), np.zeros(2),
    np.array([1.0, 0.0]), R, 1.0,
)  # fmt: skip


def mirrored(t_px: Array, blur_px: float, share: float) -> Array:
    """Return the stripes left at places outwards from the limb, over those outside."""
    psi = np.linspace(0, np.pi / 5, 20_001)
    delta = R * (1 - np.cos(psi)) / PX_MM
    y = (R + R * np.sin(psi)) * np.tan(2 * psi)
    spread = np.exp(-0.5 * ((t_px[:, None] + delta) / blur_px) ** 2) / np.sqrt(2 * np.pi) / blur_px
    back = np.trapezoid(spread * np.cos(2 * np.pi * y / PERIOD), delta, axis=1)
    return np.asarray(ndtr(t_px / blur_px) + share * back)


def half_of(blur_px: float, share: float) -> float:
    t = np.linspace(-3 * blur_px, 3 * blur_px, 601)
    values = mirrored(t, blur_px, share)
    last = int(np.flatnonzero(values < 0.5)[-1])
    return float(np.interp(0.5, values[last : last + 2], t[last : last + 2]))


@pytest.mark.parametrize("share", [0.0, 0.4, 0.8])
@pytest.mark.parametrize("blur_px", [0.4, 0.8, 1.5])
def test_what_a_flank_mirrors_is_known_within_its_uncertainty(blur_px: float, share: float) -> None:
    limb = half_of(blur_px, share)
    t = EVERY_PX * np.arange(-20, 12)
    rim, u = rim_px(BAR, (R, PX_MM), blur_px, (t, mirrored(t + limb, blur_px, share)), 0.8)
    assert abs(rim - limb) < 2 * u + 0.01
    assert u < 0.05 if share == 0 else u < 0.1


def test_the_limb_seems_to_lie_farther_in_or_farther_out_by_how_far_blur_reaches() -> None:
    all_of_it = R * (PERIOD / (4 * np.pi * R)) ** 2 / PX_MM  # the sum of cos(2 pi y / P) over delta
    assert half_of(0.1, 0.8) < -0.02
    assert half_of(0.8, 0.8) > 1.3 * 0.8 * all_of_it
    assert half_of(4.0, 0.2) == pytest.approx(0.2 * all_of_it, rel=0.2)


def test_a_limb_that_is_dark_has_no_rim() -> None:
    t = EVERY_PX * np.arange(-20, 12)
    assert rim_px(BAR, (R, PX_MM), 0.8, (t, ndtr(t / 0.8)), 0.0) == pytest.approx(
        (0.0, 0.0), abs=1e-3
    )


@pytest.mark.parametrize("between", [0.3, -0.3])
def test_stripes_against_their_phase_are_a_mirrors_and_no_paper_in_shade(between: float) -> None:
    t = EVERY_PX * np.arange(-16, 12)
    share = np.select([t > 0, t > -2, t > -5], [1.0, between, 0.3], 0.0)[None]
    contrast = np.abs(share) / 0.5
    _, sure, farther = half_way(share, contrast, t, len(t) - 6, 2.0)
    assert sure.all()
    assert bool(np.isfinite(farther[0])) is (between > 0)
