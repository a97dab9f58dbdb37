"""`ropephoto record`: each command used correctly, and in the way it can fail."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from inspection.record.record import open_record
from inspection.record.views import Manner
from ui.cli.record import record
from ui.services.measuring_queue import PhotoFile, store_photographs

ROPES = "rope;nominal (mm);outer strands\nhoist rope 1;22;8\n"
READINGS = (
    "inspection;date;station;view;typed;gauge;kind;resolution;mpe;person;logged at\n"
    "visit;2026-11-02;1;0;22,41;C-07;wide jaw caliper;0,01;0,03;A. Berg;2026-11-02 09:14\n"
    "visit;2026-11-02;1;90;22,4;C-07;wide jaw caliper;0,01;0,03;A. Berg;2026-11-02 09:15\n"
)


def run(*arguments: object) -> Result:
    result = CliRunner().invoke(record, [str(argument) for argument in arguments])
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


@pytest.fixture
def filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("ropes.csv").write_text(ROPES)
    Path("readings.csv").write_text(READINGS)
    assert run("init", "crane.db").exit_code == 0
    ropes = run("import", "crane.db", "ropes.csv", "--what", "ropes", "--by", "C. Holm")
    assert "Added: 1 rope." in ropes.output
    done = run("import", "crane.db", "readings.csv", "--rope", "hoist rope 1", "--by", "C. Holm")
    assert "Added: 1 inspection, 1 gauge, 2 readings." in done.output
    return tmp_path / "crane.db"


def test_init_makes_a_record_and_leaves_one_that_is_there(filled: Path) -> None:
    again = run("init", "crane.db")
    assert again.exit_code == 0
    assert "already exists and holds 4 events" in again.output


def test_import_tells_every_bad_row_and_ends_with_status_1(filled: Path) -> None:
    text = READINGS.replace("09:", "10:").replace("22,41", "abc") + "visit;;2;0;-1;C-07;;;;A;\n"
    Path("bad.csv").write_text(text)
    result = run("import", "crane.db", "bad.csv", "--by", "C. Holm")
    assert result.exit_code == 1
    assert "line 2: column 'typed': 'abc' is not a length" in result.output
    assert "line 4: column 'typed': '-1' is negative" in result.output
    assert "2 rows were rejected and nothing was imported" in result.output
    kept = run("import", "crane.db", "bad.csv", "--by", "C. Holm", "--keep-good")
    assert kept.exit_code == 1
    assert "Added: 1 reading." in kept.output


def test_import_needs_a_person_from_option_or_environment(
    filled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    missing = run("import", "crane.db", "ropes.csv")
    assert missing.exit_code == 2
    assert "--by" in missing.output
    monkeypatch.setenv("ROPE_PHOTO_PERSON", "C. Holm")
    assert run("import", "crane.db", "ropes.csv").exit_code == 1  # ropes are no readings


@pytest.mark.parametrize(
    ("name", "options"),
    [("r.csv", []), ("r.xlsx", []), ("p.csv", ["--what", "ropes"]), ("l.xlsx", ["--what", "list"])],
)
def test_export_writes_tables(filled: Path, name: str, options: list[str]) -> None:
    result = run("export", "crane.db", name, *options)
    assert result.exit_code == 0, result.output
    assert re.search(r"(?:1 row|[2-9] rows)\. Fingerprint: 4-[0-9a-f]{32}", result.output)
    again = run("export", "crane.db", name, *options)
    assert again.exit_code == 1
    assert "already exists; use --force" in again.output
    assert run("export", "crane.db", name, *options, "--force").exit_code == 0


def test_a_json_export_is_restored_with_the_same_fingerprint(filled: Path) -> None:
    told = run("export", "crane.db", "all.json").output
    assert json.loads(Path("all.json").read_text("utf-8"))["format_version"] == 1
    run("init", "again.db")
    restored = run("import", "again.db", "all.json", "--by", "C. Holm")
    assert restored.exit_code == 0, restored.output
    assert told.split("Fingerprint: ")[1] == restored.output.split("Fingerprint: ")[1]


def test_a_restored_record_says_that_its_photographs_are_missing(filled: Path) -> None:
    picture = io.BytesIO()
    Image.new("RGB", (64, 48)).save(picture, "JPEG")
    with open_record(filled) as opened:
        identity = opened.ranked()[0].identity
        files = [PhotoFile("a.jpg", picture.getvalue())]
        assert store_photographs(opened, identity, files, Manner(), by="C. Holm").added
    run("export", "crane.db", "all.json")
    run("init", "again.db")
    restored = run("import", "again.db", "all.json", "--by", "C. Holm")
    assert restored.exit_code == 0, restored.output
    assert "1 photograph is known to be missing: it was not in the export" in restored.output
    # known to be missing is no fault
    checked = run("verify", "again.db")
    assert checked.exit_code == 0, checked.output
    assert "Note: 1 photograph is known to be missing" in checked.output
    assert re.search(
        r"Sound: \d+ events, 0 photographs \(1 more known to be missing\)\.", checked.output
    )
    saved = run("backup", "again.db", "safe")
    assert saved.exit_code == 0, saved.output
    assert "verified, 0 photographs (1 more known to be missing)." in saved.output
    # once it has been there, losing it is one
    shutil.copytree("crane-photographs", "again-photographs")
    there = run("verify", "again.db")
    assert there.exit_code == 0, there.output
    assert "known to be missing" not in there.output
    shutil.rmtree("again-photographs")
    lost = run("verify", "again.db")
    assert lost.exit_code == 1
    assert "is not in the store" in lost.output
    assert "known to be missing" not in lost.output


@pytest.mark.fault(
    "the record changed outside the program",
    "`... faults among ... events: keep this file as it is, ...`",
)
def test_verify_finds_tampering_and_ends_with_status_1(filled: Path) -> None:
    sound = run("verify", "crane.db")
    assert sound.exit_code == 0
    fingerprint = re.search(r"Fingerprint: (\S+)", sound.output)
    assert fingerprint is not None
    assert "Note the fingerprint elsewhere" in sound.output
    assert run("verify", "crane.db", "--noted", fingerprint[1]).exit_code == 0
    by_hand = sqlite3.connect(filled)
    by_hand.execute("DROP TRIGGER events_never_change")
    by_hand.execute("UPDATE events SET who = 'X' WHERE sequence = 2")
    by_hand.commit()
    by_hand.close()
    found = run("verify", "crane.db")
    assert found.exit_code == 1
    assert "event 2" in found.output
    assert "it was edited" in found.output
    assert "2 faults among 4 events, 0 photographs: keep this file as it is," in found.output


def test_backup_copies_and_verifies(filled: Path) -> None:
    result = run("backup", "crane.db", "safe")
    assert result.exit_code == 0
    assert "verified, 0 photographs" in result.output
    assert run("verify", "safe/crane.db").exit_code == 0
    again = run("backup", "crane.db", "safe")
    assert again.exit_code == 1
    assert "already exists" in again.output


def test_template_writes_what_import_reads(filled: Path) -> None:
    assert run("template", "t.xlsx").exit_code == 0
    result = run("import", "crane.db", "t.xlsx", "--by", "C. Holm")
    assert result.exit_code == 0
    assert "Added: nothing" in result.output
    assert run("template", "t.xlsx").exit_code == 1
    assert "written as .csv or .xlsx" in run("template", "t.ods", "--what", "ropes").output


def test_schema_prints_the_published_schema() -> None:
    assert json.loads(run("schema").output)["title"].startswith("A record of rope inspections")


@pytest.mark.parametrize(
    "command",
    [["verify"], ["export", "x.csv"], ["backup", "safe"]],
)
def test_a_record_that_is_not_there_is_not_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    name, *rest = command
    result = run(name, "none.db", *rest)
    assert result.exit_code == 1
    assert "there is no record at" in result.output
    assert not Path("none.db").exists()


def test_a_database_that_does_not_answer_is_reported_in_one_sentence(tmp_path: Path) -> None:
    pytest.importorskip("psycopg", reason="PostgreSQL's driver is not installed.")
    result = run("verify", f"postgresql://user:secret@/none?host={tmp_path}")
    assert result.exit_code == 1
    assert "does not answer" in result.output
    assert "secret" not in result.output


def test_help_needs_no_database_and_names_an_example() -> None:
    program = (
        "import sys; from ui.cli.record import record; "
        "print([n for n in ('sqlalchemy', 'openpyxl', 'alembic') if n in sys.modules])"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    loaded = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=True,
        env=environment,
    )
    assert loaded.stdout.strip() == "[]"
    for name in record.commands:
        assert "Example:" in run(name, "--help").output
