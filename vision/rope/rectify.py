"""Rectify a part of the photograph: a plane parallel to the card, seen from straight above.

Rope edges are searched for in a strip with places along the rope as columns and places across it
as rows. The strip is in the plane z = `height_mm`. A point of an edge there represents the whole
plane through the camera centre, the point and the rope's direction. So the height affects only how
the pixels are resampled, and not the measurement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, project_mm
from vision.tones import LIGHT_OF, Light

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

STRAIGHT_PX = 0.05  # largest lens distortion that a homography may leave uncorrected


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """The position of a rectified piece of the photograph.

    Parameters
    ----------
    along_mm, across_mm : ndarray of shape (columns,) and (rows,)
        Evenly spaced distances along and across the rope from the strip's origin, mm.
    origin_mm : ndarray of shape (2,)
        Origin on the card, mm.
    direction : ndarray of shape (2,)
        Unit vector along the rope, in the card's plane.
    height_mm : float
        Height of the strip's plane over the card, mm.
    """

    along_mm: Array
    across_mm: Array
    origin_mm: Array
    direction: Array
    height_mm: float


def across_vector(direction: Array) -> Array:
    """Return the unit vector (2,) across the rope: `direction` rotated left by 90 degrees."""
    return np.array([-direction[1], direction[0]])


def points_mm(
    along: Array, across: Array, origin: Array, direction: Array, height_mm: float
) -> Array:
    """Return points (N, 3) of the card's frame from distances along and across (N,), mm."""
    flat = (
        origin
        + np.multiply.outer(along, direction)
        + np.multiply.outer(across, across_vector(direction))
    )
    return np.column_stack([flat, np.full(len(flat), height_mm)])


def scale_at(camera: Camera, point_mm: Array, direction: Array) -> float:
    """Return the scale across the rope at a point (3,), px/mm."""
    step = np.array([*across_vector(direction), 0.0])
    one, two = project_mm(camera, np.stack([point_mm - step / 2, point_mm + step / 2]))
    return float(np.linalg.norm(two - one))


def light_within(grey: Image, points_px: Array, table: Light) -> tuple[Light, tuple[int, int]]:
    """Return the linear light (h, w) of a grey picture around points (N, 2), and its corner, px.

    Converting the rest of a large photograph would be half of all work. `table` gives the light for
    each value (`vision.tones.Tones.table`).
    """
    size = np.array(grey.shape[::-1])
    low = np.clip(np.floor(points_px.min(axis=0)).astype(int) - 4, 0, size)
    high = np.clip(np.ceil(points_px.max(axis=0)).astype(int) + 5, 0, size)
    part = np.ascontiguousarray(grey[low[1] : high[1], low[0] : high[0]])
    light = cv2.LUT(part, table) if part.size else np.zeros((1, 1))
    return np.asarray(light, np.float32), (int(low[0]), int(low[1]))


def cut_strip(pixels: Image, camera: Camera, strip: Strip) -> Light:
    """Return the linear light of a strip (rows, columns, 3), 0 to 1.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    camera : Camera
        Camera and card.
    strip : Strip
        Its position.
    """

    def seen_px(along: Array, across: Array) -> Array:
        places = points_mm(along, across, strip.origin_mm, strip.direction, strip.height_mm)
        return project_mm(camera, places)

    along_mm, across_mm = strip.along_mm, strip.across_mm
    # The map from strip to photograph is smooth: it is computed on a coarse lattice and
    # interpolated by a homography. Where the lens distortion is too large for that, each sample is
    # projected by the camera itself.
    a, b = (np.linspace(v[0], v[-1], 7) for v in (along_mm, across_mm))
    grid_a, grid_b = (g.ravel() for g in np.meshgrid(a, b))
    seen = seen_px(grid_a, grid_b)
    step_a, step_b = along_mm[1] - along_mm[0], across_mm[1] - across_mm[0]
    here = np.column_stack([(grid_a - along_mm[0]) / step_a, (grid_b - across_mm[0]) / step_b])
    model, _ = cv2.findHomography(here.reshape(-1, 1, 2), seen.reshape(-1, 1, 2), 0)
    to_photo = np.asarray(model, float)
    size = (len(along_mm), len(across_mm))
    x, y = _projected(to_photo, here[:, 0], here[:, 1])
    if max(np.abs(x - seen[:, 0]).max(), np.abs(y - seen[:, 1]).max()) > STRAIGHT_PX:
        every_a, every_b = (g.ravel() for g in np.meshgrid(along_mm, across_mm))
        seen = seen_px(every_a, every_b)
        x, y = (seen[:, i].reshape(size[::-1]) for i in (0, 1))
        cut = cv2.remap(pixels, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    else:
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        cut = cv2.warpPerspective(pixels, to_photo, size, flags=flags)
    return np.asarray(cv2.LUT(cut, LIGHT_OF), np.float32)


def _projected(
    to_photo: Array, columns: NDArray[np.number[Any]], rows: NDArray[np.number[Any]]
) -> tuple[Array, Array]:
    """Return x and y of strip places in the photograph."""
    w = to_photo[2, 0] * columns + to_photo[2, 1] * rows + to_photo[2, 2]
    x = (to_photo[0, 0] * columns + to_photo[0, 1] * rows + to_photo[0, 2]) / w
    y = (to_photo[1, 0] * columns + to_photo[1, 1] * rows + to_photo[1, 2]) / w
    return np.asarray(x), np.asarray(y)
