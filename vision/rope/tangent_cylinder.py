"""From two tangent planes to a diameter, in closed form.

The crown line of each side and the camera centre C span a plane that touches the rope's
enclosing cylinder. With outward unit normals n1, n2 the axis runs along u = n1 x n2 / |n1 x n2|,
in the bisector plane: it passes through C + D b, b = -(n1 + n2) / |n1 + n2|, and the radius is
D sin a, sin a = -n1 . b. D follows from how the card was held:

==========  ============================================  ==========================
hold        height of the axis over the card              so D is
==========  ============================================  ==========================
touching    radius + gap                                  (h - gap) / (sin a - b_z)
level       0                                             -h / b_z
stand-off   what the user measured                        (offset - h) / b_z
==========  ============================================  ==========================

where h = C_z + ((S - C) . u) u_z is the height over the card of the bisector's starting point,
moved along the axis to the station S. No approximation is made; the derivation is our own.

Where the axis is level with the card or behind it, the card may hide the point of a side that the
plane would touch (R + radius n has a negative height, R on the axis). The camera then sees instead
the line in which the rope intersects the card's face. Let P be on that line opposite the station,
v horizontal and perpendicular to the line, towards the rope, g the height of the axis and
w = sqrt(radius^2 - g^2). Then the axis passes through P + w v + g z. The other side's plane n gives
radius + (n . v) w = n . (C - P) - g n_z, a quadratic equation; or, where both sides are hidden,
2 w is the distance between their lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class HoldKind(StrEnum):
    """How a card was held to the rope."""

    TOUCHING = "touching"
    LEVEL = "level"
    STAND_OFF = "stand-off"


@dataclass(frozen=True, slots=True)
class Hold:
    """How the card was held to the rope, and how far from it.

    Parameters
    ----------
    kind : HoldKind
        On the rope, with its face level with the rope's axis, or at a measured distance.
    offset_mm : float
        touching: gap between rope and card, mm. stand-off: height of the axis over the card, mm
        (negative where the card is in front of the axis). level: not used.
    u_offset_mm : float or None
        Its standard uncertainty, mm; None for the usual value.

    Raises
    ------
    ValueError
        If a gap is negative.
    """

    kind: HoldKind = HoldKind.TOUCHING
    offset_mm: float = 0.0
    u_offset_mm: float | None = None

    def __post_init__(self) -> None:  # noqa: D105 (the code is self-explanatory)
        if self.kind is HoldKind.TOUCHING and self.offset_mm < 0:
            raise ValueError(f"a gap can't be negative; got {self.offset_mm:g} mm.")

    @property
    def touching(self) -> bool:
        """Whether the rope lies on the card."""
        return self.kind is HoldKind.TOUCHING

    @property
    def axis_height_mm(self) -> float:
        """Height of the axis over the card according to *level* or *stand-off*, mm."""
        return self.offset_mm if self.kind is HoldKind.STAND_OFF else 0.0


TOUCHING = Hold()


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """A cylinder in the card's frame.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm.
    axis_mm : ndarray of shape (3,)
        Point of the axis at the station, mm.
    direction : ndarray of shape (3,)
        Unit direction of the axis.
    """

    diameter_mm: float
    axis_mm: Array
    direction: Array


def cylinder_mm(
    normal_left: Array,
    normal_right: Array,
    eye_mm: Array,
    *,
    hold: Hold = TOUCHING,
    station_mm: Array | None = None,
) -> Cylinder:
    """Return the cylinder that touches two planes through the camera's centre.

    Parameters
    ----------
    normal_left, normal_right : ndarray of shape (3,)
        Outward unit normals, in the card's frame, of the two planes through the camera centre
        that touch the cylinder.
    eye_mm : ndarray of shape (3,)
        Camera centre in the card's frame, mm (x along, y across, z towards the camera).
    hold : Hold, optional
        How the card was held to the rope.
    station_mm : ndarray of shape (3,), optional
        Place along the axis to which the card's distance refers, mm; by default the point below
        the camera.

    Raises
    ------
    ValueError
        If the planes are parallel, or enclose nothing on the card's side of the camera.

    Examples
    --------
    A 35 mm bar, the camera 420 mm straight above the card (axis 402.5 mm away):

    >>> a = np.arcsin(17.5 / 402.5)
    >>> n = np.array([0.0, np.cos(a), np.sin(a)])
    >>> bar = cylinder_mm(n * [1, 1, 1], n * [1, -1, 1], np.array([0.0, 0.0, 420.0]))
    >>> round(bar.diameter_mm, 9), round(float(bar.axis_mm[2]), 9)
    (35.0, 17.5)
    """
    direction = cross(normal_left, normal_right)
    length = float(np.linalg.norm(direction))
    if length < 1e-9:
        raise ValueError("the two crown lines give parallel planes, which enclose no cylinder.")
    direction = direction / length
    bisector = -(normal_left + normal_right)
    bisector = bisector / np.linalg.norm(bisector)
    sin_a = -float(normal_left @ bisector)
    along = 0.0 if station_mm is None else float((station_mm - eye_mm) @ direction)
    height = float(eye_mm[2] + along * direction[2])
    if hold.touching:
        distance = (height - hold.offset_mm) / (sin_a - bisector[2])
    else:
        distance = (hold.axis_height_mm - height) / bisector[2]
    if not (np.isfinite(distance) and distance > 0 and sin_a > 0):
        raise ValueError("the two crown lines enclose nothing in front of the camera.")
    axis = eye_mm + distance * bisector + along * direction
    radius = float(distance) * sin_a
    if not hold.touching:
        normals = (normal_left, normal_right)
        hidden = [float(axis[2] + radius * n[2]) < 0 for n in normals]
        if any(hidden):
            station = eye_mm if station_mm is None else station_mm
            ends = [_leaves_card_mm(n, eye_mm, station) for n in normals]
            return _behind_card(normals, ends, hidden, eye_mm, hold.axis_height_mm, direction)
    return Cylinder(2 * radius, axis, direction)


def _leaves_card_mm(normal: Array, eye_mm: Array, station_mm: Array) -> tuple[Array, Array]:
    """Return where a plane meets the card's face at a station, and the inward direction."""
    level = np.array([normal[0], normal[1], 0.0])
    steep = float(np.linalg.norm(level))
    outwards = level / steep
    foot = np.array([station_mm[0], station_mm[1], 0.0])
    return foot + float(normal @ (eye_mm - foot)) / steep * outwards, -outwards


