"""Lets the tests of this room import `studio`, the camera that knows the truth."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import vision.scale_rule.measure
from vision.photo.photo import Photo
from vision.scale_rule.scale import Scale, ScaleRequest, read_scale

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="module")
def scale_read_once() -> Iterator[None]:
    """Let many lines over one photograph share its scale, which takes the most time."""
    read: dict[object, Scale] = {}

    def once(photo: Photo, asked: ScaleRequest) -> Scale:
        seen = photo.sha256, photo.focal_px, photo.u_focal_px, photo.taken_px
        said = asked.rule_px, asked.length_mm, asked.u_length_mm, asked.graduations
        if (seen, said) not in read:
            read[seen, said] = read_scale(photo, asked)
        return read[seen, said]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(vision.scale_rule.measure, "read_scale", once)
        yield
