"""The appearance of the rope's face: the same for a place of a rope however it is photographed."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from inspection.screening.checks.photo_reuse import alike_looks
from vision.pipeline import measure_photo
from vision.results import ROPE_LOOK_FIELDS, Estimate
from vision.rope.face_look import rope_look

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def _look(picture: Image.Image, exif: bytes, quality: int = 90) -> str:
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=quality, exif=exif)
    (result,) = measure_photo(file.getvalue())
    assert isinstance(result, Estimate)
    return result.rope_look


@pytest.fixture(scope="module")
def views() -> dict[str, tuple[Image.Image, bytes]]:
    """The sample views at two thirds of their size."""
    found = {}
    for path in sorted(SAMPLES.glob("station-*.jpg")):
        with Image.open(path) as picture:
            size = (picture.width * 2 // 3, picture.height * 2 // 3)
            small = picture.resize(size, Image.Resampling.BILINEAR)
            found[path.name] = (small, picture.info["exif"])
    return found


@pytest.fixture(scope="module")
def looks(views: dict[str, tuple[Image.Image, bytes]]) -> list[str]:
    return [_look(picture, exif) for picture, exif in views.values()]


def test_neighbouring_stations_and_the_two_directions_are_never_one(looks: list[str]) -> None:
    assert len(looks) == 8
    assert all(len(look) == ROPE_LOOK_FIELDS[0] * ROPE_LOOK_FIELDS[1] // 4 for look in looks)
    assert alike_looks(looks) == []


def test_a_photograph_that_was_cropped_and_saved_again_is_the_same(
    views: dict[str, tuple[Image.Image, bytes]], looks: list[str]
) -> None:
    picture, exif = views["station-2-view-00.jpg"]
    wide, high = picture.size
    cropped = picture.crop((wide // 15, high // 20, wide - wide // 20, high - high // 25))
    found = alike_looks([*looks, _look(cropped, exif, quality=60)])
    assert [pair[:2] for pair in found] == [(2, 8)]


def test_a_place_that_was_shot_twice_is_the_same_in_other_light(
    views: dict[str, tuple[Image.Image, bytes]], looks: list[str]
) -> None:
    # a camera that turns about its centre sees a homography of what it saw: exact, no model needed
    picture, exif = views["station-3-view-90.jpg"]
    wide, high = picture.size
    inner = np.array([[wide, 0, wide / 2], [0, wide, high / 2], [0, 0, 1.0]])
    turned = cv2.Rodrigues(np.array([0.03, -0.04, 0.05]))[0]
    seen = cv2.warpPerspective(
        np.asarray(picture, np.float32),
        inner @ turned @ np.linalg.inv(inner),
        (wide, high),
        flags=cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    light = 255 * np.clip(1.12 * seen / 255, 0, 1) ** 1.1
    light += np.random.default_rng(4).normal(0, 4, light.shape)
    again = Image.fromarray(np.clip(light, 0, 255).astype(np.uint8))
    found = alike_looks([*looks, _look(again, exif)])
    assert [pair[:2] for pair in found] == [(5, 8)]


def test_too_short_a_piece_has_no_look() -> None:
    face = np.zeros((41, 100))
    along = np.arange(100) * 0.5 - 25.0
    assert rope_look(face, along, 20.0) == ""
    assert rope_look(face, along, 12.0) != ""
