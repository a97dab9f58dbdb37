"""Atomic writing of a file: whole, or not at all."""

from __future__ import annotations

from pathlib import Path


def atomic_write(path: Path, data: bytes) -> None:
    """Write a file beside, then rename it: a full disk leaves no partial file and no lost one.

    Raises
    ------
    OSError
        If it can't be written.
    """
    if path.exists() and not path.is_file():  # a device or a pipe can't be renamed over
        path.write_bytes(data)
        return
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_bytes(data)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
