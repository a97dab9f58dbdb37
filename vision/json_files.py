"""Small JSON files that people may look into: read with care, written whole or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any


class NotSavedError(ValueError):
    """The disk is full or the folder may not be written to: what was there before is still."""


def read_json(file: Path, what: str = "entries") -> dict[str, Any]:
    """Return what a file holds by name; nothing if there is no such file.

    Parameters
    ----------
    file : Path
        Which one.
    what : str, optional
        What it should hold, for a sentence about why it does not.

    Raises
    ------
    ValueError
        If it can't be read, or holds something else.
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
            f"{file.name} is damaged and was left as it is ({reason}); mend it or move it away."
        ) from None
    if not isinstance(entries, dict):
        raise ValueError(f"{file.name} holds no {what}; mend the file or move it away.")
    return entries


def update_json(
    file: Path, what: str, change: Callable[[dict[str, Any]], dict[str, Any] | None]
) -> None:
    """Change a file under a lock, so that two people who save at once lose nothing.

    Parameters
    ----------
    file : Path
        Which one; its folder is made.
    what : str
        What is saved, for a sentence about why it could not be.
    change : callable
        Gets what the file holds and returns what it is to hold; None leaves it as it is.

    Raises
    ------
    NotSavedError
        If the file cannot be written; it is then as it was.
    ValueError
        If it is damaged; it is then left as it is.
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
            "name another place."
        ) from None


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    entries = dict(pairs)
    if len(entries) < len(pairs):  # writing it back would lose one of the two
        raise ValueError("a name stands in it twice")
    return entries


def _write(file: Path, entries: dict[str, Any]) -> None:
    """Write a whole new file beside the old one, then put it in its place in one step."""
    new = file.with_name(f"{file.name}.new")  # the lock makes it ours
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
    """Hold a lock file: two people who save at once must not lose each other's check."""
    with lock.open("a+b") as file:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX)
        yield
