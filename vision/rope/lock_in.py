"""Look up the stripes behind points in the photograph, and split its light into mean and stripes.

A point in the plane of the outline hides a place on the card; the pose, the bend of the card with
it, says which, and so which phase the stripes have there. In windows along the rope the light is
then split, by least squares, into its mean and what runs in step with the pattern (a lock-in, after
Takeda, Ina and Kobayashi 1982).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, bent_mm, camera_centre_mm, card_height_mm, project_mm
from vision.rope.rectify import points_mm, sampled
from vision.target.layout import Card, stripe_phase
from vision.tones import Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

WITHIN_MM = 0.3  # of the stripes' ends: what blur and a print that is a little off reach over


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Profiles across one side: light split into mean and stripes; shape (columns, samples)."""

    light: Array
    mean: Array
    stripes: NDArray[np.complex128]
    on_band: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """What a profile is looked up in."""

    light: Light
    camera: Camera
    card: Card
    along_mm: Array
    origin_mm: Array
    direction: Array
    height_mm: float
    sign: float

    def look(self, outward_mm: Array) -> tuple[Array, Array, Mask]:
        """Return light, phase of the stripes, and whether band lies behind (columns, samples)."""
        along = np.repeat(self.along_mm, outward_mm.shape[1])
        return self._looked_up(*self._places(along, outward_mm.ravel()), outward_mm.shape)

    def look_straight(self, outward_mm: Array) -> tuple[Array, Array, Mask]:
        """Return the same for one distance (samples,) all along, between places on a lattice."""
        columns, samples = len(self.along_mm), len(outward_mm)
        coarse_along = np.linspace(self.along_mm[0], self.along_mm[-1], 65)
        coarse_out = np.linspace(outward_mm[0], outward_mm[-1], 17)
        places = self._places(np.repeat(coarse_along, 17), np.tile(coarse_out, 65))
        lattice = np.concatenate(places, axis=1).reshape(65, 17, 4)
        by_along = np.linspace(0, 64, columns)  # both are evenly spaced
        by_out = np.linspace(0, 16, samples)
        at, over = np.minimum(by_along.astype(int), 63), np.minimum(by_out.astype(int), 15)
        part = (by_along - at)[:, None, None]
        rows = lattice[at] * (1 - part) + lattice[at + 1] * part
        part = (by_out - over)[:, None]
        fine = (rows[:, over] * (1 - part) + rows[:, over + 1] * part).reshape(-1, 4)
        return self._looked_up(fine[:, :2], fine[:, 2:], (columns, samples))

    def _places(self, along_mm: Array, outward_mm: Array) -> tuple[Array, Array]:
        """Return where points fall in the photograph, px, and on the card as drawn, mm (N, 2)."""
        across = self.sign * outward_mm
        points = points_mm(along_mm, across, self.origin_mm, self.direction, self.height_mm)
        return project_mm(self.camera, points), paper_behind_mm(self.camera, self.card, points)

    def _looked_up(
        self, seen: Array, drawn: Array, shape: tuple[int, ...]
    ) -> tuple[Array, Array, Mask]:
        _, _, x1, y1 = self.card.layout.stripe_box_mm
        on_band = (
            (np.abs(drawn[:, 0]) < x1 - WITHIN_MM)
            & (np.abs(drawn[:, 1]) < y1 - WITHIN_MM)
            & (seen > 2).all(axis=1)
            & (seen < np.array(self.light.shape[::-1]) - 3).all(axis=1)
        )
        phase = stripe_phase(self.card.layout, drawn).reshape(shape)
        light = sampled(self.light, seen).reshape(shape)
        return light, phase, on_band.reshape(shape)

    def profiles(self, outward_mm: Array, sigma: float) -> Profiles:
        """Return profiles, demodulated in windows of `sigma` columns."""
        light, phase, on_band = self.look(outward_mm)
        mean, stripes = locked_in(light, phase, sigma)
        return Profiles(light, mean, stripes, on_band)


def half_size_mm(card: Card) -> tuple[float, float]:
    """Return half the card's length and height, mm, as its bend is stated (`vision.camera`)."""
    return card.layout.length_mm / 2, card.layout.half_height_mm


def paper_behind_mm(camera: Camera, card: Card, points: Array) -> Array:
    """Return the drawn place on the card (N, 2), mm, that each point (N, 3), mm, hides."""
    eye = camera_centre_mm(camera)
    half = half_size_mm(card)
    seen = points[:, :2] - eye[:2]
    down = eye[2] - points[:, 2]
    paper = eye[:2] + seen * (eye[2] / down)[:, None]
    height = card_height_mm(camera, paper, *half)
    paper = eye[:2] + seen * ((eye[2] - height) / down)[:, None]
    flat = 2 * paper - bent_mm(camera, paper, *half)[:, :2]
    return np.asarray(flat / [card.scale_x, card.scale_y])


def locked_in(light: Array, phase: Array, sigma: float) -> tuple[Array, NDArray[np.complex128]]:
    """Split light along the first axis into its mean and its part in step with the stripes.

    Parameters
    ----------
    light, phase : ndarray of shape (columns, samples)
        Linear light, and the phase of the pattern, rad.
    sigma : float
        Gaussian window along the columns, in columns.

    Returns
    -------
    mean, stripes : ndarray
        Least squares of ``mean + a sin(phase) + b cos(phase)`` in each window; stripes = a + i b.
    """
    columns, samples = light.shape
    size = (1, 2 * int(3 * sigma + 0.5) + 1)
    single = np.float32  # a millionth of the light: far below a pixel's own noise
    light = light.astype(single)
    c, s = np.cos(phase).astype(single), np.sin(phase).astype(single)
    side_by_side = np.concatenate([c, s, c * c, c * s, light, light * c, light * s], axis=1)
    windowed = cv2.GaussianBlur(
        side_by_side, size, sigmaX=1.0, sigmaY=sigma, borderType=cv2.BORDER_REPLICATE
    )
    mc, ms, mcc, mcs, y, yc, ys = windowed.reshape(columns, 7, samples).transpose(1, 0, 2)
    vcc, vcs, vss = mcc - mc * mc, mcs - mc * ms, 1 - mcc - ms * ms
    tc, ts = yc - y * mc, ys - y * ms
    both = np.maximum(vcc * vss - vcs * vcs, 1e-12)
    b, a = (tc * vss - ts * vcs) / both, (ts * vcc - tc * vcs) / both
    return y - a * ms - b * mc, a + 1j * b
