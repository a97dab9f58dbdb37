"""Chess corners of a card to a fraction of a pixel.

Where four squares meet, the picture has a saddle point, which blur and exposure do not move,
whereas the outer corners of a black square on white shift inwards. Each corner is predicted by a
homography, refined by the gradient method of Förstner and Gülch (1987) as implemented in OpenCV's
`cornerSubPix`, and accepted only if its four quadrants alternate between dark and light.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Lens, bent, straightened
from vision.target.layout import Layout, chess_corners_mm

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]


def project(homography: Array, points: Array) -> Array:
    """Return points (N, 2) mapped by a homography (3, 3).

    Parameters
    ----------
    homography : ndarray of shape (3, 3)
        From the card to the photograph.
    points : ndarray of shape (N, 2)
        Points of the card, mm.
    """
    mapped = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def find_chess_corners(
    grey: Grey, layout: Layout, homography: Array, lens: Lens | None = None
) -> tuple[Array, Array, Array] | None:
    """Return a card's chess corners: drawn (N, 2), mm, and seen (N, 2), px, with a homography.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The upright photograph.
    layout : Layout
        The card's layout.
    homography : ndarray of shape (3, 3)
        From drawn mm to px, as determined from the markers.
    lens : Lens, optional
        A calibrated lens, whose distortion is included in the prediction of the corners.

    Returns
    -------
    corners_mm, corners_px, homography : tuple of ndarray, or None
        None where fewer than four corners are found; the homography is fitted to the corners.
    """
    drawn = chess_corners_mm(layout)
    keep_mm, keep_px = np.empty((0, 2)), np.empty((0, 2))
    undistorted: Array | None = None
    for _ in range(2):  # the second pass predicts from corners and finds more near the ends
        predicted = project(homography, drawn)
        if lens is not None and undistorted is not None:
            predicted = bent(lens, project(undistorted, drawn))
        refined = _refine_corners(grey, layout, homography, drawn, predicted)
        good = np.isfinite(refined[:, 0])
        if good.sum() < 4:
            return None
        keep_mm, keep_px = drawn[good], refined[good]
        sides = (keep_mm[:, 1] > 0).sum(), (keep_mm[:, 1] < 0).sum()
        if min(sides) < 2:
            break
        step = np.linalg.norm(_local_axes(homography, keep_mm)[0], axis=1).mean()
        model, inside = cv2.findHomography(
            keep_mm.reshape(-1, 1, 2),
            (keep_px if lens is None else straightened(lens, keep_px)).reshape(-1, 1, 2),
            cv2.RANSAC,
            max(1.5, 0.15 * step),  # 0.15 mm of card, in px: tolerates distortion and a wavy card
        )
        if model is None:
            return None
        chosen = np.asarray(inside).ravel().astype(bool)
        keep_mm, keep_px = keep_mm[chosen], keep_px[chosen]
        undistorted = homography = np.asarray(model, float)
        if lens is not None:  # the homography returned maps to the picture as it is, distorted
            model, _ = cv2.findHomography(keep_mm.reshape(-1, 1, 2), keep_px.reshape(-1, 1, 2), 0)
            homography = np.asarray(model, float)
    return keep_mm, keep_px, homography


def _local_axes(homography: Array, drawn_mm: Array) -> tuple[Array, Array]:
    """Return the photograph's vectors for 1 mm right and 1 mm up on the card, px (N, 2) each."""
    centres = project(homography, drawn_mm)
    right = project(homography, drawn_mm + np.array([1.0, 0.0])) - centres
    up = project(homography, drawn_mm + np.array([0.0, 1.0])) - centres
    return right, up


def _refine_corners(
    grey: Grey, layout: Layout, homography: Array, drawn: Array, predicted: Array
) -> Array:
    """Return refined corners (N, 2), NaN where the picture shows no chess corner."""
    height, width = grey.shape
    right, up = _local_axes(homography, drawn)
    square_px = layout.square_mm * np.minimum(
        np.linalg.norm(right, axis=1), np.linalg.norm(up, axis=1)
    )
    refined = np.full_like(predicted, np.nan)
    halves = np.clip(0.11 * square_px, 2, 9).astype(int)
    edge = np.minimum(predicted, np.array([width, height]) - 1 - predicted).min(axis=1)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.003)
    for half in np.unique(halves).tolist():
        near = np.flatnonzero((halves == half) & (edge > half + 3))
        if len(near):
            points = predicted[near].astype(np.float32)
            refined[near] = cv2.cornerSubPix(grey, points, (half, half), (-1, -1), stop)
    moved = np.linalg.norm(refined - predicted, axis=1)
    refined[moved > np.maximum(2.0, 0.12 * square_px)] = np.nan
    refined_at = np.flatnonzero(np.isfinite(refined[:, 0]))
    good = _are_saddles(
        grey, refined[refined_at], right[refined_at], up[refined_at], layout.square_mm
    )
    refined[refined_at[~good]] = np.nan
    return refined


def _are_saddles(
    grey: Grey, at: Array, right: Array, up: Array, square_mm: float
) -> NDArray[np.bool_]:
    """Return whether the quadrants about each corner (N, 2) alternate between dark and light."""
    signs = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)], float)
    away = signs[:, :1] * right[:, None] + signs[:, 1:] * up[:, None]
    spots = np.rint(at[:, None] + 0.09 * square_mm * away).astype(int)
    height, width = grey.shape
    light = grey[np.clip(spots[..., 1], 0, height - 1), np.clip(spots[..., 0], 0, width - 1)]
    light = light.astype(float)
    first, second = light[:, [0, 2]], light[:, [1, 3]]
    gap = np.abs(first.mean(axis=1) - second.mean(axis=1))
    uneven = np.maximum(np.ptp(first, axis=1), np.ptp(second, axis=1))
    return np.asarray((gap > 12) & (uneven < 0.7 * gap + 12))
