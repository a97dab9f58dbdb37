"""Pictures of rules beside a bar whose geometry is known, drawn by homography and area sampling.

Independent of the estimator: the plane is sent through a pinhole by its own matrix product, the
bar is a cylinder whose two silhouette lines are worked out from its tangent planes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
INK_MM = 0.12


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """A camera over a rule's face: face x along the rule, y up, z towards the camera, mm."""

    turn: Array
    shift_mm: Array
    focal_px: float
    size: tuple[int, int]

    def project(self, points_mm: Array) -> Array:
        seen = points_mm @ self.turn.T + self.shift_mm
        centre = (np.array(self.size) - 1) / 2
        return np.asarray(self.focal_px * seen[:, :2] / seen[:, 2:] + centre)

    @property
    def eye_mm(self) -> Array:
        return np.asarray(-self.turn.T @ self.shift_mm)


@cache
def shot(
    *, tilt_deg: tuple[float, float] = (0.0, 0.0), spin_deg: float = 0.0, far_mm: float = 400.0,
    focal_px: float = 2400.0, size: tuple[int, int] = (1500, 800),
    look_mm: tuple[float, float] = (70.0, 20.0),
) -> Shot:  # fmt: skip
    """Return a camera that looks at a point of the face from `far_mm`, tilted and turned."""
    a, b = np.radians(tilt_deg)
    c, s = np.cos(np.radians(spin_deg)), np.sin(np.radians(spin_deg))
    tilt = np.asarray(cv2.Rodrigues(np.array([[a], [b], [0.0]]))[0], float)
    turn = tilt @ np.array([[c, -s, 0], [-s, -c, 0], [0, 0, -1.0]])
    shift = np.array([0.0, 0.0, far_mm]) - turn @ np.array([*look_mm, 0.0])
    return Shot(turn, shift, focal_px, size)


def mm_row(first: int, last: int, spacing: float = 1.0, tens: tuple[int, int] = (5, 10)) -> Array:
    """Return marks as (x, length) pairs, mm: longer at every fifth and tenth."""
    numbers = np.arange(first, last + 1)
    length = np.where(numbers % tens[1] == 0, 7.0, np.where(numbers % tens[0] == 0, 5.0, 3.5))
    return np.column_stack([numbers * spacing, length])


def inch_row(first: int, last: int, parts: int) -> Array:
    """Return inch marks in so many parts, longer at halves, quarters, eighths."""
    numbers = np.arange(first, last + 1)
    length = np.full(len(numbers), 3.0)
    step = 2
    while step <= parts:
        length[numbers % step == 0] += 1.1
        step *= 2
    return np.column_stack([numbers * 25.4 / parts, length])


def draw_rule(
    camera: Shot, *, upper: Array, lower: Array | None = None, wide_mm: float = 26.0,
    long_mm: tuple[float, float] = (-10.0, 150.0), steel: int = 150, ink: int = 55,
    ground: int = 185, fine: int = 12,
) -> NDArray[np.uint8]:  # fmt: skip
    """Return a picture (H, W) of a rule whose upper edge is y = 0, drawn at `fine` px a mm."""
    x0, y0 = long_mm[0] - 60, -wide_mm - 60
    wide, high = int((long_mm[1] - long_mm[0] + 120) * fine), int((wide_mm + 160) * fine)
    sheet = np.full((high, wide), float(ground))

    def box(left: float, right: float, top: float, bottom: float, value: float) -> None:
        # y grows upwards on the face, rows grow downwards from y0 + high / fine
        i0, i1 = (right - x0) * fine, (left - x0) * fine
        rows = slice(
            int((-top - (-(y0 + high / fine))) * fine), int((-bottom + y0 + high / fine) * fine)
        )
        first, last = int(np.floor(i1)), int(np.ceil(i0))
        share = np.clip(
            np.minimum(np.arange(first, last) + 1, i0) - np.maximum(np.arange(first, last), i1),
            0,
            1,
        )
        sheet[rows, first:last] += share * (value - sheet[rows, first:last])

    box(long_mm[0], long_mm[1], 0.0, -wide_mm, steel)
    for x, length in upper:
        box(x - INK_MM / 2, x + INK_MM / 2, 0.0, -length, ink)
    for x, length in lower if lower is not None else ():
        box(x - INK_MM / 2, x + INK_MM / 2, -wide_mm + length, -wide_mm, ink)
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    there = np.column_stack(
        [x0 + corners[:, 0] / fine, y0 + high / fine - corners[:, 1] / fine, np.zeros(4)]
    )
    # the centre of the sheet's first pixel lies half a pixel inside its corner
    turn = cv2.getPerspectiveTransform(corners - 0.5, camera.project(there).astype(np.float32))
    size = (camera.size[0] * 2, camera.size[1] * 2)
    double = np.array([[2.0, 0, 0.5], [0, 2.0, 0.5], [0, 0, 1]]) @ turn
    big = cv2.warpPerspective(sheet.astype(np.float32), double, size, flags=cv2.INTER_AREA,
                              borderValue=float(ground))  # fmt: skip
    small = cv2.resize(big, camera.size, interpolation=cv2.INTER_AREA)
    return np.asarray(np.clip(np.round(small), 0, 255), np.uint8)


def silhouettes(
    camera: Shot, axis_mm: Array, way: Array, diameter_mm: float, half_mm: float
) -> Array:
    """Return two points on each silhouette line of a cylinder, px (4, 2)."""
    to_eye = camera.eye_mm - axis_mm
    to_eye = to_eye - (to_eye @ way) * way
    far = float(np.linalg.norm(to_eye))
    toward, side = to_eye / far, np.cross(way, to_eye / far)
    r = diameter_mm / 2
    low, out = r * r / far, r * np.sqrt(1 - (r / far) ** 2)
    points = [
        axis_mm + low * toward + sign * out * side + end * half_mm * way
        for sign in (1.0, -1.0) for end in (-1.0, 1.0)
    ]  # fmt: skip
    return camera.project(np.array(points))


def with_bar(
    picture: NDArray[np.uint8], lines: Array, value: int = 45, *, blur_px: float = 0.8,
    noise: float = 1.5, seed: int = 1,
) -> NDArray[np.uint8]:  # fmt: skip
    """Return the picture (H, W, 3) with a bar between two silhouette lines.

    Lens blur acts on light, noise on what the camera writes (sRGB, IEC 61966-2-1).
    """
    corners = lines[[0, 1, 3, 2]]
    x, y = np.meshgrid(np.arange(picture.shape[1]), np.arange(picture.shape[0]))
    inside = np.full(picture.shape, np.inf)
    middle = corners.mean(axis=0)
    for begin, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        out = np.array([end[1] - begin[1], begin[0] - end[0]]) / np.linalg.norm(end - begin)
        out *= -np.sign(out @ (middle - begin))
        inside = np.minimum(inside, -((x - begin[0]) * out[0] + (y - begin[1]) * out[1]))
    share = np.clip(inside + 0.5, 0, 1)
    light = _light(picture / 255) * (1 - share) + _light(np.array(value / 255)) * share
    soft = cv2.GaussianBlur(light, (0, 0), blur_px)
    code = np.where(soft <= 0.0031308, 12.92 * soft, 1.055 * soft ** (1 / 2.4) - 0.055) * 255
    code = code + np.random.default_rng(seed).normal(0, noise, code.shape)
    grey = np.clip(np.round(code), 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def _light(code: Array) -> Array:
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
