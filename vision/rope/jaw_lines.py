"""The two jaw lines in the photograph, and the diameter of the rope between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, camera_centre_mm, card_height_mm, project_mm, rays
from vision.rope.edge.outline import Outline
from vision.rope.jaws import Jaws
from vision.rope.rectify import points_mm
from vision.rope.tangent_cylinder import Hold, cross, cylinder_mm

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class JawLines:
    """The two jaw lines in the photograph.

    Parameters
    ----------
    left_px, right_px : ndarray of shape (2, 2)
        Two points of each line, px.
    station_mm : ndarray of shape (3,)
        The station on the card, mm.
    card_half_mm : tuple of float
        Half the card's length and height, mm, to which its bend refers.
    """

    left_px: Array
    right_px: Array
    station_mm: Array
    card_half_mm: tuple[float, float] = (1.0, 1.0)  # irrelevant for a flat card

    def card_height_mm(self, camera: Camera) -> float:
        """Return the height of the card's face at the station, mm."""
        return float(card_height_mm(camera, self.station_mm[None, :2], *self.card_half_mm)[0])


def jaw_lines(camera: Camera, outline: Outline, jaws: Jaws) -> JawLines:
    """Return the jaw lines in the photograph."""
    ends = np.array([-0.5, 0.5]) * jaws.length_mm
    lines = [
        project_mm(
            camera,
            points_mm(
                ends, np.full(2, offset), outline.origin_mm, jaws.direction, outline.height_mm
            ),
        )
        for offset in (jaws.left.offset_mm, -jaws.right.offset_mm)
    ]
    station = np.array([*outline.origin_mm, 0.0])
    return JawLines(lines[0], lines[1], station, outline.card_half_mm)


def diameter_mm(camera: Camera, lines: JawLines, hold: Hold) -> float:
    """Return the diameter for this camera, these jaw lines and this hold, mm.

    Parameters
    ----------
    camera : Camera
        Camera and card.
    lines : JawLines
        The two jaw lines.
    hold : Hold
        How the card was held.
    """
    eye, left, right = tangent_planes(camera, lines)
    eye = eye - [0.0, 0.0, lines.card_height_mm(camera)]  # relative to the card's bent face
    return cylinder_mm(left, right, eye, hold=hold, station_mm=lines.station_mm).diameter_mm


def tangent_planes(camera: Camera, lines: JawLines) -> tuple[Array, Array, Array]:
    """Return the camera centre, mm, and the outward unit normals of the two tangent planes."""
    seen = rays(camera, np.concatenate([lines.left_px, lines.right_px]))
    planes = np.array([cross(seen[0], seen[1]), cross(seen[2], seen[3])])
    planes /= np.sqrt((planes**2).sum(axis=1))[:, None]
    left, right = np.where((planes @ seen.sum(axis=0))[:, None] < 0, planes, -planes)
    return camera_centre_mm(camera), left, right
