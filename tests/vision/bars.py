"""A smooth bar over a card: its picture by cutting rays, and its true silhouette."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
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
    """Cut the ray of each sample near the bar with it, band by band so that memory stays small.

    How far aside of the bar's axis a ray passes, and in which direction, is so smooth over the
    picture that one ray in the middle of eight by eight samples says it for all, to 1e-4 samples.
    """
    height, width = picture.shape[:2]
    every, band = 8, 64
    eye = -R.T @ t
    turn = np.radians(bar.turn_deg)
    along, across = axes_of(bar)
    up = np.array([0.0, 0.0, 1.0])
    start = np.array([0.0, bar.offset_mm / np.cos(turn), bar.height_mm])
    r = bar.diameter_mm / 2
    a, b = float((eye - start) @ across), float((eye - start) @ up)
    # with one beyond each border
    u, v = (
        (every * np.arange(-1, -(-size // every) + 1) + (every - size) / 2) / focal
        for size in (width, height)
    )

    def part(axis: Array) -> Array:
        return np.asarray(np.add.outer(v * (R[1] @ axis), u * (R[0] @ axis)) + R[2] @ axis)

    p, q = part(across), part(up)
    long = np.hypot(p, q)
    p, q = p / long, q / long
    aside, ahead = a * q - b * p, -(a * p + b * q)  # mm, of the eye from the axis
    per_mm = focal * long / ahead  # samples
    near = (ahead > 0) & ((np.abs(aside) - r) * per_mm < 2 * every)
    smooth = [one.astype(np.float32) for one in (aside, p, q, per_mm, ahead, part(along) / long)]

    for top in range(0, height, band):
        rows = slice(top, min(top + band, height))
        coarse = slice(top // every, -(-rows.stop // every) + 2)
        touched = np.flatnonzero(near[coarse].any(axis=0))
        if not len(touched):
            continue
        first, last = max(int(touched[0]) - 1, 0), min(int(touched[-1]) + 1, len(u) - 1)
        columns = slice(first * every, min((last - 1) * every, width))
        size = columns.stop - columns.start, rows.stop - rows.start
        aside, p, q, per_mm, ahead, run = (
            _finer(one[coarse, first : last + 1], every, size) for one in smooth
        )
        share = np.clip((r - np.abs(aside)) * per_mm + 0.5, 0, 1)  # a sample on its edge is shared
        depth = np.sqrt(np.maximum(r * r - aside * aside, 0))
        place = (eye - start) @ along + (ahead - depth) * run
        share *= (place > bar.begin_mm) & (place < bar.end_mm)
        light = 0.35 + 0.65 * np.clip((aside * p + depth * q) / -r, 0, 1)
        for channel, colour in enumerate(bar.colour):
            behind = picture[rows, columns, channel]
            behind += share * (light * colour - behind)


def _finer(coarse: Linear, every: int, size: tuple[int, int]) -> Linear:
    """Return what lies between the middles of blocks, without the first block each way."""
    fine = cv2.resize(coarse, None, fx=every, fy=every, interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine[every:, every:][: size[1], : size[0]], np.float32)


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
