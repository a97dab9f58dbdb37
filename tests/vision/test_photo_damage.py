"""Files that are no whole photograph: cut, damaged, huge, animated, or something else."""

from __future__ import annotations

import io
import random
import struct
import time
import zlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from vision.photo import PhotoError, open_photo

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


LOSSLESS: dict[str, bytes] = {
    "PNG": saved("PNG"),
    "TIFF": saved("TIFF"),
    "TIFF LZW": saved("TIFF", compression="tiff_lzw"),
    "WebP": saved("WEBP", lossless=True),
}
LOSSY: dict[str, bytes] = {
    "JPEG": saved("JPEG", quality=90),
    "JPEG progressive": saved("JPEG", quality=90, progressive=True),
    "JPEG 4:2:0 with restarts": saved("JPEG", quality=90, subsampling=2, restart_marker_rows=1),
    "WebP": saved("WEBP", quality=90),
    "AVIF": saved("AVIF", quality=90),
    "JPEG in TIFF": saved("TIFF", compression="jpeg"),
    "JPEG CMYK": saved("JPEG", Image.fromarray(scene()).convert("CMYK"), quality=90),
}


@pytest.mark.parametrize("kind", [*LOSSLESS, *LOSSY])
def test_a_file_cut_anywhere_is_noticed(kind: str) -> None:
    data = {**LOSSLESS, **LOSSY}[kind]
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


def test_a_flipped_bit_in_a_png_is_noticed() -> None:
    data = bytearray(LOSSLESS["PNG"])
    data[len(data) // 2] ^= 8
    assert "checksum" in refusal(bytes(data))


def png_header(width: int, height: int) -> bytes:
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    return b"\x89PNG\r\n\x1a\n" + chunk + b"\0\0\0\0IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))


def test_over_200_megapixels_are_refused_from_the_header() -> None:
    start = time.perf_counter()
    assert "225 megapixels (15000 x 15000); at most 200" in refusal(png_header(15000, 15000))
    tall = bytearray(saved("JPEG", Image.new("L", (8, 8))))
    at = tall.index(b"\xff\xc0")
    tall[at + 5 : at + 9] = struct.pack(">HH", 60000, 60000)
    assert "3600 megapixels" in refusal(bytes(tall))
    assert time.perf_counter() - start < 1.0


def test_no_pixels_are_refused() -> None:
    assert "no pixels (0 x 12)" in refusal(png_header(0, 12))
    flat = bytearray(LOSSY["JPEG"])
    at = flat.index(b"\xff\xc0")
    flat[at + 5 : at + 7] = b"\0\0"
    assert "cannot be decoded" in refusal(bytes(flat))


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_several_pictures_in_one_file_are_refused(kind: str) -> None:
    frames = [Image.fromarray(scene(seed=seed)) for seed in (1, 2, 3)]
    data = saved(kind, frames[0], save_all=True, append_images=frames[1:])
    assert "save the one picture that you mean" in refusal(data)


def test_a_camera_file_with_a_second_jpeg_gives_its_first() -> None:
    frames = [Image.fromarray(scene(seed=seed)) for seed in (1, 2)]
    data = saved("MPO", frames[0], save_all=True, append_images=frames[1:], quality=95)
    assert np.abs(open_photo(data).pixels.astype(int) - scene()).mean() < 4


def test_a_raw_file_in_tiffs_clothes_is_refused() -> None:
    raw = saved("TIFF", tiffinfo={50706: bytes([1, 4, 0, 0])})
    assert "raw camera file" in refusal(raw)
    preview = saved("TIFF", tiffinfo={254: 1})
    assert "raw camera file" in refusal(preview)


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
def test_what_is_no_photograph_is_told_in_one_sentence(data: bytes, words: str) -> None:
    assert refusal(data, "x.jpg").startswith("x.jpg ")
    assert words in refusal(data, "x.jpg")


def test_a_path_that_holds_no_file_is_told_in_one_sentence(tmp_path: Path) -> None:
    assert "nowhere.jpg does not exist" in refusal(tmp_path / "nowhere.jpg")
    assert "is a folder" in refusal(tmp_path)
    assert "cannot be read" in refusal("a\0b.jpg")


@pytest.mark.parametrize("kind", [*LOSSLESS, *LOSSY])
def test_no_mutation_leaves_as_anything_but_a_picture_or_a_sentence(kind: str) -> None:
    data = {**LOSSLESS, **LOSSY}[kind]
    chance = random.Random(kind)
    outcomes = set()
    start = time.perf_counter()
    for _ in range(150):
        copy = bytearray(data)
        for _ in range(chance.choice([1, 1, 2, 8])):
            at = chance.randrange(min(len(copy), chance.choice([400, len(copy)])))
            match chance.randrange(4):
                case 0:
                    del copy[at : at + chance.randrange(1, 40)]
                case 1:
                    copy[at:at] = chance.randbytes(chance.randrange(1, 20))
                case _:
                    copy[at] = chance.randrange(256)
        try:
            photo = open_photo(bytes(copy))
            assert photo.pixels.ndim == 3
            outcomes.add("picture")
        except PhotoError as reason:
            outcomes.add("sentence" if str(reason).endswith(".") else str(reason))
    assert "sentence" in outcomes
    assert outcomes <= {"sentence", "picture"}
    assert time.perf_counter() - start < 20


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
