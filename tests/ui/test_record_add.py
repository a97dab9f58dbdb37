"""A whole folder added to a record, checked and saved there; a second time adds nothing."""

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
from ui.environment import data_folder, store_of
from ui.services import measuring_queue
from vision import results
from vision.photo.preview import preview_of
from vision.pipeline import Settings


def measure_bytes(paths: list[Path], settings: Settings) -> list[results.Result]:
    """Stand in for the pipeline, with each file's own hash as it gives one."""
    return [one_of(path.name, path.read_bytes(), settings) for path in paths]


def one_of(name: str, data: bytes, settings: Settings) -> results.Result:
    (one,) = measure([Path(name)], settings)
    return replace(one, photo_name=name, photo_sha256=hashlib.sha256(data).hexdigest())


@pytest.fixture(autouse=True)
def measured_quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    def apart(_: str, work: object, data: bytes, name: str, settings: Settings) -> object:
        return (one_of(name, data, settings),), *preview_of(data, name), ""

    monkeypatch.setattr(measuring_queue, "apart", apart)


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
    assert "1 rope, 1 gauge, 1 inspection, 12 readings, 12 photographs" in done.output
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


def test_check_measures_what_waits_and_saves_findings_only_when_asked(
    folder: Path, where: Path
) -> None:
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    with open_record(where) as opened:
        assert len(opened.inspection("2026-11").waiting) == 12
    found = json.loads(run(check, where, "--json").stdout)
    assert len(found["comparisons"]) == 12
    from_folder = json.loads(run(check, folder, "--json").stdout)
    assert found["first_look"] == from_folder["first_look"]
    with open_record(where) as opened:
        assert not opened.inspection("2026-11").waiting
    before = count_events(where)
    saved = run(check, where, "--save", "--by", "A. Berg")
    assert saved.exit_code == 1
    assert "Saved in the record: the same findings as before." in saved.output
    assert count_events(where) == before  # the queue screened it


def test_a_print_check_that_came_later_is_applied_and_the_old_results_stay_in_the_history(
    folder: Path, where: Path
) -> None:
    run(record, "add", where, folder, "--by", "A. Berg")
    check_of = {"layout": "A5 middle", "along_mm": 180.7, "across_mm": 109.6, "u_mm": 0.02}
    with open_record(where) as opened:
        opened.add_print_check("spring", check_of, by="A. Berg")
        before = opened.inspection("2026-11").results
    named = ("--again", "--print-set", "spring")
    assert "needs a reason" in run(record, "measure", where, "--by", "B", *named).output
    assert (
        "no print check of the card set 'autumn'"
        in run(
            record,
            "measure",
            where,
            "--by",
            "B",
            "--again",
            "--print-set",
            "autumn",
            "--why",
            "bars",
        ).output
    )
    done = run(record, "measure", where, "--by", "B", "--why", "bars measured", *named)
    assert done.exit_code == 0, done.output
    assert "Measured: 12 photographs." in done.output
    with open_record(where) as opened:
        there = opened.inspection("2026-11")
        assert len(there.results) == len(before) == 12
        assert {one.manner.print_set for one in there.requests} == {"spring"}
        asked = [one for one in opened.events() if one.kind == "measurement asked"]
        assert [one.why for one in asked] == ["", "bars measured"]
        added = [one for one in opened.events() if one.kind == "results added"]
        assert len(added) == 24
        superseded = [one.old_value for one in added[12:]]
        assert all(superseded)  # each names the result, and its event, that it took the place of
        assert {one[0]["event"] for one in superseded} == {one.sequence for one in added[:12]}
        assert {one.why for one in added[12:]} == {"bars measured"}
        assert opened.verify(photographs=True).sound


def test_options_of_measuring_again_are_refused_where_nothing_is(where: Path) -> None:
    assert "go with --again" in run(record, "measure", where, "--by", "B", "--hold", "level").output
    assert (
        "--offset goes with"
        in run(record, "measure", where, "--by", "B", "--again", "--offset", "2").output
    )
    assert "holds no inspection" in run(record, "measure", where, "--by", "B").output


def test_saving_needs_a_record_and_a_name(folder: Path, where: Path) -> None:
    assert "record add" in run(check, folder, "--save", "--by", "A. Berg").output
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    assert "--by NAME" in run(check, where, "--save").output


def test_bad_rows_are_reported_and_nothing_is_added_unless_asked(folder: Path, where: Path) -> None:
    table = folder / "readings.csv"
    table.write_text(table.read_text().replace('"36.97"', "thick"), encoding="utf-8")
    before = count_events(where)
    refused = run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    assert refused.exit_code == 1
    assert "'thick' is not a length" in refused.output
    assert count_events(where) == before
    kept = run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured", "--keep-good")
    assert "11 readings" in kept.output


def test_what_the_record_says_otherwise_stays_and_is_reported(folder: Path, where: Path) -> None:
    run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    rope = json.loads((folder / "rope.json").read_text())
    (folder / "rope.json").write_text(json.dumps({**rope, "nominal_mm": 41.0}))
    (folder / "s1-0.jpg").write_bytes(b"no photograph")
    again = run(record, "add", where, folder, "--by", "A. Berg", "--unmeasured")
    assert again.exit_code == 1
    assert "describes the rope 'hoist rope 1' differently" in again.output
    assert "s1-0.jpg was left out" in again.output
    with open_record(where) as opened:
        assert opened.rope("hoist rope 1").nominal_mm == 40.0


def test_the_screen_fits_80_columns(folder: Path) -> None:
    lines = run(check, folder).output.splitlines()
    assert max(len(line) for line in lines[:-1]) <= 80
    assert not any("…" in line for line in lines)


def test_commands_use_the_store_that_the_environment_names_for_the_pages_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    where, store = str(tmp_path / "record.db"), str(tmp_path / "store")
    monkeypatch.setenv("ROPE_PHOTO_STORE", store)
    monkeypatch.setenv("ROPE_PHOTO_RECORD", where)
    told = CliRunner().invoke(record, ["init", where]).output
    assert f"is ready. Photographs: {store}" in told
    # by whatever path it is named, and the user's own record where none is
    assert store_of(str(tmp_path / "there" / ".." / "record.db")) == store
    monkeypatch.delenv("ROPE_PHOTO_RECORD")
    assert store_of(str(data_folder() / "record.db")) == store
    # without a name, the pages and commands find photographs of the pages' record in one place
    monkeypatch.delenv("ROPE_PHOTO_STORE")
    monkeypatch.setenv("ROPE_PHOTO_RECORD", "postgresql://ropes@server/ropes")
    assert store_of("postgresql://ropes@server/ropes") == str(data_folder() / "photographs")
    assert store_of("postgresql://ropes@server/others") is None
    monkeypatch.delenv("ROPE_PHOTO_RECORD")
    # a backup has its photographs beside it, whatever the pages use
    told = CliRunner().invoke(record, ["init", str(tmp_path / "copy.db")]).output
    assert f"Photographs: {tmp_path / 'copy-photographs'}" in told
