"""The command `report`, with stand-in figures in place of measured photographs."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from inspection.record.record import open_record
from tests.ui.report_cases import fill, measure, write_folder
from ui.cli.main import main
from ui.cli.report import report


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(report, [str(word) for word in words], obj=measure)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "crane").mkdir()
    return write_folder(tmp_path / "crane", wrong={(3, 0): "38.91"})


def test_the_command_is_part_of_ropephoto() -> None:
    assert "report" in main.commands


def test_a_folder_becomes_a_pdf_and_an_html_beside_it(folder: Path, tmp_path: Path) -> None:
    result = run(folder, tmp_path / "out.pdf", "--html", "--paper", "Letter")
    assert result.exit_code == 0, result.output
    assert (tmp_path / "out.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "out.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert "Check first: station 3, 0 deg." in result.output


def test_a_record_becomes_a_report_of_the_inspection_that_is_named(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        fill(record)
    result = run(tmp_path / "record.db", tmp_path / "out.pdf", "--inspection", "2024-11")
    assert result.exit_code == 0, result.output
    assert (tmp_path / "out.pdf").stat().st_size > 10_000


def test_limits_of_the_users_own_stand_in_the_report(folder: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.json"
    own.write_text(
        '[{"rule_set": "Site 4", "what": "least diameter", "quantity": "mean diameter", '
        '"purpose": "discard", "source": "site rule 4.2", "start": "nothing", "low_mm": 38.7}]',
        encoding="utf-8",
    )
    result = run(folder, tmp_path / "out.pdf", "--html", "--own-limits", own)
    assert result.exit_code == 0, result.output
    said = (tmp_path / "out.html").read_text(encoding="utf-8")
    assert "Site 4, least diameter" in said
    assert "at least 38.70" in said
    own.write_bytes(b"\xff\xfe\x00")
    broken = run(folder, tmp_path / "other.pdf", "--own-limits", own)
    assert broken.exit_code == 2
    assert "can't be read as text" in broken.output


def test_a_report_that_is_there_is_not_overwritten(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "out.html").write_text("signed", encoding="utf-8")
    result = run(folder, tmp_path / "out.pdf", "--html")
    assert result.exit_code == 2
    assert "already exists" in result.output
    assert (tmp_path / "out.html").read_text(encoding="utf-8") == "signed"
    assert not (tmp_path / "out.pdf").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere.db", "out.pdf"), "no folder or record nowhere.db"),
        (("{folder}", "out.txt"), "its name must end in .pdf; got out.txt"),
        (("{folder}", "out.pdf", "--inspection", "1999"), "has no inspection '1999'"),
        (("{folder}", "out.pdf", "--print-set", "x"), "no card set 'x'"),
        (("{folder}", "gone/out.pdf"), "could not be written"),
        (("{folder}", "out.pdf", "--limits", "nobody's"), "nobody's"),
    ],
)
def test_misuse_ends_in_one_sentence(
    words: tuple[str, ...], said: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*(word.format(folder=folder) for word in words))
    assert result.exit_code != 0
    assert said in result.output
    assert "Traceback" not in result.output
    assert not (tmp_path / "out.pdf").exists()
