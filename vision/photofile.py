"""A photograph's file before it is decoded: which kind it is, and whether all of it is there.

Decoders are lenient: a JPEG cut in half comes out half grey without a word. So the file's own
structure is walked first; that costs milliseconds and reads no pixel.
"""

from __future__ import annotations

import re
import struct
import zlib
from typing import Literal

Kind = Literal["JPEG", "PNG", "TIFF", "WebP", "HEIF", "AVIF"]

ACCEPTED = "JPEG, PNG, TIFF, WebP, HEIC/HEIF or AVIF"
MOST_PIXELS = 200_000_000
CUT = "is cut off or damaged: {}; send the whole original file"

_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_OTHER_KINDS = (
    (b"GIF8", "a GIF"), (b"BM", "a BMP"), (b"%PDF", "a PDF"), (b"8BPS", "a PSD"),
    (b"\xff\x0a", "a JPEG XL"), (b"\x00\x00\x00\x0cJXL", "a JPEG XL"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000"), (b"\xff\x4f\xff\x51", "a JPEG 2000"),
    (b"IIRO", "a raw camera"), (b"FUJIFILMCCD-RAW", "a raw camera"), (b"PK", "a ZIP"),
)  # fmt: skip
# Inside a scan 0xFF is followed by 0 (stuffing), a restart marker, or more 0xFF (fill); an
# entropy-coded segment ends at anything else (ITU-T T.81, B.1.1.2 and B.1.1.5).
_END_OF_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


class PhotoError(ValueError):
    """A file that can't be opened as a photograph; the message is one sentence for people."""


def kind_of(data: bytes) -> Kind:
    """Return what kind of picture a file is, by its first bytes and not by its name.

    Raises
    ------
    PhotoError
        If it is empty or of no kind that is accepted; the message goes on from the file's name.
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


def refuse_size(width: int, height: int) -> None:
    """Refuse a picture by the size that its header states, before anything is decoded.

    Raises
    ------
    PhotoError
        If a side is 0, or there are more than 200 megapixels.
    """
    if width <= 0 or height <= 0:
        raise PhotoError(f"has no pixels ({width} x {height}); copy it again from the camera")
    if width * height > MOST_PIXELS:
        raise PhotoError(
            f"has {width * height / 1e6:.0f} megapixels ({width} x {height}); at most "
            f"{MOST_PIXELS / 1e6:.0f} are read"
        )


def refuse_cut(data: bytes, kind: Kind) -> None:
    """Refuse a file of which a part is missing, as far as its structure tells.

    TIFF is not covered here: its strips are known only once its directory is read.

    Raises
    ------
    PhotoError
        If the picture's end, or a part of it, is not there.
    """
    if kind == "JPEG":
        _walk_jpeg(data)
    elif kind == "PNG":
        _walk_png(data)
    elif kind == "WebP":
        stated = struct.unpack_from("<I", data, 4)[0] + 8
        if len(data) < stated:
            raise PhotoError(CUT.format(f"{stated - len(data)} of {stated} bytes are missing"))
    else:
        _walk_boxes(data)


def _walk_jpeg(data: bytes) -> None:
    """Follow a JPEG's segments (ITU-T T.81, Annex B) to the end of its first picture."""
    at, scans = 2, 0
    while (at := data.find(b"\xff", at)) >= 0:
        marker = data[at + 1 : at + 2]
        at += 1 if marker == b"\xff" else 2
        if marker == b"\xd9" and scans:
            return
        if not b"\xc0" <= marker <= b"\xfe" or b"\xd0" <= marker <= b"\xd9":
            continue
        at += int.from_bytes(data[at : at + 2], "big")
        if marker == b"\xda":
            scans += 1
            end = _END_OF_SCAN.search(data, at)
            if end is None:
                break
            at = end.start()
    raise PhotoError(CUT.format("the end of the JPEG picture is missing"))


def _walk_png(data: bytes) -> None:
    """Follow a PNG's chunks (ISO/IEC 15948, 5.3) to its end; check the picture's sums."""
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
            return  # not a box: whatever was appended is no part of the picture
        if at + size > len(data):
            missing = at + size - len(data)
            raise PhotoError(CUT.format(f"{missing} bytes of the picture are missing"))
        at += size
