"""A photograph: its upright pixels, its identity and the camera's metadata."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np

from vision.photo.containers import PhotoError, kind_of
from vision.photo.decode import Pixels, decode
from vision.photo.exif import camera, focal_hint, lens, orientation, taken_at, taken_size

__all__ = ["Photo", "PhotoError", "open_photo"]


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """One photograph, upright.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        RGB, upright.
    name : str
        Name used in messages.
    sha256 : str
        Hash of the file: the photograph's identity.
    look_hash : str
        Hash of its appearance, 64 bits in hex: near-copies differ in only a few bits.
    taken_at : datetime or None
        Capture time recorded by the camera; with a time zone only if the camera recorded one.
    camera : str
        Make and model; empty if not recorded.
    focal_px, u_focal_px : float or None
        Focal length recorded by the camera, px of `pixels`, and its standard uncertainty.
    notes : tuple of str
        Changes made to the colours, one sentence each; empty for an ordinary photograph.
    lens : str
        The camera's lens as recorded: 35 mm equivalent and zoom; empty if not recorded.
    orientation : int
        Orientation in which the picture was stored (Exif, 1 to 8).
    taken_px : tuple of int or None
        Width and height recorded by the camera, px, or else those of the picture; None for pixels
        that do not come from a file.
    """

    pixels: Pixels
    name: str
    sha256: str
    look_hash: str
    taken_at: datetime | None = None
    camera: str = ""
    focal_px: float | None = None
    u_focal_px: float | None = None
    notes: tuple[str, ...] = ()
    lens: str = ""
    orientation: int = 1
    taken_px: tuple[int, int] | None = None


def open_photo(source: str | os.PathLike[str] | bytes, *, name: str = "") -> Photo:
    """Return the photograph in a file, upright and complete.

    JPEG, PNG, TIFF, WebP, HEIC/HEIF and AVIF are recognised by their content. If a file also
    contains a preview, a gain map or a burst, the main picture is used.

    Parameters
    ----------
    source : path or bytes
        The file, or its content.
    name : str, optional
        Name to use in messages; the file's name by default.

    Returns
    -------
    Photo
        Its pixels are upright, RGB.

    Raises
    ------
    PhotoError
        If the file can't be read, is not a photograph, is truncated or animated, has no pixels or
        more than 200 megapixels. The message says which, in one sentence.

    References
    ----------
    Orientation and the other tags: CIPA DC-008 (Exif 2.32), 4.6.
    """
    data, name = _read(source, name)
    try:
        decoded = decode(data)
    except PhotoError as reason:
        raise PhotoError(f"{name} {reason}.") from None
    stored = orientation(decoded.tags)
    pixels = _upright(decoded.pixels, stored)
    height, width = pixels.shape[:2]
    hint = focal_hint(decoded.tags, width, height)
    return Photo(
        pixels=pixels,
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        look_hash=look_hash(pixels),
        taken_at=taken_at(decoded.tags),
        camera=camera(decoded.tags),
        focal_px=None if hint is None else hint.focal_px,
        u_focal_px=None if hint is None else hint.u_focal_px,
        notes=decoded.notes,
        lens=lens(decoded.tags),
        orientation=stored,
        taken_px=taken_size(decoded.tags) or (width, height),
    )


def look_hash(pixels: Pixels) -> str:
    """Return a 64-bit hash of a picture's appearance, as 16 hex digits.

    Each bit says whether one of 9 x 8 grey fields is brighter than its left neighbour (a
    difference hash): copies that were resized or saved again differ in only a few bits.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        RGB.
    """
    step = max(1, min(pixels.shape[:2]) // 256)  # a subsampled picture is enough
    small = cv2.resize(pixels[::step, ::step], (9, 8), interpolation=cv2.INTER_AREA)
    grey = small.astype(np.float64) @ np.array([0.299, 0.587, 0.114])
    return np.packbits(grey[:, 1:] > grey[:, :-1]).tobytes().hex()


def _read(source: str | os.PathLike[str] | bytes, name: str) -> tuple[bytes, str]:
    if isinstance(source, bytes):
        return source, name or "the photograph"
    path = Path(source)
    name = name or path.name or str(path)
    try:
        with path.open("rb", buffering=0) as file:
            kind_of(file.read(512))  # do not read many gigabytes of a video
            file.seek(0)
            return file.readall(), name
    except PhotoError as reason:
        raise PhotoError(f"{name} {reason}.") from None
    except FileNotFoundError:
        raise PhotoError(f"{name} does not exist; check the name.") from None
    except IsADirectoryError:
        raise PhotoError(f"{name} is a folder, not a photograph.") from None
    except (OSError, ValueError) as reason:
        words = getattr(reason, "strerror", None) or reason
        raise PhotoError(f"{name} cannot be read: {words}.") from None


def _upright(pixels: Pixels, stored: int) -> Pixels:
    """Turn a picture upright according to its Exif orientation (1 to 8)."""
    if stored in (5, 7):
        pixels = np.asarray(cv2.transpose(pixels), np.uint8)
    turns = {
        3: cv2.ROTATE_180,
        6: cv2.ROTATE_90_CLOCKWISE,
        7: cv2.ROTATE_180,
        8: cv2.ROTATE_90_COUNTERCLOCKWISE,
    }
    if stored in turns:
        return np.asarray(cv2.rotate(pixels, turns[stored]), np.uint8)
    if stored in (2, 4):
        return np.asarray(cv2.flip(pixels, 1 if stored == 2 else 0), np.uint8)
    return pixels
