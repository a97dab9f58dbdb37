"""The printed card as data: one definition for the PDF, the detector and the tests.

The card's frame has its origin in the middle of the page, x to the right along the rope, y up
across it and z towards the camera, in mm. From the middle outwards there is the band that the rope
lies on, filled with slanting black stripes, and on each side of it a strip of chess squares. The
stripes' position is known to a tenth of a pixel wherever paper is visible: where they end, the
rope begins. Every white square of a strip holds a fiducial marker (the open ArUco dictionary of
5 x 5 bits with 1,000 words). The pose is determined from the corners where four squares meet,
because a saddle point does not shift under blur.

Three kinds of marker share the strips, each repeated so that a third of them can be covered:

=============  ==========  ==================================================
kind           words       meaning
=============  ==========  ==================================================
place          0 to 99     which square: 50 x strip + column
layout         100 to 149  112 + index of the layout in `LAYOUTS`; 100 to 111 are old
                           cards, see `PLAIN_LAYOUTS`
card number    150 to 999  150 + number; station and view follow from it
=============  ==========  ==================================================

The position of every marker and corner on the strips is defined here too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

BandMm = tuple[float, float, float, float]

PAGE_MARGIN_MM = 5.0  # most desk printers leave 4 to 4.5 mm white (common practice, no source)
BAR_ZONE_MM = 9.0  # width reserved at the right end for the bar across
STRIP_ROWS = 2
MARKER_SHARE = 0.75  # side of a marker over side of its square: a quiet zone of 1/8 all round
CLEAR_BAND_RATIO = 2.2  # band over rope: allows for a tilt of 35 degrees and a raised axis
PLAIN_WORD, LAYOUT_WORD, NUMBER_WORD, LAST_WORD = 100, 112, 150, 999
LAST_NUMBER = LAST_WORD - NUMBER_WORD

# Wires of either hand and type of lay never appear to cross a rope this steeply. A shiny rope
# mirrors the paper straight outwards, so the stripes must also change fast across the rope.
STRIPE_DEG = 60.0
# 30 periods per band: 13.6 across the thickest rope, 10 px each where it is 136 px wide, and short
# enough along the rope to separate neighbouring crowns of 18 strands.
STRIPES_IN_BAND = 30
STRIPE_GAP_MM = 1.0  # white between stripes and chess squares: keeps stripes off their corners

PAPERS_MM: dict[str, tuple[float, float]] = {
    "A6": (105.0, 148.0),  # ISO 216
    "A5": (148.0, 210.0),
    "A4": (210.0, 297.0),
    "Letter": (215.9, 279.4),  # ANSI/ASME Y14.1, size A
}


@dataclass(frozen=True, slots=True)
class Layout:
    """The geometry of a card for one paper size and one range of rope diameters.

    Parameters
    ----------
    name : str
        Paper and size, e.g. ``"A5 middle"``.
    paper : str
        Key of `PAPERS_MM`.
    width_mm, height_mm : float
        Size of the page as printed, with the rope running along the width.
    band_mm : float
        Height of the band, mm.
    square_mm : float
        Side of a chess square, mm.
    stripe_mm : float
        Period of the stripes, measured at right angles to them, mm; 0 on an old card without any.
    stripe_deg : float
        Angle between stripes and rope, degrees; they run down to the right.
    """

    name: str
    paper: str
    width_mm: float
    height_mm: float
    band_mm: float
    square_mm: float
    stripe_mm: float = 0.0
    stripe_deg: float = STRIPE_DEG

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
        """Diameter of the thickest rope for which the band is wide enough, mm."""
        return self.band_mm / CLEAR_BAND_RATIO

    @property
    def half_height_mm(self) -> float:
        """Distance from the middle to the outer edge of the strips, mm."""
        return self.band_mm / 2 + STRIP_ROWS * self.square_mm

    @property
    def band_box_mm(self) -> BandMm:
        """The band as (x0, y0, x1, y1), mm."""
        return (-self.length_mm / 2, -self.band_mm / 2, self.length_mm / 2, self.band_mm / 2)

    @property
    def stripe_box_mm(self) -> BandMm:
        """The part of the band that the stripes fill, as (x0, y0, x1, y1), mm."""
        x0, y0, x1, y1 = self.band_box_mm
        return (x0, y0 + STRIPE_GAP_MM, x1, y1 - STRIPE_GAP_MM)

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
    stripe_mm = band_mm / STRIPES_IN_BAND
    return Layout(f"{paper} {name}", paper, long, short, band_mm, square_mm, stripe_mm)


def _portrait(name: str, paper: str, band_mm: float, square_mm: float) -> Layout:
    short, long = PAPERS_MM[paper]
    stripe_mm = band_mm / STRIPES_IN_BAND
    return Layout(f"{paper} {name}", paper, short, long, band_mm, square_mm, stripe_mm)


# The order determines the layout's word on the paper: append, never reorder.
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

# Cards from before the stripes, recognised so that the refusal can say what to print instead.
PLAIN_LAYOUTS: tuple[Layout, ...] = tuple(replace(layout, stripe_mm=0.0) for layout in LAYOUTS)
WORD_OF_LAYOUT: dict[Layout, int] = {
    layout: first + index
    for first, layouts in ((PLAIN_WORD, PLAIN_LAYOUTS), (LAYOUT_WORD, LAYOUTS))
    for index, layout in enumerate(layouts)
}
LAYOUT_OF_WORD: dict[int, Layout] = {word: layout for layout, word in WORD_OF_LAYOUT.items()}


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
        f"no card layout is called {name!r}; use one of {', '.join(x.name for x in LAYOUTS)}."
    )


def layout_for(rope_mm: float, paper: str) -> Layout:
    """Return the layout of `paper` with the narrowest band that still suits the rope.

    A narrow band leaves room for large squares, which can be detected from farther away.

    Parameters
    ----------
    rope_mm : float
        Diameter of the rope, mm.
    paper : {"A6", "A5", "A4", "Letter"}
        Paper in the printer.

    Returns
    -------
    Layout
        The layout; its `rope_max_mm` is the thickest rope it takes.

    Raises
    ------
    ValueError
        If there is no card for this rope or paper; the message names the smallest paper that is
        large enough.
    """
    papers = {name.lower(): name for name in PAPERS_MM}
    if paper.lower() not in papers:
        raise ValueError(f"paper {paper!r} is not one of {', '.join(PAPERS_MM)}.")
    if not rope_mm > 0:
        raise ValueError(f"the rope's diameter must be more than 0 mm; got {rope_mm:g} mm.")
    fitting = [layout for layout in LAYOUTS if layout.rope_max_mm >= rope_mm - 1e-9]
    here = [layout for layout in fitting if layout.paper == papers[paper.lower()]]
    if here:
        return min(here, key=lambda layout: layout.band_mm)
    if not fitting:
        widest = max(LAYOUTS, key=lambda layout: layout.band_mm)
        raise ValueError(
            f"no card is wide enough for a rope of {rope_mm:g} mm; the widest, {widest.name}, "
            f"is for ropes to {widest.rope_max_mm:g} mm."
        )
    smallest = min(fitting, key=lambda layout: layout.width_mm * layout.height_mm)
    raise ValueError(
        f"{papers[paper.lower()]} is too small for a rope of {rope_mm:g} mm: the band must be "
        f"{CLEAR_BAND_RATIO:g} times as wide as the rope; use {smallest.paper} paper."
    )


@dataclass(frozen=True, slots=True)
class Card:
    """One printed card: its layout, its number, and the true scale of its print.

    Parameters
    ----------
    layout : Layout
        The card's geometry.
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
        """Return the true positions on the paper of drawn points (..., 2 or 3), mm."""
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
        raise ValueError(f"the station must be 1 to {last}; got {station}.")
    if view_deg not in (0, 90):
        raise ValueError(f"the view must be 0 or 90 degrees; got {view_deg} degrees.")
    return 2 * (station - 1) + view_deg // 90


