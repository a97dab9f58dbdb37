"""Disks that are full, records that are locked, stores that are gone: what each command says."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from inspection import record_open
from inspection.record import open_record
from inspection.rope import Rope
from tests.inspection.reading_tables import SAMPLE
from ui.cli import main


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(main, [str(one) for one in arguments])
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.output


def error_of(output: str) -> str:
    """The one line that says what went wrong; there is no other of its kind."""
    (line,) = [line for line in output.splitlines() if line.startswith("Error: ")]
    assert "Traceback" not in output
    return line


@pytest.fixture
def filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "crane.db"
    with open_record(path) as record:
        record.add_rope(Rope("hoist rope 1", 22.0), by="A. Berg")
    (tmp_path / "readings.csv").write_text(SAMPLE, encoding="utf-8")
    assert run("record", "import", path, "readings.csv", "--rope", "hoist rope 1",
               "--by", "C. Holm")[0] == 0  # fmt: skip
    return path


def fingerprint(path: Path) -> str:
    with open_record(path) as record:
        assert record.verify().sound
        return record.fingerprint()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize(
    ("out", "arguments"),
    [
        ("cards.pdf", ["card", "--rope", "22", "cards.pdf"]),
        ("all.json", ["record", "export", "crane.db", "all.json"]),
        ("all.csv", ["record", "export", "crane.db", "all.csv"]),
        ("all.xlsx", ["record", "export", "crane.db", "all.xlsx"]),
        ("empty.csv", ["record", "template", "empty.csv"]),
    ],
)
def test_a_full_disk_says_so_and_leaves_nothing_half_written(
    filled: Path, out: str, arguments: list[str]
) -> None:
    before = fingerprint(filled)
    path = filled.parent / out
    path.with_name(f"{out}.part").symlink_to("/dev/full")  # the kernel itself says: no space left
    status, said = run(*arguments)
    assert status == 1
    assert "No space left on device" in error_of(said)
    assert not path.exists()
    assert not list(filled.parent.glob("*.part"))
    assert fingerprint(filled) == before
    assert run(*arguments)[0] == 0  # with room again it goes on
    assert path.stat().st_size > 100


def test_a_locked_record_is_said_and_the_import_can_be_repeated(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record_open, "BUSY_MS", 50)
    before = fingerprint(filled)
    Path("more.csv").write_text(SAMPLE.replace("visit", "visit 2"), encoding="utf-8")
    more = ("record", "import", filled, "more.csv", "--rope", "hoist rope 1", "--by", "C. Holm")
    other = sqlite3.connect(filled, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        status, said = run(*more)
    finally:
        other.close()
    assert status == 1
    assert "is locked by another program that is writing; wait a moment" in error_of(said)
    assert fingerprint(filled) == before
    assert run(*more)[0] == 0


def test_a_store_of_photographs_that_is_gone_is_said(filled: Path, tmp_path: Path) -> None:
    with open_record(filled) as record:
        record.add_photograph("visit", b"bytes of a photograph", name="s1.jpg", by="A. Berg")
    (store,) = [path for path in tmp_path.iterdir() if path.is_dir()]
    shutil.move(store, tmp_path / "elsewhere")
    status, said = run("record", "verify", filled)
    assert status == 1
    assert "is not in the store" in said
    assert "Traceback" not in said
    shutil.move(tmp_path / "elsewhere", store)
    assert run("record", "verify", filled)[0] == 0
