"""A photograph's diameter at once, without a rope or an inspection; it can be saved afterwards."""

from __future__ import annotations

from dataclasses import dataclass

from inspection.record.record import Record
from inspection.record.views import Manner, Preview
from ui.services.cameras import known_cameras
from ui.services.measuring_queue import PhotoFile, measured, store_photographs
from vision.apart import apart
from vision.pipeline import Settings
from vision.results import Result
from vision.target.print_scale import check_from_dict


@dataclass(frozen=True, slots=True)
class QuickLook:
    """The result of a photograph that belongs to no inspection yet.

    Parameters
    ----------
    file : PhotoFile
        The photograph.
    preview : Preview
        Its small JPEG.
    results : tuple of Estimate or Refusal
        What was measured in it.
    print_set : str
        Card set whose print check was applied; empty for none.
    """

    file: PhotoFile
    preview: Preview
    results: tuple[Result, ...]
    print_set: str


def quick_look(record: Record, data: bytes, name: str) -> QuickLook:
    """Measure a photograph that belongs to no inspection yet.

    The record's print check is applied if there is only one, so that no question is needed.

    Raises
    ------
    PhotoError
        If the file is not a photograph, or exceeds the limits of memory and time.
    """
    checks = record.print_checks()
    print_set = next(iter(checks)) if len(checks) == 1 else ""
    check = check_from_dict(print_set, checks[print_set]) if print_set else None
    settings = Settings(print_check=check, cameras=known_cameras())
    results, small, size, _ = apart(name, measured, data, name, settings)
    return QuickLook(PhotoFile(name, data), Preview(small, *size), tuple(results), print_set)


def keep_look(record: Record, identity: str, look: QuickLook, *, by: str) -> None:
    """Add a photograph to an inspection, where it is measured like any other.

    Raises
    ------
    ValueError
        If the inspection already has the photograph or is closed, or the record can't be written.
    """
    stored = store_photographs(record, identity, [look.file], Manner(look.print_set), by=by)
    if stored.known:
        raise ValueError(f"{look.file.name} is already in inspection {identity!r}.")
    if stored.rejected:
        raise ValueError(stored.rejected[0])
