"""Triangle meshes of ropes and bars.

A rope lies along x in its own frame. Each outer strand follows a helix around the rope's axis,
and each outer wire a helix around its strand's axis. Plain tubes inside represent the strand
cores and the rope's core and keep light from passing through. The truth about a photograph is
computed from the vertices of this same mesh, the one that the renderer sees.

Each wire is a swept polygon. Its corners are closest together on the side that faces away from
the rope's axis, where a jaw can bear: 10 degrees apart there, so that a flat is within 0.4 % of
the wire's radius, less than 0.02 % of the rope's diameter, of the round wire.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Faces = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class RopeShape:
    """The shape of a rope or a smooth bar, before it is laid on a card.

    Parameters
    ----------
    diameter_mm : float
        Diameter of the circle over the crowns, before ovality and thinning.
    strands : int
        Outer strands; 0 for a smooth bar.
    lay_mm : float
        Lay length of the rope, mm; infinite for straight strands.
    wires : int
        Outer wires per strand.
    right_hand, lang : bool
        Direction of the lay, and whether the wires turn the same way as the strands.
    tightness : float
        Strand radius relative to that of strands that just touch in a straight section.
    ovality : float
        (largest - smallest) / diameter; the section is flattened by an affine map.
    oval_deg : float
        Direction of the largest diameter in the section, degrees from y towards z.
    thin : float
        Local thinning as a share of the diameter, largest at x = `thin_at_mm`.
    thin_at_mm, thin_length_mm : float
        Position and standard deviation of the thinning along the rope, mm.
    worn : float
        Share of the diameter worn off the crowns, evenly all round: they are flat, as if the
        rope had been turned down on a lathe.
    phase_deg : float
        Rotation of the whole rope about its axis, degrees.
    sides : int
        Corners of a wire's polygon, two thirds of them in the outward third of the circle.
    """

    diameter_mm: float
    strands: int = 6
    lay_mm: float = math.inf
    wires: int = 9
    right_hand: bool = True
    lang: bool = False
    tightness: float = 0.98
    ovality: float = 0.0
    oval_deg: float = 0.0
    thin: float = 0.0
    thin_at_mm: float = 0.0
    thin_length_mm: float = 40.0
    phase_deg: float = 0.0
    sides: int = 18
    worn: float = 0.0

    def __post_init__(self) -> None:
        """Reject a shape that cannot be built."""
        if not self.diameter_mm > 0:
            raise ValueError(f"`diameter_mm` must be more than 0; got {self.diameter_mm:g}.")
        if self.strands and self.strands < 3:
            raise ValueError(f"`strands` must be 0 (a bar) or 3 or more; got {self.strands}.")


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles with smooth normals: vertices (N, 3) mm, normals (N, 3), faces (M, 3)."""

    vertices_mm: Array
    normals: Array
    faces: Faces

    def moved(self, rotation: Array, shift_mm: Array) -> Mesh:
        """Return the mesh turned by `rotation` (3, 3) and then shifted (3,), mm."""
        return Mesh(self.vertices_mm @ rotation.T + shift_mm, self.normals @ rotation.T, self.faces)


def strand_circles_mm(shape: RopeShape) -> tuple[float, float]:
    """Return (radius of the circle of strand centres, strand radius), mm.

    Equal round strands that touch in a straight section have r / R = sin(pi / n).
    """
    ratio = shape.tightness * math.sin(math.pi / shape.strands)
    centre = shape.diameter_mm / 2 / (1 + ratio)
    return centre, shape.diameter_mm / 2 - centre


def wire_circles_mm(shape: RopeShape) -> tuple[float, float]:
    """Return (radius of the circle of wire centres in a strand, wire radius), mm."""
    _, strand = strand_circles_mm(shape)
    ratio = math.sin(math.pi / shape.wires)
    centre = strand / (1 + ratio)
    return centre, strand - centre


