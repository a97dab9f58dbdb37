"""Pictures for the page: a preview of a photograph, and its edges cut out at full resolution."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import cv2
import numpy as np
import streamlit as st
from numpy.typing import NDArray

from ui.session import the_record
from vision.estimate import Estimate, Marks, PointPx, Result
from vision.photo import open_photo

PREVIEW_PX = 2000
EDGE_MM = (9.0, 4.5)  # along and across
EDGE_PX_PER_MM = 64.0  # a tenth of a millimetre takes 6 px


@dataclass(frozen=True, slots=True)
class EdgePlace:
    """Where an edge is cut out of the photograph.

    Parameters
    ----------
    at_px : (x, y)
        On the jaw line, beside the crown that bears on it, px of the photograph.
    out : (x, y)
        Unit vector out of the rope.
    px_per_mm : float
        Scale of the photograph there.
    """

    at_px: PointPx
    out: PointPx
    px_per_mm: float


def jaw_scale(estimate: Estimate, marks: Marks) -> float:
    """Return the scale at which the two jaw lines lie the estimate's diameter apart, px/mm."""
    left, right = (np.mean(line, axis=0) for line in (marks.crown_left_px, marks.crown_right_px))
    along = _unit(np.subtract(*marks.crown_left_px[::-1]))
    across = left - right
    apart = float(np.linalg.norm(across - np.dot(across, along) * along))
    return apart / estimate.diameter_mm


def edge_places(estimate: Estimate, marks: Marks) -> tuple[EdgePlace, EdgePlace]:
    """Return where to look at the left and the right edge: the crown that bears on each jaw."""
    scale = jaw_scale(estimate, marks)
    found = []
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
        found.append(EdgePlace(_pair(at), _pair(out), scale))
    return found[0], found[1]


def edge_png(pixels: NDArray[np.uint8], place: EdgePlace) -> bytes:
    """Return an edge as a PNG, the rope below, the camera's pixels as they are."""
    width, height = (round(side * EDGE_PX_PER_MM) for side in EDGE_MM)
    step = place.px_per_mm / EDGE_PX_PER_MM  # px of the photograph for one of the cut
    out = np.array(place.out)
    along = np.array([-out[1], out[0]])  # right of "up": never a mirror image
    corner = np.array(place.at_px) - along * step * width / 2 + out * step * height / 2
    turn = np.column_stack([along * step, -out * step, corner])
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    cut = cv2.warpAffine(pixels, turn, (width, height), flags=flags)
    return _encoded(".png", cut)


def preview_jpeg(pixels: NDArray[np.uint8]) -> bytes:
    """Return the photograph as a JPEG of at most `PREVIEW_PX` px."""
    high, wide = pixels.shape[:2]
    by = min(1.0, PREVIEW_PX / max(high, wide))
    small = cv2.resize(pixels, (round(wide * by), round(high * by)), interpolation=cv2.INTER_AREA)
    return _encoded(".jpg", np.asarray(small, np.uint8))


def _encoded(suffix: str, rgb: NDArray[np.uint8] | cv2.typing.MatLike) -> bytes:
    options = (
        [cv2.IMWRITE_JPEG_QUALITY, 82] if suffix == ".jpg" else [cv2.IMWRITE_PNG_COMPRESSION, 4]
    )
    done, data = cv2.imencode(suffix, cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), options)
    if not done:
        raise ValueError("the picture could not be made; is the photograph damaged?")
    return data.tobytes()


def _unit(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    return vector / max(float(np.linalg.norm(vector)), 1e-9)


def _pair(point: NDArray[np.float64]) -> PointPx:
    return float(point[0]), float(point[1])


# ---- kept by the photograph's hash ---------------------------------------------------------


@st.cache_resource(max_entries=3, show_spinner=False)
def _pixels(place: str, sha256: str) -> NDArray[np.uint8]:
    del place
    pixels = open_photo(the_record().photographs.get(sha256)).pixels
    pixels.flags.writeable = False
    return pixels


@st.cache_data(max_entries=64, show_spinner=False)
def preview(place: str, sha256: str) -> tuple[str, bytes, tuple[int, int]]:
    """Return name, JPEG, and size (width, height) of the photograph that was stored."""
    pixels = _pixels(place, sha256)
    return f"p-{sha256}", preview_jpeg(pixels), (pixels.shape[1], pixels.shape[0])


@st.cache_data(max_entries=128, show_spinner=False)
def edge(place: str, sha256: str, at: EdgePlace) -> tuple[str, bytes]:
    """Return name and PNG of an edge."""
    named = hashlib.sha256(f"{sha256}{at}".encode()).hexdigest()
    return f"e-{named}", edge_png(_pixels(place, sha256), at)


def make_ready(place: str, result: Result) -> None:
    """Make the pictures of one photograph before somebody asks for them."""
    preview(place, result.photo_sha256)
    if isinstance(result, Estimate) and result.marks is not None:
        for at in edge_places(result, result.marks):
            edge(place, result.photo_sha256, at)


def home_of(marks: Marks, size: tuple[int, int]) -> tuple[float, float, float, float]:
    """Return the part of a photograph around the rope, (x, y, width, height), 4 to 3."""
    points = np.array([*marks.crown_left_px, *marks.crown_right_px])
    middle = points.mean(axis=0)
    reach = float(np.ptp(points, axis=0).max())
    wide = min(size[0], 1.5 * reach, size[1] * 4 / 3)
    high = wide * 3 / 4
    x = min(max(middle[0] - wide / 2, 0), size[0] - wide)
    y = min(max(middle[1] - high / 2, 0), size[1] - high)
    return tuple(math.floor(v) for v in (x, y, wide, high))  # type: ignore[return-value]
