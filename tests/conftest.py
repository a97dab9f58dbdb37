"""What pytest leaves alone under tests, and how its processes treat memory."""

import ctypes
import gc
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import ui  # noqa: F401  one thread of linear algebra a process, before numpy is imported

# Doctests are collected from every module; these import a renderer, a browser or a plotter.
collect_ignore_glob = ["benchmarks/[!t]*.py", "browser/[!t]*.py"]

# Tests start some hundred programs: where the environment forbids to keep what was compiled
# (PYTHONDONTWRITEBYTECODE), each would compile the whole house anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# glibc gives the memory of a large array back at once, and the next one is cleared for us page by
# page; kept, pictures cost a fifth less. By the numbers of its malloc.h.
M_TRIM_THRESHOLD, M_MMAP_MAX = -1, -4
if sys.platform == "linux" and hasattr(libc := ctypes.CDLL(None), "mallopt"):
    libc.mallopt(M_MMAP_MAX, 0)
    libc.mallopt(M_TRIM_THRESHOLD, 2**31 - 1)


@pytest.fixture(scope="session")
def empty_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new record file, to be copied: making its tables, version by version, takes its time."""
    from inspection.record.record import open_record

    path = tmp_path_factory.mktemp("empty") / "record.db"
    open_record(path).close()
    return path


_seen: dict[tuple[str, str, str], object] = {}


@pytest.fixture(scope="module")
def measured_once() -> Iterator[None]:
    """Let commands and pages, which look at the same photographs, share what was seen."""
    import ui.cli.progress as told
    from vision.photo.photo import Photo
    from vision.pipeline import Settings, measure_photo

    def remember(photo: Photo, settings: Settings) -> object:
        key = (photo.sha256, photo.name, repr(settings))
        if key not in _seen:
            _seen[key] = measure_photo(photo, settings)
        return _seen[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(told, "measure_photo", remember)
        yield


def pytest_collection_finish() -> None:
    """Leave what was imported and collected out of every later search for garbage."""
    gc.collect()
    gc.freeze()
