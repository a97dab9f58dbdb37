"""Rows of marks on a rule: runs in neighbouring bands grouped, and their marks numbered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, camera_centre_mm, rays
from vision.scale_rule.graduations import SPACINGS_MM, Run

Array = NDArray[np.float64]

LEAST_BANDS = 3  # number of bands in which a mark must appear
LEAST_MARKS = 8
LEAST_FILLED = 0.6  # of the marks between a row's first and last, must be found
FINE_MM, LEAST_FINE_MARKS, LEAST_SHOWN = 0.9, 16, 0.35
ROW_GAP_MM = 3.0  # rows of marks farther apart than this are two rows


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One row of marks on the rule, all of one graduation.

    Parameters
    ----------
    name : str
        Key of `vision.scale_rule.graduations.SPACINGS_MM`.
    points_px : ndarray of shape (N, 2)
        The marks, each as the middles of its upper and lower halves, px.
    numbers : ndarray of shape (N,)
        Number of each mark in its row.
    first_band, last_band : float
        First and last band of the row, rows of the unrolled rule.
    """

    name: str
    points_px: Array
    numbers: NDArray[np.int64]
    first_band: float
    last_band: float

    @property
    def marks(self) -> int:
        """Number of different marks."""
        return len(np.unique(self.numbers))


def on_face_mm(camera: Camera, points_px: Array, height_mm: float = 0.0) -> Array:
    """Return points of the photograph (N, 2), px, projected to a plane over the face, mm (N, 2).

    Parameters
    ----------
    camera : Camera
        Camera and face.
    points_px : ndarray of shape (N, 2)
        Points of the photograph, px.
    height_mm : float, optional
        Height of the plane over the face, mm.
    """
    eye, sight = camera_centre_mm(camera), rays(camera, points_px)
    x, y, z = sight.T
    reach = (height_mm - eye[2]) / z
    return np.column_stack([eye[0] + reach * x, eye[1] + reach * y])


def rows_of(
    camera: Camera, runs: Sequence[Run], points: list[Array], scale: float
) -> tuple[list[Row], list[float]]:
    """Return rows of numbered marks, and the position of mark 0 of each, mm.

    Parameters
    ----------
    camera : Camera
        Camera and face, as far as they are known.
    runs, points : sequence of Run, list of ndarray of shape (N, 2)
        Runs, and their marks in the photograph, px.
    scale : float
        Samples of the unrolled rule per mm.
    """
    rows, offsets = [], []
    for name, spacing in SPACINGS_MM.items():
        members = sorted(
            (i for i, run in enumerate(runs) if run.name == name), key=lambda i: runs[i].row
        )
        cuts = [
            k
            for k in range(1, len(members))
            if runs[members[k]].row - runs[members[k - 1]].row > ROW_GAP_MM * scale
        ]
        for part in np.split(np.array(members, int), cuts):
            row = _row(name, spacing, [runs[i] for i in part], [points[i] for i in part], camera)
            if row is not None:
                rows.append(row[0])
                offsets.append(row[1])
    return rows, offsets


def _row(
    name: str, spacing: float, runs: list[Run], points: list[Array], camera: Camera
) -> tuple[Row, float] | None:
    if not runs:
        return None
    places = [on_face_mm(camera, p)[:, 0] / spacing for p in points]
    weights = np.array([len(p) for p in points], float)
    phases = np.array([np.angle(np.exp(2j * np.pi * p).mean()) for p in places]) / (2 * np.pi)
    middles = np.array([run.row for run in runs])
    phases, weights = _unrolled_phases(phases, middles, weights)
    lean = np.polyfit(middles, phases, 1, w=np.sqrt(weights)) if np.ptp(middles) else [0, phases[0]]
    points_px, numbers, bands = [], [], []
    for p, place, middle in zip(points, places, middles, strict=True):
        off = place - np.polyval(lean, middle)
        number = np.round(off).astype(int)
        good = np.abs(off - number) < 0.2
        points_px.append(p[good])
        numbers.append(number[good])
        bands.append(np.full(int(good.sum()), middle))
    number, band, point = np.concatenate(numbers), np.concatenate(bands), np.concatenate(points_px)
    _, first = np.unique(np.stack([number, band]), axis=1, return_index=True)
    number, band, point = number[first], band[first], point[first]
    names, counts = np.unique(number, return_counts=True)
    repeated = np.isin(number, names[counts >= LEAST_BANDS])
    marks = np.unique(number[repeated])
    fine = spacing < FINE_MM  # stricter, as noise between coarser marks can look like such a row
    least = LEAST_FINE_MARKS if fine else LEAST_MARKS
    usual = float(np.median(counts[counts >= LEAST_BANDS])) if len(marks) else 0.0
    if fine and usual < LEAST_SHOWN * len(np.unique(band)):
        return None
    if len(marks) < least or len(marks) < LEAST_FILLED * (np.ptp(marks) + 1):
        return None
    first_band, last_band = float(band[repeated].min()), float(band[repeated].max())
    half_points, half_numbers = _halves(point[repeated], number[repeated], band[repeated])
    row = Row(name, half_points, half_numbers, first_band, last_band)
    return row, float(np.polyval(lean, (row.first_band + row.last_band) / 2)) * spacing


def _halves(
    points: Array, numbers: NDArray[np.int64], bands: Array
) -> tuple[Array, NDArray[np.int64]]:
    """Average each mark over its upper and its lower bands: two points give its direction."""
    means, names = [], []
    for number in np.unique(numbers):
        members = np.flatnonzero(numbers == number)
        members = members[np.argsort(bands[members])]
        for half in np.array_split(members, 2):
            means.append(points[half].mean(axis=0))
            names.append(number)
    return np.array(means), np.array(names, np.int64)


def _unrolled_phases(phases: Array, middles: Array, weights: Array) -> tuple[Array, Array]:
    """Unwrap the phases of neighbouring bands, so that there are no jumps by a whole spacing."""
    best, order = phases.copy(), np.argsort(middles, kind="stable")
    heaviest = int(np.argmax(weights[order]))
    for way in (range(heaviest + 1, len(order)), range(heaviest - 1, -1, -1)):
        at = best[order[heaviest]]
        for k in way:
            i = order[k]
            best[i] = at + (best[i] - at + 0.5) % 1 - 0.5
            share = weights[i] / (weights[i] + weights.max())
            at += share * (best[i] - at)
    return best, weights
