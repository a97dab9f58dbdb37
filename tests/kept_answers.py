"""Expensive results are computed once per run and shared by the workers of pytest-xdist."""

from __future__ import annotations

import os
import pickle
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest

from vision.photo.photo import Photo, open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Result

T = TypeVar("T")


def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of this run, the same for all its workers."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "shared"
    folder.mkdir(exist_ok=True)
    return folder


def answered_once(folder: Path, asked: object, work: Callable[[], T]) -> T:
    """Return a result that a worker of this run has already computed, or compute it."""
    path = folder / sha256(repr(asked).encode()).hexdigest()
    if path.exists():
        kept: T = pickle.loads(path.read_bytes())
        return kept
    answer = work()
    with tempfile.NamedTemporaryFile(dir=folder, delete=False) as part:
        pickle.dump(answer, part)
    Path(part.name).replace(path)
    return answer


def measured_once(folder: Path, source: Photo | Path, settings: Settings) -> tuple[Result, ...]:
    """Return `measure_photo`'s result in this run for the same file under the same name."""
    if isinstance(source, Path):
        seen = sha256(source.read_bytes()).hexdigest(), source.name
    else:
        seen = source.sha256, source.name
    return answered_once(folder, (*seen, settings), lambda: measure_photo(source, settings))


def opened_once(folder: Path, source: Path) -> Photo:
    """Return `open_photo`'s result; in this run the same file is decoded once."""
    data = source.read_bytes()
    seen = sha256(data).hexdigest()
    place = folder / f"{seen}.npy"

    def decoded() -> Photo:
        photo = open_photo(data, name=source.name)
        if not place.exists():
            with tempfile.NamedTemporaryFile(dir=folder, delete=False) as part:
                np.save(part, photo.pixels)
            Path(part.name).replace(place)
        return replace(photo, pixels=photo.pixels[:0].copy())

    photo = answered_once(folder, ("opened", source.name, seen), decoded)
    return replace(photo, pixels=np.asarray(np.load(place, mmap_mode="r")))


def made_once(folder: Path, name: str, make: Callable[[Path], None]) -> Path:
    """Return a folder that a worker of this run has filled; not to be written to."""
    place = folder / name
    if not place.exists():
        begun = Path(tempfile.mkdtemp(dir=folder))
        make(begun)
        try:
            begun.rename(place)
        except OSError:  # another worker was faster
            shutil.rmtree(begun)
    return place
