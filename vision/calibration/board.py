"""The calibration board, a chequered page with markers: its design, its PDF, and its detection.

It has eleven by seven squares on every paper size, with a marker of an open dictionary in each
white square (a ChArUco board). The unit of length is the *square*: a camera's parameters depend
only on the board's shape and not on its size, so paper size and print scale need not be known. All
that matters is whether the printer stretched the page more one way than the other
(`vision.calibration.adjustment` fits that, too).

The dictionary (4 x 4 bits) differs from that of the cards, so that the two can't be confused.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.target.layout import PAPERS_MM, BandMm

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

COLUMNS, ROWS = 11, 7
MARKER_SHARE = 0.75
SIDE_MM, FOOT_MM = 8.0, 18.0  # white margins: at each side, and below for the text
DICTIONARY = cv2.aruco.DICT_4X4_50
LOOK_PX = (1600, 3200)  # long sides at which markers are searched for
LEAST_CORNERS = 12  # of 60 that a photograph must show
REFINE_SHARE = 0.10  # half the refinement window over a square's side: stops short of the marker


@dataclass(frozen=True, slots=True, eq=False)
class FoundBoard:
    """A board's corners in a photograph.

    Parameters
    ----------
    corners : ndarray of shape (N, 2)
        As drawn, in squares from the board's middle, x right and y up.
    corners_px : ndarray of shape (N, 2)
        In the photograph, px.
    """

    corners: Array
    corners_px: Array


def square_side_mm(paper: str) -> float:
    """Return the side of a square on a paper, mm (a whole number).

    Parameters
    ----------
    paper : str
        Size of the page, "A4" or "Letter".

    Raises
    ------
    ValueError
        If there is no such paper.

    Examples
    --------
    >>> [square_side_mm(paper) for paper in ("A4", "Letter", "A5", "A6")]
    [25.0, 23.0, 17.0, 11.0]
    """
    if paper not in PAPERS_MM:
        raise ValueError(f"paper {paper!r} is not one of {', '.join(PAPERS_MM)}.")
    short, long = PAPERS_MM[paper]
    return float(int(min((long - 2 * SIDE_MM) / COLUMNS, (short - SIDE_MM - FOOT_MM) / ROWS)))


def _black_boxes() -> Iterator[BandMm]:
    """Yield the black areas as (x0, y0, x1, y1), in squares from the middle, y up."""
    words = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    number, edge = 0, (1 - MARKER_SHARE) / 2
    bit = MARKER_SHARE / 6  # 4 bits and the marker's black rim
    for row in range(ROWS):
        for column in range(COLUMNS):
            x, y = column - COLUMNS / 2, ROWS / 2 - row - 1
            if (row + column) % 2 == 0:
                yield (x, y, x + 1, y + 1)
                continue
            dark = np.asarray(cv2.aruco.generateImageMarker(words, number, 6)) == 0
            number += 1
            for i, j in zip(*np.nonzero(dark), strict=True):
                x0, y1 = x + edge + float(j) * bit, y + 1 - edge - float(i) * bit
                yield (x0, y1 - bit, x0 + bit, y1)


def board_pdf(paper: str) -> bytes:
    """Return the board as a PDF page, vector graphics only and true to size.

    Parameters
    ----------
    paper : str
        Size of the page, "A4" or "Letter".

    Raises
    ------
    ValueError
        If there is no such paper.

    Examples
    --------
    >>> board_pdf("A4")[:5]
    b'%PDF-'
    """
    from reportlab.lib.units import mm
    from reportlab.pdfgen.canvas import Canvas

    side = square_side_mm(paper)
    short, long = PAPERS_MM[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(long * mm, short * mm), invariant=True, pageCompression=1)
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setTitle(f"Calibration board, {paper}")
    canvas.setSubject("Print at 100 %, never fit to page.")
    canvas.setAuthor("")
    canvas.setCreator("")
    middle = FOOT_MM + (short - SIDE_MM - FOOT_MM) / 2
    path = canvas.beginPath()  # one path, so that there is no hairline between neighbours
    for x0, y0, x1, y1 in _black_boxes():
        path.rect(
            (long / 2 + x0 * side) * mm,
            (middle + y0 * side) * mm,
            (x1 - x0) * side * mm,
            (y1 - y0) * side * mm,
        )
    canvas.drawPath(path, stroke=0, fill=1)
    size = min(8.5, 8.5 * long / 297)
    words = (
        "Calibration board. Glue it to something flat and stiff. Take 12 photographs without "
        "zoom: from the front and tilted by",
        "20 to 40 degrees each way, some with the phone upright, the board in the middle and in "
        "every corner, filling the picture.",
        f"Then measure the chequered field with a caliper or rule. Along: {COLUMNS * side:g} mm, "
        f"read: ________ mm.  Across: {ROWS * side:g} mm, read: ________ mm.",
    )
    canvas.setFont("Helvetica", size)
    left, top = (long - COLUMNS * side) / 2, middle - ROWS * side / 2 - 1.5
    for line, text in enumerate(words, start=1):
        canvas.drawString(left * mm, top * mm - 1.25 * line * size, text)
    canvas.save()
    return buffer.getvalue()


def find_board(grey: Grey) -> FoundBoard | None:
    """Return the board's corners in a photograph; None where fewer than 12 are found.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The photograph in grey.

    Notes
    -----
    Markers are found in a smaller picture and identify the corners; each corner is then refined in
    the photograph itself by the gradient method of Förstner and Gülch (1987), as implemented in
    OpenCV's `cornerSubPix`. A saddle point does not shift under blur and lens distortion.
    """
    words = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    board = cv2.aruco.CharucoBoard((COLUMNS, ROWS), 1.0, MARKER_SHARE, words)
    detector = cv2.aruco.CharucoDetector(board)
    for long_side in LOOK_PX:
        scale = min(1.0, long_side / max(grey.shape))
        small = (
            grey
            if scale == 1.0
            else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        )
        corners, names, _, _ = detector.detectBoard(small)
        if names is not None and len(names) >= LEAST_CORNERS:
            # resizing preserves the picture's outer edges, so pixel centres shift by half a step
            rough = np.asarray(corners, float).reshape(-1, 2) / scale + 0.5 / scale - 0.5
            return _refined(grey, np.asarray(names, np.int32).ravel(), rough)
    return None


def _refined(grey: Grey, names: NDArray[np.int32], rough: Array) -> FoundBoard | None:
    row, column = names // (COLUMNS - 1), names % (COLUMNS - 1)
    drawn = np.column_stack([column + 1 - COLUMNS / 2, ROWS / 2 - row - 1])
    near = np.linalg.norm(drawn[:, None] - drawn, axis=2) == 1
    distances = np.linalg.norm(rough[:, None] - rough, axis=2)
    side = (
        float(np.percentile(distances[near], 5)) if near.any() else 20.0
    )  # where squares look smallest
    half = int(np.clip(REFINE_SHARE * side, 2, 11))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.002)
    points = rough.astype(np.float32).reshape(-1, 1, 2)
    refined = cv2.cornerSubPix(grey, points.copy(), (half, half), (-1, -1), stop).reshape(-1, 2)
    # a corner that moves far from the position given by the markers was covered or in glare
    steady = np.linalg.norm(refined - rough, axis=1) < max(2.0, 0.12 * side)
    if steady.sum() < LEAST_CORNERS:
        return None
    return FoundBoard(drawn[steady], refined[steady].astype(float))
