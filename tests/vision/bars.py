"""A smooth bar over a card: its picture by cutting rays, and its true silhouette."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Linear = NDArray[np.float32]
Colour = tuple[float, float, float]

STEEL: Colour = (0.45, 0.45, 0.47)
DARK_GREASE: Colour = (0.020, 0.018, 0.015)
RUST: Colour = (0.22, 0.09, 0.035)


@dataclass(frozen=True, slots=True)
class Bar:
    """A smooth bar parallel to the card: its axis height, direction and colour (linear)."""

    diameter_mm: float
    height_mm: float
    turn_deg: float = 0.0
    offset_mm: float = 0.0
    colour: Colour = STEEL
    begin_mm: float = -1e6
    end_mm: float = 1e6


def add_bar(picture: Linear, bar: Bar, R: Array, t: Array, focal: float) -> None:
    """Cut the ray of each sample near the bar with it, band by band so that memory stays small."""
    height, width = picture.shape[:2]
    eye = -R.T @ t
    turn = np.radians(bar.turn_deg)
    along, across = axes_of(bar)
    up = np.array([0.0, 0.0, 1.0])
    start = np.array([0.0, bar.offset_mm / np.cos(turn), bar.height_mm])
    r = bar.diameter_mm / 2
    a, b = float((eye - start) @ across), float((eye - start) @ up)
    C = a * a + b * b - r * r
    u = (np.arange(width) - (width - 1) / 2) / focal
    v = (np.arange(height) - (height - 1) / 2) / focal

    def part(rows: slice, columns: slice, axis: Array) -> Array:
        across_picture, down = u[None, columns] * (R[0] @ axis), v[rows, None] * (R[1] @ axis)
        return np.asarray(across_picture + down + R[2] @ axis)

    def passing(rows: slice, columns: slice) -> tuple[Array, Array, Array, Array]:
        """Return how far inside the bar rays pass, in samples, and what it was reckoned from."""
        p, q = part(rows, columns, across), part(rows, columns, up)
        A, B = p * p + q * q, p * a + q * b
        clear = np.sqrt(np.maximum(C + r * r - B * B / A, 0))
        inside = (r - clear) * focal * A / np.maximum(-B, 1e-9)
        return np.where(B < 0, inside, -np.inf), q, A, B

    # where no ray of a coarse grid comes near, none between passes
    every = 16
    near = passing(slice(None, None, every), slice(None, None, every))[0] > -4 * every
    for row in np.flatnonzero(near.any(axis=1) | np.roll(near.any(axis=1), 1)):
        top = int(row) * every
        rows = slice(top, min(top + every, height))
        touched = np.flatnonzero(near[row : row + 2].any(axis=0))
        if not len(touched):
            continue
        columns = slice(max(int(touched[0]) - 1, 0) * every, (int(touched[-1]) + 1) * every)
        inside, q, A, B = passing(rows, columns)
        share = np.clip(inside + 0.5, 0, 1)  # a sample on its edge is shared
        reach = (-B - np.sqrt(np.maximum(B * B - A * C, 0))) / A
        place = (eye - start) @ along + reach * part(rows, columns, along)
        share *= (place > bar.begin_mm) & (place < bar.end_mm)
        normal_up = (b + reach * q) / r
        light = 0.35 + 0.65 * np.clip(normal_up, 0, 1)
        for channel, colour in enumerate(bar.colour):
            behind = picture[rows, columns, channel]
            behind += share * (light * colour - behind)


def axes_of(bar: Bar) -> tuple[Array, Array]:
    """Return the unit vectors along and across a bar (left of it), both in the card's plane."""
    turn = np.radians(bar.turn_deg)
    return (
        np.array([np.cos(turn), np.sin(turn), 0.0]),
        np.array([-np.sin(turn), np.cos(turn), 0.0]),
    )


def silhouette_mm(bar: Bar, eye: Array, at_mm: Array, side: int) -> Array:
    """Return the points (N, 3) where planes through the eye touch a bar; side +1 is left.

    In the bar's cross-section the eye stands at distance D from the axis; the tangent touches
    at the angle arccos(r / D) from the direction of the eye.
    """
    along, across = axes_of(bar)
    turn = np.radians(bar.turn_deg)
    start = np.array([0.0, bar.offset_mm / np.cos(turn), bar.height_mm])
    a, b = float((eye - start) @ across), float(eye[2] - bar.height_mm)
    r = bar.diameter_mm / 2
    angle = np.arctan2(a, b) + side * np.arccos(r / np.hypot(a, b))
    touch = start + r * (np.sin(angle) * across + np.cos(angle) * np.array([0.0, 0.0, 1.0]))
    return np.asarray(touch + np.multiply.outer(at_mm, along))
