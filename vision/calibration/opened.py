"""The photographs of a calibration, each opened once."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from vision.photo.photo import Photo, PhotoError, open_photo


def opened_once(
    sources: Iterable[str | os.PathLike[str]], left_out: list[str]
) -> Iterator[tuple[str, Photo]]:
    """Yield each photograph with its file's name, except unreadable and duplicate ones.

    Parameters
    ----------
    sources : iterable of path
        The photographs.
    left_out : list of str
        Receives a sentence for each photograph that is not yielded.
    """
    seen: set[str] = set()
    for source in sources:
        name = Path(source).name
        try:
            photo = open_photo(source)
        except PhotoError as unreadable:
            left_out.append(str(unreadable).rstrip("."))
            continue
        if photo.sha256 in seen:
            left_out.append(f"{name} was given twice")
            continue
        seen.add(photo.sha256)
        yield name, photo
