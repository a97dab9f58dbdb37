"""Find the rope's approximate axis and apparent width on the card's band.

Where the stripes' contrast is gone, something covers the paper, whatever its colour and the light.
In every column of the band the longest run of such places is taken as the rope. A straight line
through the middles of the runs, fitted without outliers, is the rope's axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, camera_centre_mm, project_mm
from vision.findings import RefusedError, finding, limit_of, refuse_above
from vision.least_squares import scatter_of
from vision.medians import median_of
from vision.rope.constants import HALF, LEAST_LENGTH_SHARE
from vision.rope.paper import PER_PERIOD, Band
from vision.target.layout import Card

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Share of the rope's width: an edge farther off is not that of a straight rope; crowns rise by 0.1.
UNLIKE_SHARE = 0.12
SECOND_SHARE, ASIDE = 0.2, 2  # an object beside the rope: width over the rope's; distance, rows


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """The rope's approximate position, as projected on the card's plane.

    Parameters
    ----------
    at_mm : ndarray of shape (2,)
        Point of the axis, on the card, mm.
    direction : ndarray of shape (2,)
        Unit vector along the rope, pointing right.
    width_mm : float
        Width that the rope covers on the card's plane, across its axis, mm.
    span_mm : tuple of float
        First and last place along the card where the rope is visible, mm.
    angle_deg : float
        Angle between rope and band.
    covered_mm : ndarray of shape (N,)
        Places along the card where something covers the band.
    unlike : ndarray of shape (N,), bool
        Whether both edges there deviate from those of a straight rope.
    """

    at_mm: Array
    direction: Array
    width_mm: float
    span_mm: tuple[float, float]
    angle_deg: float
    covered_mm: Array
    unlike: Mask

    def unlike_share(self, at_mm: float) -> float:
        """Return the share of two diameters around a place that is no straight rope, 0 to 1."""
        near = np.abs(self.covered_mm - at_mm) < self.width_mm
        return float(self.unlike[near].mean()) if near.any() else 0.0


def find_axis(band: Band, camera: Camera, card: Card) -> Axis:
    """Return the rope's axis on the card's plane.

    Parameters
    ----------
    band : Band
        The demodulated band.
    camera : Camera
        Camera and card.
    card : Card
        The card with the scale of its print.

    Raises
    ------
    RefusedError
        If there is no rope on the band, it is at too large an angle, or too wide for the band.
    """
    along, across = band.x_mm * card.scale_x, band.y_mm * card.scale_y
    step = float(across[1] - across[0])
    margin = PER_PERIOD  # rows in which the windows extend beyond the stripes
    mask = _covered(band)
    mask[:margin], mask[-margin:] = mask[margin], mask[-margin - 1]
    first, length = longest_runs(mask)
    seen = band.inside.mean(axis=0) > 0.7
    usable = seen & (length > max(3, 0.02 * len(across)))
    least = LEAST_LENGTH_SHARE * len(along)
    if usable.sum() < least:
        raise RefusedError(finding("rope-not-found", spot_px=_spot(camera)))
    # where the rope leaves the band, the middle of the visible part is not on its axis
    usable &= (first > 0) & (first + length < len(across))
    if usable.sum() < least:
        if _across_only(length[seen]):
            raise RefusedError(finding("no-straight-rope", 100.0, spot_px=_spot(camera)))
        raise RefusedError(finding("band-too-narrow", 1.0, spot_px=_spot(camera)))
    beside = 100 * _beside(mask, first, length, usable)
    if beside > limit_of("two-ropes"):
        crooked = 100 * crooked_share(mask, first, length, seen)
        refuse_above("no-straight-rope", crooked, spot_px=_spot(camera))
        raise RefusedError(finding("two-ropes", beside, spot_px=_spot(camera)))
    middle = across[0] + step * (first + (length - 1) / 2)
    slope, offset, keep = _straight_line(along, middle, usable, len(across) * step)
    if keep.sum() < least:
        raise RefusedError(finding("no-straight-rope", 100.0, spot_px=_spot(camera)))
    angle = float(np.degrees(np.arctan(slope)))
    refuse_above("rope-askew", abs(angle), spot_px=_spot(camera))
    direction = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    width = float(median_of(length[keep]) * step * direction[0])
    places = along[keep]
    half = median_of(length[keep]) * step / 2
    off = middle - slope * along - offset
    wider = length * step / 2 - half
    unlike = np.minimum(np.abs(off + wider), np.abs(off - wider)) > UNLIKE_SHARE * 2 * half
    covered = seen & (length > max(3, 0.02 * len(across)))
    return Axis(
        np.array([0.0, offset]),
        direction,
        width,
        (float(places.min()), float(places.max())),
        angle,
        along[covered],
        unlike[covered],
    )


def _covered(band: Band) -> Mask:
    """Return where the stripes are gone (rows, columns), with highlights on the rope bridged."""
    gone = ((band.contrast < HALF * band.open_contrast) & band.inside).astype(np.uint8)
    size = 2 * PER_PERIOD + 1
    closed = cv2.morphologyEx(gone, cv2.MORPH_CLOSE, np.ones((size, size), np.uint8))
    return np.asarray(closed > 0)


def longest_runs(mask: Mask) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the first row and length of the longest run of True in each column of a mask."""
    run = mask.astype(np.int16)  # length of the run up to each row
    for above, here in pairwise(run):
        here += above * here
    end, best = run.argmax(axis=0), run.max(axis=0).astype(int)
    return np.where(best > 0, end - best + 1, 1), best


