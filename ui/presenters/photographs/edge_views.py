"""Magnified views of the rope's edges: where they are cut out, and at which scale."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.photo import open_photo
from vision.results import Estimate, Marks, PointPx

EDGE_MM = (9.0, 4.5)  # along and across


EDGE_PX_PER_MM = 64.0  # a tenth of a millimetre takes 6 px
EDGE_PX = round(EDGE_MM[0] * EDGE_PX_PER_MM), round(EDGE_MM[1] * EDGE_PX_PER_MM)


@dataclass(frozen=True, slots=True)
class EdgePlace:
    """Where an edge is cut out of the photograph.

    Parameters
    ----------
    at_px : (x, y)
        On the jaw line, at the crown that bears on it, px of the photograph.
    out : (x, y)
        Unit vector pointing outwards from the rope.
    px_per_mm : float
        Scale of the photograph there.
    """

    at_px: PointPx
    out: PointPx
    px_per_mm: float


def jaw_scale(estimate: Estimate, marks: Marks) -> float:
    """Return the scale at which the jaw lines are one estimated diameter apart, px/mm."""
    left, right = (np.mean(line, axis=0) for line in (marks.crown_left_px, marks.crown_right_px))
    along = _unit(np.subtract(*marks.crown_left_px[::-1]))
    across = left - right
    apart = float(np.linalg.norm(across - np.dot(across, along) * along))
    return apart / estimate.diameter_mm


def edge_places(estimate: Estimate, marks: Marks) -> tuple[EdgePlace, EdgePlace]:
    """Return where the left and right edges are shown: at the crown that bears on each jaw."""
    scale = jaw_scale(estimate, marks)
    places_found = []
    for line, other, outline in (
        (marks.crown_left_px, marks.crown_right_px, marks.left_px),
        (marks.crown_right_px, marks.crown_left_px, marks.right_px),
    ):
        begin, end = np.array(line[0]), np.array(line[1])
        along = _unit(end - begin)
        out = np.array([-along[1], along[0]])
        if np.dot(out, np.mean(line, axis=0) - np.mean(other, axis=0)) < 0:
            out = -out
        points = np.array(outline) if outline else np.mean(line, axis=0)[None]
        places = (points - begin) @ along
        length = float(np.linalg.norm(end - begin))
        heights = np.where((places >= 0) & (places <= length), (points - begin) @ out, -np.inf)
        best = float(places[int(np.argmax(heights))]) if np.isfinite(heights).any() else length / 2
        at = begin + best * along
        places_found.append(EdgePlace(_pair(at), _pair(out), scale))
    return places_found[0], places_found[1]


def _unit(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    return vector / max(float(np.linalg.norm(vector)), 1e-9)


def _pair(point: NDArray[np.float64]) -> PointPx:
    return float(point[0]), float(point[1])


def edge_png(pixels: NDArray[np.uint8], place: EdgePlace) -> bytes:
    """Return an edge as a PNG with the rope at the bottom and the camera's pixels unsmoothed."""
    width, height = EDGE_PX
    step = place.px_per_mm / EDGE_PX_PER_MM  # px of the photograph per px of the cut
    out = np.array(place.out)
    along = np.array([-out[1], out[0]])  # to the right of "out": never a mirror image
    corner = np.array(place.at_px) - along * step * width / 2 + out * step * height / 2
    turn = np.column_stack([along * step, -out * step, corner])
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    cut = cv2.warpAffine(pixels, turn, (width, height), flags=flags)
    bgr = cv2.cvtColor(cut, cv2.COLOR_RGB2BGR)
    done, data = cv2.imencode(".png", bgr, [cv2.IMWRITE_PNG_COMPRESSION, 4])
    if not done:
        raise ValueError("the picture of the edge could not be made; is the photograph damaged?")
    return np.asarray(data).tobytes()


def edge_pngs(data: bytes, name: str, places: tuple[EdgePlace, ...]) -> tuple[bytes, ...]:
    """Return edges of a photograph file, each as a PNG; the file is decoded once."""
    pixels = open_photo(data, name=name).pixels
    return tuple(edge_png(pixels, place) for place in places)
