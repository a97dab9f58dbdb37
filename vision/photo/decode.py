"""From the bytes of a photograph to its pixels, not yet upright, and its metadata.

Ordinary JPEG is decoded by simplejpeg, everything else by Pillow. Both use the same libjpeg-turbo
and give the same pixels, but Pillow's conversion from its own memory to an array takes as long
again as the decoding, and it does not pass on the library's warnings of damage.
"""

from __future__ import annotations

import contextlib
import io
import struct
import threading
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from vision.photo.containers import (
    CUT,
    Kind,
    PhotoError,
    kind_of,
    refuse_cut,
    refuse_size,
    tiff_end,
    webp_size,
)
from vision.photo.exif import ORIENTATION, Tags
from vision.photo.jpeg import decode_jpeg

Pixels = NDArray[np.uint8]

EXIF_IFD = 0x8769
SUBFILE, BITS, PACKED = 254, 258, 259
WIDE, HIGH, SAMPLES, ROWS, PLANES = 256, 257, 277, 278, 284
TILE_WIDE, TILE_HIGH, JPEG_TABLES = 322, 323, 347
STRIP_AT, STRIP_BYTES, TILE_AT, TILE_BYTES = 273, 279, 324, 325
PLAIN, JPEG_PACKED = 1, 7
DNG_VERSION = 50706
ON_WHITE = "Its transparent parts were placed on white."
CMYK_PLAIN = "Its printing colours (CMYK) were converted to RGB without a colour profile."
BAND = 256  # rows converted at a time, to avoid a second copy of the whole picture
# Bytes per pixel in Pillow's own memory, by mode; 4 for all other modes.
_PILLOW_BYTES = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16L": 2, "I;16B": 2, "I;16N": 2}
# Bytes per pixel that the libraries need in addition to Pillow: measured, see
# tests/vision/test_photo_budget.py.
_LIBRARY_BYTES: dict[Kind, int] = {"JPEG": 4, "PNG": 0, "TIFF": 1, "WebP": 10, "AVIF": 6}
_HEIF_BYTES = 12
TO_8_BIT = "Its {} bits per colour were reduced to 8."

# `warnings.catch_warnings` affects the whole process, so only one thread at a time can use it.
_one_at_a_time = threading.Lock()


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """Pixels (H, W, 3) RGB as stored, the EXIF tags, and notes on changes to the colours."""

    pixels: Pixels
    tags: Tags
    notes: tuple[str, ...] = ()


def decode(data: bytes) -> Decoded:
    """Return the picture in a file's bytes, as it is stored.

    Parameters
    ----------
    data : bytes
        The whole file.

    Raises
    ------
    PhotoError
        If there is none, or it is damaged; the message continues a sentence that begins with the
        file's name.
    """
    kind = kind_of(data)
    try:
        if kind == "HEIF":
            return _decode_heif(data)
        return _decode_pillow(data, kind)
    except (PhotoError, MemoryError):
        raise
    except Exception:  # a decoder may raise anything on untrusted bytes
        raise PhotoError(CUT.format(f"its {kind} picture cannot be decoded")) from None


def _decode_pillow(data: bytes, kind: Kind) -> Decoded:
    with _quiet():
        image = _opened(data, kind)
        direct = kind == "JPEG" and image.mode in ("RGB", "L")  # decoded straight to the result
        bytes_per_pixel = 0 if direct else _LIBRARY_BYTES[kind] + _PILLOW_BYTES.get(image.mode, 4)
        refuse_size(*image.size, len(data), kind, bytes_per_pixel)
        if kind == "TIFF":
            _refuse_tiff(image, len(data))
            _refuse_short(image, data)
        elif kind != "JPEG":
            refuse_cut(data, kind)
        if kind != "JPEG" and getattr(image, "n_frames", 1) > 1:
            what = "several pages" if kind == "TIFF" else "an animation"
            raise PhotoError(f"contains {what}; save the picture that you want as its own file")
        if kind == "TIFF":
            _refuse_added(image, data)
        if kind != "JPEG":  # decoding a JPEG, the usual case, gives no warnings
            image.load()
        tags = _tags(image)  # after loading: Pillow turns a TIFF upright and updates its tags
    if kind == "JPEG":
        pixels = decode_jpeg(data, "CMYK" if image.mode == "CMYK" else "RGB")
        if pixels.shape[1::-1] != image.size:
            raise PhotoError(CUT.format("the JPEG picture has two different sizes"))
        if image.mode in ("RGB", "L"):
            return Decoded(pixels, tags)
        del pixels  # decoded only as a check; Pillow handles printing colours better
    image.load()
    bits = _depth(image, data)
    notes = (TO_8_BIT.format(bits),) if bits > 8 else ()
    if image.mode in ("I;16", "I;16L", "I;16B", "I;16N"):
        return Decoded(_grey_to_rgb(image, bits), tags, notes)
    pixels, more = _rgb(image)
    return Decoded(pixels, tags, notes + more)


