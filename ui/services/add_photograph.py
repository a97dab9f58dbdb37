"""A photograph enters a record together with what it gives: both, or neither."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

from inspection.record.record import Record
from inspection.record.views import Preview
from ui.services.cameras import known_cameras
from vision.apart import apart
from vision.photo.photo import open_photo
from vision.photo.preview import preview_jpeg
from vision.pipeline import Settings, measure_photo
from vision.results import Result
from vision.target.print_scale import PrintCheck


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photograph's file as it arrived.

    Parameters
    ----------
    name : str
        Its name.
    data : bytes
        Its bytes.
    preview : Preview or None
        Its small JPEG for the pages, where one was made.
    """

    name: str
    data: bytes
    preview: Preview | None = None


def add_photograph(
    record: Record,
    identity: str,
    file: PhotoFile,
    results: Sequence[Result],
    *,
    by: str,
    why: str = "",
) -> None:
    """Add a photograph with its results to an inspection of a record: both, or neither.

    A photograph of which only the file were saved would stand there as not measured yet; a result
    without its photograph could not be looked at.

    Parameters
    ----------
    record : Record
        Where to; inside `Record.together` it becomes part of that transaction.
    identity : str
        The inspection.
    file : PhotoFile
        The photograph.
    results : sequence of Estimate or Refusal
        What it gives.
    by, why : str
        Who adds it, and the reason if there is one.

    Raises
    ------
    ValueError
        If a result is one of another photograph, there is no such inspection, or the record
        can't be written.
    """
    sha256 = hashlib.sha256(file.data).hexdigest()
    if any(result.photo_sha256 != sha256 for result in results):
        raise ValueError(
            f"{file.name} is not the photograph that was measured: its file has changed "
            "meanwhile; measure it again."
        )
    record.store_photograph(identity, file.data)  # a slow store must not keep the record locked
    if file.preview is not None:
        record.store_photograph(identity, file.preview.jpeg)
    with record.transaction() as batch:
        batch.add_photograph(identity, file.data, name=file.name, by=by, preview=file.preview)
        batch.add_results(identity, results, by=by, why=why)


def measure_and_add(
    record: Record, identity: str, file: PhotoFile, check: PrintCheck | None, *, by: str
) -> tuple[Result, ...]:
    """Measure a photograph, add it with its results, and return them.

    A file that can't be opened as a photograph does not enter the record. It is measured in a
    process of its own (`vision.apart`), and its preview is kept beside it.

    Raises
    ------
    PhotoError
        If the file is no photograph, or takes more than one may.
    """
    settings = Settings(print_check=check, cameras=known_cameras())
    results, jpeg, size = apart(file.name, measured, file.data, file.name, settings)
    add_photograph(record, identity, replace(file, preview=Preview(jpeg, *size)), results, by=by)
    return results


def measured(
    data: bytes, name: str, settings: Settings
) -> tuple[tuple[Result, ...], bytes, tuple[int, int]]:
    """Return what a photograph's file gives, its preview, and its width and height, px."""
    photo = open_photo(data, name=name)
    height_px, width_px = photo.pixels.shape[:2]
    return measure_photo(photo, settings), preview_jpeg(photo.pixels), (width_px, height_px)
