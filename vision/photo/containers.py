"""Checks of a photograph's file before it is decoded: its kind, and whether it is complete.

Decoders are lenient: a picture cut in half comes out half grey without a warning. So the file's
structure is checked first, which takes milliseconds and decodes no pixels.
"""

from __future__ import annotations

import struct
import zlib
from typing import Literal

Kind = Literal["JPEG", "PNG", "TIFF", "WebP", "HEIF", "AVIF"]

ACCEPTED = "JPEG, PNG, TIFF, WebP, HEIC/HEIF or AVIF"
MOST_PIXELS = 200_000_000
# Memory for decoding and measuring one photograph of any kind: `vision.apart` enforces the limit,
# and a file that needs more is refused from its header. The program itself takes a part of it.
MOST_BYTES, PROGRAM_BYTES = 3_000_000_000, 700_000_000
MEASURING_BYTES = 7  # per pixel
MOST_SECONDS = 60
# A file of a few kilobytes can declare any size and then need a gigabyte. Photographs of the lowest
# quality have about 100 px per byte (0.08 bit per pixel); with lossless compression a sensor's
# noise leaves 1 px per byte or less. Below 20 megapixels memory is not a concern.
MOST_PER_BYTE, MOST_PER_BYTE_LOSSLESS, PIXELS_UNASKED = 1000, 25, 20_000_000
CUT = "is cut off or damaged: {}; send the complete original file"

