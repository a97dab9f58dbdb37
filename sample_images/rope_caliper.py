"""The widths of a mesh: between a caliper's jaws, and as perfect edges would show it."""

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
        Direction from the camera to `point_mm`; the planes are parallel to it and to the axis.
    jaw_mm : float
        Length of the jaws along the rope, mm.

    Raises
    ------
    ValueError
        If no vertex is between the jaws.
    """
    along = (vertices_mm - point_mm) @ axis
    in_jaws = vertices_mm[np.abs(along) <= jaw_mm / 2]
    if len(in_jaws) == 0:
        raise ValueError(f"no part of the rope is within jaws of {jaw_mm:g} mm.")
    across = np.cross(axis, view)
    reach = in_jaws @ (across / np.linalg.norm(across))
    return float(reach.max() - reach.min())


def widths_all_round_mm(vertices_mm: Array, *, jaw_mm: float, steps: int = 180) -> Array:
    """Return caliper widths at x = 0 of a rope along x, in `steps` directions over 180 deg."""
    in_jaws = vertices_mm[np.abs(vertices_mm[:, 0]) <= jaw_mm / 2, 1:]
    in_jaws = in_jaws[ConvexHull(in_jaws).vertices]  # jaws bear only on these
    angle = np.arange(steps) * np.pi / steps
    reach = in_jaws @ np.stack([np.cos(angle), np.sin(angle)])
    return np.asarray(reach.max(axis=0) - reach.min(axis=0))


def seen_width_mm(
    vertices_mm: Array, *, axis: Array, point_mm: Array, camera_mm: Array, jaw_mm: float
) -> float:
    """Return the width that the camera could find with perfect edges and a known axis, mm.

    Two planes through the camera and parallel to the axis bear on the mesh; the width is the
    sum of their distances from the axis. On a cylinder it is the diameter. On a rope it
    differs from the caliper width by about 0.1 %, because the planes touch other crowns and
    wires than parallel jaws do; no treatment of the edges can remove that difference.
    """
    in_jaws = vertices_mm[np.abs((vertices_mm - point_mm) @ axis) <= jaw_mm / 2]
    view = point_mm - camera_mm
    view = view - (view @ axis) * axis
    distance = float(np.linalg.norm(view))
    across = np.cross(axis, view) / distance
    angle = np.arctan2((in_jaws - camera_mm) @ across, (in_jaws - camera_mm) @ view / distance)
    return float(distance * (np.sin(angle.max()) - np.sin(angle.min())))
