"""Draw a measurement without the card: the rule's marks as they were found, and the object."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from vision.archive import Answer
from vision.overlay import CARD, OUTLINE, draw_results
from vision.rule import SPACINGS_MM

SHAPES = ("circle", "square", "cross")  # one for each row of marks, so that not colour alone tells


def draw_answer(pixels: NDArray[np.uint8], answer: Answer) -> NDArray[np.uint8]:
    """Return a copy of the photograph with the rule's marks and the object's edges drawn.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    answer : Answer
        What was measured in it.
    """
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
