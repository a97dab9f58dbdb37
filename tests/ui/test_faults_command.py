"""Full disks, locked records and missing stores: what each command reports."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date
from importlib import import_module
from pathlib import Path

import pytest
from click.testing import CliRunner

from inspection.model.rope import Inspection, Rope
from inspection.record.record import open_record
from inspection.record.storage import database
from tests.inspection.reading_tables import SAMPLE
from ui.cli.main import main

BAR = Path(__file__).resolve().parents[2] / "sample_images" / "bar-16mm.jpg"


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(main, [str(one) for one in arguments])
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.output


def error_of(output: str) -> str:
    """The one line that reports the error; there is no other."""
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
    assert (
        run("record", "import", path, "readings.csv", "--rope", "hoist rope 1", "--by", "C. Holm")[
            0
        ]
        == 0
    )
    return path


def fingerprint(path: Path) -> str:
    with open_record(path) as record:
        assert record.verify().sound
        return record.fingerprint()


@pytest.mark.fault(
    "a full disk, on the command line",
    "`all.csv can't be written: No space left on device.`",
)
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize(
    ("out", "arguments"),
    [
        ("cards.pdf", ["card", "--rope", "22", "cards.pdf"]),
        ("all.json", ["record", "export", "crane.db", "all.json"]),
        ("all.csv", ["record", "export", "crane.db", "all.csv"]),
        ("all.xlsx", ["record", "export", "crane.db", "all.xlsx"]),
        ("empty.csv", ["record", "template", "empty.csv"]),
        ("report.pdf", ["report", "crane.db", "report.pdf"]),
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
    assert run(*arguments)[0] == 0  # once there is space, it resumes
    assert path.stat().st_size > 100


@pytest.mark.fault(
    "a full disk while a print check is saved",
    "`the print check cannot be saved in ...: No space left on device; ...`",
)
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_print_check_on_a_full_disk_leaves_the_earlier_ones_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    bars = ("--layout", "A5 middle", "--along", "179.2", "--across", "109.6", "--u", "0.02")
    assert run("print-check", "first", *bars)[0] == 0
    before = Path("print_checks.json").read_text()
    Path("print_checks.json.new").symlink_to("/dev/full")
    status, said = run("print-check", "second", *bars)
    assert status == 1
    assert "No space left on device" in error_of(said)
    assert Path("print_checks.json").read_text() == before
    assert run("print-check", "second", *bars)[0] == 0


MEASURE = ("measure", "{}/../bar-16mm.jpg", "--cameras", "{}/../cameras.json")
LATE = ("mmap", "inspection.screening.checks.lay_length", "inspection.measurement.section", 
        "ui.cli.progress", "ui.cli.output.measure", "vision.batch")  # fmt: skip


@pytest.fixture
def protected(tmp_path: Path) -> Iterator[Path]:
    """A folder that may not be written to, and nobody here who may write everywhere."""
    folder = tmp_path / "protected"
    folder.mkdir()
    superuser = hasattr(os, "geteuid") and os.geteuid() == 0
    shutil.copy(BAR, tmp_path)
    for parent in (tmp_path, *tmp_path.parents[:3]):  # somebody else must find the photograph
        if superuser and parent.stat().st_uid == 0 and not parent.stat().st_mode & 0o1000:
            parent.chmod(0o755)
    for late in LATE:  # commands import when they are used, and then nobody may not read them
        import_module(late)
    folder.chmod(0o555)
    if superuser:
        os.seteuid(65534)
    yield folder
    if superuser:
        os.seteuid(0)
    folder.chmod(0o755)


@pytest.mark.fault(
    "a write-protected folder, for every command that writes",
    "`... Permission denied ...`, `... choose another folder ...`",
)
@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["card", "--rope", "22", "{}/cards.pdf"], "Permission denied"),
        (["card", "--board", "{}/board.pdf"], "Permission denied"),
        (["record", "init", "{}/crane.db"], "there is no permission to read and write"),
        (["record", "template", "{}/empty.csv"], "Permission denied"),
        (
            [
                "print-check",
                "set",
                "--layout",
                "A5 middle",
                "--along",
                "179.2",
                "--across",
                "109.6",
                "--file",
                "{}/checks.json",
            ],
            "Permission denied",
        ),
        ([*MEASURE, "--overlay", "{}/seen"], "choose another folder"),
        ([*MEASURE, "--jobs", "1", "--keep", "{}/done.jsonl"], "can't be written"),
    ],
    ids=lambda one: " ".join(one[:2]) if isinstance(one, list) else "",
)
def test_every_command_that_writes_reports_a_write_protected_folder(
    protected: Path, arguments: list[str], words: str
) -> None:
    status, said = run(*(one.format(protected) for one in arguments))
    assert status == 1, said
    assert words in error_of(said)
    assert not list(protected.iterdir())


NAMES = ("../../outside", "/etc/passwd", "..\\..\\outside", "x" * 300, "<b>bold</b> [red]x[/red]")


@pytest.mark.fault(
    "`../../outside`, `/etc/passwd` or 300 letters as the name of a rope, an inspection or a "
    "photograph",
    "the name as text; files are written only where requested",
)
@pytest.mark.parametrize("name", NAMES, ids=["up", "root", "back", "long", "markup"])
def test_names_are_text_and_never_paths_or_markup(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    monkeypatch.chdir(deep)
    short = name[:60]
    with open_record(deep / "crane.db") as record:
        record.add_rope(Rope(short, 16.0), by="A. Berg")
        record.add_inspection(Inspection(short, short, date(2026, 11, 2)), by="A. Berg")
        record.add_photograph(short, BAR.read_bytes(), name=f"{name}.jpg", by="A. Berg")
    before = files_in(tmp_path)
    status, said = run("check", "crane.db", "--inspection", short)
    assert status in (0, 1), said
    assert short in " ".join(said.split())
    for arguments in (
        ["record", "export", "crane.db", "all.csv"],
        ["record", "export", "crane.db", "all.json"],
        ["record", "backup", "crane.db", "safe"],
        ["report", "crane.db", "report.pdf", "--inspection", short, "--html"],
    ):
        status, said = run(*arguments)
        assert status == 0, said
    assert short.replace("<", "&lt;").replace(">", "&gt;") in Path("report.html").read_text()
    made = files_in(tmp_path) - before
    assert {path.relative_to(deep).parts[0] for path in made} == {
        "all.csv",
        "all.json",
        "safe",
        "report.pdf",
        "report.html",
    }
    assert not (tmp_path.parent / "outside").exists()


def files_in(folder: Path) -> set[Path]:
    return {path for path in folder.rglob("*") if path.is_file()}


@pytest.mark.fault(
    "a record locked by another program",
    "`The record ... is locked by another program that is writing; wait a moment and try again.`",
)
def test_a_locked_record_is_reported_and_the_import_can_be_repeated(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_MS", 50)
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


@pytest.mark.fault(
    "photographs missing from their store",
    "`photograph 1a2b... is not in the store ...; was the folder moved? Put it back, or "
    "restore it from a backup.`",
)
def test_a_missing_store_of_photographs_is_reported(filled: Path, tmp_path: Path) -> None:
    with open_record(filled) as record:
        record.add_photograph("visit", b"bytes of a photograph", name="s1.jpg", by="A. Berg")
    (store,) = [path for path in tmp_path.iterdir() if path.is_dir()]
    shutil.move(store, tmp_path / "elsewhere")
    status, said = run("record", "verify", filled)
    assert status == 1
    assert "is not in the store" in said
    assert error_of(said).endswith(": the entries are sound; restore the photographs.")
    assert "Traceback" not in said
    shutil.move(tmp_path / "elsewhere", store)
    assert run("record", "verify", filled)[0] == 0


def test_a_lost_folder_of_many_photographs_is_no_flood_of_lines(filled: Path) -> None:
    with open_record(filled) as record:
        for n in range(25):
            record.add_photograph("visit", b"photograph %d" % n, name=f"{n}.jpg", by="A. Berg")
    shutil.rmtree(filled.with_name("crane-photographs"))
    status, said = run("record", "verify", filled)
    assert status == 1
    assert said.count("is not in the store") == 20
    assert "... and 5 more faults." in said
    assert error_of(said).startswith("Error: 25 faults among ")


def damaged_anywhere(path: Path) -> Iterator[int]:
    """Damage every page of a record in turn, as a failing disk does; yield which one."""
    whole = path.read_bytes()
    for page in range(len(whole) // 4096):
        path.write_bytes(whole[: page * 4096] + bytes(4096) + whole[(page + 1) * 4096 :])
        yield page
    path.write_bytes(whole)


@pytest.mark.fault(
    "a record damaged in the middle, read by `check` or `report`",
    "`The record crane.db is damaged or was changed outside this program: event 2: ... Keep the "
    "file as it is and restore the last backup; ...`",
)
def test_nothing_is_concluded_from_a_record_with_a_damaged_page(filled: Path) -> None:
    sound = run("check", filled)
    assert "Error: " not in sound[1]
    for page in damaged_anywhere(filled):
        status, said = run("check", filled)
        assert status in (1, 2), page
        assert re.search(r"is damaged|is not a record|write-ahead log", error_of(said)), page
    assert run("check", filled) == sound


def cut_off(path: Path) -> None:
    with closing(sqlite3.connect(path)) as record, record:
        record.execute("UPDATE ropes SET data = substr(data, 1, 40)")


def changed(before: bytes, after: bytes) -> Callable[[Path], object]:
    def change(path: Path) -> None:
        whole = path.read_bytes()
        assert before in whole
        path.write_bytes(whole.replace(before, after))

    return change


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        # the entry and its event alike, so that only the chain gives it away
        (changed(b'"nominal_mm":22.0', b'"nominal_mm":23.0'), "event 1 "),
        (changed(b'"hoist rope 1"', b'"hoist rope \xff"'), "restore the last backup"),
        (cut_off, "restore the last backup"),
    ],
)
def test_nothing_is_concluded_from_a_record_with_a_damaged_entry(
    filled: Path, damage: Callable[[Path], object], words: str
) -> None:
    damage(filled)
    for command in (("check", filled), ("report", filled, "report.pdf")):
        status, said = run(*command)
        assert status == 1
        assert "is damaged" in error_of(said)
        assert words in error_of(said)
    assert not Path("report.pdf").exists()
    assert run("record", "verify", filled)[0] == 1


READING = (
    ("check", "{}"),
    ("report", "{}", "report.pdf"),
    ("record", "verify", "{}"),
    ("record", "state", "{}", "visit"),
    ("record", "export", "{}", "all.json"),
    ("record", "backup", "{}", "backup"),
)


@pytest.mark.fault("a path without a record", "`there is no record at ...; check the path, ...`")
@pytest.mark.parametrize("command", READING, ids=" ".join)
def test_a_command_that_reads_creates_no_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    status, said = run(*(part.format("crane.db") for part in command))
    assert status != 0
    assert re.search("there is no (record|folder or record)", error_of(said))
    assert not list(tmp_path.iterdir())
    with closing(sqlite3.connect("crane.db")) as empty:  # a database in which nothing is
        empty.execute("PRAGMA user_version = 1")
    status, said = run(*(part.format("crane.db") for part in command))
    assert status != 0
    assert "there is no record in crane.db" in error_of(said)
    with closing(sqlite3.connect("crane.db")) as empty:
        assert empty.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)
