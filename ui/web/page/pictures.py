"""Pictures for the page: a preview of a photograph, and its edges cut out at full resolution."""

from __future__ import annotations

import hashlib
import math

import cv2
import numpy as np
import streamlit as st
from numpy.typing import NDArray

from ui.presenters.edge_views import EDGE_MM, EDGE_PX_PER_MM, EdgePlace, edge_places
from ui.web.page.session import get_record
from vision.photo.photo import open_photo
from vision.results import Estimate, Marks, Result

PREVIEW_PX = 2000


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


# ---- kept by the photograph's hash ---------------------------------------------------------


@st.cache_resource(max_entries=3, show_spinner=False)
def _pixels(place: str, sha256: str) -> NDArray[np.uint8]:
    del place
    pixels = open_photo(get_record().photographs.get(sha256)).pixels
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