_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_OTHER_KINDS = (
    (b"GIF8", "a GIF"), (b"BM", "a BMP"), (b"%PDF", "a PDF"), (b"8BPS", "a PSD"),
    (b"\xff\x0a", "a JPEG XL"), (b"\x00\x00\x00\x0cJXL", "a JPEG XL"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000"), (b"\xff\x4f\xff\x51", "a JPEG 2000"),
    (b"IIRO", "a raw camera"), (b"FUJIFILMCCD-RAW", "a raw camera"), (b"PK", "a ZIP"),
)  # fmt: skip
# Bytes of each type of value (TIFF 6.0, section 2), and the tags that point to directories.
_TIFF_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_TIFF_INNER = (330, 34665, 34853, 40965)


class PhotoError(ValueError):
    """A file that can't be opened as a photograph; the message is a sentence for users."""


def kind_of(data: bytes) -> Kind:
    """Return the kind of picture in a file, from its first bytes and not from its name.

    Parameters
    ----------
    data : bytes
        The whole file.

    Raises
    ------
    PhotoError
        If it is empty or of a kind that is not accepted; the message continues a sentence that
        begins with the file's name.
    """
    if not data:
        raise PhotoError("is empty; copy it again from the camera")
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "TIFF"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[4:8] == b"ftyp":
        end = min(int.from_bytes(data[:4], "big"), 512)
        brands = {data[8:12]} | {data[at : at + 4] for at in range(16, end, 4)}
        if brands & {b"avif", b"avis"}:
            return "AVIF"
        if brands.intersection(_HEIF_BRANDS):
            return "HEIF"
    for start, words in _OTHER_KINDS:
        if data.startswith(start):
            raise PhotoError(f"is {words} file; a photograph must be {ACCEPTED}")
    raise PhotoError(f"is not a photograph that can be read; it must be {ACCEPTED}")


def refuse_size(
    width: int, height: int, file_bytes: int, kind: Kind, decoder_bytes: int = 0
) -> None:
    """Refuse a picture because of the size in its header, before anything is decoded.

    Parameters
    ----------
    width, height : int
        As stated in the header, px.
    file_bytes : int
        Size of the file.
    kind : str
        Kind of picture.
    decoder_bytes : int, optional
        Memory that decoding needs per pixel in addition to the result, bytes.

    Raises
    ------
    PhotoError
        If a side is 0, or there are more than 200 megapixels, far more than the file can contain,
        or more than can be decoded in `MOST_BYTES`.
    """
    if width <= 0 or height <= 0:
        raise PhotoError(f"has no pixels ({width} x {height}); copy it again from the camera")
    megapixels = f"{width * height / 1e6:.0f} megapixels ({width} x {height})"
    if width * height > MOST_PIXELS:
        raise PhotoError(f"has {megapixels}; at most {MOST_PIXELS / 1e6:.0f} are accepted")
    per_byte = MOST_PER_BYTE_LOSSLESS if kind == "PNG" else MOST_PER_BYTE
    if width * height > max(PIXELS_UNASKED, per_byte * file_bytes):
        raise PhotoError(
            f"states {megapixels} in {file_bytes / 1e3:.0f} kB; no photograph is compressed so "
            "much. Copy it again from the camera"
        )
    # 3 bytes for the result; measuring needs 7 more (the largest observed, at 200 megapixels)
    needed = width * height * (3 + max(decoder_bytes, MEASURING_BYTES)) + file_bytes
    if needed > MOST_BYTES - PROGRAM_BYTES:
        raise PhotoError(
            f"has {megapixels}, which as {kind} take {needed / 1e9:.1f} GB of memory to decode; "
            f"the limit is {(MOST_BYTES - PROGRAM_BYTES) / 1e9:.1f} GB. Save it as JPEG, or smaller"
        )


def webp_size(data: bytes) -> tuple[int, int] | None:
    """Return the width and height of a WebP file (RFC 9649, 2.5 to 2.7), or None.

    Parameters
    ----------
    data : bytes
        The whole file.
    """
    kind, body = data[12:16], data[20:30]
    if len(body) < 10:
        return None
    if kind == b"VP8X":
        return (int.from_bytes(body[4:7], "little") + 1, int.from_bytes(body[7:10], "little") + 1)
    if kind == b"VP8L":
        bits = int.from_bytes(body[1:5], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    return struct.unpack_from("<H", body, 6)[0] & 0x3FFF, struct.unpack_from("<H", body, 8)[
        0
    ] & 0x3FFF


def tiff_end(data: bytes) -> int:
    """Return where the last directory of a TIFF and its values end (TIFF 6.0, section 2).

    Nested directories, such as EXIF's, are followed. For BigTIFF, with its 64-bit offsets, the
    file's end is returned.

    Parameters
    ----------
    data : bytes
        The whole file.
    """
    order: Literal["little", "big"] = "little" if data[:2] == b"II" else "big"

    def number(at: int, size: int) -> int:
        return int.from_bytes(data[at : at + size], order)

    if number(2, 2) != 42:
        return len(data)
    end, directories, visited = 8, [number(4, 4)], set[int]()
    while directories:
        at = directories.pop()
        if not 0 < at < len(data) or at in visited:
            continue
        visited.add(at)
        count = number(at, 2)
        end = max(end, at + 2 + 12 * count + 4)
        directories.append(number(at + 2 + 12 * count, 4))
        for entry in range(at + 2, min(at + 2 + 12 * count, len(data)), 12):
            size = _TIFF_SIZES.get(number(entry + 2, 2), 1) * number(entry + 4, 4)
            place = entry + 8 if size <= 4 else number(entry + 8, 4)
            end = max(end, place + size)
            if number(entry, 2) in _TIFF_INNER:
                directories += [
                    number(at, 4) for at in range(place, min(place + size, len(data)), 4)
                ]
    return end


def refuse_cut(data: bytes, kind: Kind) -> None:
    """Refuse a file if its structure shows that a part is missing.

    JPEG and TIFF are not covered here: `vision.photo.jpeg` checks the former, and the strips of
    the latter are known only once its directory has been read.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        Its kind according to `kind_of`.

    Raises
    ------
    PhotoError
        If the picture's end, or another part of it, is missing.
    """
    if kind == "PNG":
        _walk_png(data)
    elif kind == "WebP":
        stated = struct.unpack_from("<I", data, 4)[0] + 8
        if len(data) < stated:
            raise PhotoError(CUT.format(f"{stated - len(data)} of {stated} bytes are missing"))
    else:
        _walk_boxes(data)


def _walk_png(data: bytes) -> None:
    """Follow a PNG's chunks (ISO/IEC 15948, 5.3) to its end, and check the checksums."""
    at = 8
    while at + 12 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        name = data[at + 4 : at + 8]
        end = at + 12 + size
        if end > len(data):
            break
        critical = name[:1].isupper()
        stated = int.from_bytes(data[end - 4 : end], "big")
        if critical and zlib.crc32(memoryview(data)[at + 4 : end - 4]) != stated:
            raise PhotoError(CUT.format("a checksum of the PNG picture is wrong"))
        if name == b"IEND":
            return
        at = end
    raise PhotoError(CUT.format("the end of the PNG picture is missing"))


def _walk_boxes(data: bytes) -> None:
    """Follow the outermost boxes of a HEIF or AVIF file (ISO/IEC 14496-12, 4.2)."""
    at = 0
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        elif size == 0:  # to the end of the file
            return
        if size < 8:
            return  # not a box: appended data is not part of the picture
        if at + size > len(data):
            missing = at + size - len(data)
            raise PhotoError(CUT.format(f"{missing} bytes of the picture are missing"))
        at += size


SUFFIXES = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".avif"}
