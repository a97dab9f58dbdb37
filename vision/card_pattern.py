"""Which marker and which corner stands where on a card: the chequered strips as data."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from vision.card import LAYOUT_WORD, LAYOUTS, NUMBER_WORD, BandMm, Layout


@cache
def marker_words(layout: Layout, number: int) -> tuple[tuple[int, int, int], ...]:
    """Return every marker of a card as (strip, column, word).

    Strip 0 is the upper one. In each run of five columns the second says the layout and the
    fourth the card number; the rest say their place.
    """
    words = []
    layout_word = LAYOUT_WORD + LAYOUTS.index(layout)
    for strip in (0, 1):
        for column in range(layout.columns):
            word = 50 * strip + column
            if column % 5 == 1:
                word = layout_word
            elif column % 5 == 3:
                word = NUMBER_WORD + number
            words.append((strip, column, word))
    return tuple(words)


def square_mm(layout: Layout, strip: int, row: int, column: int) -> BandMm:
    """Return one chess square as (x0, y0, x1, y1), mm; row 0 is the upper row of its strip."""
    side = layout.square_mm
    top = layout.half_height_mm if strip == 0 else -layout.band_mm / 2
    x0 = -layout.length_mm / 2 + column * side
    y1 = top - row * side
    return (x0, y1 - side, x0 + side, y1)


def marker_row(strip: int, column: int) -> int:
    """Return the row of the white square, the one with the marker, in a strip's column."""
    return (strip + column) % 2


@cache
def marker_box_mm(layout: Layout, strip: int, column: int) -> BandMm:
    """Return a marker as (x0, y0, x1, y1), mm."""
    x0, y0, x1, y1 = square_mm(layout, strip, marker_row(strip, column), column)
    quiet = (layout.square_mm - layout.marker_mm) / 2
    return (x0 + quiet, y0 + quiet, x1 - quiet, y1 - quiet)


def marker_corners_mm(layout: Layout, strip: int, column: int) -> NDArray[np.float64]:
    """Return a marker's corners (4, 2), mm, in the detector's order.

    Upper left, upper right, lower right, lower left, as printed.
    """
    x0, y0, x1, y1 = marker_box_mm(layout, strip, column)
    return np.array([[x0, y1], [x1, y1], [x1, y0], [x0, y0]])


@cache
def _chess_corners(layout: Layout) -> NDArray[np.float64]:
    x = -layout.length_mm / 2 + layout.square_mm * np.arange(1, layout.columns)
    y = layout.band_mm / 2 + layout.square_mm
    corners = np.concatenate([np.stack([x, np.full_like(x, s * y)], axis=1) for s in (1, -1)])
    corners.flags.writeable = False
    return corners


def chess_corners_mm(layout: Layout) -> NDArray[np.float64]:
    """Return the chess corners (2 * (columns - 1), 2), mm: upper strip first, left to right."""
    return _chess_corners(layout)
