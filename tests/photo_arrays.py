"""Photographs from pixels drawn by a test, without a file."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

from vision.photo.photo import Photo, look_hash


def photo_from_array(
    rgb: NDArray[np.uint8],
    name: str = "photograph",
    *,
    focal_px: float | None = None,
    u_focal_px: float | None = None,
) -> Photo:
    """Return pixels as a photograph; its focal length is known to 4 % unless stated otherwise."""
    pixels = np.ascontiguousarray(rgb)
    digest = hashlib.sha256(repr(rgb.shape).encode())
    digest.update(pixels.data)
    usual = None if focal_px is None else 0.04 * focal_px
    return Photo(
        pixels=pixels,
        name=name,
        sha256=digest.hexdigest(),
        look_hash=look_hash(pixels),
        focal_px=focal_px,
        u_focal_px=usual if u_focal_px is None else u_focal_px,
    )