@cache
def marker_words(layout: Layout, number: int) -> tuple[tuple[int, int, int], ...]:
    """Return every marker of a card as (strip, column, word).

    Strip 0 is the upper one. In each group of five columns the second marker gives the layout and
    the fourth the card number; the others give their place.
    """
    words = []
    layout_word = WORD_OF_LAYOUT[layout]
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
    """Return the row of the white square, which holds the marker, in a strip's column."""
    return (strip + column) % 2


@cache
def marker_box_mm(layout: Layout, strip: int, column: int) -> BandMm:
    """Return a marker as (x0, y0, x1, y1), mm."""
    x0, y0, x1, y1 = square_mm(layout, strip, marker_row(strip, column), column)
    quiet = (layout.square_mm - layout.marker_mm) / 2
    return (x0 + quiet, y0 + quiet, x1 - quiet, y1 - quiet)


def marker_corners_mm(layout: Layout, strip: int, column: int) -> NDArray[np.float64]:
    """Return a marker's corners (4, 2), mm, in the detector's order.

    This is upper left, upper right, lower right, lower left, as printed.
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


def stripe_phase(layout: Layout, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the phase of the stripes at drawn points, radians.

    The paper is black where the sine of the phase is negative, and white elsewhere.

    Parameters
    ----------
    layout : Layout
        A layout with stripes.
    points_mm : ndarray of shape (..., 2)
        Points as drawn (x, y), mm.

    Returns
    -------
    phase : ndarray of shape (...)
        Radians, not wrapped; 0 in the card's middle.
    """
    angle = np.radians(layout.stripe_deg)
    x, y = points_mm[..., 0], points_mm[..., 1]
    phase: NDArray[np.float64] = (
        2 * np.pi * (x * np.sin(angle) + y * np.cos(angle)) / layout.stripe_mm
    )
    return phase
