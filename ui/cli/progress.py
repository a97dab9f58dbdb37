"""Find photographs, measure them with a progress bar, and draw the results."""

from __future__ import annotations

import glob
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from rich.console import Console
from rich.progress import track

from vision.overlay import draw_results
from vision.photo.containers import SUFFIXES
from vision.photo.photo import PhotoError, open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Finding, Refusal, Result

MANY = 24  # photographs from which starting a process for each core pays
Measured = tuple[int, NDArray[np.uint8] | None, tuple[Result, ...]]


@dataclass(frozen=True, slots=True)
class BatchRun:
    """How a batch of photographs is measured.

    Parameters
    ----------
    jobs : int or None
        How many at a time; None: one for a few, all cores for many.
    journal : Path or None
        File that keeps the answers, so that a stopped run can resume, see `vision.batch`.
    quiet : bool
        Whether to hide the progress bar.
    """

    jobs: int | None = None
    journal: Path | None = None
    quiet: bool = False


USUAL_BATCH = BatchRun()


def find_photographs(given_names: Iterable[str]) -> list[Path]:
    """Return the photographs that files, folders and patterns name, each once.

    Raises
    ------
    click.UsageError
        If one of them matches nothing.
    """
    paths: list[Path] = []
    for given in given_names:
        path = Path(given)
        if path.is_dir():
            inside = _inside(path)
            if not inside:
                raise click.UsageError(f"the folder {given} holds no photographs.")
            paths += inside
        elif path.exists():
            paths.append(path)
        else:
            matched = sorted(
                path for name in glob.glob(given, recursive=True) if (path := Path(name)).is_file()
            )
            if not matched:
                raise click.UsageError(f"no file or folder matches {given!r}.")
            paths += matched
    return list(dict.fromkeys(paths))


def _inside(folder: Path) -> list[Path]:
    try:
        return sorted(p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file())
    except OSError as failed:
        raise click.UsageError(
            f"the folder {folder} can't be read ({failed.strerror or failed})."
        ) from failed


def measure_files(
    paths: list[Path],
    settings: Settings,
    places: dict[str, tuple[int, int]] | None = None,
    overlay: Path | None = None,
    run: BatchRun = USUAL_BATCH,
) -> list[Result]:
    """Measure files, with a progress bar on the terminal; many of them on all cores.

    A file that can't be opened as a photograph becomes a `Refusal` like any other.

    Parameters
    ----------
    paths, settings
        What to measure, and how.
    places : dict of str to (station, view), optional
        Station and view of some photographs, by file name.
    overlay : Path, optional
        Folder for pictures with the results drawn in.
    run : BatchRun, optional
        How many at a time, where answers are kept, and whether progress is shown.
    """
    jobs, journal = run.jobs, run.journal
    if overlay is not None:
        _make(overlay)
    drawn = _drawn_names(paths)
    results: dict[int, tuple[Result, ...]] = {}
    many = journal is not None or (jobs or len(paths)) >= (2 if jobs else MANY)
    answers = _in_parallel(paths, settings, jobs, journal) if many else _in_turn(paths, settings)
    console, hidden = Console(stderr=True), run.quiet or len(paths) < 3
    listed = track(
        answers, "measuring", len(paths), console=console, transient=True, disable=hidden
    )
    for at, pixels, measured in listed:
        name = paths[at].name
        if places and name in places:
            station, view = places[name]
            measured = tuple(replace(one, station=station, view_deg=view) for one in measured)
        results[at] = measured
        if overlay is not None:
            if pixels is None and measured[0].photo_sha256:  # workers return no pixels
                pixels = open_photo(paths[at]).pixels
            if pixels is not None:
                _write_overlay(overlay / drawn[at], pixels, measured)
    return [result for at in sorted(results) for result in results[at]]


def _in_turn(paths: list[Path], settings: Settings) -> Iterator[Measured]:
    for at, path in enumerate(paths):
        try:
            photo = open_photo(path)
        except PhotoError as unreadable:
            unread = Finding("unreadable", str(unreadable), "", "refuse")
            yield at, None, (Refusal((unread,), photo_name=path.name),)
            continue
        yield at, photo.pixels, measure_photo(photo, settings)


def _in_parallel(
    paths: list[Path], settings: Settings, jobs: int | None, journal: Path | None
) -> Iterator[Measured]:
    from inspection.model.serialization import result_from_dict, to_dict
    from vision.batch import measure_many

    answers = measure_many(
        paths, settings, jobs=jobs, journal=journal, pack=to_dict, unpack=result_from_dict
    )
    try:
        for at, measured in answers:
            yield at, None, measured
    except ValueError as wrong:
        raise click.ClickException(str(wrong)) from wrong


def _make(folder: Path) -> None:
    """Create the folder for pictures before measuring, so that a failure shows at once."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as failed:
        raise _not_written(folder, failed) from failed


def _drawn_names(paths: list[Path]) -> list[str]:
    """Return a name for each photograph's picture, unique even if photographs share a name."""
    names: list[str] = []
    for path in paths:
        name, number = f"{path.stem}-measured.jpg", 2
        while name in names:
            name, number = f"{path.stem}-{number}-measured.jpg", number + 1
        names.append(name)
    return names


def _write_overlay(out: Path, pixels: NDArray[np.uint8], measured: tuple[Result, ...]) -> None:
    try:
        Image.fromarray(draw_results(pixels, measured)).save(out, quality=88)
    except OSError as failed:
        raise _not_written(out.parent, failed) from failed


def _not_written(folder: Path, failed: OSError) -> click.ClickException:
    return click.ClickException(
        f"the picture could not be written to {folder} ({failed.strerror or failed}); choose "
        "another folder with --overlay."
    )
