"""A whole folder into a record, checked there, saved there; a second time adds nothing."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from inspection.record.record import open_record
from tests.ui.test_check_command import measure, write_folder
from ui.cli.check import check
from ui.cli.record import record
from vision import results
from vision.pipeline import Settings


def measure_bytes(paths: list[Path], settings: Settings) -> list[results.Result]:
    """Stand in for the pipeline, with each file's own hash as it gives one."""
    found = []
    for path in paths:
        # the folder that passes numbers its files; the card says station and view
        plain = Path(path.name.split("-", 1)[1] if path.name[:4].isdigit() else path.name)
        (one,) = measure([plain], settings)
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        found.append(replace(one, photo_name=path.name, photo_sha256=sha256))
    return found


def run(command: object, *words: object) -> Result:
    result = CliRunner().invoke(
        command,  # type: ignore[arg-type]
        [str(word) for word in words],
        obj=measure_bytes,
        env={"COLUMNS": "80"},
    )
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "crane"
    made.mkdir()
    write_folder(made, typed={(4, 90): "36.97"})
    for number, path in enumerate(sorted(made.glob("*.jpg"))):
        Image.new("RGB", (40, 30), (number * 9, 60, 90)).save(path)
    return made


@pytest.fixture
def where(tmp_path: Path) -> Path:
    path = tmp_path / "record.db"
    run(record, "init", path)
    return path


def count_events(where: Path) -> int:
    with open_record(where) as opened:
        assert opened.verify(photographs=True).sound
        return len(list(opened.events()))


def test_a_folder_goes_in_as_a_whole_and_a_second_time_adds_nothing(
    folder: Path, where: Path
) -> None:
    done = run(record, "add", where, folder, "--by", "A. Berg")
    assert done.exit_code == 0, done.output
    assert "1 ropes, 1 gauges, 1 inspections, 12 readings, 12 photographs" in done.output
    with open_record(where) as opened:
        there = opened.inspection("2026-11")
        assert (len(there.readings), len(there.results), len(there.photographs)) == (12, 12, 12)
        for photograph in there.photographs:  # pages show these, and decode no original
            assert opened.photographs.get(photograph.preview).startswith(b"\xff\xd8\xff")
            assert photograph.width_px > photograph.height_px > 0
        assert there.rank > 0
        assert there.findings[0].finding.code == "digits-swapped"
    before = count_events(where)
    again = run(record, "add", where, folder, "--by", "A. Berg")
    assert "Added: nothing." in again.output
    assert count_events(where) == before


def test_a_reading_that_was_corrected_does_not_come_back(folder: Path, where: Path) -> None:
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    with open_record(where) as opened:
        wrong = next(
            one for one in opened.inspection("2026-11").logged if one.reading.typed == "36.97"
        )
        right = replace(wrong.reading, typed="39.67", value_mm=39.67)
        opened.correct_reading("2026-11", wrong.number, right, by="A. Berg", why="digits swapped")
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    with open_record(where) as opened:
        typed = [one.typed for one in opened.inspection("2026-11").readings]
    assert len(typed) == 12
    assert "36.97" not in typed


def test_check_measures_what_has_no_result_and_saves_only_when_asked(
    folder: Path, where: Path
) -> None:
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    unsaved = count_events(where)
    found = json.loads(run(check, where, "--json").stdout)
    assert len(found["comparisons"]) == 12
    assert count_events(where) == unsaved
    from_folder = json.loads(run(check, folder, "--json").stdout)
    assert found["first_look"] == from_folder["first_look"]
    saved = run(check, where, "--save", "--by", "A. Berg")
    assert saved.exit_code == 1
    assert "Saved in the record: 12 new results" in saved.output
    assert count_events(where) == unsaved + 2  # results, findings
    run(check, where, "--save", "--by", "A. Berg")
    assert count_events(where) == unsaved + 2


def test_saving_needs_a_record_and_a_name(folder: Path, where: Path) -> None:
    assert "record add" in run(check, folder, "--save", "--by", "A. Berg").output
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    assert "--by NAME" in run(check, where, "--save").output


def test_bad_rows_are_told_and_nothing_is_added_unless_asked(folder: Path, where: Path) -> None:
    table = folder / "readings.csv"
    table.write_text(table.read_text().replace('"36.97"', "thick"), encoding="utf-8")
    before = count_events(where)
    refused = run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    assert refused.exit_code == 1
    assert "'thick' is not a length" in refused.output
    assert count_events(where) == before
    kept = run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured", "--keep-good")
    assert "11 readings" in kept.output


def test_what_the_record_says_otherwise_stays_and_is_told(folder: Path, where: Path) -> None:
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    rope = json.loads((folder / "rope.json").read_text())
    (folder / "rope.json").write_text(json.dumps({**rope, "nominal_mm": 41.0}))
    (folder / "s1-0.jpg").write_bytes(b"no photograph")
    again = run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    assert again.exit_code == 1
    assert "describes the rope 'hoist rope 1' otherwise" in again.output
    assert "s1-0.jpg was left out" in again.output
    with open_record(where) as opened:
        assert opened.rope("hoist rope 1").nominal_mm == 40.0


def test_the_screen_fits_80_columns(folder: Path) -> None:
    lines = run(check, folder).output.splitlines()
    assert max(len(line) for line in lines[:-1]) <= 80
    assert not any("…" in line for line in lines)