def _opened(data: bytes, kind: Kind) -> Image.Image:
    """Open with the reader for this kind: no guessing, and no size limit except ours."""
    file = io.BytesIO(data)
    match kind:
        case "JPEG":
            return JpegImagePlugin.JpegImageFile(file)
        case "PNG":
            if len(data) >= 24:  # Pillow gives no clear message for a side of 0
                width, height = struct.unpack_from(">II", data, 16)
                refuse_size(width, height, len(data), kind)
            return PngImagePlugin.PngImageFile(file)
        case "TIFF":
            return TiffImagePlugin.TiffImageFile(file)
        case "WebP":
            # before opening it, which already allocates the memory
            refuse_size(*(webp_size(data) or (1, 1)), len(data), kind, _LIBRARY_BYTES["WebP"] + 4)
            return WebPImagePlugin.WebPImageFile(file)
        case _:
            try:
                from PIL import AvifImagePlugin  # Pillow 11.3 and newer
            except ImportError:
                raise PhotoError("is AVIF, which needs a newer Pillow; save it as JPEG") from None
            return AvifImagePlugin.AvifImageFile(file)


def _decode_heif(data: bytes) -> Decoded:
    """Decode the primary picture, which the library itself turns upright."""
    import pi_heif  # type: ignore[import-untyped]  # slow to import, and seldom needed

    refuse_cut(data, "HEIF")
    with _quiet():
        file = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)
        picture = file[file.primary_index]
        width, height = picture.size
        refuse_size(width, height, len(data), "HEIF", _HEIF_BYTES)
        exif = Image.Exif()
        with contextlib.suppress(Exception):
            exif.load(picture.info.get("exif") or b"")
        tags = {**_plain(exif), ORIENTATION: 1}
        array = np.array(picture)  # a copy, as the library frees its array with the file
    mode = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}[1 if array.ndim == 2 else array.shape[2]]
    if mode == "RGB":
        return Decoded(np.asarray(array, np.uint8), tags)
    pixels, notes = _rgb(Image.fromarray(np.asarray(array, np.uint8), mode))
    return Decoded(pixels, tags, notes)


def _refuse_tiff(image: Image.Image, size: int) -> None:
    """Refuse a TIFF with strips beyond the file's end, and raw camera files based on TIFF."""
    tags: Any = image.tag_v2  # type: ignore[attr-defined]
    if DNG_VERSION in tags or int(tags.get(SUBFILE, 0) or 0) & 1:
        raise PhotoError("is a raw camera file; save it as JPEG or TIFF")
    if _strips_end(tags) > size:
        raise PhotoError(CUT.format("a part of the TIFF picture is missing"))


