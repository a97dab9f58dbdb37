"""Find the rope on the card's band, roughly: where its axis runs and how wide it looks.

The band's own colour is read beside the chequered strips. A coloured band is told from rope by
the direction of its colour, which a shadow leaves as it is; a black or white band by its
brightness. In every column of the band the longest run of other-coloured pixels stands for the
rope; a straight line through the middles of the runs, fitted without those that stray, is the
rope's axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, camera_centre_mm, project_mm
from vision.findings import RefusedError, finding, refuse_above
from vision.rope.rectify import Image, Strip, cut_strip
from vision.target.layout import Card

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

COLUMNS = 420
EDGE_SHARE = 0.12  # of the band's height, on each side, where its plain colour is read
DARK = 0.12  # linear light: a band without colour below it is black, above it white
SECOND_SHARE, ASIDE = 0.2, 2  # of the rope's width, rows: what lies beside it and is no part of it
SATURATED = 0.45  # 1 - least over largest channel: above, the band counts as coloured


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """The rope, roughly, as it covers the card's plane.

    Parameters
    ----------
    at_mm : ndarray of shape (2,)
        Point of the axis, on the card, mm.
    direction : ndarray of shape (2,)
        Unit vector along the rope, pointing right.
    width_mm : float
        Width that the rope covers on the card's plane, across its axis, mm.
    span_mm : tuple of float
        First and last place along the card where the rope is seen, mm.
    angle_deg : float
        Angle between rope and band.
    coloured : bool
        True where the band has a colour of its own.
    """

    at_mm: Array
    direction: Array
    width_mm: float
    span_mm: tuple[float, float]
    angle_deg: float
    coloured: bool


def find_axis(pixels: Image, camera: Camera, card: Card) -> Axis:
    """Return the rope's axis on the card's plane.

    Raises
    ------
    RefusedError
        If no rope lies on the band, it lies askew, or it is too wide for the band; or the
        band's colour is none that a card is printed in.
    """
    x0, y0, x1, y1 = card.layout.band_box_mm
    step = (x1 - x0) / COLUMNS
    along = np.arange(x0 + step / 2, x1, step) * card.scale_x
    across = np.arange(y0 + 0.6, y1 - 0.6, step) * card.scale_y
    strip = cut_strip(pixels, camera, along, across, np.zeros(2), np.array([1.0, 0.0]), 0.0)
    mask, coloured = _rope_mask(strip)
    first, length = _longest_runs(mask)
    seen = strip.inside.mean(axis=0) > 0.7
    usable = seen & (length > max(3, 0.02 * len(across)))
    if usable.sum() < 0.15 * COLUMNS:
        raise RefusedError(finding("rope-not-found", spot_px=_spot(camera)))
    full = float((length[usable] > 0.97 * len(across)).mean())
    if full > 0.5:
        raise RefusedError(finding("band-too-narrow", 1.0, spot_px=_spot(camera)))
    # where the rope leaves the band, the middle of what is left of it is not its axis
    usable &= (first > 0) & (first + length < len(across))
    if usable.sum() < 0.15 * COLUMNS:
        raise RefusedError(finding("band-too-narrow", 1.0, spot_px=_spot(camera)))
    refuse_above("two-ropes", 100 * _beside(mask, first, length, usable), spot_px=_spot(camera))
    middle = across[0] + step * card.scale_y * (first + (length - 1) / 2)
    slope, offset, keep = _straight_line(along, middle, usable, len(across) * step)
    if keep.sum() < 0.15 * COLUMNS:
        raise RefusedError(finding("rope-not-found", spot_px=_spot(camera)))
    angle = float(np.degrees(np.arctan(slope)))
    refuse_above("rope-askew", abs(angle), spot_px=_spot(camera))
    direction = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    width = float(np.median(length[keep]) * step * card.scale_y * direction[0])
    places = along[keep]
    return Axis(
        np.array([0.0, offset]),
        direction,
        width,
        (float(places.min()), float(places.max())),
        angle,
        coloured,
    )


def _rope_mask(strip: Strip) -> tuple[Mask, bool]:
    light = strip.light
    rows = max(2, int(EDGE_SHARE * light.shape[0]))
    plain = np.concatenate([light[:rows].reshape(-1, 3), light[-rows:].reshape(-1, 3)])
    plain = plain[np.concatenate([strip.inside[:rows].ravel(), strip.inside[-rows:].ravel()])]
    if len(plain) < 50:
        return np.zeros(light.shape[:2], bool), False
    band = np.median(plain, axis=0)
    if is_coloured(band) and band[2] < band.max():
        raise RefusedError(finding("band-not-blue"))
    unlike = unlikeness(light, band)
    typical = float(np.median(unlikeness(plain, band)))
    threshold = max(0.6 * _otsu(unlike[strip.inside]), typical + 0.06)
    mask = ((unlike > threshold) & strip.inside).astype(np.uint8)
    size = max(3, light.shape[0] // 40) | 1
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((size, size), np.uint8))
    opened = cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return np.asarray(opened > 0), is_coloured(band)


def unlikeness(light: NDArray[np.float32], band: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how unlike the plain band each pixel is, 0 (alike) to about 1.

    Parameters
    ----------
    light : ndarray of shape (..., 3)
        Linear light.
    band : ndarray of shape (3,)
        Linear light of the plain band.
    """
    if is_coloured(band):
        unit = band / np.linalg.norm(band)
        along = light @ unit
        red, green, blue = light[..., 0], light[..., 1], light[..., 2]
        size = np.sqrt(red * red + green * green + blue * blue)
        beside = np.sqrt(np.maximum(size**2 - along**2, 0))
        return np.asarray(beside / (size + 0.02), np.float32)
    grey, plain = light.mean(axis=-1), float(band.mean())
    stops = np.log2((grey + 0.01) / (plain + 0.01))
    if plain > DARK:  # on a white band rope is darker, on a black one lighter: no shadow is
        stops = -stops
    return np.asarray(np.clip(stops / 5, 0.0, 1.0), np.float32)


