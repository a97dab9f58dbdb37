"""Photographs and damaged files by others, where available: opened correctly or refused.

They are data of public repositories with their own licences and are not part of this project.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.real_photographs import REAL, needs_real
from vision.photo.photo import PhotoError, open_photo

pytestmark = needs_real("awkward")

ON_WHITE, CMYK = "placed on white", "(CMYK)"
# Width and height upright, px; what must be said about the colours. The sizes are those that
# each file's own header states, swapped where it says that it is stored lying.
OPENED: dict[str, tuple[tuple[int, int], str]] = {
    "heif_example.heic": ((1280, 854), ""),  # the first of two pictures
    "pil_12bit.cropped.tif": ((100, 100), "12 bits"),
    "pil_16bit.cropped.tif": ((64, 64), "16 bits"),
    "pil_exif_typeerror.jpg": ((800, 531), ""),
    "pil_frozenpond.mpo": ((640, 480), ""),  # the left picture of a pair
    "pil_junk_jpeg_header.jpg": ((1024, 768), ""),
    "pil_pil_sample_cmyk.jpg": ((100, 100), CMYK),
    "pil_rot1mir0.avif": ((640, 427), ""),  # stored turned by 90 degrees
    "pil_tiff_16bit_RGB.tiff": ((100, 40), "16 bits"),
    "pil_tiff_strip_cmyk_jpeg.tif": ((100, 100), CMYK),
    "pil_transparent.png": ((200, 150), ON_WHITE),
    "pil_xmp_tags_orientation.png": ((326, 268), ""),
}
REFUSED: dict[str, str] = {
    "pil_broken_data_stream.png": "checksum of the PNG picture is wrong",
    "pil_decompression_bomb.gif": "is a GIF file",
    # its scan is in stripes that no decoder puts right: it opens in Pillow without a word
    "pil_hopper_bad_exif.jpg": "its JPEG data is corrupt (1214 extraneous bytes",
    "pil_oom-225817ca0f8c663be7ab4b9e717b02c661e66834.tif": "TIFF picture cannot be decoded",
    "pil_png_decompression_dos.png": "PNG picture cannot be decoded",
    "pil_reallybig.bmp": "is a BMP file",
    "pil_truncated_image.png": "the end of the PNG picture is missing",
    "pil_truncated_jpeg.jpg": "the end of the JPEG picture is missing",
    "pil_ultrahdr.jpg": "the end of the JPEG picture is missing",
    "pil_zero_width.gif": "is a GIF file",
}
# What OpenCV says about the same files. HEIC it cannot read: that one was looked at by eye.
SAME_IN_OPENCV = (
    "pil_exif_typeerror.jpg",
    "pil_frozenpond.mpo",
    "pil_junk_jpeg_header.jpg",
    "pil_tiff_16bit_RGB.tiff",
)


def by_opencv(name: str, flags: int = cv2.IMREAD_COLOR) -> NDArray[np.uint8]:
    data = np.frombuffer((REAL / "awkward" / name).read_bytes(), np.uint8)
    image = cv2.imdecode(data, flags)
    assert image is not None
    return np.asarray(image)


def test_every_awkward_file_has_its_expected_outcome() -> None:
    assert {path.name for path in (REAL / "awkward").iterdir()} == {*OPENED, *REFUSED}


@pytest.mark.parametrize("name", OPENED)
def test_an_awkward_file_opens_upright_with_its_size(name: str) -> None:
    (width, height), said = OPENED[name]
    photo = open_photo(REAL / "awkward" / name)
    assert photo.pixels.shape == (height, width, 3)
    assert photo.pixels.dtype == np.uint8
    if said:
        assert any(said in note for note in photo.notes)
    else:
        assert photo.notes == ()


@pytest.mark.parametrize("name", REFUSED)
def test_a_damaged_or_unfit_file_is_refused_in_one_sentence(name: str) -> None:
    with pytest.raises(PhotoError) as caught:
        open_photo(REAL / "awkward" / name)
    words = str(caught.value)
    assert words.startswith(name)
    assert REFUSED[name] in words
    assert words.endswith(".")
    assert "\n" not in words


@pytest.mark.parametrize("name", SAME_IN_OPENCV)
def test_pixels_agree_with_opencv(name: str) -> None:
    expected = by_opencv(name)[:, :, ::-1].astype(int)
    pixels = open_photo(REAL / "awkward" / name).pixels.astype(int)
    assert np.abs(pixels - expected).max() <= 1


def test_16_bit_grey_agrees_with_opencv() -> None:
    name = "pil_16bit.cropped.tif"
    expected = by_opencv(name, cv2.IMREAD_UNCHANGED) / 257.0
    pixels = open_photo(REAL / "awkward" / name).pixels
    assert np.abs(pixels[:, :, 0] - expected).max() <= 0.51


def test_12_bit_grey_agrees_with_its_bits_unpacked_by_hand() -> None:
    # 100 x 100 px in two strips of 54 and 46 rows, 150 bytes a row, from byte 8 on; two pixels
    # of 12 bits in three bytes, upper bits first (TIFF 6.0, FillOrder 1).
    data = (REAL / "awkward" / "pil_12bit.cropped.tif").read_bytes()
    a, b, c = np.frombuffer(data, np.uint8, 15000, offset=8).astype(int).reshape(-1, 3).T
    values = np.stack([a << 4 | b >> 4, (b & 15) << 8 | c], axis=1).reshape(100, 100)
    pixels = open_photo(REAL / "awkward" / "pil_12bit.cropped.tif").pixels
    assert np.abs(pixels[:, :, 1] - values * 255 / 4095).max() <= 0.51


def test_transparent_pixels_agree_with_a_composite_by_hand() -> None:
    raw = by_opencv("pil_transparent.png", cv2.IMREAD_UNCHANGED).astype(float)
    alpha = raw[:, :, 3:] / 255
    expected = raw[:, :, 2::-1] * alpha + 255 * (1 - alpha)
    pixels = open_photo(REAL / "awkward" / "pil_transparent.png").pixels
    assert np.abs(pixels - expected).max() <= 1.5


def test_an_orientation_in_xmp_turns_the_picture() -> None:
    # orientation 3: stored upside down; OpenCV leaves it so
    name = "pil_xmp_tags_orientation.png"
    stored = by_opencv(name)[:, :, ::-1].astype(int)
    pixels = open_photo(REAL / "awkward" / name).pixels.astype(int)
    assert np.abs(pixels - stored[::-1, ::-1]).max() <= 1


def test_a_lying_avif_is_turned_as_its_own_lettering_reads() -> None:
    # Its lettering says where top and bottom are (read by eye once): sky above, path below.
    name = "pil_rot1mir0.avif"
    pixels = open_photo(REAL / "awkward" / name).pixels.astype(int)
    sky, path = pixels[:60].mean(axis=(0, 1)), pixels[-60:].mean(axis=(0, 1))
    assert sky[2] > path[2] + 40


def test_the_red_of_a_cmyk_picture_is_red() -> None:
    for name in ("pil_pil_sample_cmyk.jpg", "pil_tiff_strip_cmyk_jpeg.tif"):
        pixels = open_photo(REAL / "awkward" / name).pixels.astype(int)
        lettering = pixels[pixels.max(axis=2) > 200].mean(axis=0)
        assert lettering[0] > 180
        assert lettering[1:].max() < 90


@dataclass(frozen=True, slots=True)
class Everyday:
    folder: str
    count: int
    size: tuple[int, int]


@pytest.mark.parametrize(
    "group", [Everyday("markers", 9, (640, 480)), Everyday("rule", 3, (960, 1280))]
)
def test_everyday_photographs_open_as_opencv_reads_them(group: Everyday) -> None:
    paths = sorted((REAL / group.folder).glob("*.jpg"))
    assert len(paths) == group.count
    for path in paths:
        photo = open_photo(path)
        assert photo.pixels.shape[1::-1] == group.size
        np.testing.assert_array_equal(photo.pixels, np.asarray(cv2.imread(str(path)))[:, :, ::-1])
        assert photo.focal_px is None  # none of them says its focal length