def _refuse_short(image: Image.Image, data: bytes) -> None:
    """Refuse a TIFF with too few strips or tiles, or with incomplete ones.

    Pillow fills missing parts of uncompressed strips with grey, and libtiff does so with JPEG
    strips (TIFF 6.0, sections 3 and 15; TIFF Technical Note 2 for JPEG).
    """
    tags: Any = image.tag_v2  # type: ignore[attr-defined]
    wide, high = int(tags[WIDE]), int(tags[HIGH])
    tiled = TILE_AT in tags
    across = int(tags.get(TILE_WIDE, wide)) if tiled else wide
    rows = min(int(tags.get(TILE_HIGH if tiled else ROWS, high)), 2**31)
    samples, separate = int(tags.get(SAMPLES, 1)), int(tags.get(PLANES, 1)) == 2
    if across < 1 or rows < 1:
        raise PhotoError(CUT.format("a part of the TIFF picture is missing"))
    down = -(-high // rows)
    needed = down * -(-wide // across) * (samples if separate else 1)
    starts = tags.get(TILE_AT if tiled else STRIP_AT, ())
    counts = tags.get(TILE_BYTES if tiled else STRIP_BYTES, ())
    packed = int(tags.get(PACKED, PLAIN))
    bits = tuple(tags.get(BITS, (1,)))
    row_bits = across * (int(bits[0]) if separate else sum(map(int, bits)))
    short = min(len(starts), len(counts)) < needed
    for at, (start, count) in enumerate(zip(starts[:needed], counts[:needed], strict=False)):
        last = high - (down - 1) * rows if not tiled and at % down == down - 1 else rows
        if packed == PLAIN:
            short |= count < last * -(-row_bits // 8)
        elif packed == JPEG_PACKED:
            tables = bytes(tags.get(JPEG_TABLES, b""))
            begin = tables.removesuffix(b"\xff\xd9") or b"\xff\xd8"
            decode_jpeg(begin + data[start + 2 : start + count])
    if short:
        raise PhotoError(CUT.format("a part of the TIFF picture is missing"))


def _refuse_added(image: Image.Image, data: bytes) -> None:
    """Refuse an uncompressed TIFF with data beyond everything in its directories.

    Uncompressed pixels have no checksum, and inserted bytes shift everything after them.
    """
    tags: Any = image.tag_v2  # type: ignore[attr-defined]
    extra = data[max(_strips_end(tags), tiff_end(data)) :]
    if tags.get(PACKED, 1) == 1 and extra.strip(b"\0"):  # some programs pad with zeros
        raise PhotoError(CUT.format(f"{len(extra)} extra bytes follow its TIFF picture"))


def _strips_end(tags: Any) -> int:
    """Return where the last strip or tile of a TIFF's picture ends."""
    places = ((STRIP_AT, STRIP_BYTES), (TILE_AT, TILE_BYTES))
    return max(
        int(start) + int(count)
        for where, length in places
        for start, count in [(0, 0), *zip(tags.get(where, ()), tags.get(length, ()), strict=False)]
    )


def _depth(image: Image.Image, data: bytes) -> int:
    """Return the file's bits per colour; in most modes Pillow keeps only 8."""
    if isinstance(image, PngImagePlugin.PngImageFile):
        return data[24]  # bit depth in the header chunk (ISO/IEC 15948, 11.2.2)
    tags: Any = getattr(image, "tag_v2", {})
    return int(max(tags.get(BITS, (8,))))


def _bands(image: Image.Image) -> Iterator[tuple[slice, Image.Image]]:
    """Yield a picture's rows in bands, each with its slice of rows."""
    for top in range(0, image.height, BAND):
        bottom = min(top + BAND, image.height)
        yield slice(top, bottom), image.crop((0, top, image.width, bottom))


def _empty(image: Image.Image) -> Pixels:
    return np.empty((image.height, image.width, 3), np.uint8)


def _grey_to_rgb(image: Image.Image, bits: int) -> Pixels:
    pixels = _empty(image)
    for rows, band in _bands(image):
        scaled = np.rint(np.asarray(band).astype(np.float32) * (255.0 / (2**bits - 1)))
        pixels[rows] = scaled.clip(0, 255).astype(np.uint8)[:, :, None]
    return pixels


def _rgb(image: Image.Image) -> tuple[Pixels, tuple[str, ...]]:
    """Return pixels (H, W, 3), and notes on changes to the colours."""
    if image.mode in ("I", "F") or image.mode.startswith("I;"):
        raise PhotoError("contains 32-bit or floating-point values, not a photograph's colours")
    clear = image.mode in ("LA", "PA", "La", "RGBA", "RGBa") or "transparency" in image.info
    if not clear and image.mode not in ("1", "L", "P", "RGB", "RGBX", "YCbCr", "CMYK"):
        raise PhotoError(f"has colours of an unsupported kind ({image.mode}); save it as RGB")
    notes = {CMYK_PLAIN} if image.mode == "CMYK" else set[str]()
    pixels = _empty(image)
    for rows, band in _bands(image):
        if clear:
            band = band.convert("RGBA")
            if band.getchannel("A").getextrema() != (255, 255):
                band = Image.alpha_composite(Image.new("RGBA", band.size, "white"), band)
                notes = {ON_WHITE}
        pixels[rows] = np.asarray(band if band.mode == "RGB" else band.convert("RGB"))
    return pixels, tuple(notes)


def _tags(image: Image.Image) -> Tags:
    """Return the EXIF values by tag; empty where they are malformed."""
    try:
        return _plain(image.getexif())
    except Exception:  # a malformed EXIF block is not a reason to refuse the picture
        return {}


def _plain(exif: Image.Exif) -> Tags:
    inner: dict[int, Any] = {}
    with contextlib.suppress(Exception):
        inner = dict(exif.get_ifd(EXIF_IFD))
    return {**dict(exif), **inner}


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Suppress Pillow's warnings about unusual metadata."""
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