def is_coloured(band: NDArray[np.float32]) -> bool:
    """Tell whether a band of this light can be known by its colour alone."""
    return float(1 - band.min() / max(float(band.max()), 1e-6)) > SATURATED


def _otsu(values: NDArray[np.float32]) -> float:
    if values.size < 50:
        return 0.3
    eight = np.clip(values * 255, 0, 255).astype(np.uint8).reshape(-1, 1)
    threshold, _ = cv2.threshold(eight, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    return float(threshold) / 255


def _longest_runs(mask: Mask) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return first row and length of the longest run of True in each column."""
    row = np.arange(mask.shape[0])[:, None]
    run = row - np.maximum.accumulate(np.where(mask, -1, row), axis=0)  # that ends in each row
    end, best = run.argmax(axis=0), run.max(axis=0)
    return np.where(best > 0, end - best + 1, 1), best


def _beside(mask: Mask, first: NDArray[np.int64], length: NDArray[np.int64], usable: Mask) -> float:
    """Return along which share of the rope something as plain as it lies beside it."""
    row = np.arange(mask.shape[0])[:, None]
    alone = mask & ((row < first - ASIDE) | (row >= first + length + ASIDE))
    _, other = _longest_runs(alone)
    return float((other[usable] > SECOND_SHARE * np.median(length[usable])).mean())


def _straight_line(x: Array, y: Array, usable: Mask, height: float) -> tuple[float, float, Mask]:
    """Fit y = slope x + offset by repeated least squares without strays (Huber's idea)."""
    keep = usable.copy()
    slope, offset = 0.0, float(np.median(y[keep]))
    for _ in range(12):
        slope, offset = np.polyfit(x[keep], y[keep], 1)
        off = np.abs(y - slope * x - offset)
        limit = max(3 * 1.4826 * float(np.median(off[keep])), 0.015 * height)
        now = usable & (off < limit)
        if now.sum() < 10 or bool((now == keep).all()):
            break
        keep = now
    return float(slope), float(offset), keep


def _spot(camera: Camera) -> tuple[float, float]:
    x, y = project_mm(camera, np.zeros((1, 3)))[0]
    return (float(x), float(y))


def lifted(axis: Axis, camera: Camera, height_mm: float) -> tuple[Array, float]:
    """Return a point of the axis, and the rope's width, in a plane above the card.

    What covers the card at a point lies on the line from there to the camera.
    """
    eye = camera_centre_mm(camera)
    share = (eye[2] - height_mm) / eye[2]
    return eye[:2] + (axis.at_mm - eye[:2]) * share, axis.width_mm * float(share)
