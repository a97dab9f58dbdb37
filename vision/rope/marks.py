"""Positions in the photograph: where to look for the reason of a refusal, and what to draw.

The geometry to draw is the outline, the crown lines, the station and the card, in px.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, project_mm
from vision.medians import median_of
from vision.results import Marks, PointPx
from vision.rope.edge.outline import Edge, Outline, band_limits_mm
from vision.rope.jaw_lines import JawLines
from vision.rope.rectify import points_mm
from vision.runs import runs_of
from vision.target.layout import Card

Array = NDArray[np.float64]


def spot_of(code: str, camera: Camera, outline: Outline, card: Card) -> PointPx:
    """Return where to look for the reason of a refusal, px.

    Parameters
    ----------
    code : str
        Key of `vision.findings.REASONS`.
    camera : Camera
        Camera and card.
    outline : Outline
        The outline traced before the refusal.
    card : Card
        The card.

    Returns
    -------
    spot : (x, y)
        On the worse side: the middle of the longest gap if the outline was lost, or its middle if
        it is burnt out or noisy, or the narrower side of the band; otherwise the station.
    """
    sides = (outline.left, outline.right)
    if code == "one-edge-only":
        edge = min(sides, key=lambda side: _seen(side, outline.rough_mm))
        return _at(camera, outline, edge, _middle_of_gap(edge, outline.rough_mm))
    if code == "overexposed":
        return _at(camera, outline, max(sides, key=lambda side: side.burnt), 0.0)
    if code == "edges-unsure":
        return _at(camera, outline, max(sides, key=lambda side: side.noise_px), 0.0)
    if code == "band-too-narrow":
        low, high = band_limits_mm(outline, camera, card)
        return _at(camera, outline, outline.left if high < -low else outline.right, 0.0)
    return _px(camera, outline, 0.0, 0.0)


def _near(edge: Edge, reach_mm: float) -> NDArray[np.bool_]:
    return np.abs(edge.along_mm) <= reach_mm


def _seen(edge: Edge, reach_mm: float) -> float:
    near = np.isfinite(edge.outward_mm[_near(edge, reach_mm)])
    return float(near.mean()) if near.size else 0.0


def _middle_of_gap(edge: Edge, reach_mm: float) -> float:
    """Return the middle of the longest piece without a traced edge, mm along the rope."""
    along = edge.along_mm[_near(edge, reach_mm)]
    lost = ~np.isfinite(edge.outward_mm[_near(edge, reach_mm)])
    if not lost.any():
        return 0.0
    begin, end = max(runs_of(lost), key=lambda run: int(run[1] - run[0]))
    return float(along[begin:end].mean())


def _at(camera: Camera, outline: Outline, edge: Edge, along_mm: float) -> PointPx:
    sure = edge.outward_mm[np.isfinite(edge.outward_mm)]
    outward = float(median_of(sure)) if sure.size else outline.rough_mm / 2
    return _px(camera, outline, along_mm, outward if edge.side == "left" else -outward)


def _px(camera: Camera, outline: Outline, along_mm: float, across_mm: float) -> PointPx:
    place = points_mm(
        np.array([along_mm]),
        np.array([across_mm]),
        outline.origin_mm,
        outline.direction,
        outline.height_mm,
    )
    x, y = project_mm(camera, place)[0]
    return round(float(x), 2), round(float(y), 2)


MARKED_POINTS = 160  # outline points for drawing, per side


def marks_of(camera: Camera, card: Card, outline: Outline, lines: JawLines) -> Marks:
    """Return the geometry to draw for one measurement, rounded to a hundredth of a pixel."""
    sides = []
    for edge, sign in ((outline.left, 1.0), (outline.right, -1.0)):
        sure = np.flatnonzero(np.isfinite(edge.outward_mm))
        kept = sure[:: max(1, len(sure) // MARKED_POINTS)]
        sides.append(
            _pairs(
                project_mm(
                    camera,
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
        station_px=_pairs(project_mm(camera, middle))[0],
        card_px=_pairs(project_mm(camera, card.true_mm(corners))),
    )


def _pairs(points: Array) -> tuple[PointPx, ...]:
    return tuple((x, y) for x, y in np.round(points, 2).tolist())