def outer_mesh(shape: RopeShape, *, length_mm: float, step_mm: float | None = None) -> Mesh:
    """Return the outer surface: every outer wire of every outer strand, or the bar.

    Parameters
    ----------
    shape : RopeShape
        What to build.
    length_mm : float
        Length along x, centred on 0, mm.
    step_mm : float, optional
        Distance between the rings of vertices along x, mm. The default, a twentieth of the
        diameter, keeps a wire's chord within 0.02 % of the diameter from its arc.
    """
    step = shape.diameter_mm / 20 if step_mm is None else step_mm
    x = np.linspace(-length_mm / 2, length_mm / 2, max(2, math.ceil(length_mm / step) + 1))
    if shape.strands == 0:
        path = np.stack([x, 0 * x, 0 * x], axis=-1)[None]
        return _deformed(shape, *_tubes(path, shape.diameter_mm / 2, 360, outward=False))
    paths = _wire_paths(shape, x)
    return _deformed(shape, *_tubes(paths, wire_circles_mm(shape)[1], shape.sides, outward=True))


def inner_mesh(shape: RopeShape, *, length_mm: float) -> Mesh:
    """Return the plain inner tubes that block light: strand cores and the rope's core."""
    step = shape.diameter_mm / 8
    x = np.linspace(-length_mm / 2, length_mm / 2, max(2, math.ceil(length_mm / step) + 1))
    centre, strand = strand_circles_mm(shape)
    wire_centre, wire = wire_circles_mm(shape)
    cores = _tubes(_strand_paths(shape, x), max(wire_centre, strand - 1.2 * wire), 16, outward=True)
    axis = np.stack([x, 0 * x, 0 * x], axis=-1)[None]
    rope_core = _tubes(axis, max(centre - 0.55 * strand, 0.2 * centre), 48, outward=False)
    return _deformed(shape, *_joined(cores, rope_core))


def swept_mesh(path_mm: Array, radius_mm: float, *, sides: int = 24) -> Mesh:
    """Return a round tube along one path (S, 3) that runs roughly along x."""
    return Mesh(*_tubes(path_mm[None], radius_mm, sides, outward=False))


def _strand_angle(shape: RopeShape, x: Array) -> Array:
    """Return the polar angle of each strand's axis, (strands, S)."""
    hand = 1.0 if shape.right_hand else -1.0
    first = np.radians(shape.phase_deg) + 2 * np.pi * np.arange(shape.strands) / shape.strands
    return np.asarray(first[:, None] + hand * 2 * np.pi * x / shape.lay_mm)


def _strand_paths(shape: RopeShape, x: Array) -> Array:
    angle = _strand_angle(shape, x)
    centre, _ = strand_circles_mm(shape)
    return np.stack(
        [np.broadcast_to(x, angle.shape), centre * np.cos(angle), centre * np.sin(angle)], axis=-1
    )


def _wire_paths(shape: RopeShape, x: Array) -> Array:
    """Return wire axes, (strands * wires, S, 3): a helix around a helix."""
    angle = _strand_angle(shape, x)
    paths = _strand_paths(shape, x)
    radial = np.stack([0 * angle, np.cos(angle), np.sin(angle)], axis=-1)
    tangent = np.gradient(paths, x, axis=1)
    tangent /= np.linalg.norm(tangent, axis=-1, keepdims=True)
    binormal = np.cross(tangent, radial)
    centre, _ = wire_circles_mm(shape)
    _, strand = strand_circles_mm(shape)
    hand = (1.0 if shape.right_hand else -1.0) * (1.0 if shape.lang else -1.0)
    wire_lay = 17.0 * strand if math.isfinite(shape.lay_mm) else math.inf
    turn = (
        2 * np.pi * np.arange(shape.wires)[:, None] / shape.wires + hand * 2 * np.pi * x / wire_lay
    )
    # The wires of each strand start at a different angle, so that no two crowns look alike.
    turn = turn + 2.4 * np.arange(shape.strands)[:, None, None] * math.isfinite(shape.lay_mm)
    offset = np.cos(turn)[..., None] * radial[:, None] + np.sin(turn)[..., None] * binormal[:, None]
    wires = paths[:, None] + centre * offset
    return np.asarray(wires.reshape(-1, len(x), 3))


