"""What to draw on the photograph: outline, crown lines, station and card, in px."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.camera import project_mm
from vision.card import Card
from vision.edges import Outline
from vision.estimate import Marks, PointPx
from vision.jaw_lines import JawLines
from vision.strip import points_mm

Array = NDArray[np.float64]

MARKED_POINTS = 160  # outline points kept for drawing, per side


def marks_of(theta: Array, card: Card, outline: Outline, lines: JawLines) -> Marks:
    """Return what to draw of one measurement, rounded to a hundredth of a pixel."""
    sides = []
    for edge, sign in ((outline.left, 1.0), (outline.right, -1.0)):
        sure = np.flatnonzero(np.isfinite(edge.outward_mm))
        kept = sure[:: max(1, len(sure) // MARKED_POINTS)]
        sides.append(
            _pairs(
                project_mm(
                    theta,
                    points_mm(
                        edge.along_mm[kept],
                        sign * edge.outward_mm[kept],
                        outline.origin_mm,
                        outline.direction,
                        outline.height_mm,
                    ),
                )
            )
        )
    x, y = card.layout.length_mm / 2, card.layout.half_height_mm
    corners = np.array([[-x, y, 0], [x, y, 0], [x, -y, 0], [-x, -y, 0]])
    middle = np.array([[*outline.origin_mm, outline.height_mm]])
    left, right = _pairs(lines.left_px), _pairs(lines.right_px)
    return Marks(
        left_px=sides[0],
        right_px=sides[1],
        crown_left_px=(left[0], left[1]),
        crown_right_px=(right[0], right[1]),
        station_px=_pairs(project_mm(theta, middle))[0],
        card_px=_pairs(project_mm(theta, card.true_mm(corners))),
    )


def _pairs(points: Array) -> tuple[PointPx, ...]:
    return tuple((round(float(x), 2), round(float(y), 2)) for x, y in points)
