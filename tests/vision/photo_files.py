"""Small photographs as files of every kind, and the sentence with which a bad one is refused."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from vision.photo.photo import PhotoError, open_photo

Pixels = NDArray[np.uint8]


def scene(width: int = 192, height: int = 144, seed: int = 1) -> Pixels:
    """A picture with fields, noise and no symmetry, wider than high."""
    rng = np.random.default_rng(seed)
    fields = cv2.resize(rng.uniform(20, 235, (6, 8, 3)), (width, height))
    noisy = np.clip(fields + rng.normal(0, 4, fields.shape), 0, 255)
    return np.asarray(noisy, np.uint8)


def saved(kind: str, image: Image.Image | None = None, **options: Any) -> bytes:
    file = io.BytesIO()
    (image or Image.fromarray(scene())).save(file, kind, **options)
    return file.getvalue()


def refusal(source: bytes | str | Path, name: str = "") -> str:
    with pytest.raises(PhotoError) as caught:
        open_photo(source, name=name)
    words = str(caught.value)
    assert words.endswith(".")
    assert "\n" not in words
    return words


def lossless(pixels: Pixels) -> dict[str, bytes]:
    image = Image.fromarray(pixels)
    return {
        "PNG": saved("PNG", image),
        "TIFF": saved("TIFF", image),
        "TIFF LZW": saved("TIFF", image, compression="tiff_lzw"),
        "WebP": saved("WEBP", image, lossless=True, method=0),
    }


def lossy(pixels: Pixels) -> dict[str, bytes]:
    image = Image.fromarray(pixels)
    return {
        "JPEG": saved("JPEG", image, quality=90),
        "JPEG progressive": saved("JPEG", image, quality=90, progressive=True),
        "JPEG 4:2:0 with restarts": saved(
            "JPEG", image, quality=90, subsampling=2, restart_marker_rows=1
        ),
        "WebP lossy": saved("WEBP", image, quality=90),
        "AVIF": saved("AVIF", image, quality=90, speed=9),
        "JPEG in TIFF": saved("TIFF", image, compression="jpeg"),
        "JPEG CMYK": saved("JPEG", image.convert("CMYK"), quality=90),
    }


def odd(pixels: Pixels) -> dict[str, bytes]:
    """Kinds that photographs seldom come in: 16 bit, palettes, transparency, pairs."""
    image = Image.fromarray(pixels)
    deep = pixels.astype(np.uint16) * 257
    clear = image.convert("RGBA")
    clear.paste((0, 0, 0, 0), (0, 0, 20, 20))
    return {
        "JPEG grey": saved("JPEG", image.convert("L"), quality=90),
        "MPO": saved("MPO", image, save_all=True, append_images=[image], quality=90),
        "PNG grey": saved("PNG", image.convert("L")),
        "PNG palette": saved("PNG", image.quantize(64)),
        "PNG transparent": saved("PNG", clear),
        "PNG 16 bit": cv2.imencode(".png", deep[:, :, ::-1])[1].tobytes(),
        "TIFF 16 bit": cv2.imencode(".tiff", deep[:, :, ::-1])[1].tobytes(),
        "TIFF 16 bit grey": cv2.imencode(".tiff", deep[:, :, 1])[1].tobytes(),
        "TIFF deflate": saved("TIFF", image, compression="tiff_adobe_deflate"),
        "TIFF CMYK": saved("TIFF", image.convert("CMYK")),
        "WebP transparent": saved("WEBP", clear, quality=90),
    }


LOSSLESS, LOSSY = lossless(scene()), lossy(scene())
EVERYDAY = {**LOSSLESS, **LOSSY}
