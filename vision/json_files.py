"""Small JSON files that people may edit: read with checks, written atomically."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any


class NotSavedError(ValueError):
    """The file could not be written, e.g. to a full disk; the previous file is unchanged."""


def read_json(file: Path, what: str = "entries") -> dict[str, Any]:
    """Return a file's entries by name; empty if there is no such file.

    Parameters
    ----------
    file : Path
        The file.
    what : str, optional
        What it should contain, for the error message.

    Raises
    ------
    ValueError
        If it can't be read, or contains something else.
    """
    try:
        text = file.read_text("utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError):
        raise ValueError(f"{file.name} cannot be read; mend the file or move it away.") from None
    try:
        entries = json.loads(text, object_pairs_hook=_without_repeats)
    except (ValueError, RecursionError) as reason:
        raise ValueError(
            f"{file.name} is damaged and was left unchanged ({reason}); mend it or move it away."
        ) from None
    if not isinstance(entries, dict):
        raise ValueError(f"{file.name} does not contain {what}; mend the file or move it away.")
    return entries


def update_json(
    file: Path, what: str, change: Callable[[dict[str, Any]], dict[str, Any] | None]
) -> None:
    """Change a file under a lock, so that nothing is lost when two people save at once.

    Parameters
    ----------
    file : Path
        The file; its folder is created if necessary.
    what : str
        What is being saved, for the error message.
    change : callable
        Takes the file's entries and returns the new ones; None leaves the file unchanged.

    Raises
    ------
    NotSavedError
        If the file cannot be written; it is then unchanged.
    ValueError
        If it is damaged; it is then left unchanged.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with _locked(file.with_name(file.name + ".lock")):
            entries = change(read_json(file))
            if entries is not None:
                _write(file, entries)
    except OSError as reason:
        raise NotSavedError(
            f"{what} cannot be saved in {file}: {reason.strerror or reason}; make room there, or "
            "use another folder."
        ) from None


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    entries = dict(pairs)
    if len(entries) < len(pairs):  # writing it back would lose one of the two
        raise ValueError("a name occurs twice in it")
    return entries


def _write(file: Path, entries: dict[str, Any]) -> None:
    """Write a complete new file beside the old one, then replace that in one step."""
    new = file.with_name(f"{file.name}.new")  # the lock keeps other writers out
    try:
        with new.open("w", encoding="utf-8") as out:
            json.dump(entries, out, indent=2, ensure_ascii=False)
            out.write("\n")
            out.flush()
            os.fsync(out.fileno())
        os.replace(new, file)
    except BaseException:
        new.unlink(missing_ok=True)
        raise


@contextlib.contextmanager
def _locked(lock: Path) -> Iterator[None]:
    """Hold a lock file, so that two people who save at once don't overwrite each other."""
    with lock.open("a+b") as file:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX)
        yield
