"""Ropes built wire by wire, as triangle meshes in the rope's own frame.

The rope runs along x; lengths are mm. Each outer strand is a helix about the rope, each of its
outer wires a helix about its strand, and each wire a tube. Nothing is shared with world one, whose
ropes are one surface swept along the axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

AROUND = 16  # facets of a wire: its polygon lies 0.5 % of its own radius inside at mid-facet
STEPS_A_DIAMETER = 20  # rings of a wire along one rope diameter


@dataclass(frozen=True, slots=True)
class Rope:
    """A rope, or a smooth bar if it has no strands.

    Parameters
    ----------
    diameter_mm : float
        Diameter over the crowns of the round, unworn rope.
    strands, wires : int
        Number of outer strands, and of outer wires in each; 0 strands for a smooth bar.
    lay_mm, strand_lay_mm : float
        Lay length of the rope, and of the wires in a strand.
    right_hand, lang : bool
        Hand of the rope's lay, and whether the wires are laid the same way in their strand.
    tightness : float
        Strand diameter over the diameter at which neighbouring strands would touch.
    ovality : float
        (largest - smallest) / mean caliper width.
    oval_deg, phase_deg : float
        Directions of the largest width and of the first strand at x = 0.
    worn : float
        Depth of wear on the crowns, share of the diameter.
    thin, thin_mm : float
        Local loss at x = 0, share of the diameter, and its full width at half maximum.
    compacted : bool
        True for strands that were drawn smooth through a die.
    """

    diameter_mm: float
    strands: int = 6
    wires: int = 10
    lay_mm: float = 140.0
    strand_lay_mm: float = 60.0
    right_hand: bool = True
    lang: bool = False
    tightness: float = 0.98
    ovality: float = 0.0
    oval_deg: float = 0.0
    phase_deg: float = 0.0
    worn: float = 0.0
    thin: float = 0.0
    thin_mm: float = 60.0
    compacted: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles: points (N, 3), mm; corners (M, 3), indices from 0."""

    points_mm: Array
    corners: NDArray[np.int64]

    def moved(self, rotation: Array, shift_mm: Array) -> Mesh:
        """Return the mesh rotated, then shifted."""
        return Mesh(self.points_mm @ rotation.T + shift_mm, self.corners)


def rope_mesh(rope: Rope, length_mm: float) -> Mesh:
    """Return the rope's outer wires over a length about x = 0."""
    steps = max(8, int(length_mm / rope.diameter_mm * STEPS_A_DIAMETER))
    x = np.linspace(-length_mm / 2, length_mm / 2, steps + 1)
    if rope.strands == 0:
        tubes = [_tube(np.stack([x, 0 * x, 0 * x], axis=1), rope.diameter_mm / 2, around=256)]
    elif rope.compacted:
        tubes = [
            _tube(centre, strand_radius_mm(rope), around=96) for centre in _strand_centres(rope, x)
        ]
    else:
        tubes = [
            _tube(line, wire_radius_mm(rope)) for c in _strand_centres(rope, x)
            for line in _wire_lines(rope, x, c)
        ]  # fmt: skip
    mesh = _joined(tubes)
    return Mesh(_used(rope, mesh.points_mm), mesh.corners)


def core_mesh(rope: Rope, length_mm: float) -> Mesh:
    """Return what fills the rope behind its outer wires: a cylinder and strand cores."""
    x = np.linspace(-length_mm / 2, length_mm / 2, 400)
    axis = np.stack([x, 0 * x, 0 * x], axis=1)
    tubes = [_tube(axis, lay_radius_mm(rope), around=48)]
    if not rope.compacted:
        inner = strand_radius_mm(rope) - 1.2 * wire_radius_mm(rope)
        tubes += [_tube(centre, inner, around=24) for centre in _strand_centres(rope, x)]
    mesh = _joined(tubes)
    return Mesh(_used(rope, mesh.points_mm), mesh.corners)


