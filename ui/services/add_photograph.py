"""A photograph enters a record together with what it gives: both, or neither."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from inspection.record.record import Record
from ui.services.cameras import known_cameras
from vision.photo.photo import open_photo
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
    """

    name: str
    data: bytes


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
    if any(one.photo_sha256 != sha256 for one in results):
        raise ValueError(
            f"{file.name} is not the photograph that was measured: its file has changed "
            "meanwhile; measure it again."
        )
    record.store_photograph(identity, file.data)  # a slow store must not keep the record locked
    with record.transaction() as batch:
        batch.add_photograph(identity, file.data, name=file.name, by=by)
        batch.add_results(identity, results, by=by, why=why)


def measure_and_add(
    record: Record, identity: str, file: PhotoFile, check: PrintCheck | None, *, by: str
) -> tuple[Result, ...]:
    """Measure a photograph, add it with its results, and return them.

    A file that can't be opened as a photograph does not enter the record.

    Raises
    ------
    PhotoError
        If the file is no photograph.
    """
    settings = Settings(print_check=check, cameras=known_cameras())
    results = measure_photo(open_photo(file.data, name=file.name), settings)
    add_photograph(record, identity, file, results, by=by)
    return results
