"""A photograph without metadata about people and places, its pixels unchanged.

All metadata is discarded, and only what measuring needs is written again: the camera, the
orientation and the focal length. So no kind of metadata that a camera or program may add in future
can slip through. What can be *seen* in the picture remains.
"""

from __future__ import annotations

import io

from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from vision.photo import exif
from vision.photo.containers import kind_of
from vision.photo.decode import EXIF_IFD, decode
from vision.photo.jpeg import jpeg_segments

# The tags that are kept, in the directory that EXIF prescribes (CIPA DC-008, Exif 2.32, 4.6).
_IN_MAIN = (exif.MAKE, exif.MODEL, exif.ORIENTATION)
_IN_EXIF = (
    exif.FOCAL_LENGTH, exif.FOCAL_LENGTH_35MM, exif.DIGITAL_ZOOM, exif.PIXEL_X, exif.PIXEL_Y,
    exif.PLANE_X_RESOLUTION, exif.PLANE_UNIT,
)  # fmt: skip
_EXIF_BEGINS = b"Exif\0\0"
_APPS, _ADOBE, _COMMENT = range(0xE0, 0xF0), 0xEE, 0xFE  # Adobe's defines the colours


def anonymous(data: bytes) -> tuple[bytes, str]:
    """Return a photograph's file without names, place and time, and the suffix for its name.

    A JPEG keeps its coded picture bit for bit; its comments, application data, thumbnails and
    anything after its end are left out. Any other file becomes a PNG with the same pixels.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    file : bytes
        The new file.
    suffix : str
        ``".jpg"`` or ``".png"``.

    Raises
    ------
    PhotoError
        If it is not a readable photograph; the message continues a sentence that begins with the
        file's name.
    """
    decoded = decode(data)
    kept = _tags(decoded.tags)
    if kind_of(data) != "JPEG":
        file = io.BytesIO()
        Image.fromarray(decoded.pixels).save(file, "PNG", exif=kept)
        return file.getvalue(), ".png"
    body = _EXIF_BEGINS + kept
    parts = [data[:2], b"\xff\xe1", (len(body) + 2).to_bytes(2, "big"), body]
    for marker, begin, end in jpeg_segments(data):
        if marker == _COMMENT or (marker in _APPS and marker != _ADOBE):
            continue
        parts.append(data[begin:end])
    return b"".join(parts), ".jpg"


def _tags(tags: exif.Tags) -> bytes:
    """Return the tags that are kept, as EXIF bytes without their header."""
    written = Image.Exif()
    inner: dict[int, object] = {}
    for tag in _IN_MAIN + _IN_EXIF:
        value = tags.get(tag)
        if isinstance(value, bytes):
            value = value.decode("ascii", "replace")
        if isinstance(value, str | int | float | IFDRational):
            (written if tag in _IN_MAIN else inner)[tag] = value
    written.get_ifd(EXIF_IFD).update(inner)
    return written.tobytes().removeprefix(_EXIF_BEGINS)
