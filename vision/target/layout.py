"""The printed card as data: one definition for the PDF, the detector and the tests.

The card lies in its own frame: origin in the middle of the page, x right along the rope, y up
across it, z towards the camera, mm. From the middle outwards: the clear band that the rope
lies on, and on each side of it a strip of chess squares. Every white square of a strip holds a
fiducial marker (open ArUco dictionary of 5 x 5 bits, 1,000 words); the corners where four
squares meet are what the pose is taken from, because a saddle keeps its place under blur.

Three kinds of marker share the strips, each repeated so that a third may be covered:

=============  ==========  ==================================================
kind           words       says
=============  ==========  ==================================================
place          0 to 99     which square: 50 x strip + column
layout         100 to 149  100 + index of the layout in `LAYOUTS`
card number    150 to 999  150 + number; station and view follow from it
=============  ==========  ==================================================

Which marker and which corner stands where on a card: the chequered strips as data.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Ink = Literal["blue", "black", "white"]
BandMm = tuple[float, float, float, float]

PAGE_MARGIN_MM = 5.0  # most desk printers leave 4 to 4.5 mm white (common practice, no source)
BAR_ZONE_MM = 9.0  # width at the right end for the bar across
STRIP_ROWS = 2
MARKER_SHARE = 0.75  # side of a marker over side of its square: a quiet zone of 1/8 all round
CLEAR_BAND_RATIO = 2.2  # band over rope: room for a tilt of 35 degrees and a raised axis
LAYOUT_WORD, NUMBER_WORD, LAST_WORD = 100, 150, 999
LAST_NUMBER = LAST_WORD - NUMBER_WORD

PAPERS_MM: dict[str, tuple[float, float]] = {
    "A6": (105.0, 148.0),  # ISO 216
    "A5": (148.0, 210.0),
    "A4": (210.0, 297.0),
    "Letter": (215.9, 279.4),  # ANSI/ASME Y14.1, size A
}

# Deep blue shifts the seen edge of bright wires least (design table: -0.15 px on zinc,
# -0.6 px on near-mirror wires; magenta -0.2 and -1.9). Black and white are for printers
# without colour: black for bright and rusty ropes, white for dark greased ones.
INK_RGB: dict[Ink, tuple[float, float, float]] = {
    "blue": (0.10, 0.21, 0.69),
    "black": (0.0, 0.0, 0.0),
    "white": (1.0, 1.0, 1.0),
}


@dataclass(frozen=True, slots=True)
class Layout:
    """Where everything stands on a card of one paper size and one range of ropes.

    Parameters
    ----------
    name : str
        Paper and size, e.g. ``"A5 middle"``.
    paper : str
        Key of `PAPERS_MM`.
    width_mm, height_mm : float
        Page as it is printed, the rope running along the width.
    band_mm : float
        Height of the clear band, mm.
    square_mm : float
        Side of a chess square, mm.
    """

    name: str
    paper: str
    width_mm: float
    height_mm: float
    band_mm: float
    square_mm: float

    @property
    def columns(self) -> int:
        """Number of chess columns in a strip."""
        free = self.width_mm - 2 * PAGE_MARGIN_MM - BAR_ZONE_MM
        return int(free / self.square_mm)

    @property
    def length_mm(self) -> float:
        """Length of band and strips along the rope, mm."""
        return self.columns * self.square_mm

    @property
    def marker_mm(self) -> float:
        """Side of a marker, mm."""
        return MARKER_SHARE * self.square_mm

    @property
    def rope_max_mm(self) -> float:
        """Thickest rope that the clear band is wide enough for, mm."""
        return self.band_mm / CLEAR_BAND_RATIO

    @property
    def half_height_mm(self) -> float:
        """Distance from the middle to the outer edge of the strips, mm."""
        return self.band_mm / 2 + STRIP_ROWS * self.square_mm

    @property
    def band_box_mm(self) -> BandMm:
        """The clear band as (x0, y0, x1, y1), mm."""
        return (-self.length_mm / 2, -self.band_mm / 2, self.length_mm / 2, self.band_mm / 2)

    @property
    def along_bar_mm(self) -> float:
        """Stated length of the print-check bar along the rope, mm."""
        return 10.0 * int(self.length_mm / 10.0)

    @property
    def across_bar_mm(self) -> float:
        """Stated length of the print-check bar across the rope, mm."""
        return 10.0 * int(2 * self.half_height_mm / 10.0)


def _landscape(name: str, paper: str, band_mm: float, square_mm: float) -> Layout:
    short, long = PAPERS_MM[paper]
    return Layout(f"{paper} {name}", paper, long, short, band_mm, square_mm)


def _portrait(name: str, paper: str, band_mm: float, square_mm: float) -> Layout:
    short, long = PAPERS_MM[paper]
    return Layout(f"{paper} {name}", paper, short, long, band_mm, square_mm)


# The order is the layout's word on the paper: append, never reorder.
LAYOUTS: tuple[Layout, ...] = (
    _landscape("thin", "A6", 24.2, 11.0),
    _landscape("middle", "A6", 35.2, 8.9),
    _portrait("thick", "A6", 77.0, 9.0),
    _landscape("thin", "A5", 35.2, 18.0),
    _landscape("middle", "A5", 61.6, 13.0),
    _portrait("thick", "A5", 123.2, 13.0),
    _landscape("thin", "A4", 48.4, 22.0),
    _landscape("middle", "A4", 99.0, 19.0),
    _portrait("thick", "A4", 176.0, 20.0),
    _landscape("thin", "Letter", 48.4, 22.0),
    _landscape("middle", "Letter", 101.2, 19.0),
    _portrait("thick", "Letter", 169.4, 18.0),
)


def layout_named(name: str) -> Layout:
    """Return the layout with this name, e.g. ``"A5 middle"``.

    Raises
    ------
    ValueError
        If there is none.
    """
    for layout in LAYOUTS:
        if layout.name.lower() == name.lower():
            return layout
    raise ValueError(
        f"no card layout is called {name!r}; there are: {', '.join(x.name for x in LAYOUTS)}."
    )


def layout_for(rope_mm: float, paper: str) -> Layout:
    """Return the layout of `paper` with the narrowest band that still suits the rope.

    A narrow band leaves room for large squares, which are found from farther away.

    Raises
    ------
    ValueError
        If the rope or the paper is not one that a card exists for; the message names the
        smallest paper that would do.
    """
    papers = {name.lower(): name for name in PAPERS_MM}
    if paper.lower() not in papers:
        raise ValueError(f"paper {paper!r} is not one of {', '.join(PAPERS_MM)}.")
    if not rope_mm > 0:
        raise ValueError(f"the rope's diameter must be more than 0 mm; got {rope_mm:g}.")
    fitting = [layout for layout in LAYOUTS if layout.rope_max_mm >= rope_mm - 1e-9]
    here = [layout for layout in fitting if layout.paper == papers[paper.lower()]]
    if here:
        return min(here, key=lambda layout: layout.band_mm)
    if not fitting:
        widest = max(LAYOUTS, key=lambda layout: layout.band_mm)
        raise ValueError(
            f"no card holds a rope of {rope_mm:g} mm; the widest, {widest.name}, "
            f"is for ropes to {widest.rope_max_mm:g} mm."
        )
    smallest = min(fitting, key=lambda layout: layout.width_mm * layout.height_mm)
    raise ValueError(
        f"{papers[paper.lower()]} cannot hold a rope of {rope_mm:g} mm: its clear band must be "
        f"{CLEAR_BAND_RATIO:g} times as wide; take paper {smallest.paper}."
    )


@dataclass(frozen=True, slots=True)
class Card:
    """One printed card: which layout, which number, and how true its print is.

    Parameters
    ----------
    layout : Layout
        Where everything stands.
    number : int or None
        Card number, 0 to `LAST_NUMBER`; None where it could not be read.
    scale_x, scale_y : float
        True length over drawn length along and across the rope.
    u_scale_x, u_scale_y : float
        Their standard uncertainties; 0.01 for a print that nobody checked.
    print_set : str
        Name of the checked card set; empty if unchecked.
    """

    layout: Layout
    number: int | None = None
    scale_x: float = 1.0
    scale_y: float = 1.0
    u_scale_x: float = 0.01
    u_scale_y: float = 0.01
    print_set: str = ""

    @property
    def station(self) -> int | None:
        """Station number, from 1."""
        return None if self.number is None else self.number // 2 + 1

    @property
    def view_deg(self) -> int | None:
        """Viewing direction, 0 or 90 degrees."""
        return None if self.number is None else 90 * (self.number % 2)

    def numbered(self, number: int | None) -> Card:
        """Return the same card with another number."""
        return replace(self, number=number)

    def true_mm(self, drawn_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return drawn points (..., 2 or 3), mm, as they really lie on the paper."""
        scale = np.ones(drawn_mm.shape[-1])
        scale[0], scale[1] = self.scale_x, self.scale_y
        return drawn_mm * scale


def card_number(station: int, view_deg: int) -> int:
    """Return the number of the card for a station (from 1) and a view (0 or 90 degrees).

    Raises
    ------
    ValueError
        If the station or the view has no card.

    Examples
    --------
    >>> card_number(1, 0), card_number(1, 90), card_number(4, 90)
    (0, 1, 7)
    """
    last = LAST_NUMBER // 2
    if not 1 <= station <= last:
        raise ValueError(f"station must be 1 to {last}; got {station}.")
    if view_deg not in (0, 90):
        raise ValueError(f"view must be 0 or 90 degrees; got {view_deg}.")
    return 2 * (station - 1) + view_deg // 90


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
