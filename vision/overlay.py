"""Draw a measurement on the photograph: edges, crown lines, jaws and the figure.

The picture lets a person check the measurement and disagree with it: the traced outline is drawn
point by point, the jaws as the lines that the figure is computed from. Colour is never the only
distinction: the outline is dotted, the jaws are solid with end ticks, the card is dashed.

For a measurement without the card, the rule's detected marks and the object are drawn.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from vision.results import Estimate, Marks, PointPx, Refusal, Result

if TYPE_CHECKING:
    from vision.scale_rule.measure import ScaledResult

# Okabe and Ito's palette (2008), distinguishable with any kind of colour vision
OUTLINE, JAW, CARD, TEXT, SHADE = "#E69F00", "#F0E442", "#56B4E9", "#FFFFFF", "#000000"
SMALLEST_LETTERS = 8  # px


def draw_results(
    pixels: NDArray[np.uint8],
    results: tuple[Result, ...],
    *,
    caption: bool = True,
    weight: float = 1.0,
) -> NDArray[np.uint8]:
    """Return a copy of the photograph with the results drawn on it.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    results : tuple of Estimate or Refusal
        The results measured in it.
    caption : bool, optional
        Whether to write the figures in the corner; not needed if they are beside the picture.
    weight : float, optional
        Factor for the thickness of lines and dots, for a picture that is shown small.

    Returns
    -------
    ndarray of shape (H, W, 3), uint8
        The picture, RGB.
    """
    picture = Image.fromarray(pixels.copy())
    draw = ImageDraw.Draw(picture)
    unit = max(picture.size) / 1000  # line widths and letters scale with the picture
    for result in results:
        if isinstance(result, Estimate) and result.marks is not None:
            _draw_marks(draw, result.marks, weight * unit)
    if not caption:
        return np.asarray(picture)
    lines = [line for result in results for line in _caption(result)]
    _draw_caption(draw, lines, unit, picture.size[0])
    return np.asarray(picture)


def _draw_marks(draw: ImageDraw.ImageDraw, marks: Marks, unit: float) -> None:
    corners = [*marks.card_px, marks.card_px[0]]
    for begin, end in itertools.pairwise(corners):
        _dashed(draw, begin, end, 12 * unit, CARD, round(1.5 * unit))
    for side in (marks.left_px, marks.right_px):
        r = 1.1 * unit
        for x, y in side:
            draw.ellipse((x - r, y - r, x + r, y + r), fill=OUTLINE)
    for line in (marks.crown_left_px, marks.crown_right_px):
        _solid(draw, *line, SHADE, round(4 * unit))
        _solid(draw, *line, JAW, round(2 * unit))
    _ticks(draw, marks, unit)


def _ticks(draw: ImageDraw.ImageDraw, marks: Marks, unit: float) -> None:
    """Draw the jaws' ends, and the distance between them at the station."""
    middles = []
    for line, other in (
        (marks.crown_left_px, marks.crown_right_px),
        (marks.crown_right_px, marks.crown_left_px),
    ):
        middle, opposite = np.mean(line, axis=0), np.mean(other, axis=0)
        out = (middle - opposite) / max(float(np.linalg.norm(middle - opposite)), 1e-6)
        for end in line:
            tip = np.array(end) + 14 * unit * out
            _solid(draw, end, (float(tip[0]), float(tip[1])), JAW, round(2 * unit))
        middles.append((float(middle[0]), float(middle[1])))
    _dashed(draw, middles[0], middles[1], 6 * unit, TEXT, max(1, round(unit)))