def strand_radius_mm(rope: Rope) -> float:
    """Return the radius of a strand."""
    share = rope.tightness * np.sin(np.pi / rope.strands)
    return float(rope.diameter_mm / 2 * share / (1 + share))


def lay_radius_mm(rope: Rope) -> float:
    """Return the distance of the strands' axes from the rope's axis."""
    return rope.diameter_mm / 2 - strand_radius_mm(rope)


def wire_radius_mm(rope: Rope) -> float:
    """Return the radius of an outer wire."""
    share = 0.98 * np.sin(np.pi / rope.wires)
    return float(strand_radius_mm(rope) * share / (1 + share))


def _strand_centres(rope: Rope, x: Array) -> list[Array]:
    hand = 1.0 if rope.right_hand else -1.0
    r = lay_radius_mm(rope)
    centres = []
    for number in range(rope.strands):
        angle = np.radians(rope.phase_deg) + 2 * np.pi * (number / rope.strands)
        angle = angle + hand * 2 * np.pi * x / rope.lay_mm
        centres.append(np.stack([x, r * np.cos(angle), r * np.sin(angle)], axis=1))
    return centres


def _wire_lines(rope: Rope, x: Array, centre: Array) -> list[Array]:
    """Return the axes of a strand's outer wires, which just reach the rope's diameter."""
    hand = (1.0 if rope.right_hand else -1.0) * (1.0 if rope.lang else -1.0)
    out = np.stack([0 * x, centre[:, 1], centre[:, 2]], axis=1)
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    along = np.gradient(centre, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    side = np.cross(along, out)
    r = strand_radius_mm(rope) - wire_radius_mm(rope)
    lines = []
    for number in range(rope.wires):
        turn = 2 * np.pi * (number / rope.wires + hand * x / rope.strand_lay_mm)[:, None]
        lines.append(centre + r * (np.cos(turn) * out + np.sin(turn) * side))
    return lines


def _tube(axis: Array, radius_mm: float, around: int = AROUND) -> Mesh:
    """Return a tube about a line of points (N, 3), its rings perpendicular to the line."""
    along = np.gradient(axis, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    first = np.cross(along, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(along, first)
    angle = 2 * np.pi * np.arange(around) / around
    ring = np.cos(angle)[:, None, None] * first + np.sin(angle)[:, None, None] * second
    points = (axis + radius_mm * ring).transpose(1, 0, 2).reshape(-1, 3)  # ring by ring
    n = len(axis)
    at = (np.arange(n - 1)[:, None] * around + np.arange(around)).ravel()
    right = (np.arange(n - 1)[:, None] * around + (np.arange(around) + 1) % around).ravel()
    corners = np.concatenate(
        [np.stack([at, right, at + around], 1), np.stack([right, right + around, at + around], 1)]
    )
    return Mesh(points, corners)


def _joined(meshes: list[Mesh]) -> Mesh:
    starts = np.cumsum([0, *(len(mesh.points_mm) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.points_mm for mesh in meshes]),
        np.concatenate([mesh.corners + start for mesh, start in zip(meshes, starts, strict=False)]),
    )


def _used(rope: Rope, points_mm: Array) -> Array:
    """Return the points after service: worn, thinned, oval."""
    x, y, z = points_mm.T
    radius = np.hypot(y, z)
    most = rope.diameter_mm / 2 * (1 - 2 * rope.worn)
    share = np.minimum(1.0, most / np.maximum(radius, 1e-9))
    share = share * (1 - rope.thin * np.exp(-0.5 * (x / (rope.thin_mm / 2.355)) ** 2))
    wide = np.radians(rope.oval_deg)
    c, s = np.cos(wide), np.sin(wide)
    u, v = share * (c * y + s * z), share * (-s * y + c * z)
    u, v = u * (1 + rope.ovality / 2), v * (1 - rope.ovality / 2)
    return np.stack([x, c * u - s * v, s * u + c * v], axis=1)
