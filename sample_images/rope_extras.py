"""What sticks out of a rope or ends it. It is not part of the diameter, nor of the truth."""

from __future__ import annotations

import numpy as np
from rope_mesh import Mesh, RopeShape, swept_mesh, wire_circles_mm


def broken_wire(shape: RopeShape, *, side: float, at_mm: float) -> Mesh:
    """Return a wire that has broken at a crown and sticks out of the outline.

    Parameters
    ----------
    shape : RopeShape
        The rope to which it belongs.
    side : float
        +1 or -1: on the edge towards +y or towards -y, as the camera sees the outline.
    at_mm : float
        Position along x where it leaves the rope, mm.
    """
    d = shape.diameter_mm
    _, wire = wire_circles_mm(shape)
    run = np.linspace(0.0, 1.0, 40)
    path = np.stack(
        [at_mm + 0.9 * d * run, side * (d / 2 - wire + 0.38 * d * run**1.8), 0.15 * d * run],
        axis=-1,
    )
    return swept_mesh(path, wire)


def grease_lump(diameter_mm: float, *, side: float, at_mm: float) -> Mesh:
    """Return a flattened lump of grease on the outline, about a tenth of a diameter high."""
    polar, around = np.meshgrid(np.linspace(0, np.pi, 40), np.linspace(0, 2 * np.pi, 60))
    unit = np.stack(
        [np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], axis=-1
    ).reshape(-1, 3)
    uneven = 1.0 + 0.12 * np.sin(3 * unit[:, :1] + 5 * unit[:, 2:]) * np.cos(4 * unit[:, 1:2])
    points = unit * uneven * diameter_mm * [0.22, 0.09, 0.20]
    index = np.arange(len(unit)).reshape(polar.shape)
    here, right = index[:-1, :-1], index[1:, :-1]
    below, both = index[:-1, 1:], index[1:, 1:]
    faces = np.concatenate(
        [
            np.stack([here, below, right], axis=-1).reshape(-1, 3),
            np.stack([right, below, both], axis=-1).reshape(-1, 3),
        ]
    )
    place = np.array([at_mm, side * 0.47 * diameter_mm, 0.0])
    return Mesh(points + place, unit, faces)


def taped_end(diameter_mm: float, *, end_mm: float) -> Mesh:
    """Return the tape around a rope's cut end: a closed sleeve that hides the ends of the wires."""
    d = diameter_mm
    # Two nearly coincident points at the end keep the edge of the end face sharp.
    x = end_mm + np.array([-0.6 * d, -0.4 * d, -0.2 * d, 0.0, 0.01])
    sleeve = swept_mesh(np.stack([x, 0 * x, 0 * x], axis=-1), 0.515 * d, sides=72)
    rim = len(sleeve.vertices_mm) - 72 + np.arange(72)
    centre = len(sleeve.vertices_mm)
    vertices = np.concatenate(
        [sleeve.vertices_mm, sleeve.vertices_mm[rim], [[end_mm + 0.01, 0.0, 0.0]]]
    )
    ahead = np.tile([1.0, 0.0, 0.0], (73, 1))
    ring = centre + np.arange(72)
    lid = np.stack([np.full(72, centre + 72), ring, np.roll(ring, -1)], axis=-1)
    return Mesh(
        vertices, np.concatenate([sleeve.normals, ahead]), np.concatenate([sleeve.faces, lid])
    )