def _caption(result: Result) -> list[str]:
    place = result.photo_name
    if result.station is not None:
        place = f"station {result.station}, {result.view_deg}°"
    if result.at_mm:
        place += f", at {result.at_mm:g} mm"
    if isinstance(result, Refusal):
        return [f"{place}: no diameter", *(finding.seen for finding in result.findings)]
    figure = f"{result.diameter_mm:.2f} mm ± {result.expanded_mm():.2f} mm (k = 2)"
    crowns = (
        f"jaws {result.jaw_mm:.0f} mm, {result.crowns} crowns"
        if result.crowns
        else (f"jaws {result.jaw_mm:.0f} mm, smooth")
    )
    return [f"{place}: {figure}", f"{crowns}, {result.px_per_mm:.1f} px/mm"]


def _draw_caption(draw: ImageDraw.ImageDraw, lines: list[str], unit: float, width: int) -> None:
    size = max(round(20 * unit), SMALLEST_LETTERS)
    font = ImageFont.load_default(size)
    margin = 12 * unit
    wrapped = [part for line in lines for part in _wrapped(draw, line, font, width - 2 * margin)]
    for i, line in enumerate(wrapped):
        draw.text(
            (margin, 10 * unit + i * 1.35 * size),
            line,
            font=font,
            fill=TEXT,
            stroke_width=max(1, round(2 * unit)),
            stroke_fill=SHADE,
        )


def _wrapped(
    draw: ImageDraw.ImageDraw,
    line: str,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
    width: float,
) -> list[str]:
    """Break a line between words, or within a word that is too long, to fit a width in px."""
    parts, rest = [], line
    while rest:
        end = len(rest)
        while end > 1 and draw.textlength(rest[:end], font=font) > width:
            space = rest.rfind(" ", 0, end)
            end = space if space > 0 else end - 1
        parts.append(rest[:end])
        rest = rest[end:].lstrip()
    return parts


def _solid(
    draw: ImageDraw.ImageDraw, begin: PointPx, end: PointPx, colour: str, width: int
) -> None:
    draw.line((begin[0], begin[1], end[0], end[1]), fill=colour, width=max(1, width))


def _dashed(
    draw: ImageDraw.ImageDraw, begin: PointPx, end: PointPx, dash: float, colour: str, width: int
) -> None:
    a, b = np.array(begin), np.array(end)
    count = max(1, int(np.linalg.norm(b - a) / dash))
    for i in range(0, count, 2):
        p, q = a + (b - a) * i / count, a + (b - a) * min(1.0, (i + 1) / count)
        _solid(draw, (p[0], p[1]), (q[0], q[1]), colour, width)


SHAPES = (
    "circle",
    "square",
    "cross",
)  # of the marks in each row: not distinguished by colour alone


def draw_scaled_result(pixels: NDArray[np.uint8], answer: ScaledResult) -> NDArray[np.uint8]:
    """Return a copy of the photograph with the rule's marks and the object's edges drawn.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    answer : ScaledResult
        The measurement in it.
    """
    from vision.scale_rule.graduations import SPACINGS_MM  # the pages start without it

    picture = Image.fromarray(draw_results(pixels, (answer.result,)))
    if answer.scale is None:
        return np.asarray(picture)
    draw = ImageDraw.Draw(picture)
    r = max(1.5, 1.6 * max(picture.size) / 1000)
    rows = sorted(answer.scale.face.rows, key=lambda row: SPACINGS_MM[row.name])
    for i, row in enumerate(rows):
        for x, y in row.points_px:
            _mark(draw, float(x), float(y), r, SHAPES[i % len(SHAPES)])
    return np.asarray(picture)


def _mark(draw: ImageDraw.ImageDraw, x: float, y: float, r: float, shape: str) -> None:
    box = (x - r, y - r, x + r, y + r)
    if shape == "circle":
        draw.ellipse(box, fill=OUTLINE)
    elif shape == "square":
        draw.rectangle(box, fill=CARD)
    else:
        draw.line((x - r, y - r, x + r, y + r), fill=OUTLINE, width=max(1, round(r / 2)))
        draw.line((x - r, y + r, x + r, y - r), fill=OUTLINE, width=max(1, round(r / 2)))
