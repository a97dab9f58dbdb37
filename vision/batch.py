"""Many photographs on all cores or on a cluster: streamed, resumable, unaffected by bad files.

Each photograph is one joblib job, executed by whichever backend is active: processes on this
machine by default, or a Dask cluster inside ``joblib.parallel_config(backend="dask")``. A job takes
a path and returns plain results without pixels, so memory does not grow with the number of
photographs. With a journal, every result is saved at once under the photograph's hash and the
settings; an interrupted run resumes where it stopped.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import cv2
import joblib  # type: ignore[import-untyped]

from vision.photo.containers import PhotoError
from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Finding, Refusal, Result

BEGIN = '{"photo":'  # start of every line of a journal, even of a truncated one
JsonObject = dict[str, Any]
Pack = Callable[[Result], JsonObject]
Unpack = Callable[[JsonObject], Result]


def measure_many(
    paths: Sequence[Path],
    settings: Settings,
    *,
    jobs: int | None = None,
    journal: Path | None = None,
    pack: Pack,
    unpack: Unpack,
) -> Iterator[tuple[int, tuple[Result, ...]]]:
    """Yield the index of each photograph in `paths` and its results, as they become available.

    Parameters
    ----------
    paths : sequence of Path
        The photographs. A file that can't be opened, or makes the program fail, gives a `Refusal`.
    settings : Settings
        How to measure them.
    jobs : int, optional
        Number of parallel jobs; by default all cores, or all workers of the active backend.
    journal : Path, optional
        File in which results are saved, one JSON object per line; created if it does not exist.
    pack, unpack : callable
        Convert a result to plain values for JSON, and back.

    Raises
    ------
    ValueError
        If the journal can't be read or written.
    """
    mark = _mark(settings)
    known = {} if journal is None else _read(journal, mark, unpack)
    todo = []
    for at, path in enumerate(paths):
        digest = _digest(path) if known else ""
        if digest in known:
            named = (_renamed(result, path.name) for result in known[digest])
            yield at, tuple(named)
        else:
            todo.append(at)
    run = joblib.Parallel(n_jobs=_jobs(jobs), return_as="generator_unordered", batch_size=1)
    answers = run(joblib.delayed(_one)(at, paths[at], settings) for at in todo)
    for at, digest, results in answers:
        if journal is not None and digest:
            _write(
                journal,
                {
                    "photo": digest,
                    "settings": mark,
                    "results": [pack(result) for result in results],
                },
            )
        yield at, results


def _jobs(jobs: int | None) -> int | None:
    """Return the number of jobs for joblib: the active backend's, or all cores of this machine."""
    if jobs is not None:
        return jobs
    backend, _ = joblib.parallel.get_active_backend()
    local = isinstance(backend, joblib.parallel.LokyBackend)
    return -1 if local else None


def _one(at: int, path: Path, settings: Settings) -> tuple[int, str, tuple[Result, ...]]:
    """Measure one photograph in a worker; every failure is returned as a refusal."""
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # there is already one worker per core
    try:
        photo = open_photo(path)
        return at, photo.sha256, measure_photo(photo, settings)
    except PhotoError as unreadable:
        return at, "", (_unread(path, str(unreadable)),)
    except Exception as fault:  # one bad file must not stop a thousand others
        message = (
            f"{path.name} could not be measured: a fault in the program ({type(fault).__name__})."
        )
        return at, "", (_unread(path, message),)
    finally:
        cv2.setNumThreads(threads)


def _unread(path: Path, message: str) -> Refusal:
    return Refusal((Finding("unreadable", message, "", "refuse"),), photo_name=path.name)


def _renamed(result: Result, name: str) -> Result:
    return replace(result, photo_name=name)


def _mark(settings: Settings) -> str:
    """Return a short hash of everything that a figure depends on except the photograph."""
    from importlib.metadata import version

    content = {"settings": asdict(settings), "version": version("rope-photo-check")}
    text = json.dumps(content, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return "unreadable"  # reported when it is opened


def _read(journal: Path, mark: str, unpack: Unpack) -> dict[str, tuple[Result, ...]]:
    """Return a journal's results for these settings, ignoring truncated lines."""
    known: dict[str, tuple[Result, ...]] = {}
    if journal.exists() and not journal.is_file():  # reading a device might never end
        raise ValueError(f"{journal} can't be read as a file of results; name another.")
    try:
        with journal.open(encoding="utf-8") as lines:
            for line in lines:
                begun = line[: len(BEGIN)].rstrip("\n")
                if begun and not BEGIN.startswith(begun):  # appending would corrupt it
                    raise ValueError(
                        f"{journal} is not a file of results ({line[:30].strip()!r} ...) and was "
                        "left unchanged; name another file."
                    )
                try:
                    entry = json.loads(line)
                    if entry["settings"] == mark:
                        known[entry["photo"]] = tuple(map(unpack, entry["results"]))
                except (ValueError, KeyError, TypeError, RecursionError):
                    continue
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError):
        raise ValueError(f"{journal} can't be read as a file of results; name another.") from None
    return known


def _write(journal: Path, entry: JsonObject) -> None:
    line = json.dumps(entry, separators=(",", ":")) + "\n"
    try:
        with journal.open("a+b") as file:
            if file.tell() and not _ends_a_line(file):
                file.write(b"\n")  # the last run was interrupted in the middle of a line
            file.write(line.encode())
    except OSError as failed:
        raise ValueError(f"{journal} can't be written ({failed.strerror or failed}).") from None


def _ends_a_line(file: Any) -> bool:
    file.seek(-1, os.SEEK_END)
    return bool(file.read(1) == b"\n")
