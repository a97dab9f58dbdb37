"""Bytes of a photograph -> pixels, upright not yet, and what the camera wrote beside them.

JPEG of the everyday kinds is decoded by simplejpeg, everything else by Pillow: both use the same
libjpeg-turbo and give the same pixels, but Pillow's way from its own memory to an array costs
as much again as the decoding, and it keeps to itself what the library says about damage.
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
ON_WHITE = "Its transparent parts were laid on white."
CMYK_PLAIN = "Its printing colours (CMYK) were turned into RGB without a colour profile."
BAND = 256  # rows that are converted at a time: a whole picture in between is memory for nothing
# Bytes a pixel that Pillow keeps a picture in, by its mode; all others take 4.
_KEPT = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16L": 2, "I;16B": 2, "I;16N": 2}
# What the libraries hold beside Pillow's own, bytes a pixel: measured, see
# tests/vision/test_photo_budget.py.
_BESIDE: dict[Kind, int] = {"JPEG": 4, "PNG": 0, "TIFF": 1, "WebP": 10, "AVIF": 6}
_HEIF_BYTES = 12
TO_8_BIT = "Its {} bits a colour were reduced to 8."

# `warnings.catch_warnings` changes the whole process, so one thread at a time may use it.
_one_at_a_time = threading.Lock()


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """Pixels (H, W, 3) RGB as stored, the EXIF tags, and notes on what was done to the colours."""

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
        If there is none that can be trusted; the message goes on from the file's name.
    """
    kind = kind_of(data)
    try:
        if kind == "HEIF":
            return _decode_heif(data)
        return _decode_pillow(data, kind)
    except (PhotoError, MemoryError):
        raise
    except Exception:  # a decoder may raise anything on bytes that somebody else wrote
        raise PhotoError(CUT.format(f"its {kind} picture cannot be decoded")) from None


def _decode_pillow(data: bytes, kind: Kind) -> Decoded:
    with _quiet():
        image = _opened(data, kind)
        straight = kind == "JPEG" and image.mode in ("RGB", "L")  # into the result, nowhere else
        bytes_a_pixel = 0 if straight else _BESIDE[kind] + _KEPT.get(image.mode, 4)
        refuse_size(*image.size, len(data), kind, bytes_a_pixel)
        if kind == "TIFF":
            _refuse_tiff(image, len(data))
            _refuse_short(image, data)
        elif kind != "JPEG":
            refuse_cut(data, kind)
        if kind != "JPEG" and getattr(image, "n_frames", 1) > 1:
            what = "several pages" if kind == "TIFF" else "an animation"
            raise PhotoError(f"holds {what}; save the one picture that you mean by itself")
        if kind == "TIFF":
            _refuse_added(image, data)
        if kind != "JPEG":  # a JPEG, the everyday case, warns of nothing while it is decoded
            image.load()
        tags = _tags(image)  # only now: Pillow turns a TIFF upright itself, and then says so
    if kind == "JPEG":
        pixels = decode_jpeg(data, "CMYK" if image.mode == "CMYK" else "RGB")
        if pixels.shape[1::-1] != image.size:
            raise PhotoError(CUT.format("the JPEG picture has two sizes"))
        if image.mode in ("RGB", "L"):
            return Decoded(pixels, tags)
        del pixels  # it was whole; Pillow knows more about printing colours
    image.load()
    bits = _depth(image, data)
    notes = (TO_8_BIT.format(bits),) if bits > 8 else ()
    if image.mode in ("I;16", "I;16L", "I;16B", "I;16N"):
        return Decoded(_grey_to_rgb(image, bits), tags, notes)
    pixels, more = _rgb(image)
    return Decoded(pixels, tags, notes + more)


def _opened(data: bytes, kind: Kind) -> Image.Image:
    """Open by the kind's own reader: no guessing, and no limit but ours."""
    file = io.BytesIO(data)
    match kind:
        case "JPEG":
            return JpegImagePlugin.JpegImageFile(file)
        case "PNG":
            if len(data) >= 24:  # Pillow has no words for a side of 0
                width, height = struct.unpack_from(">II", data, 16)
                refuse_size(width, height, len(data), kind)
            return PngImagePlugin.PngImageFile(file)
        case "TIFF":
            return TiffImagePlugin.TiffImageFile(file)
        case "WebP":
            # opening it takes the memory
            refuse_size(*(webp_size(data) or (1, 1)), len(data), kind, _BESIDE["WebP"] + 4)
            return WebPImagePlugin.WebPImageFile(file)
        case _:
            try:
                from PIL import AvifImagePlugin  # Pillow 11.3 and newer
            except ImportError:
                raise PhotoError("is AVIF, which needs a newer Pillow; save it as JPEG") from None
            return AvifImagePlugin.AvifImageFile(file)


