"""`ropephoto bench-check`: what it prints, saves and reminds of."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import ui.cli.progress
from ui.cli.main import main
from ui.environment import CAMERAS_FILE
from ui.services.bench_checks import bench_checks_file, known_bench_checks
from vision.findings import finding
from vision.results import Estimate, Refusal
from vision.results import Result as Measured
from vision.uncertainty import Term


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def estimate(number: int, off_mm: float) -> Estimate:
    terms = (Term("edges", 0.02, "mm", 1.0, "A", f"edge:{number}"),)
    return Estimate(
        16.002 + off_mm, terms, photo_name=f"{number}.jpg", camera="Lantern L4", print_set=""
    )


@pytest.fixture
def bar(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of photographs, and a separate file of saved checks."""
    monkeypatch.setenv(CAMERAS_FILE, str(tmp_path / "kept" / "cameras.json"))
    folder = tmp_path / "bar"
    folder.mkdir()
    for number in range(8):
        (folder / f"{number}.jpg").write_bytes(b"\xff\xd8\xff")
    return folder


def given(monkeypatch: pytest.MonkeyPatch, offs: list[float], refused: int = 0) -> None:
    results: list[Measured] = [estimate(number, off) for number, off in enumerate(offs)]
    results += [Refusal((finding("no-card"),))] * refused
    monkeypatch.setattr(ui.cli.progress, "measure_files", lambda *args: results)


def test_a_bench_that_holds_is_said_kept_and_shown_again(
    bar: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given(monkeypatch, [0.01, -0.02, 0.005, 0.015, -0.01, 0.0, 0.02], refused=1)
    done = run("bench-check", str(bar), "--true", "16.002", "--u", "0.002")
    assert done.exit_code == 0, done.output
    assert "U holds with Lantern L4 and card set unchecked print: 7 photographs" in done.output
    assert f"Saved in {bench_checks_file()}." in done.output
    (kept,) = known_bench_checks()
    assert kept.inside == 7
    assert kept.refused == 1
    again = run("measure", str(bar))
    assert "Bench check of" in again.output


def test_a_bench_that_does_not_hold_ends_with_status_1(
    bar: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given(monkeypatch, [0.2, 0.21, 0.19, 0.2, 0.22, 0.2])
    done = run("bench-check", str(bar), "--true", "16.002", "--u", "0.002")
    assert done.exit_code == 1
    assert "Don't rely on U" in done.output


@pytest.mark.parametrize(
    ("true", "u", "sentence"),
    [
        ("16.002", "0", "must be more than 0"),
        ("nan", "0.002", "between 1 and 500 mm"),
        ("24", "0.002", "give the diameter of the bar"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_is_kept(
    true: str, u: str, sentence: str, bar: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given(monkeypatch, [0.0] * 6)
    done = run("bench-check", str(bar), "--true", true, "--u", u)
    assert done.exit_code == 2
    assert sentence in " ".join(done.output.split())
    assert not bench_checks_file().exists()


@pytest.mark.parametrize(
    ("change", "how"),
    [
        ({"photo_sha256": "9f2c"}, "the same file"),
        ({"taken_at": datetime(2026, 11, 2, 10, 12, 5)}, "taken in the same second"),
    ],
)
def test_one_photograph_that_came_twice_is_no_second_one(
    change: dict[str, Any], how: str, bar: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shots = [estimate(number, 0.001 * number) for number in range(7)]
    results: list[Measured] = [
        *shots[:2],
        *(replace(one, **change) for one in shots[2:4]),
        *shots[4:],
    ]
    monkeypatch.setattr(ui.cli.progress, "measure_files", lambda *args: results)
    done = run("bench-check", str(bar), "--true", "16.002", "--u", "0.002")
    assert done.exit_code == 2
    said = " ".join(done.output.split())
    assert f"2.jpg and 3.jpg are the same photograph ({how})" in said
    assert not bench_checks_file().exists()


def test_a_damaged_file_of_checks_is_left_and_told(
    bar: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench_checks_file().parent.mkdir(parents=True)
    bench_checks_file().write_text('{"a": {"camera": 3}}')
    given(monkeypatch, [0.0] * 6)
    told = run("measure", str(bar))
    assert told.exit_code == 1
    assert "is no bench check; repair the file or move it away" in " ".join(told.output.split())