def _tubes(
    paths: Array, radius_mm: float, sides: int, *, outward: bool
) -> tuple[Array, Array, Faces]:
    """Sweep a polygon along every path (P, S, 3); return vertices, normals, faces."""
    tangent = np.gradient(paths, axis=1)
    tangent /= np.linalg.norm(tangent, axis=-1, keepdims=True)
    first = paths * [0.0, 1.0, 1.0] if outward else np.broadcast_to([0.0, 1.0, 0.0], paths.shape)
    first = first - np.sum(first * tangent, axis=-1, keepdims=True) * tangent
    first = first / np.linalg.norm(first, axis=-1, keepdims=True)
    second = np.cross(tangent, first)
    angle = _corner_angles(sides, outward=outward)
    normals = (
        np.cos(angle)[:, None] * first[:, :, None] + np.sin(angle)[:, None] * second[:, :, None]
    )
    vertices = paths[:, :, None] + radius_mm * normals
    count, rings = paths.shape[:2]
    index = np.arange(count * rings * sides).reshape(count, rings, sides)
    here, there = index[:, :-1], index[:, 1:]
    here_next, there_next = np.roll(here, -1, axis=2), np.roll(there, -1, axis=2)
    faces = np.concatenate(
        [
            np.stack([here, here_next, there], axis=-1).reshape(-1, 3),
            np.stack([here_next, there_next, there], axis=-1).reshape(-1, 3),
        ]
    )
    return vertices.reshape(-1, 3), normals.reshape(-1, 3), faces


def _corner_angles(sides: int, *, outward: bool) -> Array:
    """Return the angles of a polygon's corners from the outward direction, ascending, radians."""
    if not outward:
        return 2 * np.pi * np.arange(sides) / sides
    front_count = 2 * (sides // 3) + 1
    front = np.linspace(-np.pi / 3, np.pi / 3, front_count)
    back = np.linspace(np.pi / 3, 5 * np.pi / 3, sides - front_count + 2)[1:-1]
    return np.concatenate([front, back])


def _joined(
    one: tuple[Array, Array, Faces], two: tuple[Array, Array, Faces]
) -> tuple[Array, Array, Faces]:
    return (
        np.concatenate([one[0], two[0]]),
        np.concatenate([one[1], two[1]]),
        np.concatenate([one[2], two[2] + len(one[0])]),
    )


def _deformed(shape: RopeShape, vertices_mm: Array, normals: Array, faces: Faces) -> Mesh:
    """Apply wear, local thinning and ovality to a straight, round mesh."""
    if shape.worn:
        vertices_mm, normals = _turned_down(shape, vertices_mm, normals)
    x = vertices_mm[:, 0] - shape.thin_at_mm
    scale = 1.0 - shape.thin * np.exp(-0.5 * (x / shape.thin_length_mm) ** 2)
    section = vertices_mm[:, 1:] * scale[:, None]
    turn = math.radians(shape.oval_deg)
    major = np.array([math.cos(turn), math.sin(turn)])
    minor = np.array([-major[1], major[0]])
    a, b = section @ major, section @ minor
    a, b = a * (1 + shape.ovality / 2), b * (1 - shape.ovality / 2)
    section = a[:, None] * major + b[:, None] * minor
    return Mesh(np.column_stack([vertices_mm[:, 0], section]), normals, faces)


def _turned_down(shape: RopeShape, vertices_mm: Array, normals: Array) -> tuple[Array, Array]:
    """Return vertices and normals, those outside the worn cylinder moved in to it."""
    worn_radius = shape.diameter_mm / 2 * (1 - shape.worn)
    radius = np.hypot(vertices_mm[:, 1], vertices_mm[:, 2])
    outside = radius > worn_radius
    vertices, directions = vertices_mm.copy(), normals.copy()
    radial = vertices_mm[outside, 1:] / radius[outside, None]
    vertices[outside, 1:] = worn_radius * radial
    directions[outside] = np.column_stack([0 * radius[outside], radial])
    return vertices, directions
