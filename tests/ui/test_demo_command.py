"""`ropephoto demo`: the sample inspection against its truth."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ui.cli.main import main

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
pytestmark = pytest.mark.usefixtures("commands_measure_once")


def run(*options: object, columns: int = 80) -> Result:
    arguments = ["demo", *(str(option) for option in options)]
    result = CliRunner().invoke(main, arguments, env={"COLUMNS": str(columns)})
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


@pytest.fixture(scope="module")
def shown() -> str:
    result = run()
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.fixture(scope="module")
def truth() -> dict[str, dict[str, str]]:
    with (SAMPLES / "truth.csv").open(newline="") as lines:
        return {row["file"]: row for row in csv.DictReader(lines)}


def test_the_wrong_reading_is_named_with_what_was_meant(shown: str) -> None:
    # the samples' README says that two digits of one entry were deliberately swapped
    flat = " ".join(shown.split())
    assert "Check first: Station 3, by photographs, is" in flat
    assert "Also: station 3, 90 deg. 22.11 was logged" in flat
    assert "Most likely: two neighbouring digits swapped (21.21 in place of 22.11)" in flat


def test_every_photograph_has_a_row_and_a_name_in_one_piece(
    shown: str, truth: dict[str, dict[str, str]]
) -> None:
    for name in truth:
        rows = [line for line in shown.splitlines() if line.startswith(f"{name} ")]
        assert len(rows) == 1


def test_rows_hold_the_truth_of_the_mesh_and_lie_inside_u(
    shown: str, truth: dict[str, dict[str, str]]
) -> None:
    answered = {name for name, row in truth.items() if row["answerable"] == "yes"}
    assert len(answered) == 9
    for line in shown.splitlines():
        cells = line.split()
        if cells and cells[0] in answered:
            photo, expanded, true = (float(cell) for cell in cells[1:4])
            assert true == pytest.approx(float(truth[cells[0]]["truth_2d_mm"]), abs=0.0051)
            assert cells[5] == ("yes" if abs(photo - true) <= expanded + 0.01 else "no")
            assert abs(photo - true) <= expanded + 0.01  # two decimals are shown
            answered.remove(cells[0])
    assert not answered


def test_what_must_be_refused_is_refused_with_its_reason(shown: str) -> None:
    flat = " ".join(shown.split())
    assert "refuse-no-card.jpg, refused as it must be:" in flat
    assert "refuse-tilted.jpg, refused as it must be: no diameter for station 5, 0 deg. The" in flat
    assert "refused but answerable" not in flat


@pytest.mark.parametrize("columns", [80, 120])
def test_no_line_is_wider_than_the_screen(shown: str, columns: int) -> None:
    output = shown if columns == 80 else run(columns=columns).stdout
    assert max(len(line) for line in output.splitlines()) <= columns


def test_a_folder_without_the_samples_is_one_sentence(tmp_path: Path) -> None:
    result = run("--folder", tmp_path)
    assert result.exit_code == 1
    assert "is not the sample folder" in " ".join(result.output.split())
    assert result.output.count("Error:") == 1
    assert run("--folder", tmp_path / "nowhere").exit_code == 2
