"""World two's camera: a pinhole in the card's frame (x right, y up, z towards the camera)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from second_world.wires import Array

if TYPE_CHECKING:
    from second_world.shots import Shot


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """Rows of `axes` are the camera's right, down and forward; pixel (0, 0) is a pixel's centre."""

    axes: Array
    centre_mm: Array
    focal_px: float
    principal_px: tuple[float, float]
    size_px: tuple[int, int]

    def project(self, points_mm: Array) -> Array:
        """Return the image points of points (N, 3), px."""
        x, y, z = ((points_mm - self.centre_mm) @ self.axes.T).T
        u0, v0 = self.principal_px
        return np.stack([self.focal_px * x / z + u0, self.focal_px * y / z + v0], axis=1)


def camera_of(shot: Shot) -> Camera:
    """Return the camera of a shot, aimed at the card's middle from its tilt and azimuth."""
    tilt, azimuth, roll = np.radians([shot.tilt_deg, shot.azimuth_deg, shot.roll_deg])
    away = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])
    forward = -away
    right = np.cross(forward, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    axes = np.stack(
        [
            np.cos(roll) * right + np.sin(roll) * down,
            -np.sin(roll) * right + np.cos(roll) * down,
            forward,
        ]
    )
    width, height = shot.size_px
    focal = shot.f35_true / np.hypot(36.0, 24.0) * np.hypot(width, height)
    aim = np.array([0.0, 0.0, shot.nominal_mm / 2])
    return Camera(
        axes,
        aim + shot.distance_mm * away,
        float(focal),
        ((width - 1) / 2 + shot.principal_px[0], (height - 1) / 2 + shot.principal_px[1]),
        shot.size_px,
    )
