"""The closed form compared with rays cast at a mesh by trimesh, an independent library."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from vision.rope.tangent_cylinder import TOUCHING, Hold, HoldKind, cylinder_mm

Array = NDArray[np.float64]

SIDES = 1440  # the mesh's own facets are within 1 - cos(pi / 1440) = 2.4e-6 of a circle


def _bar(diameter_mm: float, axis_mm: Array, direction: Array) -> trimesh.Trimesh:
    along = trimesh.geometry.align_vectors([0, 0, 1], direction)
    assert along is not None
    along[:3, 3] = axis_mm
    bar = trimesh.creation.cylinder(diameter_mm / 2, height=900.0, sections=SIDES)
    bar.apply_transform(along)
    return bar


def _silhouettes(bar: trimesh.Trimesh, camera: Array, axis: Array, outward: Array) -> Array:
    """Return rays (N, 3) that just graze what is seen of the bar, by bisection.

    They go out from points of its axis (N, 3), all at once. The card, its face at z = 0, hides what
    lies below.
    """
    hit, miss = axis - camera, axis + 200.0 * outward - camera
    for _ in range(34):
        middle = (hit + miss) / 2
        places, rays, _ = bar.ray.intersects_location(np.tile(camera, (len(axis), 1)), middle)
        met = np.isin(np.arange(len(axis)), rays[places.reshape(-1, 3)[:, 2] >= 0])[:, None]
        hit, miss = np.where(met, middle, hit), np.where(met, miss, middle)
    return np.asarray((hit + miss) / 2)


def _seen_normals(
    bar: trimesh.Trimesh, camera: Array, axis: Array, direction: Array
) -> list[Array]:
    sight = axis - camera
    across = np.cross(direction, sight)
    across /= np.linalg.norm(across)
    ends = axis + np.array([[-60.0], [60.0], [-60.0], [60.0]]) * direction
    rays = _silhouettes(bar, camera, ends, np.array([[1.0], [1.0], [-1.0], [-1.0]]) * across)
    normals = []
    for side, (one, other) in ((1.0, rays[:2]), (-1.0, rays[2:])):
        normal = np.cross(one, other)
        normal /= np.linalg.norm(normal)
        normals.append(normal if normal @ (side * across) > 0 else -normal)
    return normals


CASES = [
    # diameter, camera over the card, turn of the axis on the card, hold
    (35.0, (0.0, 0.0, 420.0), 0.0, TOUCHING),
    (8.0, (40.0, -60.0, 250.0), 7.0, Hold(offset_mm=0.3)),
    (76.0, (-150.0, 120.0, 600.0), -20.0, TOUCHING),
    (22.0, (90.0, 130.0, 310.0), 12.0, Hold(HoldKind.LEVEL)),
    (22.0, (-30.0, 80.0, 280.0), 33.0, Hold(HoldKind.STAND_OFF, 25.0)),
    (48.0, (10.0, 200.0, 380.0), 3.0, Hold(HoldKind.STAND_OFF, -14.0)),
    (10.0, (20.0, -120.0, 240.0), -8.0, Hold(HoldKind.LEVEL)),
    (36.0, (0.0, 180.0, 420.0), 2.0, Hold(HoldKind.STAND_OFF, 4.0)),
    (30.0, (5.0, 6.0, 400.0), 5.0, Hold(HoldKind.STAND_OFF, -9.0)),
]


@pytest.mark.parametrize(("diameter", "camera", "turn_deg", "hold"), CASES)
def test_the_closed_form_gives_back_the_bar_that_rays_graze(
    diameter: float, camera: tuple[float, float, float], turn_deg: float, hold: Hold
) -> None:
    height = diameter / 2 + hold.offset_mm if hold.touching else hold.axis_height_mm
    turn = np.radians(turn_deg)
    direction = np.array([np.cos(turn), np.sin(turn), 0.0])
    axis, eye = np.array([3.0, -4.0, height]), np.array(camera)
    bar = _bar(diameter, axis, direction)
    left, right = _seen_normals(bar, eye, axis, direction)
    got = cylinder_mm(left, right, eye, hold=hold)
    # bisection leaves 200 mm / 2^34; the facets 2.4e-6 of the diameter
    assert got.diameter_mm == pytest.approx(diameter, rel=1e-5)
    assert got.axis_mm[2] == pytest.approx(height, abs=1e-3)
    assert abs(got.direction @ direction) == pytest.approx(1.0, abs=1e-6)


def test_an_axis_that_climbs_is_taken_at_the_station() -> None:
    direction = np.array([np.cos(0.05), 0.0, np.sin(0.05)])
    axis, eye = np.array([0.0, 5.0, 15.0]), np.array([70.0, -20.0, 300.0])
    bar = _bar(30.0, axis, direction)
    left, right = _seen_normals(bar, eye, axis, direction)
    got = cylinder_mm(left, right, eye, hold=Hold(HoldKind.STAND_OFF, 15.0), station_mm=axis)
    assert got.diameter_mm == pytest.approx(30.0, rel=1e-5)
    assert got.axis_mm == pytest.approx(axis, abs=2e-3)


def test_the_plain_pixel_ratio_would_be_some_percent_off() -> None:
    """d Z / sqrt(Z^2 - d Z) for a bar on the card: derived, Z the camera's height."""
    diameter, height = 35.0, 420.0
    bar = _bar(diameter, np.array([0.0, 0.0, diameter / 2]), np.array([1.0, 0.0, 0.0]))
    eye = np.array([0.0, 0.0, height])
    axis, outward = np.array([[0.0, 0.0, diameter / 2]]), np.array([[0.0, 1.0, 0.0]])
    (ray,) = _silhouettes(bar, eye, axis, outward)
    on_card = 2 * abs(ray[1] / ray[2]) * height
    assert on_card == pytest.approx(
        diameter * height / np.sqrt(height**2 - diameter * height), rel=1e-5
    )
    assert on_card / diameter > 1.04


def test_parallel_planes_are_refused() -> None:
    normal = np.array([0.0, 1.0, 0.0])
    with pytest.raises(ValueError, match="parallel"):
        cylinder_mm(normal, normal, np.array([0.0, 0.0, 300.0]))


def test_a_negative_gap_is_refused() -> None:
    with pytest.raises(ValueError, match=r"negative; got -1 mm"):
        Hold(offset_mm=-1.0)
    assert Hold(HoldKind.STAND_OFF, -1.0).axis_height_mm == -1.0  # a card in front of the axis


def test_planes_that_open_away_from_the_card_enclose_nothing() -> None:
    a = np.array([0.0, 0.99, -0.1])
    with pytest.raises(ValueError, match="enclose nothing"):
        cylinder_mm(a, a * [1, -1, 1], np.array([0.0, 0.0, 300.0]))
