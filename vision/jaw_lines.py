"""The two jaw lines as the photograph shows them, and the diameter that they give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import camera_centre_mm, project_mm, rays
from vision.cylinder import Hold, cross, cylinder_mm
from vision.edges import Outline
from vision.jaws import Jaws
from vision.strip import points_mm

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class JawLines:
    """The two jaw lines as the photograph shows them.

    Parameters
    ----------
    left_px, right_px : ndarray of shape (2, 2)
        Two points of each line, px.
    station_mm : ndarray of shape (3,)
        The station on the card, mm.
    """

    left_px: Array
    right_px: Array
    station_mm: Array


def jaw_lines(theta: Array, outline: Outline, jaws: Jaws) -> JawLines:
    """Return the jaw lines in the photograph."""
    ends = np.array([-0.5, 0.5]) * jaws.length_mm
    lines = [
        project_mm(
            theta,
            points_mm(
                ends, np.full(2, offset), outline.origin_mm, jaws.direction, outline.height_mm
            ),
        )
        for offset in (jaws.left.offset_mm, -jaws.right.offset_mm)
    ]
    return JawLines(lines[0], lines[1], np.array([*outline.origin_mm, 0.0]))


def diameter_mm(theta: Array, lines: JawLines, *, hold: Hold, offset_mm: float) -> float:
    """Return the diameter for this camera, these jaw lines and this hold, mm.

    Parameters
    ----------
    theta : ndarray of shape (12,)
        Camera and card, see `vision.camera`.
    lines : JawLines
        The two jaw lines.
    hold, offset_mm
        See `vision.cylinder.cylinder_mm`.
    """
    camera, left, right = tangent_planes(theta, lines)
    return cylinder_mm(
        left, right, camera, hold=hold, offset_mm=offset_mm, station_mm=lines.station_mm
    )[0]


def tangent_planes(theta: Array, lines: JawLines) -> tuple[Array, Array, Array]:
    """Return the camera centre, mm, and the outward unit normals of the two tangent planes."""
    seen = rays(theta, np.concatenate([lines.left_px, lines.right_px]))
    planes = [cross(seen[0], seen[1]), cross(seen[2], seen[3])]
    middle = seen.mean(axis=0)
    normals = [plane / np.linalg.norm(plane) for plane in planes]
    left, right = (n if n @ middle < 0 else -n for n in normals)
    return camera_centre_mm(theta), left, right
