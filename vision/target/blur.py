"""How blurred the photograph is, read from the card's own steps of light and of colour.

Beside each chess corner a short line crosses from a black square into its white neighbour. The
steepest slope of a step of height h under Gaussian blur sigma is h / (sigma sqrt(2 pi)), which
gives sigma; the median over the corners is the photograph's blur at the card. Where the blue
band meets black squares the same is read from the colour, which JPEG and HEIC usually store at
half the resolution.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.target.corners import project
from vision.target.detect import FoundCard
from vision.target.layout import marker_row, square_mm

Array = NDArray[np.float64]

SAMPLES = 81
LEAST_STEP = 25  # of 255: a lower step is none of the card's own
MOST_PX = 10.0  # reach to each side: a quarter of a pixel between samples at most
REACH = 0.11  # of a square, to each side of the step: short of the marker
# Colour at half the resolution (4:2:0) reads 0.6 to 1.2 px here, whole colour 0.3 px; at the
# rope's edge, where the step is shorter, halved colour was seen to act as 1.2 px.
WHOLE_COLOUR_PX, HALVED_COLOUR_PX = 0.5, 1.2
BESIDE = 0.2  # of a square: how far from the corner, within the white rim of the marker


@dataclass(frozen=True, slots=True)
class Blur:
    """How blurred a photograph is, as standard deviations of its point spread, px.

    Parameters
    ----------
    light_px : float
        Blur of the brightness.
    colour_px : float
        What is added to it for colour (in quadrature): JPEG and HEIC store colour at half the
        resolution, other files do not.
    overshoot : float
        How far the brightness shoots over at the card's own steps, over their height: what
        sharpening by software does. Phones leave 0.01 to 0.04.
    """

    light_px: float
    colour_px: float
    overshoot: float = 0.0


def read_blur(pixels: NDArray[np.uint8], grey: NDArray[np.uint8], found: FoundCard) -> Blur:
    """Return the blur at the card, of brightness and of colour.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    grey : ndarray of shape (H, W), uint8
        The same in grey.
    found : FoundCard
        A card in it.
    """
    square = found.layout.square_mm
    sigmas: list[float] = []
    over: list[float] = []
    for along, beside in (((1.0, 0.0), (0.0, 1.0)), ((0.0, 1.0), (1.0, 0.0))):
        for side in (-1, 1):
            start = found.corners_mm + side * BESIDE * square * np.array(beside)
            lines, step_px = _lines(grey, found, start, np.array(along), REACH * square)
            sigmas += _sigmas(lines, step_px)
            over += _overshoots(lines)
    light = float(np.median(sigmas)) if sigmas else float("inf")
    overshoot = float(np.median(over)) if over else 0.0
    return Blur(light, _colour_px(pixels, found, light), overshoot)


def _colour_px(pixels: NDArray[np.uint8], found: FoundCard, light: float) -> float:
    """Read the steps of colour where the band meets the black squares beside it."""
    layout = found.layout
    starts = [
        [x0 + 0.5 * layout.square_mm, side * layout.band_mm / 2]
        for strip, side in ((0, 1.0), (1, -1.0))
        for column in range(layout.columns)
        if marker_row(strip, column) != (1 if strip == 0 else 0)
        for x0 in (square_mm(layout, strip, 0, column)[0],)
    ]
    reach = 0.35 * layout.square_mm
    lines, step_px = _lines(pixels, found, np.array(starts), np.array([0.0, 1.0]), reach)
    blueness = lines[..., 2] - lines @ np.array([0.299, 0.587, 0.114])
    sigmas = _sigmas(blueness, step_px)
    if len(sigmas) < 4 or not np.isfinite(light):
        return HALVED_COLOUR_PX
    read = float(np.sqrt(max(float(np.median(sigmas)) ** 2 - light**2, 0.0)))
    return HALVED_COLOUR_PX if read > WHOLE_COLOUR_PX else read


def _lines(
    picture: NDArray[np.uint8], found: FoundCard, start: Array, along: Array, reach_mm: float
) -> tuple[Array, Array]:
    """Sample the picture on short lines through card points; return them and the step, px."""
    t = np.linspace(-1, 1, SAMPLES)
    here = project(found.homography, start)
    per_mm = float(
        np.median(np.linalg.norm(project(found.homography, start + along) - here, axis=1))
    )
    reach = min(reach_mm, MOST_PX / per_mm)
    ends = project(found.homography, start + reach * along)
    begin = project(found.homography, start - reach * along)
    x, y = (
        (0.5 * (ends + begin)[:, i, None] + 0.5 * (ends - begin)[:, i, None] * t).astype(np.float32)
        for i in (0, 1)
    )
    lines = cv2.remap(picture, x, y, cv2.INTER_LINEAR).astype(float)
    return lines, np.linalg.norm(ends - begin, axis=1) / (SAMPLES - 1)


def _sigmas(lines: Array, step_px: Array) -> list[float]:
    """Return the blur of each line (N, SAMPLES) that shows a clear step, px."""
    low, high = _ends(lines)
    height = high - low
    slope = np.abs(lines[:, 2:] - lines[:, :-2]).max(axis=1) / (2 * step_px)
    good = (height > LEAST_STEP) & (slope > 0)
    return [float(s) for s in height[good] / (slope[good] * np.sqrt(2 * np.pi))]


def _overshoots(lines: Array) -> list[float]:
    """Return how far each line (N, SAMPLES) with a clear step leaves the range of its two ends.

    The mean of both ends, over the height of the step.
    """
    low, high = _ends(lines)
    good = high - low > LEAST_STEP
    out = (lines.max(axis=1) - high + low - lines.min(axis=1))[good] / 2
    return [float(o) for o in out / (high - low)[good]]


def _ends(lines: Array) -> tuple[Array, Array]:
    """Return the darker and the lighter end of each line (N, SAMPLES)."""
    ends = np.stack([np.median(lines[:, :8], axis=1), np.median(lines[:, -8:], axis=1)])
    return ends.min(axis=0), ends.max(axis=0)
