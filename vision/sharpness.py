"""How blurred the photograph is, read from the card's own black-to-white steps.

Beside each chess corner a short line crosses from a black square into its white neighbour. The
steepest slope of a step of height h under Gaussian blur sigma is h / (sigma sqrt(2 pi)), which
gives sigma; the median over the corners is the photograph's blur at the card.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.chess import project
from vision.markers import FoundCard

Array = NDArray[np.float64]

SAMPLES = 81
MOST_PX = 10.0  # reach to each side: a quarter of a pixel between samples at most
REACH = 0.11  # of a square, to each side of the step: short of the marker
BESIDE = 0.2  # of a square: how far from the corner, within the white rim of the marker


def blur_px(grey: NDArray[np.uint8], found: FoundCard) -> float:
    """Return the blur at the card as the standard deviation of a point spread, px.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The upright photograph.
    found : FoundCard
        A card in it.
    """
    square = found.layout.square_mm
    t = np.linspace(-1, 1, SAMPLES)
    sigmas = []
    for along, beside in (((1.0, 0.0), (0.0, 1.0)), ((0.0, 1.0), (1.0, 0.0))):
        for side in (-1, 1):
            start = found.corners_mm + side * BESIDE * square * np.array(beside)
            reach = REACH * square
            one = project(found.homography, start + np.array(along))
            per_mm = float(
                np.median(np.linalg.norm(one - project(found.homography, start), axis=1))
            )
            reach = min(reach, MOST_PX / per_mm)
            ends = project(found.homography, start + reach * np.array(along))
            begin = project(found.homography, start - reach * np.array(along))
            reach_px = np.linalg.norm(ends - begin, axis=1)
            x, y = (
                (0.5 * (ends + begin)[:, i, None] + 0.5 * (ends - begin)[:, i, None] * t).astype(
                    np.float32
                )
                for i in (0, 1)
            )
            lines = cv2.remap(grey, x, y, cv2.INTER_LINEAR).astype(float)
            step_px = reach_px / (SAMPLES - 1)
            height = np.abs(np.median(lines[:, -6:], axis=1) - np.median(lines[:, :6], axis=1))
            slope = np.abs(lines[:, 2:] - lines[:, :-2]).max(axis=1) / (2 * step_px)
            good = (height > 25) & (slope > 0)
            sigmas += list(height[good] / (slope[good] * np.sqrt(2 * np.pi)))
    return float(np.median(sigmas)) if sigmas else float("inf")
