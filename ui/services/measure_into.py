"""Measure photographs and put them with their results into a record."""

from __future__ import annotations

from inspection.record.record import Record
from ui.services.cameras import known_cameras
from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Result
from vision.target.print_scale import PrintCheck


def measure_into(
    record: Record, identity: str, data: bytes, *, name: str, check: PrintCheck | None, by: str
) -> tuple[Result, ...]:
    """Measure one photograph, keep it and what it gives in the record, and return what it gives.

    A file that can't be opened as a photograph does not enter the record.

    Raises
    ------
    PhotoError
        If the file is no photograph.
    """
    settings = Settings(print_check=check, cameras=known_cameras())
    results = measure_photo(open_photo(data, name=name), settings)
    record.store_photograph(identity, data)  # while the record is free for others
    with record.together() as writing:  # a photograph without results would pass for measured
        writing.add_photograph(identity, data, name=name, by=by)
        writing.add_results(identity, results, by=by)
    return results
