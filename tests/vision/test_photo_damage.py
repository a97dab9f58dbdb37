"""Files that are not a complete photograph: truncated, damaged, huge, animated, or not images."""

from __future__ import annotations

import io
import random
import struct
import time
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_files import EVERYDAY, LOSSLESS, LOSSY, refusal, saved, scene
from PIL import Image

from vision.photo.photo import PhotoError, open_photo


@pytest.mark.fault(
    "a photograph's file truncated at any point",
    "`is cut off or damaged: the end of the JPEG picture is missing; ...`",
)
@pytest.mark.parametrize("kind", EVERYDAY)
def test_a_file_cut_anywhere_is_noticed(kind: str) -> None:
    data = EVERYDAY[kind]
    shares = [*range(10, 100, 3), 99, 99.3, 99.6, 99.9]
    lengths = {int(len(data) * share / 100) for share in shares} | {len(data) - 1, len(data) - 2}
    for length in sorted(lengths):
        assert "cut off or damaged" in refusal(data[:length], "rope.jpg"), length


def test_a_cut_jpeg_is_noticed_that_opencv_reads_without_a_word(tmp_path: Path) -> None:
    data = saved("JPEG", Image.fromarray(scene(800, 600)))
    path = tmp_path / "cut.jpg"
    path.write_bytes(data[: len(data) // 2])
    grey_below = cv2.imread(str(path))
    assert grey_below is not None
    assert np.ptp(grey_below[-50:]) == 0
    assert "the end of the JPEG picture is missing" in refusal(path)


def test_a_preview_inside_a_jpeg_does_not_stand_for_its_end() -> None:
    small = saved("JPEG", Image.fromarray(scene(64, 48)))
    segment = b"\xff\xe2" + struct.pack(">H", len(small) + 2) + small
    data = LOSSY["JPEG"][:2] + segment + LOSSY["JPEG"][2:]
    assert open_photo(data).pixels.shape == (144, 192, 3)
    assert "missing" in refusal(data[: len(data) - 100])


def test_what_stands_behind_a_picture_does_not_disturb_it() -> None:
    np.testing.assert_array_equal(
        open_photo(LOSSY["JPEG"] + LOSSY["JPEG"][:500]).pixels, open_photo(LOSSY["JPEG"]).pixels
    )


def test_a_small_jpeg_of_thousands_of_scans_is_refused_before_it_is_decoded() -> None:
    file = io.BytesIO()
    Image.new("L", (64, 64)).save(file, "JPEG", progressive=True)
    data = file.getvalue()
    last = data[data.rfind(b"\xff\xda") : -2]
    assert "has more than 200 scans; no camera writes so many" in refusal(
        data[:-2] + last * 2000 + data[-2:]
    )


def test_a_flipped_bit_in_a_png_is_noticed() -> None:
    data = bytearray(LOSSLESS["PNG"])
    data[len(data) // 2] ^= 8
    assert "checksum" in refusal(bytes(data))


def png_header(width: int, height: int) -> bytes:
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    return b"\x89PNG\r\n\x1a\n" + chunk + b"\0\0\0\0IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))


@pytest.mark.fault(
    "a photograph of over 200 megapixels",
    "`has 225 megapixels (15000 x 15000); at most 200 are accepted.`",
)
def test_over_200_megapixels_are_refused_from_the_header() -> None:
    start = time.perf_counter()
    assert "225 megapixels (15000 x 15000); at most 200" in refusal(png_header(15000, 15000))
    tall = bytearray(saved("JPEG", Image.new("L", (8, 8))))
    at = tall.index(b"\xff\xc0")
    tall[at + 5 : at + 9] = struct.pack(">HH", 60000, 60000)
    assert "3600 megapixels" in refusal(bytes(tall))
    assert time.perf_counter() - start < 1.0


@pytest.mark.fault(
    "a photograph's file truncated, or with a gap in it",
    "`is cut off or damaged: its JPEG data is corrupt (...); send the complete original file.`",
)
@pytest.mark.parametrize("kind", ["JPEG", "JPEG 4:2:0 with restarts", "JPEG CMYK"])
@pytest.mark.parametrize("fill", ["nothing", "zeros", "noise"])
def test_a_gap_in_the_middle_of_a_jpeg_is_noticed(kind: str, fill: str) -> None:
    data = EVERYDAY[kind]
    begin = data.rindex(b"\xff\xda") + 40
    chance = random.Random(5)
    seen = 0
    for _ in range(60):
        at = chance.randrange(begin, len(data) - 600)
        filled = {"nothing": b"", "zeros": bytes(512), "noise": chance.randbytes(512)}
        holed = data[:at] + filled[fill] + data[at + 512 :]
        try:
            open_photo(holed)
        except PhotoError as reason:
            seen += "cut off or damaged" in str(reason)
    # by chance a few decode into just as many blocks (see vision.photo.jpeg)
    assert seen >= 57


def test_bytes_that_do_no_harm_are_no_damage() -> None:
    data = LOSSY["JPEG"]
    plain = open_photo(data).pixels
    between = data.index(b"\xff\xdb")
    for harmless in (
        data[:-2] + bytes(12) + data[-2:],  # padded before the end, as some cameras do
        data[:between] + b"\x11\x22\x33" + data[between:],
    ):
        np.testing.assert_array_equal(open_photo(harmless).pixels, plain)


@pytest.mark.fault(
    "a file of a few kilobytes that claims many megapixels",
    "`states 144 megapixels (12000 x 12000) in 12 kB; no photograph is compressed so much. ...`",
)
def test_more_pixels_than_a_file_can_hold_are_refused_from_the_header() -> None:
    # 144 megapixels stated in a file of some 10 kB would take half a gigabyte to decode
    jpeg = bytearray(LOSSY["JPEG"])
    at = jpeg.index(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = struct.pack(">HH", 12000, 12000)
    exif = Image.Exif()
    exif[0x0112] = 1
    webp = bytearray(saved("WEBP", exif=exif))
    assert webp[12:16] == b"VP8X"
    webp[24:30] = (11999).to_bytes(3, "little") * 2
    for data in (bytes(jpeg), png_header(12000, 12000), bytes(webp)):
        assert "states 144 megapixels (12000 x 12000)" in refusal(data)
        assert "compressed so much" in refusal(data)


def test_no_pixels_are_refused() -> None:
    assert "no pixels (0 x 12)" in refusal(png_header(0, 12))
    flat = bytearray(LOSSY["JPEG"])
    at = flat.index(b"\xff\xc0")
    flat[at + 5 : at + 7] = b"\0\0"
    assert "cannot be decoded" in refusal(bytes(flat))


@pytest.mark.fault(
    "a file with several pages, or an animation",
    "`contains several pages; save the picture that you want as its own file.`",
)
@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_several_pictures_in_one_file_are_refused(kind: str) -> None:
    frames = [Image.fromarray(scene(seed=seed)) for seed in (1, 2, 3)]
    data = saved(kind, frames[0], save_all=True, append_images=frames[1:])
    assert "save the picture that you want" in refusal(data)


def test_a_camera_file_with_a_second_jpeg_gives_its_first() -> None:
    frames = [Image.fromarray(scene(seed=seed)) for seed in (1, 2)]
    data = saved("MPO", frames[0], save_all=True, append_images=frames[1:], quality=95)
    assert np.abs(open_photo(data).pixels.astype(int) - scene()).mean() < 4


@pytest.mark.fault(
    "bytes inserted into a plain TIFF, or lost from it",
    "`is cut off or damaged: 40 extra bytes follow its TIFF picture; ...`",
)
def test_inserted_or_lost_bytes_in_plain_pixels_are_noticed() -> None:
    # found by `python -m tests.fuzz photos`, number 14491: 40 bytes more, and all that follows
    # moved by 13 px, with a diameter that was 0.9 % off
    exif = Image.Exif()
    exif[36867] = "2026:09:15 09:05:05"  # the time, in a directory of its own
    for options in ({}, {"exif": exif, "description": "rope 1"}):
        data = saved("TIFF", **options)
        assert open_photo(data).pixels.shape == (144, 192, 3)
        assert open_photo(data + bytes(3)).pixels.shape == (144, 192, 3)
        middle = len(data) - 30_000
        for other in (data[:middle] + b"more" + data[middle:], data + b"end"):
            assert "extra bytes follow its TIFF picture" in refusal(other)
        assert "a part of the TIFF picture is missing" in refusal(
            data[:middle] + data[middle + 4 :]
        )


def test_a_raw_file_in_tiffs_clothes_is_refused() -> None:
    raw = saved("TIFF", tiffinfo={50706: bytes([1, 4, 0, 0])})
    assert "raw camera file" in refusal(raw)
    preview = saved("TIFF", tiffinfo={254: 1})
    assert "raw camera file" in refusal(preview)


@pytest.mark.fault(
    "a file that is not a photograph",
    "`is a PDF file; a photograph must be JPEG, PNG, TIFF, WebP, HEIC/HEIF or AVIF.`",
)
@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (saved("GIF"), "is a GIF file; a photograph must be JPEG, PNG, TIFF, WebP, HEIC/HEIF"),
        (saved("BMP"), "is a BMP file"),
        (b"%PDF-1.4\n", "is a PDF file"),
        (b"station;direction;mm\n1;0;20.1\n", "is not a photograph that can be read"),
        (b"\xff\xd8\xff", "cut off or damaged"),
        (b"\0" * 5000, "is not a photograph"),
        (b"\0\0\0\x18ftypheic", "cut off or damaged"),
        (b"\0\0\0\x14ftypqt  \0\0\0\0qt  ", "is not a photograph"),
    ],
)
def test_a_file_that_is_not_a_photograph_gets_one_sentence(data: bytes, words: str) -> None:
    assert refusal(data, "x.jpg").startswith("x.jpg ")
    assert words in refusal(data, "x.jpg")


def test_a_path_that_holds_no_file_is_reported_in_one_sentence(tmp_path: Path) -> None:
    assert "nowhere.jpg does not exist" in refusal(tmp_path / "nowhere.jpg")
    assert "is a folder" in refusal(tmp_path)
    assert "cannot be read" in refusal("a\0b.jpg")


def test_malformed_exif_never_stops_the_opening() -> None:
    chance = random.Random(4)
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Acme"
    exif.get_ifd(0x8769)[0xA405] = 26
    block = exif.tobytes()
    plain = saved("JPEG")
    for _ in range(200):
        broken = bytearray(block)
        for _ in range(chance.randrange(1, 6)):
            broken[chance.randrange(6, len(broken))] = chance.randrange(256)
        broken = broken[: chance.randrange(6, len(broken) + 1)]
        segment = b"\xff\xe1" + struct.pack(">H", len(broken) + 2) + broken
        photo = open_photo(plain[:2] + segment + plain[2:])
        assert sorted(photo.pixels.shape) == [3, 144, 192]
