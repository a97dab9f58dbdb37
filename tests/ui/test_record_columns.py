"""`ropephoto record import`: the meaning of headings is shown, corrected, and saved by name."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from inspection.record.record import open_record
from tests.inspection.danger_logs import GAUGE
from tests.inspection.test_real_sheets import HELD, ROPE
from ui.cli.record import record

SHEET = "Seilprüfung 2026;;;\nNr;senkrecht;waagrecht;Bem.\n1;22,2;22,1;\n2;22,3;22,0;Kreuzung\n"
NAMED = ("Nr=station", "senkrecht=0", "waagrecht=90", "Bem.=")
SAID = ("--by", "A. Berg", "--inspection", HELD.identity, "--gauge", GAUGE.identity,
        "--person", "A. Berg")  # fmt: skip


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ROPE_PHOTO_COLUMNS", str(tmp_path / "columns.json"))
    with open_record(tmp_path / "record.db") as opened:
        opened.add_rope(ROPE, by="A. Berg")
        opened.add_gauge(GAUGE, by="A. Berg")
        opened.add_inspection(HELD, by="A. Berg")
    (tmp_path / "sheet.csv").write_text(SHEET, "utf-8")
    return tmp_path


def run(place: Path, *options: str) -> Result:
    arguments = ["import", str(place / "record.db"), str(place / "sheet.csv"), *SAID, *options]
    return CliRunner().invoke(record, arguments)


def count(place: Path) -> int:
    with open_record(place / "record.db") as opened:
        return len(opened.inspection(HELD.identity).readings)


def column_options() -> list[str]:
    return [part for one in NAMED for part in ("--column", one)]


def test_headings_that_are_not_known_are_told_with_the_way_out(place: Path) -> None:
    result = run(place)
    assert result.exit_code != 0
    assert "--column" in result.output


def test_the_mapping_is_shown_and_nothing_is_imported(place: Path) -> None:
    result = run(place, *column_options(), "--show-columns")
    assert result.exit_code == 0, result.output
    assert "'Nr' is station" in result.output
    assert "'waagrecht' is reading at 90 deg" in result.output
    assert count(place) == 0


def test_a_mapping_is_kept_by_name_and_used_again(place: Path) -> None:
    first = run(place, *column_options(), "--keep-columns", "yard")
    assert first.exit_code == 0, first.output
    assert count(place) == 4
    (place / "sheet.csv").write_text(SHEET.replace("22,", "21,"), "utf-8")
    again = run(place, "--columns", "yard")
    assert again.exit_code == 0, again.output
    assert count(place) == 8
    unknown = run(place, "--columns", "dock")
    assert "no mapping of columns is saved as 'dock'; saved are: yard." in unknown.output


def test_a_day_that_may_be_two_is_asked_and_answered(place: Path) -> None:
    (place / "sheet.csv").write_text(
        "station;0°;90°;Datum\n1;22,2;22,1;03/04/2026\n", encoding="utf-8"
    )
    asked = run(place)
    assert asked.exit_code == 1
    assert "may be 3 April or 4 March 2026" in asked.output
    assert run(place, "--dates", "day-first").exit_code == 0


def test_the_day_of_a_sheet_without_one_is_told(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as opened:
        opened.add_rope(ROPE, by="A. Berg")
        opened.add_gauge(GAUGE, by="A. Berg")
    (tmp_path / "sheet.csv").write_text("Station;0°;90°\n1;22,2;22,1\n", "utf-8")
    asked = run(tmp_path, "--rope", ROPE.identity)
    assert asked.exit_code != 0
    assert "give it with --day" in asked.output
    told = run(tmp_path, "--rope", ROPE.identity, "--day", "15.09.2026")
    assert told.exit_code == 0, told.output
    with open_record(tmp_path / "record.db") as opened:
        assert opened.inspection(HELD.identity).inspection.on == date(2026, 9, 15)
    wrong = run(tmp_path, "--day", "soon")
    assert "'soon' is not a day or time in a known format" in wrong.output
