"""Photographs that belong to no inspection, kept until they have been used.

Boards for a calibration, a bar for the bench check, one without the card, one for a quick look.
They are kept on disk, so that they survive another page and a restart, and are deleted once used,
or after a day.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from ui.services.cameras import cameras_file
from ui.services.measuring_queue import PhotoFile
from vision.photo.containers import PhotoError, kind_of

Tray = Literal["boards", "bars", "archive", "looks"]
TRAYS: tuple[Tray, ...] = get_args(Tray)
# Where the limit is 1, the next photograph replaces it. More boards or bars only add time.
MOST: Mapping[Tray, int] = {"boards": 30, "bars": 30, "archive": 1, "looks": 1}
KEPT_S = 24 * 3600.0
_OWNER, _SHA256 = re.compile("[0-9a-f]{24}"), re.compile("[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class TrayPhotograph:
    """A photograph in a tray.

    Parameters
    ----------
    name, sha256 : str
        Its file's name and its hash.
    """

    name: str
    sha256: str


def put_in_tray(owner: str, tray: Tray, file: PhotoFile) -> None:
    """Keep a photograph in somebody's tray; one that is already there stays.

    Raises
    ------
    ValueError
        If it is not a photograph, or the tray is full.
    OSError
        If it can't be kept.
    """
    try:
        kind_of(file.data)
    except PhotoError as wrong:
        raise ValueError(f"{file.name} {wrong}.") from wrong
    _delete_old()
    place, there = _place(owner, tray), in_tray(owner, tray)
    if file.sha256 in {one.sha256 for one in there}:
        return
    if len(there) >= MOST[tray] > 1:
        raise ValueError(
            f"{file.name} is one too many: {MOST[tray]} photographs are the most, and 12 are "
            "enough; use those that are there, or remove some."
        )
    place.mkdir(mode=0o700, parents=True, exist_ok=True)
    whole = place / f".{secrets.token_hex(8)}"
    try:
        whole.write_bytes(json.dumps(file.name).encode() + b"\n" + file.data)
        whole.replace(place / file.sha256)
    finally:
        whole.unlink(missing_ok=True)
    if MOST[tray] == 1:  # only now: on a full disk the one before it stays
        for one in there:
            empty_tray(owner, tray, only=one.sha256)


def in_tray(owner: str, tray: Tray) -> tuple[TrayPhotograph, ...]:
    """Return the photographs in somebody's tray, in order of arrival."""
    found = []
    for path in _files(owner, tray):
        try:
            with path.open("rb") as file:
                found.append((path.stat().st_mtime_ns, json.loads(file.readline()), path.name))
        except FileNotFoundError:  # another window has taken it
            continue
    return tuple(TrayPhotograph(name, sha256) for _, name, sha256 in sorted(found))


def read_from_tray(owner: str, tray: Tray, sha256: str) -> PhotoFile:
    """Return a photograph in somebody's tray.

    Raises
    ------
    ValueError
        If it is no longer there.
    """
    try:
        whole = (_place(owner, tray) / _checked(_SHA256, sha256)).read_bytes()
    except FileNotFoundError:
        raise ValueError("the photograph is no longer kept; send it again.") from None
    name, _, data = whole.partition(b"\n")
    return PhotoFile(json.loads(name), data)


def empty_tray(owner: str, tray: Tray, *, only: str = "") -> None:
    """Delete the photographs in somebody's tray, or only the one with a hash."""
    for path in _files(owner, tray):
        if only in ("", path.name):
            path.unlink(missing_ok=True)


def tray_of(name: str) -> Tray:
    """Return the tray with a name.

    Raises
    ------
    ValueError
        If there is none.
    """
    if name not in TRAYS:
        raise ValueError(f"there is no tray {name!r:.20}; there are {', '.join(TRAYS)}.")
    return name


def _all() -> Path:
    return cameras_file().with_name("trays")


def _place(owner: str, tray: Tray) -> Path:
    return _all() / _checked(_OWNER, owner) / tray


def _checked(form: re.Pattern[str], name: str) -> str:
    if not form.fullmatch(name):
        raise ValueError(f"{name!r:.70} is not the name of a photograph's place.")
    return name


def _files(owner: str, tray: Tray) -> list[Path]:
    place = _place(owner, tray)
    return [one for one in place.iterdir() if _SHA256.fullmatch(one.name)] if place.is_dir() else []


def _delete_old() -> None:
    """Delete trays to which nothing was added for a day."""
    for owner in _all().iterdir() if _all().is_dir() else ():
        for tray in owner.iterdir():
            if time.time() - tray.stat().st_mtime > KEPT_S:
                shutil.rmtree(tray, ignore_errors=True)