def _decode_heif(data: bytes) -> Decoded:
    """Decode the primary picture; the library has then already turned it upright."""
    import pi_heif  # type: ignore[import-untyped]  # slow, and few photographs need it

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
        array = np.array(picture)  # a copy: the library frees its own with the file
    mode = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}[1 if array.ndim == 2 else array.shape[2]]
    if mode == "RGB":
        return Decoded(np.asarray(array, np.uint8), tags)
    pixels, notes = _rgb(Image.fromarray(np.asarray(array, np.uint8), mode))
    return Decoded(pixels, tags, notes)


def _refuse_tiff(image: Image.Image, size: int) -> None:
    """Refuse a TIFF whose strips lie beyond the file's end, and raw files in TIFF's clothes."""
    tags: Any = image.tag_v2  # type: ignore[attr-defined]
    if DNG_VERSION in tags or int(tags.get(SUBFILE, 0) or 0) & 1:
        raise PhotoError("is a raw camera file; save it as JPEG or TIFF")
    if _strips_end(tags) > size:
        raise PhotoError(CUT.format("a part of the TIFF picture is missing"))


def _refuse_short(image: Image.Image, data: bytes) -> None:
    """Refuse a TIFF whose strips or tiles are too few, or end before their rows do.

    Pillow leaves grey what plain strips don't hold, and libtiff what JPEG strips don't
    (TIFF 6.0, sections 3 and 15; TIFF Technical Note 2 for JPEG).
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
    """Refuse a TIFF of plain pixels that goes on behind all that its directories know.

    Such pixels have no checksum, and bytes that came in among them shift all that follows.
    """
    tags: Any = image.tag_v2  # type: ignore[attr-defined]
    behind = data[max(_strips_end(tags), tiff_end(data)) :]
    if tags.get(PACKED, 1) == 1 and behind.strip(b"\0"):  # some programs fill up with zeros
        raise PhotoError(CUT.format(f"{len(behind)} bytes too many follow its TIFF picture"))


def _strips_end(tags: Any) -> int:
    """Return where the last strip or tile of a TIFF's picture ends."""
    places = ((STRIP_AT, STRIP_BYTES), (TILE_AT, TILE_BYTES))
    return max(
        int(start) + int(count)
        for where, length in places
        for start, count in [(0, 0), *zip(tags.get(where, ()), tags.get(length, ()), strict=False)]
    )


def _depth(image: Image.Image, data: bytes) -> int:
    """Return the bits a colour that the file has; Pillow itself keeps 8 of most."""
    if isinstance(image, PngImagePlugin.PngImageFile):
        return data[24]  # bit depth in the header chunk (ISO/IEC 15948, 11.2.2)
    tags: Any = getattr(image, "tag_v2", {})
    return int(max(tags.get(BITS, (8,))))


def _bands(image: Image.Image) -> Iterator[tuple[slice, Image.Image]]:
    """Yield a picture's rows in bands, and where each lies."""
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
    """Return pixels (H, W, 3), and in words what had to be done to the colours."""
    if image.mode in ("I", "F") or image.mode.startswith("I;"):
        raise PhotoError("holds 32-bit or floating-point values, not a photograph's colours")
    clear = image.mode in ("LA", "PA", "La", "RGBA", "RGBa") or "transparency" in image.info
    if not clear and image.mode not in ("1", "L", "P", "RGB", "RGBX", "YCbCr", "CMYK"):
        raise PhotoError(f"has colours of a kind that is not read ({image.mode}); save it as RGB")
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
    """Return the EXIF values by tag; none where they are malformed."""
    try:
        return _plain(image.getexif())
    except Exception:  # a malformed EXIF block is no reason to refuse the picture
        return {}


def _plain(exif: Image.Exif) -> Tags:
    inner: dict[int, Any] = {}
    with contextlib.suppress(Exception):
        inner = dict(exif.get_ifd(EXIF_IFD))
    return {**dict(exif), **inner}


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep Pillow's warnings about odd metadata from people's screens."""
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
