"""How blurred the photograph is, and what its tones are worth, by the card's own steps of light.

Beside each chess corner a short line crosses from a black square into its white neighbour. The
steepest slope of a step of height h under Gaussian blur sigma is h / (sigma sqrt(2 pi)), which
gives sigma; the median over the corners is the photograph's blur at the card. The band's stripes
are steps as well, close beside the rope: where they are blurred otherwise, so is the rope. Both
ends of the lines are printed black and bare paper: where they lie farther apart than any print's,
the picture's shadows were pressed down.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, bent_mm, project_mm
from vision.medians import median_of
from vision.target.corners import project
from vision.target.detect import FoundCard
from vision.target.layout import Card, stripe_phase
from vision.tones import AS_SRGB, Tones, tones_of

Array = NDArray[np.float64]

SAMPLES = 81
LEAST_STEP = 25  # of 255: a lower step is none of the card's own
MOST_PX = 10.0  # reach to each side: a quarter of a pixel between samples at most
REACH = 0.11  # of a square, to each side of the step: short of the marker
BESIDE = 0.2  # of a square: how far from the corner, within the white rim of the marker
COARSE, STRAY_PCT = 3, 0.5  # px between values looked at for the darkest; % of them that may stray
QUARTER = 0.25  # of a period: from the step between two stripes to the middle of either


@dataclass(frozen=True, slots=True)
class Blur:
    """How blurred a photograph is, as standard deviations of its point spread, px.

    Parameters
    ----------
    light_px : float
        Blur of the brightness where the rope is.
    overshoot : float
        How far the brightness shoots over at the card's own steps, over their height: what
        sharpening by software does. Phones leave 0.01 to 0.04.
    tones : Tones
        What was done to the picture's light, by the card's own black.
    uneven : float
        How many times as blurred as the other the card's squares or its stripes are, 1 at least.
    ink : float
        How far light and dark of the print differ, over their sum.
    """

    light_px: float
    overshoot: float = 0.0
    tones: Tones = AS_SRGB
    uneven: float = 1.0
    ink: float = 1.0

    def contrast(self, period_px: float) -> float:
        """Return what the amplitude of bare stripes is over their mean light: 1.27 at most."""
        seen = np.exp(-2 * (np.pi * self.light_px / period_px) ** 2)
        return float(4 / np.pi * self.ink * seen)  # of a square wave


def _as_it_seems(blur: Array) -> Array:
    """Return what the slope of a step between two stripes makes of their blur; of a period both.

    A square wave, blurred, is the sum of its odd harmonics; between neighbouring steps it no
    longer comes to rest.
    """
    odd = np.arange(1, 80, 2)
    left = np.exp(-2 * (np.pi * np.multiply.outer(blur, odd)) ** 2)
    ends = QUARTER * (1 - 7 / (SAMPLES - 1))  # the middle of the eight samples that are taken
    height = 8 / np.pi * (left * np.sin(2 * np.pi * odd * ends) / odd).sum(axis=1)
    return np.asarray(height / (8 * left.sum(axis=1) * np.sqrt(2 * np.pi)))


OF_A_PERIOD = np.linspace(0.01, 0.15, 141)
AS_IT_SEEMS = _as_it_seems(OF_A_PERIOD)


def read_blur(grey: NDArray[np.uint8], found: FoundCard) -> Blur:
    """Return the blur at the card.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        Brightness of the upright photograph.
    found : FoundCard
        A card in it.
    """
    square, every = found.layout.square_mm, []
    for along, beside in (((1.0, 0.0), (0.0, 1.0)), ((0.0, 1.0), (1.0, 0.0))):
        for side in (-1, 1):
            start = found.corners_mm + side * BESIDE * square * np.array(beside)
            every.append(_lines(grey, found, start, np.array(along), REACH * square))
    lines, step_px = (np.concatenate(parts) for parts in zip(*every, strict=True))
    ends = _ends(lines)
    sigmas = _sigmas(lines, ends, step_px)
    light = float(median_of(sigmas)) if len(sigmas) else float("inf")
    black, white = np.sort(ends[:, np.ptp(ends, axis=0) > LEAST_STEP], axis=0) / 255
    tones = tones_of(black, white, _darkest(grey, found))
    return Blur(light, _overshoot(lines, ends), tones, ink=_ink(black, white, tones))


def _ink(black: Array, white: Array, tones: Tones) -> float:
    """Return how far light and dark of the print differ, over their sum."""
    if not len(black):
        return 0.0
    dark, light = (np.interp(one, np.arange(256) / 255, tones.table) for one in (black, white))
    return float(median_of((light - dark) / (light + dark + 1e-3)))


def _darkest(grey: NDArray[np.uint8], found: FoundCard) -> float:
    """Return the lowest value, 0 to 1, on the card and what lies on it, but for stray pixels."""
    low, high = (
        np.clip(edge, 0, np.array(grey.shape[::-1])).astype(int)
        for edge in (found.corners_px.min(axis=0), found.corners_px.max(axis=0) + 1)
    )
    part = np.ascontiguousarray(grey[low[1] : high[1] : COARSE, low[0] : high[0] : COARSE])
    so_dark = np.cumsum(cv2.calcHist([part], [0], None, [256], [0, 256]))
    return float(np.searchsorted(so_dark, STRAY_PCT / 100 * part.size)) / 255


def beside_the_rope(
    blur: Blur, grey: NDArray[np.uint8], camera: Camera, card: Card, drawn_mm: Array, most: float
) -> Blur:
    """Return the blur with what the stripes show of it; they count where they show another one.

    Parameters
    ----------
    blur : Blur
        The blur at the card's squares.
    grey : ndarray of shape (H, W), uint8
        Brightness of the upright photograph.
    camera : Camera
        Camera and card.
    card : Card
        The card with the scale of its print.
    drawn_mm : ndarray of shape (N, 2)
        Places on stripes that nothing covers, as drawn, mm.
    most : float
        How many times as blurred as the other squares or stripes may be and pass for alike.
    """
    layout = card.layout
    angle = np.radians(layout.stripe_deg)
    normal = np.array([np.sin(angle), np.cos(angle)])
    phase = stripe_phase(layout, drawn_mm)
    off_mm = (phase - np.pi * np.round(phase / np.pi)) * layout.stripe_mm / (2 * np.pi)
    t = np.linspace(-QUARTER, QUARTER, SAMPLES) * layout.stripe_mm
    places = (t - off_mm[:, None])[..., None] * normal + drawn_mm[:, None]
    flat = card.true_mm(places.reshape(-1, 2))
    paper = bent_mm(camera, flat, layout.length_mm / 2, layout.half_height_mm)
    seen = project_mm(camera, paper).reshape(*places.shape).astype(np.float32)
    lines = cv2.remap(grey, seen[..., 0], seen[..., 1], cv2.INTER_LINEAR).astype(float)
    step_px = np.linalg.norm(seen[:, -1] - seen[:, 0], axis=1) / (SAMPLES - 1)
    sigmas = _sigmas(lines, _ends(lines), step_px)
    if not len(sigmas):
        return blur
    period_px = float(median_of(step_px)) * (SAMPLES - 1) / (2 * QUARTER)
    seems = float(median_of(sigmas)) / period_px
    # what the squares' blur makes of the stripes: where they run into each other hardly anything
    # tells how much they are blurred, and no more is claimed than is seen
    expected = float(np.interp(blur.light_px / period_px, OF_A_PERIOD, AS_IT_SEEMS))
    if max(seems / expected, expected / seems) <= most:
        return blur
    stripes_px = period_px * float(np.interp(seems, AS_IT_SEEMS, OF_A_PERIOD))
    uneven = max(stripes_px / blur.light_px, blur.light_px / stripes_px)
    return replace(blur, light_px=stripes_px, uneven=uneven)


def _lines(
    picture: NDArray[np.uint8], found: FoundCard, start: Array, along: Array, reach_mm: float
) -> tuple[Array, Array]:
    """Sample the picture on short lines through card points; return them and the step, px."""
    t = np.linspace(-1, 1, SAMPLES)
    here = project(found.homography, start)
    per_mm = float(
        median_of(np.linalg.norm(project(found.homography, start + along) - here, axis=1))
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


def _sigmas(lines: Array, ends: Array, step_px: Array) -> Array:
    """Return the blur of each line (N, SAMPLES) that shows a clear step, px."""
    height = np.ptp(ends, axis=0)
    slope = np.abs(lines[:, 2:] - lines[:, :-2]).max(axis=1) / (2 * step_px)
    good = (height > LEAST_STEP) & (slope > 0)
    return np.asarray(height[good] / (slope[good] * np.sqrt(2 * np.pi)))


def _overshoot(lines: Array, ends: Array) -> float:
    """Return how far lines (N, SAMPLES) with a clear step leave the range of their two ends.

    The mean of both ends, over the height of the step, of the middle of all lines; what its ends
    scatter by is noise.
    """
    good = np.ptp(ends, axis=0) > LEAST_STEP
    if not good.any():
        return 0.0
    rising = np.where(ends[0, good, None] > ends[1, good, None], lines[good, ::-1], lines[good])
    low, high = np.sort(ends[:, good], axis=0)[..., None]
    share = median_of((rising - low) / (high - low), axis=0)
    return float(share.max() - share[-8:].max() + share[:8].min() - share.min()) / 2


def _ends(lines: Array) -> Array:
    """Return the light at both ends of each line (N, SAMPLES), (2, N)."""
    return np.stack([median_of(lines[:, :8], axis=1), median_of(lines[:, -8:], axis=1)])
