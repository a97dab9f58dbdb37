"""The photograph's blur and tones, measured at black-to-white steps printed on the card.

Beside each chess corner a short line crosses from a black square into its white neighbour. The
steepest slope of a step of height h under Gaussian blur sigma is h / (sigma sqrt(2 pi)), which
gives sigma; the median over the corners is the photograph's blur at the card. The band's stripes
are steps as well, close beside the rope: where their blur differs, so does that of the rope. The
two ends of each line are printed black and bare paper: where they differ more than in any print,
software has darkened the picture's shadows.
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
LEAST_STEP = 25  # of 255: a lower step is not one of the card's
MOST_PX = 10.0  # reach to each side: keeps samples at most a quarter of a pixel apart
REACH = 0.11  # of a square, to each side of the step: stops short of the marker
BESIDE = 0.2  # of a square: distance from the corner, within the white rim of the marker
COARSE, STRAY_PCT = 3, 0.5  # px between samples for the darkest value; % of them taken as strays
QUARTER = 0.25  # of a period: from the step between two stripes to the middle of either


@dataclass(frozen=True, slots=True)
class Blur:
    """The blur and tones of a photograph.

    Parameters
    ----------
    light_px : float
        Blur of the brightness at the rope: standard deviation of the point spread, px.
    overshoot : float
        Overshoot of the brightness at the card's steps, relative to their height, as caused by
        sharpening software. Phones leave 0.01 to 0.04.
    tones : Tones
        What was done to the picture's light, judging by the card's black.
    uneven : float
        Ratio of the blurs of the card's squares and stripes, the larger over the smaller; 1 if
        they are alike.
    ink : float
        Contrast of the print: (light - dark) / (light + dark).
    """

    light_px: float
    overshoot: float = 0.0
    tones: Tones = AS_SRGB
    uneven: float = 1.0
    ink: float = 1.0

    def contrast(self, period_px: float) -> float:
        """Return the expected amplitude of bare stripes over their mean light, at most 1.27."""
        transmitted = np.exp(-2 * (np.pi * self.light_px / period_px) ** 2)
        return float(4 / np.pi * self.ink * transmitted)  # fundamental of a square wave


def _apparent_blur(blur: Array) -> Array:
    """Return the blur that the slope between two stripes suggests for a true blur, in periods.

    A blurred square wave is the sum of its odd harmonics; it no longer levels off between
    neighbouring steps, so the apparent blur is too small.
    """
    odd = np.arange(1, 80, 2)
    transmitted = np.exp(-2 * (np.pi * np.multiply.outer(blur, odd)) ** 2)
    ends = QUARTER * (1 - 7 / (SAMPLES - 1))  # middle of the eight samples at each end
    height = 8 / np.pi * (transmitted * np.sin(2 * np.pi * odd * ends) / odd).sum(axis=1)
    return np.asarray(height / (8 * transmitted.sum(axis=1) * np.sqrt(2 * np.pi)))


TRUE_BLUR = np.linspace(0.01, 0.15, 141)  # of a period
APPARENT_BLUR = _apparent_blur(TRUE_BLUR)  # of a period


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
    """Return the contrast of the print: (light - dark) / (light + dark)."""
    if not len(black):
        return 0.0
    dark, light = (np.interp(one, np.arange(256) / 255, tones.table) for one in (black, white))
    return float(median_of((light - dark) / (light + dark + 1e-3)))


def _darkest(grey: NDArray[np.uint8], found: FoundCard) -> float:
    """Return the lowest value, 0 to 1, on the card and the rope, apart from stray pixels."""
    low, high = (
        np.clip(edge, 0, np.array(grey.shape[::-1])).astype(int)
        for edge in (found.corners_px.min(axis=0), found.corners_px.max(axis=0) + 1)
    )
    part = np.ascontiguousarray(grey[low[1] : high[1] : COARSE, low[0] : high[0] : COARSE])
    as_dark = np.cumsum(cv2.calcHist([part], [0], None, [256], [0, 256]))
    return float(np.searchsorted(as_dark, STRAY_PCT / 100 * part.size)) / 255


def beside_the_rope(
    blur: Blur, grey: NDArray[np.uint8], camera: Camera, card: Card, drawn_mm: Array, most: float
) -> Blur:
    """Return the blur beside the rope: that of the stripes where it differs from the squares'.

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
        Uncovered places on the stripes, as drawn, mm.
    most : float
        Largest ratio of the two blurs that counts as equal.
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
    at_px = project_mm(camera, paper).reshape(*places.shape).astype(np.float32)
    lines = cv2.remap(grey, at_px[..., 0], at_px[..., 1], cv2.INTER_LINEAR).astype(float)
    step_px = np.linalg.norm(at_px[:, -1] - at_px[:, 0], axis=1) / (SAMPLES - 1)
    sigmas = _sigmas(lines, _ends(lines), step_px)
    if not len(sigmas):
        return blur
    period_px = float(median_of(step_px)) * (SAMPLES - 1) / (2 * QUARTER)
    apparent = float(median_of(sigmas)) / period_px
    # compared as apparent blurs: where stripes merge, the apparent blur hardly depends on the true
    # one, and converting it first would exaggerate a difference
    expected = float(np.interp(blur.light_px / period_px, TRUE_BLUR, APPARENT_BLUR))
    if max(apparent / expected, expected / apparent) <= most:
        return blur
    stripes_px = period_px * float(np.interp(apparent, APPARENT_BLUR, TRUE_BLUR))
    uneven = max(stripes_px / blur.light_px, blur.light_px / stripes_px)
    return replace(blur, light_px=stripes_px, uneven=uneven)


def _lines(
    picture: NDArray[np.uint8], found: FoundCard, start: Array, along: Array, reach_mm: float
) -> tuple[Array, Array]:
    """Sample the picture along short lines through card points; return samples and step, px."""
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
    """Return the overshoot of lines (N, SAMPLES) with a clear step beyond their two ends.

    This is the mean of both ends' overshoot in the median line, relative to the height of the
    step. The spread of the samples at each end is subtracted as noise.
    """
    good = np.ptp(ends, axis=0) > LEAST_STEP
    if not good.any():
        return 0.0
    rising = np.where(ends[0, good, None] > ends[1, good, None], lines[good, ::-1], lines[good])
    low, high = np.sort(ends[:, good], axis=0)[..., None]
    share = median_of((rising - low) / (high - low), axis=0)
    return float(share.max() - share[-8:].max() + share[:8].min() - share.min()) / 2


def _ends(lines: Array) -> Array:
    """Return the light (2, N) at both ends of each line (N, SAMPLES)."""
    return np.stack([median_of(lines[:, :8], axis=1), median_of(lines[:, -8:], axis=1)])
