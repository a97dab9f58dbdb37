"""Caliper readings on world two's meshes."""

from __future__ import annotations

import numpy as np

from second_world.wires import Array


def caliper_mm(
    points_mm: Array, *, middle_mm: Array, axis: Array, sight: Array, jaw_mm: float
) -> float:
    """Return the distance between two planes that touch the points from both sides, mm.

    Parameters
    ----------
    points_mm : ndarray of shape (N, 3)
        The rope's surface.
    middle_mm : ndarray of shape (3,)
        Middle of the jaws on the axis.
    axis, sight : ndarray of shape (3,)
        Directions along the rope and from the camera to the middle; the planes contain both.
    jaw_mm : float
        Length of the jaws.
    """
    held = points_mm[np.abs((points_mm - middle_mm) @ axis) <= jaw_mm / 2]
    across = np.cross(axis, sight)
    reach = (held - middle_mm) @ (across / np.linalg.norm(across))
    return float(np.ptp(reach))
