"""Opening photographs: every format, upright, once, with the camera's data."""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from photo_files import LOSSLESS, LOSSY, refusal, saved, scene
from PIL import Image, ImageOps

from tests.photo_arrays import photo_from_array
from vision.photo.decode import CMYK_PLAIN, ON_WHITE
from vision.photo.photo import Photo, open_photo


@pytest.mark.parametrize("kind", LOSSLESS)
def test_lossless_kinds_give_back_every_pixel(kind: str) -> None:
    photo = open_photo(LOSSLESS[kind])
    np.testing.assert_array_equal(photo.pixels, scene())
    assert photo.pixels.flags.c_contiguous
    assert photo.notes == ()


@pytest.mark.parametrize("kind", LOSSY)
def test_lossy_kinds_give_the_picture_within_their_loss(kind: str) -> None:
    photo = open_photo(LOSSY[kind])
    assert photo.pixels.dtype == np.uint8
    assert np.abs(photo.pixels.astype(int) - scene()).mean() < 5


def test_jpeg_pixels_are_those_of_an_independent_decoder() -> None:
    # Pillow decodes the same bytes by its own binding of libjpeg-turbo
    for kind in ("JPEG", "JPEG progressive", "JPEG 4:2:0 with restarts"):
        expected = np.asarray(Image.open(io.BytesIO(LOSSY[kind])))
        np.testing.assert_array_equal(open_photo(LOSSY[kind]).pixels, expected)


def test_the_format_is_recognised_by_content_and_not_by_suffix(tmp_path: Path) -> None:
    path = tmp_path / "rope.png"
    path.write_bytes(LOSSY["JPEG"])
    photo = open_photo(path)
    assert photo.name == "rope.png"
    assert photo.sha256 == open_photo(LOSSY["JPEG"]).sha256
    assert open_photo(str(path), name="station 2").name == "station 2"


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_the_picture_is_turned_upright_once(kind: str, turn: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = turn
    options: dict[str, Any] = {"lossless": True} if kind == "WEBP" else {}
    data = saved(kind, exif=exif, **options)
    # Pillow's own transposition, written apart from ours, is the reference
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))
    photo = open_photo(data)
    assert photo.pixels.shape == expected.shape
    np.testing.assert_array_equal(photo.pixels, expected)


def test_what_the_camera_wrote_comes_along() -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Acme", "Pocket 3"
    inner = exif.get_ifd(0x8769)
    inner[0x9003], inner[0x9011] = "2026:09:14 10:32:05", "+02:00"
    inner[0xA405], inner[0x920A] = 26, 4.25
    for kind in ("JPEG", "PNG", "WEBP"):
        photo = open_photo(saved(kind, exif=exif))
        assert photo.camera == "Acme Pocket 3"
        assert photo.taken_at is not None
        assert photo.taken_at.replace(tzinfo=None) == datetime(2026, 9, 14, 10, 32, 5)
        # 192 x 144 px has a diagonal of 240 px
        assert photo.focal_px == pytest.approx(26 / np.hypot(36, 24) * 240, rel=1e-6)


def test_grey_becomes_three_equal_colours() -> None:
    grey = Image.fromarray(scene()[:, :, 0])
    for kind in ("JPEG", "PNG", "TIFF"):
        photo = open_photo(saved(kind, grey))
        assert photo.pixels.shape == (144, 192, 3)
        assert (photo.pixels[:, :, :1] == photo.pixels).all()


def test_transparent_parts_are_laid_on_white_and_it_is_reported() -> None:
    image = Image.fromarray(scene()).convert("RGBA")
    opaque = open_photo(saved("PNG", image))
    assert opaque.notes == ()
    np.testing.assert_array_equal(opaque.pixels, scene())
    image.paste((0, 0, 0, 0), (0, 0, 50, 50))
    photo = open_photo(saved("PNG", image))
    assert photo.notes == (ON_WHITE,)
    assert (photo.pixels[:50, :50] == 255).all()
    np.testing.assert_array_equal(photo.pixels[50:], scene()[50:])


def test_a_palette_gives_its_colours() -> None:
    image = Image.fromarray(scene()).quantize(64)
    photo = open_photo(saved("PNG", image))
    np.testing.assert_array_equal(photo.pixels, np.asarray(image.convert("RGB")))


def test_cmyk_is_turned_into_rgb_and_it_is_reported() -> None:
    assert open_photo(LOSSY["JPEG CMYK"]).notes == (CMYK_PLAIN,)


@pytest.mark.parametrize("suffix", [".png", ".tiff"])
@pytest.mark.parametrize("channels", [1, 3])
def test_16_bits_are_scaled_to_8(suffix: str, channels: int) -> None:
    ramp = np.linspace(0, 65535, 256 * 4).astype(np.uint16).reshape(8, 128)
    image = ramp if channels == 1 else np.dstack([ramp, ramp[::-1], ramp[:, ::-1]])
    ok, data = cv2.imencode(suffix, image)
    assert ok
    photo = open_photo(data.tobytes())
    expected = image[..., ::-1] if channels == 3 else np.dstack([ramp] * 3)
    # to within one level: for colour Pillow keeps the upper byte
    assert np.abs(photo.pixels - expected / 257.0).max() <= 1.0
    assert photo.pixels.min() == 0
    assert photo.pixels.max() == 255
    assert photo.notes == ("Its 16 bits per colour were reduced to 8.",)


def test_numbers_that_are_not_colours_are_refused() -> None:
    for dtype in (np.float32, np.int32):
        data = saved("TIFF", Image.fromarray(np.ones((4, 5), dtype)))
        assert "32-bit or floating-point" in refusal(data)


def bits_apart(one: Photo, two: Photo) -> int:
    return (int(one.look_hash, 16) ^ int(two.look_hash, 16)).bit_count()


def test_close_copies_look_alike_and_other_pictures_do_not() -> None:
    first = open_photo(saved("PNG", Image.fromarray(scene(800, 600))))
    small = Image.fromarray(scene(800, 600)).resize((320, 240))
    again = open_photo(saved("JPEG", small, quality=70))
    brighter = open_photo(saved("JPEG", small.point(lambda value: value * 0.9 + 20)))
    assert again.sha256 != first.sha256
    assert bits_apart(first, again) <= 3
    assert bits_apart(first, brighter) <= 3
    others = [photo_from_array(scene(800, 600, seed)) for seed in range(2, 12)]
    assert min(bits_apart(first, other) for other in others) >= 12
    assert len(first.look_hash) == 16
