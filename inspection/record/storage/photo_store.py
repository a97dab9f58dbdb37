"""Photographs stored by the hash of their bytes, in a folder or in any store fsspec supports.

A photograph's name never becomes a path: it is stored as ``ab/abcdef...`` by its SHA-256, so no
name can lead out of the store, each photograph is stored once, and a changed one is noticed when
it is read.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import fsspec  # type: ignore[import-untyped]

from inspection.record.errors import RecordError

NOWHERE = (
    "give the store of the record's photographs: a folder or a URL (--photographs, or the "
    "environment variable ROPE_PHOTO_STORE)."
)
MOST_BYTES = 500_000_000


@dataclass(frozen=True, slots=True)
class PhotographStore:
    """A place for photographs.

    Parameters
    ----------
    where : str
        A folder, or a URL that fsspec opens, e.g. ``memory://demo`` or ``s3://bucket/folder``;
        empty if not given.

    Examples
    --------
    >>> store = PhotographStore("memory://doctest")
    >>> name = store.put(b"bytes of a photograph")
    >>> store.get(name)
    b'bytes of a photograph'
    """

    where: str

    def put(self, data: bytes) -> str:
        """Store a photograph and return its SHA-256; one already stored is kept.

        Raises
        ------
        RecordError
            If it is empty or too large, or the store can't be written.
        """
        if not data:
            raise RecordError("the photograph is empty (0 bytes); send the file again.")
        if len(data) > MOST_BYTES:
            raise RecordError(
                f"the photograph has {len(data)} bytes; at most {MOST_BYTES} are allowed."
            )
        sha256 = hashlib.sha256(data).hexdigest()
        files, root = self._open()
        path = _path(root, sha256)
        try:
            if _is_local(files):
                _write_local(Path(path), data)
            elif not files.exists(path):
                # an object store shows a new object only when it is complete
                files.makedirs(path.rsplit("/", 1)[0], exist_ok=True)
                files.pipe_file(path, data)
        except OSError as error:
            raise RecordError(self._sentence("can't be written", error)) from error
        return sha256

    def get(self, sha256: str) -> bytes:
        """Return a photograph's bytes, unchanged since they were stored.

        Raises
        ------
        RecordError
            If it is not there, or its bytes were changed.
        """
        files, root = self._open()
        try:
            data: bytes = files.cat_file(_path(root, sha256))
        except FileNotFoundError:
            raise RecordError(
                f"photograph {sha256[:12]}... is not in the store {self.where}; was the folder "
                "moved? Put it back, or restore it from a backup."
            ) from None
        except OSError as error:
            raise RecordError(self._sentence("can't be read", error)) from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise RecordError(
                f"photograph {sha256[:12]}... in the store {self.where} was changed: its hash no "
                "longer matches; restore it from a backup."
            )
        return data

    def has(self, sha256: str) -> bool:
        """Return whether a photograph is there (its bytes are not checked)."""
        files, root = self._open()
        try:
            return bool(files.exists(_path(root, sha256)))
        except OSError as error:
            raise RecordError(self._sentence("can't be read", error)) from error

    def missing(self, hashes: Iterable[str]) -> list[str]:
        """Return those of some photographs that are not there, in their order.

        It takes one listing; a store that can't be listed is asked for each photograph.
        """
        wanted = list(hashes)
        if not wanted:
            return []
        try:
            there = set(self.hashes())
        except (RecordError, NotImplementedError):
            return [sha256 for sha256 in wanted if not self.has(sha256)]
        return [sha256 for sha256 in wanted if sha256 not in there]

    def is_gone(self) -> bool:
        """Return whether this is a folder that does not exist; `put` would create it."""
        files, root = self._open()
        return _is_local(files) and not Path(root).exists()

    def hashes(self) -> Iterator[str]:
        """Yield the SHA-256 of every photograph in the store, sorted."""
        files, root = self._open()
        try:
            files.invalidate_cache()  # other programs add photographs, too
            paths = files.find(root)
        except FileNotFoundError:
            paths = []
        except OSError as error:
            raise RecordError(self._sentence("can't be read", error)) from error
        names = (str(path).replace("\\", "/").rsplit("/", 1)[-1] for path in paths)
        yield from sorted(name for name in names if re.fullmatch("[0-9a-f]{64}", name))

    def copy_to(self, other: PhotographStore, hashes: Iterator[str]) -> tuple[int, list[str]]:
        """Copy photographs to another store, each checked on the way.

        Returns
        -------
        copied : int
            How many were copied.
        failed : list of str
            A sentence for each that could not be read.
        """
        copied, failed = 0, []
        for sha256 in hashes:
            try:
                data = self.get(sha256)
            except RecordError as error:
                failed.append(str(error))
                continue
            other.put(data)
            copied += 1
        return copied, failed

    def _open(self) -> tuple[Any, str]:
        if not self.where:
            raise RecordError(NOWHERE)
        try:
            files, root = fsspec.core.url_to_fs(self.where)
        except (ValueError, ImportError, OSError) as error:
            raise RecordError(self._sentence("can't be opened", error)) from error
        return files, str(root).rstrip("/")

    def _sentence(self, what: str, error: BaseException) -> str:
        message = getattr(error, "strerror", None) or str(error).splitlines()[0]
        return f"the store of photographs {self.where} {what}: {message}."


def _is_local(files: Any) -> bool:
    protocol = files.protocol
    return "file" in ((protocol,) if isinstance(protocol, str) else protocol)


def _path(root: str, sha256: str) -> str:
    if not re.fullmatch("[0-9a-f]{64}", sha256):
        raise RecordError(
            f"{sha256[:80]!r} is not a photograph's hash: it must have 64 digits 0 to 9, a to f."
        )
    return f"{root}/{sha256[:2]}/{sha256}"


def _write_local(path: Path, data: bytes) -> None:
    """Write a temporary file, flush it to disk, rename it: a crash leaves all of it or nothing."""
    if path.exists() and path.read_bytes() == data:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        for folder in (path.parent, path.parent.parent):
            _flush_names(folder)
    finally:
        part.unlink(missing_ok=True)


def _flush_names(folder: Path) -> None:
    """Flush a folder's names to disk, so that a power failure can't undo a rename.

    The record may be on another disk, whose own flush says nothing about this one.
    """
    if os.name != "posix":
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # some network shares refuse it for folders
            os.fsync(opened)
    finally:
        os.close(opened)
