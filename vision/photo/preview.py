"""A small JPEG of a photograph, made once: the pages show it and never decode the original."""

from __future__ import annotations

import cv2
import numpy as np

from vision.photo.decode import Pixels
from vision.photo.photo import open_photo

PREVIEW_PX = 2000
QUALITY = 82


def preview_jpeg(pixels: Pixels) -> bytes:
    """Return a picture as a JPEG with sides of at most `PREVIEW_PX` px."""
    high, wide = pixels.shape[:2]
    by = min(1.0, PREVIEW_PX / max(high, wide))
    size = (max(1, round(wide * by)), max(1, round(high * by)))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    bgr = cv2.cvtColor(small, cv2.COLOR_RGB2BGR)
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not done:
        raise ValueError("the picture could not be made; is the photograph damaged?")
    return np.asarray(data).tobytes()


def preview_of(data: bytes, name: str) -> tuple[bytes, tuple[int, int]]:
    """Return the preview of a photograph's file, and the photograph's width and height, px.

    Raises
    ------
    PhotoError
        If the file is not a photograph.
    """
    pixels = open_photo(data, name=name).pixels
    return preview_jpeg(pixels), (pixels.shape[1], pixels.shape[0])
