"""What is printed on a card, as data: stripes, squares, bars, graduations, pointers, text boxes.

Everything is in the card's frame (see `vision.target.layout`), mm, so that the PDF, the reading of
the card's own graduations and the tests share one definition.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.runs import runs_of
from vision.target.layout import (
    PAGE_MARGIN_MM,
    STRIP_ROWS,
    BandMm,
    Layout,
    marker_box_mm,
    marker_row,
    square_mm,
    stripe_phase,
)

SegmentMm = tuple[float, float, float, float]
PolygonMm = tuple[tuple[float, float], ...]

MARKER_CELLS = 7  # 5 x 5 bits and a black border of one cell
DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)

# Distances from the strips' outer edge, mm. Only the pointer's tip is closer than the first one:
# the outer markers need white around them.
QUIET_MM = 1.4
TICK_MM = {1: 1.2, 5: 1.9, 10: 2.6}
NUMBER_TOP_MM = 4.4  # top of the graduation numbers
BAR_TOP_MM = 7.2
BAR_WIDTH_MM = 1.2
LABEL_TOP_MM = 9.3
STRAP_GAP_MM = 1.8
STRAP_LENGTH_MM = 12.0
LINE_MM = 0.15


@dataclass(frozen=True, slots=True)
class Tick:
    """One graduation: a bar of width `LINE_MM` centred on `at_mm`, numbered or not.

    Parameters
    ----------
    at_mm : float
        Place along the card, mm from its middle: the value that ``--at`` takes.
    box_mm : (x0, y0, x1, y1)
        The printed bar, mm.
    number : str
        Number beside it; empty for most.
    """

    at_mm: int
    box_mm: BandMm
    number: str = ""


def bar_along_mm(layout: Layout) -> BandMm:
    """Return the print-check bar along the rope as (x0, y0, x1, y1), mm."""
    half = layout.along_bar_mm / 2
    top = -layout.half_height_mm - BAR_TOP_MM
    return (-half, top - BAR_WIDTH_MM, half, top)


def bar_across_mm(layout: Layout) -> BandMm:
    """Return the print-check bar across the rope as (x0, y0, x1, y1), mm."""
    half = layout.across_bar_mm / 2
    x0 = layout.length_mm / 2 + QUIET_MM
    return (x0, -half, x0 + BAR_WIDTH_MM, half)


def graduations(layout: Layout) -> tuple[Tick, ...]:
    """Return the millimetre graduations under the lower strip, from left to right.

    Examples
    --------
    >>> from vision.target.layout import layout_named
    >>> ticks = graduations(layout_named("A6 thin"))
    >>> [tick.number for tick in ticks if tick.number][:3], len(ticks)
    (['-60', '-50', '-40'], 121)
    """
    last = int(layout.length_mm / 2)
    top = -layout.half_height_mm - QUIET_MM
    ticks = []
    for at in range(-last, last + 1):
        size = 10 if at % 10 == 0 else 5 if at % 5 == 0 else 1
        box = (at - LINE_MM / 2, top - TICK_MM[size], at + LINE_MM / 2, top)
        ticks.append(Tick(at, box, str(at) if size == 10 else ""))
    return tuple(ticks)


def pointers_mm(layout: Layout) -> tuple[PolygonMm, PolygonMm]:
    """Return the two triangles that point at the station (x = 0), upper and lower, mm.

    The upper one is above the upper strip; the lower one is below the graduation's zero.
    """
    upper = layout.half_height_mm + 0.7
    lower = -layout.half_height_mm - QUIET_MM - TICK_MM[10]
    return (
        ((0.0, upper), (1.4, upper + 2.6), (-1.4, upper + 2.6)),
        ((0.0, lower), (1.0, lower - 1.8), (-1.0, lower - 1.8)),
    )


def strap_marks_mm(layout: Layout) -> tuple[SegmentMm, ...]:
    """Return the dashed lines between which there must be no strap, as (x0, y0, x1, y1), mm.

    One in each corner: a strap round rope and card goes outside them, at the card's ends,
    where it covers neither the strips nor the band.
    """
    x = layout.length_mm / 2 + STRAP_GAP_MM
    near = layout.half_height_mm + QUIET_MM
    far = min(layout.height_mm / 2 - PAGE_MARGIN_MM, near + STRAP_LENGTH_MM)
    return tuple((i * x, j * near, i * x, j * far) for i in (-1, 1) for j in (1, -1))


def text_columns_mm(layout: Layout) -> tuple[BandMm, BandMm]:
    """Return the two text boxes above the strips, left and right of the pointer, mm."""
    half, low = layout.length_mm / 2, layout.half_height_mm + QUIET_MM
    high = layout.height_mm / 2 - PAGE_MARGIN_MM
    return ((-half, low, -2.4, high), (2.4, low, half, high))


def stripes_mm(layout: Layout) -> tuple[PolygonMm, ...]:
    """Return the black stripes as convex polygons, clipped to the box that they fill, mm.

    An old card has none.
    """
    if not layout.stripe_mm:
        return ()
    x0, y0, x1, y1 = layout.stripe_box_mm
    box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    periods = stripe_phase(layout, box) / (2 * np.pi)
    stripes = []
    for period in range(math.floor(periods.min()), math.ceil(periods.max())):
        # black is the second half of each period
        stripe = _clipped(box, periods - (period + 0.5))
        stripe = _clipped(stripe, period + 1 - stripe_phase(layout, stripe) / (2 * np.pi))
        if len(stripe):
            stripes.append(tuple((x, y) for x, y in stripe.tolist()))
    return tuple(stripes)


def _clipped(polygon: NDArray[np.float64], inside: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the part of a convex polygon (N, 2) in which a linear function is positive.

    `inside` (N,) holds the function's values at the corners.
    """
    corners = []
    for corner, following, a, b in zip(
        polygon, np.roll(polygon, -1, axis=0), inside, np.roll(inside, -1), strict=True
    ):
        if a > 0:
            corners.append(corner)
        if a * b < 0:
            corners.append(corner + (following - corner) * a / (a - b))
    return np.array(corners).reshape(-1, 2)


def black_squares_mm(layout: Layout) -> tuple[BandMm, ...]:
    """Return the black chess squares as (x0, y0, x1, y1), mm."""
    return tuple(
        square_mm(layout, strip, row, column)
        for strip in (0, 1)
        for column in range(layout.columns)
        for row in range(STRIP_ROWS)
        if row != marker_row(strip, column)
    )


def _marker_cells(word: int) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """Return a marker's cells (7, 7), True where black, row 0 at the top."""
    image = cv2.aruco.generateImageMarker(DICTIONARY, word, MARKER_CELLS, borderBits=1)
    cells: np.ndarray[tuple[int, int], np.dtype[np.bool_]] = image < 128
    return cells


def marker_runs_mm(layout: Layout, strip: int, column: int, word: int) -> tuple[BandMm, ...]:
    """Return a marker's black as boxes (x0, y0, x1, y1), mm, one for each run of cells in a row."""
    left, _, _, top = marker_box_mm(layout, strip, column)
    cell = layout.marker_mm / MARKER_CELLS
    runs = []
    for row, line in enumerate(_marker_cells(word)):
        for start, stop in runs_of(line).tolist():
            y1 = top - row * cell
            runs.append((left + start * cell, y1 - cell, left + stop * cell, y1))
    return tuple(runs)
