"""Photographs by the hash of their bytes, in a folder and in another kind of store."""

from __future__ import annotations

import hashlib
import os
import sys
from collections import Counter
from pathlib import Path
from typing import ClassVar

import fsspec  # type: ignore[import-untyped]
import pytest
from fsspec.implementations.memory import MemoryFileSystem  # type: ignore[import-untyped]

from inspection.record.errors import RecordError
from inspection.record.storage.photo_store import PhotographStore

# FIPS 180-4 example: SHA-256 of "abc"
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture(params=["folder", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> PhotographStore:
    folder = str(tmp_path / "photographs")
    if request.param == "folder":
        return PhotographStore(folder)
    return PhotographStore(f"memory://{folder}")


def test_a_photograph_comes_back_by_its_hash(store: PhotographStore) -> None:
    assert store.put(b"abc") == ABC
    assert store.get(ABC) == b"abc"
    assert store.put(b"abc") == ABC
    assert list(store.hashes()) == [ABC]
    assert store.has(ABC)
    assert not store.has("0" * 64)


class CountingStore(MemoryFileSystem):  # type: ignore[misc]
    """An object store that counts how often it is asked, and may refuse to list."""

    protocol = "counting"
    store: ClassVar[dict[str, object]] = {}
    pseudo_dirs: ClassVar[list[str]] = [""]
    asked: ClassVar[Counter[str]] = Counter()
    lists = True

    def find(self, path: str, *args: object, **options: object) -> object:
        self.asked["find"] += 1
        if not self.lists:
            raise PermissionError("listing is not allowed")
        return super().find(path, *args, **options)

    def exists(self, path: str, **options: object) -> bool:
        self.asked["exists"] += 1
        return bool(super().exists(path, **options))


@pytest.mark.parametrize(
    ("lists", "calls"), [(True, {"find": 1}), (False, {"find": 1, "exists": 3})]
)
def test_missing_photographs_take_one_listing_where_the_store_can_be_listed(
    lists: bool, calls: dict[str, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    fsspec.register_implementation("counting", CountingStore, clobber=True)
    store = PhotographStore("counting://ropes")
    store.put(b"abc")
    monkeypatch.setattr(CountingStore, "lists", lists)
    CountingStore.asked.clear()
    assert store.missing(["0" * 64, ABC, "1" * 64]) == ["0" * 64, "1" * 64]
    assert CountingStore.asked == calls


def test_a_folder_that_does_not_exist_lacks_every_photograph(tmp_path: Path) -> None:
    store = PhotographStore(str(tmp_path / "nothing"))
    assert store.missing([ABC]) == [ABC]
    assert store.missing([]) == []


def test_missing_photographs_of_a_folder_are_listed_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = PhotographStore(str(tmp_path))
    store.put(b"abc")
    asked: list[str] = []
    monkeypatch.setattr(PhotographStore, "has", lambda _, sha256: asked.append(sha256))
    assert store.missing([ABC, "0" * 64]) == ["0" * 64]
    assert asked == []


def test_a_large_photograph_comes_back_whole(store: PhotographStore) -> None:
    data = bytes(range(256)) * 20_000
    assert store.get(store.put(data)) == data


@pytest.mark.fault(
    "a photograph's hash that is a path to elsewhere",
    "`... is not a photograph's hash: ...`",
)
@pytest.mark.parametrize("name", ["../../etc/passwd", "", "a/b", ABC.upper(), f"{ABC}/../x", "ba"])
def test_only_a_hash_names_a_photograph(store: PhotographStore, name: str) -> None:
    with pytest.raises(RecordError, match="is not a photograph's hash"):
        store.get(name)


def test_a_missing_photograph_is_said_in_one_sentence(store: PhotographStore) -> None:
    with pytest.raises(RecordError, match=r"000000000000\.\.\. is not in the store .*backup"):
        store.get("0" * 64)


def test_an_empty_photograph_is_refused(store: PhotographStore) -> None:
    with pytest.raises(RecordError, match=r"empty \(0 bytes\)"):
        store.put(b"")


def test_a_changed_photograph_is_noticed_and_nothing_half_written_stays(tmp_path: Path) -> None:
    store = PhotographStore(str(tmp_path))
    store.put(b"abc")
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert [path.relative_to(tmp_path).as_posix() for path in files] == [f"ba/{ABC}"]
    files[0].write_bytes(b"abd")
    with pytest.raises(RecordError, match="was changed: its hash no longer matches"):
        store.get(ABC)


@pytest.mark.skipif(sys.platform != "linux", reason="names of open files come from /proc")
def test_the_folders_of_a_new_photograph_are_flushed_after_its_name_is_in_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flushed: list[tuple[str, bool]] = []
    flush, name = os.fsync, hashlib.sha256(b"a photograph").hexdigest()
    path = tmp_path / "store" / name[:2] / name

    def noting(opened: int) -> None:
        flushed.append((os.readlink(f"/proc/self/fd/{opened}"), path.exists()))
        flush(opened)

    monkeypatch.setattr(os, "fsync", noting)
    PhotographStore(str(tmp_path / "store")).put(b"a photograph")
    assert flushed[0][0].endswith(".part")
    assert flushed[1:] == [(str(path.parent), True), (str(path.parent.parent), True)]


@pytest.mark.parametrize("damaged", [b"a", b"abd", b""])
def test_a_damaged_photograph_is_written_again(tmp_path: Path, damaged: bytes) -> None:
    store = PhotographStore(str(tmp_path))
    store.put(b"abc")
    (tmp_path / "ba" / ABC).write_bytes(damaged)
    store.put(b"abc")
    assert store.get(ABC) == b"abc"


def test_a_store_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("in the way")
    with pytest.raises(RecordError, match="can't be written: Not a directory"):
        PhotographStore(str(blocked)).put(b"abc")


def test_a_store_of_an_unknown_kind_says_so() -> None:
    with pytest.raises(RecordError, match="can't be opened: Protocol not known"):
        PhotographStore("nowhere://x").put(b"abc")


def test_photographs_are_copied_and_the_bad_ones_named(tmp_path: Path) -> None:
    here, there = PhotographStore(str(tmp_path / "a")), PhotographStore(str(tmp_path / "b"))
    good = here.put(b"good")
    bad = here.put(b"bad")
    (tmp_path / "a" / bad[:2] / bad).write_bytes(b"worse")
    copied, failed = here.copy_to(there, iter([good, bad]))
    assert copied == 1
    assert len(failed) == 1
    assert list(there.hashes()) == [hashlib.sha256(b"good").hexdigest()]