def _behind_card(
    normals: tuple[Array, Array],
    ends: list[tuple[Array, Array]],
    hidden: list[bool],
    eye_mm: Array,
    goal_mm: float,
    direction: Array,
) -> Cylinder:
    """Return the cylinder where the card's face hides the tangent on one side or both."""
    side = 0 if hidden[0] else 1
    point, inwards = ends[side]
    lift = np.array([0.0, 0.0, goal_mm])
    along = np.array([-inwards[1], inwards[0], 0.0])
    along = along if along @ direction > 0 else -along
    if not all(hidden):
        n = normals[1 - side]
        c, k = float(n @ inwards), float(n @ (eye_mm - point - lift))
        # the smaller root, as the larger one has the tangent on the wrong side
        under = k * k - (1 - c * c) * (k * k + (c * goal_mm) ** 2)
        radius = (k - np.sqrt(under)) / (1 - c * c) if under >= 0 else np.nan
        half = np.sqrt(radius**2 - goal_mm**2) if radius > abs(goal_mm) else np.nan
        axis = point + half * inwards + lift
        if not np.isfinite(half):
            raise ValueError("the two crown lines enclose nothing in front of the camera.")
        if axis[2] + radius * n[2] >= 0:
            return Cylinder(2 * float(radius), axis, along)
    half = float((ends[1 - side][0] - point) @ inwards) / 2
    return Cylinder(2 * float(np.hypot(half, goal_mm)), point + half * inwards + lift, along)


def cross(a: Array, b: Array) -> Array:
    """Return the vector product of two vectors (3,), ten times as fast as `numpy.cross`.

    Parameters
    ----------
    a, b : ndarray of shape (3,)
        The vectors.

    Examples
    --------
    >>> cross(np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 7.0])).tolist()
    [-1.0, 5.0, -3.0]
    """
    (p, q, r), (s, t, u) = a.tolist(), b.tolist()
    return np.array([q * u - r * t, r * s - p * u, p * t - q * s])
