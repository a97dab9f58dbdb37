"""Measure a photograph without the card, draw what was found in it, and take both into a record."""

from __future__ import annotations

from dataclasses import dataclass

from inspection.record.record import Record
from inspection.record.views import Preview
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


def add_figure(record: Record, identity: str, photo: Shown, result: Result, *, by: str) -> None:
    """Add a photograph without the card with its figure to an inspection: both, or neither.

    It waits for nothing: the figure rests on points that a person set.

    Raises
    ------
    ValueError
        If the figure is one of another photograph, there is no such inspection, or the record
        can't be written.
    """
    if result.photo_sha256 != photo.sha256:
        raise ValueError(
            f"{photo.name} is not the photograph that was measured: its file has changed "
            "meanwhile; measure it again."
        )
    record.store_photograph(identity, photo.data)  # a slow store must not keep the record locked
    record.store_photograph(identity, photo.preview)
    small = Preview(photo.preview, *photo.size)
    with record.transaction() as batch:
        batch.add_photograph(identity, photo.data, name=photo.name, by=by, preview=small)
        batch.add_results(identity, [result], by=by, why="measured without the card")
