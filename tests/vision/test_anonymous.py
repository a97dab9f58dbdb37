"""Photographs for sending: names, place and time are gone, pixels and focal length are not.

What a photograph can say of people: EXIF's own tags (CIPA DC-008, Exif 2.32, 4.6.5 and 4.6.6: GPS,
Artist, Copyright, CameraOwnerName, serial numbers, UserComment, times), the maker's own notes, XMP,
IPTC, comments, thumbnails, and files that phones append behind the picture.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from tests.vision.photo_files import scene
from vision.photo.anonymous import anonymous
from vision.photo.containers import PhotoError
from vision.photo.photo import open_photo

SECRET = b"SECRET"
GPS_IFD, EXIF_IFD = 0x8825, 0x8769
TEXTS_IN_MAIN = (0x010E, 0x0131, 0x013B, 0x8298, 0x013C)  # description, software, artist, ...
TEXTS_IN_EXIF = (0x9003, 0x9004, 0xA430, 0xA431, 0xA435, 0xA420)  # times, owner, serials, id

# focal length in mm, for 35 mm, zoom, size, pixels per unit of the sensor
MEASURING = {0x920A, 0xA405, 0xA404, 0xA002, 0xA003, 0xA20E, 0xA210}


def full_exif() -> Image.Exif:
    """EXIF in which every text is secret, beside what measuring needs."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Acme", "Pocket 3", 6
    exif[0x0132] = "2026:09:15 09:04:17"
    for tag in TEXTS_IN_MAIN:
        exif[tag] = "SECRET"
    inner = exif.get_ifd(EXIF_IFD)
    inner.update({0x920A: 5.2, 0xA405: 26, 0xA002: 192, 0xA003: 144})
    for tag in TEXTS_IN_EXIF:
        inner[tag] = "SECRET"
    inner[0x9003] = "2026:09:15 09:04:17"
    inner[0x927C] = b"SECRET maker note"
    inner[0x9286] = b"ASCII\0\0\0SECRET comment"
    gps = exif.get_ifd(GPS_IFD)
    gps.update({1: "N", 2: (53.0, 32.0, 46.0), 3: "E", 4: (9.0, 57.0, 8.0), 27: b"SECRET"})
    return exif


def telling_jpeg() -> bytes:
    """A JPEG that tells its secret in every way that one can."""
    file = io.BytesIO()
    picture = Image.fromarray(scene())
    picture.save(file, "JPEG", quality=90, exif=full_exif(), comment=SECRET, icc_profile=SECRET)
    data = file.getvalue()
    xmp = b"http://ns.adobe.com/xap/1.0/\0<x>SECRET</x>"
    iptc = b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x0a\x1c\x02\x50\0\x06SECRET"
    extra = b"".join(
        b"\xff" + bytes([marker]) + (len(body) + 2).to_bytes(2, "big") + body
        for marker, body in ((0xE1, xmp), (0xED, iptc), (0xE2, b"MPF\0SECRET"))
    )
    return data[:2] + extra + data[2:] + b"SECRET" + data  # a second picture behind the first


def telling_png() -> bytes:
    file = io.BytesIO()
    told = PngImagePlugin.PngInfo()
    told.add_text("Author", "SECRET")
    told.add_itxt("XML:com.adobe.xmp", "<x>SECRET</x>")
    Image.fromarray(scene()).save(file, "PNG", exif=full_exif(), pnginfo=told)
    return file.getvalue()


def telling_tiff() -> bytes:
    file = io.BytesIO()
    Image.fromarray(scene()).save(file, "TIFF", exif=full_exif(), description="SECRET")
    return file.getvalue()


@pytest.mark.parametrize("made", [telling_jpeg, telling_png, telling_tiff])
def test_names_place_and_time_are_gone_and_the_picture_is_not(made: Callable[[], bytes]) -> None:
    data = made()
    assert SECRET in data  # the test can see it
    file, suffix = anonymous(data)
    assert SECRET not in file
    assert b"2026:09:15" not in file
    before, after = open_photo(data), open_photo(file)
    np.testing.assert_array_equal(after.pixels, before.pixels)
    assert (after.camera, after.focal_px) == (before.camera, before.focal_px)
    if made is not telling_tiff:  # Pillow writes no inner directory into a TIFF
        assert before.focal_px is not None
        assert before.taken_at is not None
    assert after.taken_at is None
    with Image.open(io.BytesIO(file)) as image:
        told = image.getexif()
        assert not told.get_ifd(GPS_IFD)
        assert set(told) <= {0x010F, 0x0110, 0x0112, EXIF_IFD}
        assert set(told.get_ifd(EXIF_IFD)) <= {
            0x920A,
            0xA405,
            0xA404,
            0xA002,
            0xA003,
            0xA20E,
            0xA210,
        }
    assert suffix == {"telling_jpeg": ".jpg"}.get(made.__name__, ".png")


def test_a_jpegs_coded_picture_stays_bit_by_bit() -> None:
    data = telling_jpeg()
    file, _ = anonymous(data)
    scan = data.find(b"\xff\xda")
    assert data[scan:].startswith(file[file.find(b"\xff\xda") :])


def test_what_is_no_photograph_is_not_passed_on() -> None:
    with pytest.raises(PhotoError):
        anonymous(b"SECRET words, no photograph")


def test_a_photograph_without_exif_gets_none_that_says_more() -> None:
    file = io.BytesIO()
    Image.fromarray(scene()).save(file, "JPEG", quality=90)
    made, _ = anonymous(file.getvalue())
    assert open_photo(made).focal_px is None