def _across_only(length: NDArray[np.int64]) -> bool:
    """Return whether the band is open at both ends, so that anything on it at most runs across."""
    within = length[PER_PERIOD:-PER_PERIOD]  # without the ends, where windows exceed the stripes
    end = max(1, len(within) // 20)
    return bool(len(within) > 2 * end and not within[:end].any() and not within[-end:].any())


def _beside(mask: Mask, first: NDArray[np.int64], length: NDArray[np.int64], usable: Mask) -> float:
    """Return the share of the rope's length along which something else lies beside it."""
    _, other = _second_runs(mask, first, length)
    return float((other[usable] > SECOND_SHARE * median_of(length[usable])).mean())


def _second_runs(
    mask: Mask, first: NDArray[np.int64], length: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the longest run beside the longest one, as `longest_runs` does."""
    row = np.arange(mask.shape[0], dtype=np.int16)[:, None]
    first, length = first.astype(np.int16), length.astype(np.int16)
    return longest_runs(mask & ((row < first - ASIDE) | (row >= first + length + ASIDE)))


def crooked_share(
    mask: Mask, first: NDArray[np.int64], length: NDArray[np.int64], seen: Mask
) -> float:
    """Return the share of the band along which none of the objects side by side is a straight rope.

    Both ropes of a pair are straight and of constant width, and so is a rope beside which a strap
    ends; the legs of a shackle, the turns of a coil and the halves of a knot or a hook are not, or
    not for long. Which of two runs is the longer one may change from column to column, so they are
    identified by their order across the band.
    """
    other, second = _second_runs(mask, first, length)
    two = second > SECOND_SHARE * median_of(length[seen])
    least = 1.0
    for beyond in (other > first, other < first):
        swapped = two & beyond
        start, size = np.where(swapped, other, first), np.where(swapped, second, length)
        present = seen & (size > 0)
        middle = start + (size - 1) / 2
        column = np.arange(len(middle), dtype=float)
        slope, offset, keep = _straight_line(column, middle, present, len(mask))
        width = float(median_of(size[keep])) if keep.any() else 0.0
        off = np.abs(middle - slope * column - offset)
        straight = present & (off < UNLIKE_SHARE * width)
        straight &= np.abs(size - width) < 2 * UNLIKE_SHARE * width
        least = min(least, 1 - float(straight.sum() / seen.sum()))
    return least


def _straight_line(x: Array, y: Array, usable: Mask, height: float) -> tuple[float, float, Mask]:
    """Fit y = slope x + offset by repeated least squares without outliers (Huber's idea)."""
    keep = usable.copy()
    slope, offset = 0.0, float(median_of(y[keep]))
    for _ in range(12):
        slope, offset = np.polyfit(x[keep], y[keep], 1)
        off = y - slope * x - offset
        scatter = scatter_of(off[keep])
        now = usable & (np.abs(off) < max(3 * scatter, 0.015 * height))
        if now.sum() < 10 or bool((now == keep).all()):
            break
        keep = now
    return float(slope), float(offset), keep


def _spot(camera: Camera) -> tuple[float, float]:
    x, y = project_mm(camera, np.zeros((1, 3)))[0]
    return (float(x), float(y))


def to_height(axis: Axis, camera: Camera, height_mm: float) -> tuple[Array, float]:
    """Return a point of the axis, and the rope's width, in a plane above the card.

    A point that covers a place on the card lies on the line from that place to the camera.
    """
    eye = camera_centre_mm(camera)
    share = (eye[2] - height_mm) / eye[2]
    return eye[:2] + (axis.at_mm - eye[:2]) * share, axis.width_mm * float(share)
