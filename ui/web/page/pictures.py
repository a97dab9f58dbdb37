"""Pictures for the page: a preview of a photograph, and its edges cut out at full resolution.

No photograph is decoded here: its preview was made on upload, and anything that needs the
original is done in a separate process (`vision.apart`).
"""

from __future__ import annotations

import hashlib
import math
from io import BytesIO

import numpy as np
import streamlit as st
from PIL import Image

from inspection.record.views import Photograph
from ui.presenters.photographs.edge_views import EdgePlace, edge_places, edge_pngs
from ui.web.page.session import get_record, record_location
from vision.apart import apart
from vision.photo.containers import PhotoError
from vision.photo.preview import preview_of
from vision.results import Estimate, Marks, Result

ShownPicture = tuple[str, bytes, tuple[int, int]]


@st.cache_data(max_entries=64, show_spinner=False)
def _preview(place: str, one: Photograph) -> ShownPicture | str:
    """Return a preview with its name and the photograph's size, or a sentence if it can't be made.

    The sentence is cached too, so that a photograph that can't be shown is not tried on every run.
    """
    del place
    data = get_record().photographs.get(one.preview or one.sha256)
    named = f"p-{one.sha256}"
    if one.preview:
        return named, data, (one.width_px, one.height_px)
    try:
        return named, *apart(one.name, preview_of, data, one.name)
    except PhotoError as refused:
        return str(refused)


@st.cache_data(max_entries=64, show_spinner=False)
def _edges(
    place: str, one: Photograph, places: tuple[EdgePlace, ...]
) -> tuple[tuple[str, bytes], ...] | str:
    """Return names and PNGs of edges, or a sentence if the photograph can't be read."""
    del place
    data = get_record().photographs.get(one.sha256)
    names = (hashlib.sha256(f"{one.sha256}{at}".encode()).hexdigest() for at in places)
    try:
        cuts = apart(one.name, edge_pngs, data, one.name, places)
    except PhotoError as refused:
        return str(refused)
    return tuple((f"e-{name}", cut) for name, cut in zip(names, cuts, strict=True))


def preview(one: Photograph) -> ShownPicture:
    """Return name, JPEG and size (width, height) of a recorded photograph.

    Raises
    ------
    PhotoError
        If no preview is stored and the photograph can't be decoded within the budget.
    """
    made = _preview(record_location(), one)
    if isinstance(made, str):
        raise PhotoError(made)
    return made


def edges(one: Photograph, places: tuple[EdgePlace, ...]) -> tuple[tuple[str, bytes], ...]:
    """Return name and PNG of each edge.

    Raises
    ------
    PhotoError
        If the photograph can't be decoded within the budget.
    """
    made = _edges(record_location(), one, places)
    if isinstance(made, str):
        raise PhotoError(made)
    return made


THUMBNAIL = (276, 132)  # px: three times the displayed size, for high-resolution screens


@st.cache_data(max_entries=4000, show_spinner=False)
def _thumbnail(place: str, sha256: str, part: tuple[float, float, float, float] | None) -> bytes:
    """Return a small JPEG of a part of a preview; `part` is in fractions of its sides."""
    del place
    with Image.open(BytesIO(get_record().photographs.get(sha256))) as whole:
        wide, high = whole.size
        least = THUMBNAIL if part is None else (round(THUMBNAIL[0] / part[2]),) * 2
        whole.draft("RGB", least)  # lets the JPEG decoder skip detail that is not needed
        wide, high = whole.size
        x, y, w, h = part or (0.0, 0.0, 1.0, 1.0)
        box = (x * wide, y * high, (x + w) * wide, (y + h) * high)
        small = whole.convert("RGB").resize(THUMBNAIL, Image.Resampling.BILINEAR, box=box)
    out = BytesIO()
    small.save(out, "JPEG", quality=72)
    return out.getvalue()


def thumbnail(one: Photograph, result: Result) -> bytes:
    """Return a small JPEG of the rope in a photograph; empty if no preview is stored."""
    if not one.preview:
        return b""
    part = None
    if isinstance(result, Estimate) and result.marks is not None:
        points = np.array([*result.marks.crown_left_px, *result.marks.crown_right_px])
        middle, reach = points.mean(axis=0), float(np.ptp(points, axis=0).max())
        wide = min(1.3 * reach, one.width_px)
        high = min(wide * THUMBNAIL[1] / THUMBNAIL[0], one.height_px)
        x = min(max(middle[0] - wide / 2, 0.0), one.width_px - wide)
        y = min(max(middle[1] - high / 2, 0.0), one.height_px - high)
        part = (x / one.width_px, y / one.height_px, wide / one.width_px, high / one.height_px)
    return _thumbnail(record_location(), one.preview, part)


def make_ready(one: Photograph, result: Result) -> None:
    """Make the pictures of one photograph before they are needed."""
    preview(one)
    if isinstance(result, Estimate) and result.marks is not None:
        edges(one, edge_places(result, result.marks))


def home_of(
    marks: Marks, size: tuple[int, int], *, aspect: float = 4 / 3
) -> tuple[float, float, float, float]:
    """Return the part of a photograph around the rope: (x, y, width, height), `aspect` to 1."""
    points = np.array([*marks.crown_left_px, *marks.crown_right_px])
    middle = points.mean(axis=0)
    reach = float(np.ptp(points, axis=0).max())
    wide = min(size[0], 1.5 * reach, size[1] * aspect)
    high = wide / aspect
    x = min(max(middle[0] - wide / 2, 0), size[0] - wide)
    y = min(max(middle[1] - high / 2, 0), size[1] - high)
    return tuple(math.floor(v) for v in (x, y, wide, high))  # type: ignore[return-value]
