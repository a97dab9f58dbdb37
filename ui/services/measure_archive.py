"""Measure a photograph without the card, and draw what was found in it."""

from __future__ import annotations

from dataclasses import dataclass

from vision.overlay import draw_scaled_result
from vision.photo.photo import open_photo
from vision.photo.preview import preview_jpeg
from vision.results import Result
from vision.scale_rule.measure import measure_with_scale
from vision.scale_rule.scale import ScaleRequest


@dataclass(frozen=True, slots=True)
class Shown:
    """A photograph that was uploaded: its bytes, its preview, its own size (width, height)."""

    name: str
    sha256: str
    data: bytes
    preview: bytes
    size: tuple[int, int]


def archive_measured(data: bytes, name: str, request: ScaleRequest) -> tuple[Result, bytes]:
    """Return what a photograph's file gives, and a small JPEG with what was found drawn on it."""
    photo = open_photo(data, name=name)
    answer = measure_with_scale(photo, request)
    return answer.result, preview_jpeg(draw_scaled_result(photo.pixels, answer))
