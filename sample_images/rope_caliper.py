"""The widths that a caliper finds on a mesh, and the one that a perfect eye would see."""

from __future__ import annotations

import numpy as np
from rope_mesh import Array
from scipy.spatial import ConvexHull


def caliper_width_mm(
    vertices_mm: Array, *, axis: Array, point_mm: Array, view: Array, jaw_mm: float
) -> float:
    """Return the distance between two parallel planes that bear on the mesh, mm.

    Parameters
    ----------
    vertices_mm : ndarray of shape (N, 3)
        The outer surface.
    axis : ndarray of shape (3,)
        Unit vector along the rope.
    point_mm : ndarray of shape (3,)
        Middle of the jaws on the axis, mm.
    view : ndarray of shape (3,)
        From the camera to `point_mm`; the planes are parallel to it and to the axis.
    jaw_mm : float
        Length of the jaws along the rope, mm.

    Raises
    ------
    ValueError
        If no vertex lies between the ends of the jaws.
    """
    along = (vertices_mm - point_mm) @ axis
    held = vertices_mm[np.abs(along) <= jaw_mm / 2]
    if len(held) == 0:
        raise ValueError(f"no part of the rope lies within jaws of {jaw_mm:g} mm.")
    across = np.cross(axis, view)
    reach = held @ (across / np.linalg.norm(across))
    return float(reach.max() - reach.min())


def widths_all_round_mm(vertices_mm: Array, *, jaw_mm: float, steps: int = 180) -> Array:
    """Return caliper widths about x = 0 of a rope along x, for `steps` directions in 180 deg."""
    held = vertices_mm[np.abs(vertices_mm[:, 0]) <= jaw_mm / 2, 1:]
    held = held[ConvexHull(held).vertices]  # a jaw bears on no other
    angle = np.arange(steps) * np.pi / steps
    reach = held @ np.stack([np.cos(angle), np.sin(angle)])
    return np.asarray(reach.max(axis=0) - reach.min(axis=0))


def seen_width_mm(
    vertices_mm: Array, *, axis: Array, point_mm: Array, camera_mm: Array, jaw_mm: float
) -> float:
    """Return the width that the camera could find at best, mm: perfect edges, known axis.

    Two planes through the camera and parallel to the axis bear on the mesh; the width is the
    sum of their distances from the axis. On a cylinder it is the diameter. On a rope it
    differs from the caliper's by about 0.1 %, because the planes meet other crowns and other
    wires than parallel jaws do: no treatment of the edges can remove that.
    """
    held = vertices_mm[np.abs((vertices_mm - point_mm) @ axis) <= jaw_mm / 2]
    view = point_mm - camera_mm
    view = view - (view @ axis) * axis
    distance = float(np.linalg.norm(view))
    across = np.cross(axis, view) / distance
    angle = np.arctan2((held - camera_mm) @ across, (held - camera_mm) @ view / distance)
    return float(distance * (np.sin(angle.max()) - np.sin(angle.min())))
