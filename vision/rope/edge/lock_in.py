"""Lock-in detection of the stripes: the photograph's light split into mean and stripes.

A point in the plane of the outline hides a place on the card, which the pose and the card's bend
determine, and with it the phase of the stripes there. In windows along the rope the light is then
split by least squares into its mean and the part in phase with the pattern (a lock-in, after
Takeda, Ina and Kobayashi 1982).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from vision.camera import Camera, bent_mm, camera_centre_mm, card_height_mm, project_mm
from vision.rope.constants import HALF
from vision.rope.rectify import points_mm
from vision.target.layout import Card, stripe_phase
from vision.tones import Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

WITHIN_MM = 0.3  # margin at the stripes' ends: allows for blur and an inaccurate print


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Profiles across one side: light split into mean and stripes; shape (columns, samples)."""

    light: Light
    mean: Light
    stripes: Light  # (2, columns, samples): in phase and a quarter of a period ahead
    on_band: Mask


@dataclass(frozen=True, eq=False)
class Scene:
    """The photograph, pose and plane in which profiles are sampled, for one side of the rope."""

    light: Light
    camera: Camera
    card: Card
    along_mm: Array
    origin_mm: Array
    direction: Array
    height_mm: float
    sign: float
    corner_px: tuple[int, int] = (0, 0)  # of `light`, where it is a part of the photograph
    half_mm: float = 1.0  # half the rope's width: profiles are sampled around there

    def look(self, base_mm: Array, steps_mm: Array) -> tuple[Light, Light, Mask]:
        """Return light, phase of the stripes, and whether the band is behind (columns, samples).

        Each column is sampled at `steps_mm` (samples,) outwards from its own `base_mm` (columns,).
        The positions in the photograph and on the card are computed for three samples of a column;
        the parabola through them is accurate to a hundredth of a pixel. Single precision adds a few
        ten-thousandths of a pixel, and a millionth of the light.
        """
        middle, reach = (steps_mm[-1] + steps_mm[0]) / 2, (steps_mm[-1] - steps_mm[0]) / 2
        u = (steps_mm - middle) / reach
        parabolas = np.stack([u * (u - 1) / 2, 1 - u * u, u * (u + 1) / 2])
        v = (base_mm[:, None] + middle + reach * np.array([-1.0, 0.0, 1.0])) / self.half_mm
        zero, one, two, three = self._cubics
        at_three = (((three * v + two) * v + one) * v + zero).astype(np.float32)
        parabolas = parabolas.astype(np.float32)
        phase, x, y = at_three[:3] @ parabolas
        on_band = self._on_band(*at_three[1:])
        if on_band.all():  # then everything between the three samples is on it too
            on_band = np.ones(x.shape, np.bool_)
        else:
            on_band = self._on_band(x, y, *(at_three[3:] @ parabolas))
        light = cv2.remap(self.light, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(light, np.float32), phase, on_band

    def _on_band(self, x: Light, y: Light, drawn_x: Light, drawn_y: Light) -> Mask:
        """Return whether places are in the picture, px, and on the band as drawn, mm."""
        _, _, x1, y1 = self.card.layout.stripe_box_mm
        height, width = self.light.shape
        inside = (np.abs(drawn_x) < x1 - WITHIN_MM) & (np.abs(drawn_y) < y1 - WITHIN_MM)
        inside &= (x > 2) & (x < width - 3) & (y > 2) & (y < height - 3)
        return np.asarray(inside, np.bool_)

    @cached_property
    def _cubics(self) -> Array:
        """Coefficients (4, 5, columns, 1), in units of `half_mm`: phase, rad, px and drawn mm."""
        four = np.linspace(HALF, 1 + HALF, 4)
        columns = len(self.along_mm)
        seen, drawn = self._places(np.repeat(self.along_mm, 4), np.tile(four, columns))
        at_four = np.vstack(
            [stripe_phase(self.card.layout, drawn), (seen - self.corner_px).T, drawn.T]
        )
        through = np.linalg.inv(np.vander(four, increasing=True))
        return np.moveaxis(at_four.reshape(5, columns, 4) @ through.T, 2, 0)[..., None]

    def _places(self, along_mm: Array, outwards: Array) -> tuple[Array, Array]:
        """Return positions in the photograph, px, and on the card as drawn, mm (N, 2)."""
        across = self.sign * self.half_mm * outwards
        points = points_mm(along_mm, across, self.origin_mm, self.direction, self.height_mm)
        return project_mm(self.camera, points), paper_behind_mm(self.camera, self.card, points)

    def profiles(self, base_mm: Array, steps_mm: Array, sigma: float, every: int) -> Profiles:
        """Return profiles, demodulated in windows of `sigma` columns, one in `every` columns."""
        light, phase, on_band = self.look(base_mm, steps_mm)
        mean, stripes = locked_in(light, phase, sigma, every)
        return Profiles(light, mean, stripes, on_band)


def half_size_mm(card: Card) -> tuple[float, float]:
    """Return half the card's length and height, mm, to which its bend refers (`vision.camera`)."""
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


def locked_in(light: Light, phase: Light, sigma: float, every: int = 1) -> tuple[Light, Light]:
    """Split light along the first axis into its mean and its part in phase with the stripes.

    Parameters
    ----------
    light, phase : ndarray of shape (columns, samples)
        Linear light, and the phase of the pattern, rad.
    sigma : float
        Gaussian window along the columns, in columns.
    every : int, optional
        Spacing of the windows, in columns, beginning with the first.

    Returns
    -------
    mean, stripes : ndarray of shape (windows, samples) and (2, windows, samples)
        Least-squares fit of ``mean + a sin(phase) + b cos(phase)`` in each window; stripes = a, b.
    """
    columns, samples = light.shape
    half = int(3 * sigma + 0.5)
    kernel = cv2.getGaussianKernel(2 * half + 1, sigma, cv2.CV_32F)[:, 0]
    # all products side by side, padded at both ends, so that one matrix product windows them all
    padded = np.empty((columns + 2 * half, 7, samples), np.float32)
    c, s, cc, cs, y, yc, ys = padded[half : half + columns].transpose(1, 0, 2)
    c[:], s[:], y[:] = np.cos(phase), np.sin(phase), light
    for product, one, other in ((cc, c, c), (cs, c, s), (yc, y, c), (ys, y, s)):
        np.multiply(one, other, out=product)
    padded[:half], padded[half + columns :] = padded[half], padded[half + columns - 1]
    windows = sliding_window_view(padded.reshape(len(padded), -1), len(kernel), axis=0)[::every]
    windowed = (windows @ kernel).reshape(-1, 7, samples)
    mc, ms, mcc, mcs, y, yc, ys = np.ascontiguousarray(windowed.transpose(1, 0, 2))
    vcc, vcs, vss = mcc - mc * mc, mcs - mc * ms, 1 - mcc - ms * ms
    tc, ts = yc - y * mc, ys - y * ms
    both = np.maximum(vcc * vss - vcs * vcs, 1e-12)
    stripes = np.stack([ts * vcc - tc * vcs, tc * vss - ts * vcs]) / both
    a, b = stripes
    return y - a * ms - b * mc, stripes
