"""Measure a photograph without the card, draw the result on it, and add both to a record."""

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
    """An uploaded photograph: its bytes, its preview, and its size (width, height)."""

    name: str
    sha256: str
    data: bytes
    preview: bytes
    size: tuple[int, int]


def archive_measured(data: bytes, name: str, request: ScaleRequest) -> tuple[Result, bytes]:
    """Return a photograph's result, and a small JPEG with the result drawn on it."""
    photo = open_photo(data, name=name)
    answer = measure_with_scale(photo, request)
    return answer.result, preview_jpeg(draw_scaled_result(photo.pixels, answer))


def add_figure(record: Record, identity: str, photo: Shown, result: Result, *, by: str) -> None:
    """Add a photograph without the card and its figure to an inspection: both, or neither.

    It does not enter the queue: the figure rests on points set by a person.

    Raises
    ------
    ValueError
        If the figure belongs to another photograph, there is no such inspection, or the record
        can't be written.
    """
    if result.photo_sha256 != photo.sha256:
        raise ValueError(
            f"{photo.name} is not the photograph that was measured: its file has changed since; "
            "measure it again."
        )
    record.store_photograph(
        identity, photo.data
    )  # before the transaction: a slow store must not lock the record
    record.store_photograph(identity, photo.preview)
    small = Preview(photo.preview, *photo.size)
    with record.transaction() as batch:
        batch.add_photograph(identity, photo.data, name=photo.name, by=by, preview=small)
        batch.add_results(identity, [result], by=by, why="measured without the card")
