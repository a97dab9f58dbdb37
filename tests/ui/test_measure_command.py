"""`ropephoto measure` on the sample photographs: what it prints, and how it refuses."""

from __future__ import annotations

import csv
import io
import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from inspection.measurement.measured_diameter import measured_diameter
from inspection.measurement.section import pair_by_card
from ui.cli.main import main
from ui.text import CAUTIONS
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.target.print_scale import load_print_checks

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
pytestmark = pytest.mark.usefixtures("commands_measure_once")
CHECKS = SAMPLES / "print_checks.json"
CHECKED = ("--print-set", "demo-set", "--print-checks", CHECKS)
FOUR = tuple(SAMPLES / f"station-{n}-view-{view}.jpg" for n in (1, 3) for view in ("00", "90"))


def run(*arguments: object, columns: int = 80) -> Result:
    """Run the command as a person does; no input must end in a traceback."""
    given = ["measure", *(str(argument) for argument in arguments)]
    result = CliRunner().invoke(main, given, env={"COLUMNS": str(columns)})
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def flat(text: str) -> str:
    return " ".join(text.split())


def told(result: Result, status: int) -> str:
    """Return the one sentence that a refused command ends with."""
    assert result.exit_code == status, result.output
    words = flat(result.output)
    assert words.count("Error: ") == 1
    assert words.endswith(".")
    return words.split("Error: ")[1]


@pytest.fixture(scope="module")
def shown() -> Result:
    return run(*FOUR, *CHECKED, "--nominal", 22, "--position", "1=6", "--position", "3=58")


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    result = run(
        *FOUR, *CHECKED, "--nominal", 22, "--position", "1=6", "--position", "3=58", "--json"
    )
    assert result.exit_code == 0
    loaded: dict[str, Any] = json.loads(result.stdout)
    return loaded


@pytest.fixture(scope="module")
def estimates() -> list[Estimate]:
    settings = Settings(print_check=load_print_checks(CHECKS)["demo-set"])
    found = [result for path in FOUR for result in measure_photo(path, settings)]
    return [result for result in found if isinstance(result, Estimate)]


def test_each_photograph_is_a_row_with_the_figures_of_the_api(
    shown: Result, estimates: list[Estimate]
) -> None:
    assert shown.exit_code == 0
    rows = [line.split() for line in shown.stdout.splitlines() if line.startswith("station-")]
    assert [row[0] for row in rows] == [one.photo_name for one in estimates]
    for row, one in zip(rows, estimates, strict=True):
        expanded = one.expanded_mm()
        assert row[1:] == [
            f"{one.station},",
            f"{one.view_deg}",
            f"{one.diameter_mm:.2f}",
            f"{expanded:.2f}",
            f"{100 * expanded / one.diameter_mm:.2f}",
            f"{100 * (one.diameter_mm - 22) / 22:+.2f}",
            f"{one.crowns}",
        ]


def test_sections_and_measured_diameter_stand_below(
    shown: Result, estimates: list[Estimate]
) -> None:
    mean = sum(one.diameter_mm for one in estimates) / 4
    sections = pair_by_card(estimates)
    assert len(sections) == 2
    lines = [line.split() for line in shown.stdout.splitlines()]
    for one in sections:
        assert [
            str(one.station),
            f"{one.mean_mm:.2f}",
            f"{2 * one.u_mean_mm:.2f}",
            f"{one.ovality_mm:.2f}",
            f"{2 * one.u_ovality_mm:.2f}",
        ] in lines
    assert f"Measured diameter (mean of 4 readings): {mean:.2f} mm" in flat(shown.stdout)


def test_the_cautions_come_with_every_table(shown: Result) -> None:
    for caution in CAUTIONS:
        assert caution in flat(shown.stdout)
    assert "Note" not in shown.stdout  # a checked print and a known focal length warn of nothing


@pytest.mark.parametrize("columns", [80, 120])
def test_no_line_is_wider_than_the_screen_and_a_wide_one_is_used(columns: int) -> None:
    output = run(FOUR[0], *CHECKED, columns=columns).stdout
    assert max(len(line) for line in output.splitlines()) <= columns
    assert ("main source of U" in output) == (columns == 120)
    assert ("Main sources of U:" in output) == (columns == 80)


def test_json_holds_the_figures_of_the_api(
    document: dict[str, Any], estimates: list[Estimate]
) -> None:
    for plain, one in zip(document["results"], estimates, strict=True):
        assert plain["answered"] is True
        assert plain["diameter_mm"] == one.diameter_mm
        assert plain["u_mm"] == one.u_mm
        assert plain["expanded_mm"] == one.expanded_mm()
        assert sum(term["share"] for term in plain["budget"]) == pytest.approx(1.0)
        assert {term["quantity"] for term in plain["budget"]} == {t.quantity for t in one.budget}
    sections = pair_by_card(estimates, nominal_mm=22.0)
    assert [one["mean_mm"] for one in document["sections"]] == [one.mean_mm for one in sections]
    placed = [
        replace(one, position_m=metres) for one, metres in zip(sections, (6.0, 58.0), strict=True)
    ]
    figure = measured_diameter(placed, nominal_mm=22.0)
    assert document["measured_diameter"]["mean_mm"] == figure.mean_mm
    assert document["measured_diameter"]["u_mean_mm"] == figure.u_mean_mm
    assert document["measured_diameter"]["largest_difference_mm"] == figure.largest_difference_mm
    assert document["cautions"] == list(CAUTIONS)


def test_csv_has_a_line_each_and_no_figure_where_there_is_none(estimates: list[Estimate]) -> None:
    result = run(FOUR[0], SAMPLES / "refuse-tilted.jpg", *CHECKED, "--csv")
    assert result.exit_code == 1
    first, second = csv.DictReader(io.StringIO(result.stdout))
    assert first["diameter (mm)"] == f"{estimates[0].diameter_mm:.4f}"
    assert first["expanded uncertainty k = 2 (mm)"] == f"{estimates[0].expanded_mm():.4f}"
    assert (first["station"], first["direction (deg)"], first["card set"]) == ("1", "0", "demo-set")
    assert second["photograph"] == "refuse-tilted.jpg"
    assert {second[head] for head in second if "diameter (" in head or "uncertainty" in head} == {
        ""
    }
    assert "The phone was tilted" in second["warnings or why no diameter"]


def test_no_cell_of_the_csv_runs_as_a_formula(tmp_path: Path) -> None:
    (tmp_path / "=1+1.jpg").write_bytes(b"no photograph")
    result = run(tmp_path, "--csv")
    assert next(csv.DictReader(io.StringIO(result.stdout)))["photograph"] == "'=1+1.jpg"


def test_a_refused_photograph_is_one_paragraph_with_status_1() -> None:
    result = run(SAMPLES / "refuse-no-card.jpg")
    assert result.exit_code == 1
    assert flat(result.stdout).startswith(
        "refuse-no-card.jpg: no diameter. No printed card was found in the photograph. Fix the card"
    )
    assert "Diameter by photograph" not in result.stdout


def test_folders_patterns_and_files_are_each_measured_once(tmp_path: Path) -> None:
    folder = tmp_path / "site"
    folder.mkdir()
    shutil.copy(FOUR[0], folder / "a.jpg")
    (folder / "notes.txt").write_text("not a photograph, by its name")
    (folder / "nested.jpg").mkdir()
    whole = run(folder, folder / "a.jpg", folder / "*.jpg", *CHECKED, "--json")
    assert whole.exit_code == 0, whole.output
    assert [one["photo_name"] for one in json.loads(whole.stdout)["results"]] == ["a.jpg"]


def test_several_places_on_one_card_are_told_apart() -> None:
    result = run(FOUR[0], *CHECKED, "--at", -15, "--at", 15)
    assert result.exit_code == 0, result.output
    assert "at -15 mm" in result.stdout
    assert "at 15 mm" in result.stdout
    assert "2 of 2" in flat(result.stdout)


def test_brackets_in_a_name_are_shown_as_they_are(tmp_path: Path) -> None:
    shutil.copy(FOUR[0], tmp_path / "[bold]a[1].jpg")
    result = run(tmp_path, *CHECKED)
    assert result.exit_code == 0, result.output
    assert "[bold]a[1].jpg" in result.stdout


def test_an_unchecked_print_says_so_and_is_less_sure(estimates: list[Estimate]) -> None:
    result = run(FOUR[0], "--json")
    plain = json.loads(result.stdout)["results"][0]
    assert [one["code"] for one in plain["findings"]] == ["print-unchecked"]
    assert plain["u_mm"] > 2 * estimates[0].u_mm
    # A print larger by 1 % both ways gives a diameter larger by 1 %, so the shares of the two
    # scales add up to 1; each known to 1 % on its own leaves at least 1 % / sqrt(2).
    assert plain["u_mm"] / plain["diameter_mm"] > 0.01 / 2**0.5
    assert "Note (1 of 1): The print was not checked" in flat(run(FOUR[0]).stdout)


def test_overlay_writes_a_picture_for_each_photograph(tmp_path: Path) -> None:
    for place in ("one", "two"):
        (tmp_path / place).mkdir()
        shutil.copy(FOUR[0], tmp_path / place / "a.jpg")
    seen = tmp_path / "new" / "seen"
    result = run(tmp_path / "one", tmp_path / "two", *CHECKED, "--overlay", seen)
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in seen.iterdir()) == ["a-2-measured.jpg", "a-measured.jpg"]
    with Image.open(seen / "a-measured.jpg") as picture, Image.open(FOUR[0]) as photograph:
        assert sorted(picture.size) == sorted(photograph.size)


def test_pictures_that_cant_be_written_are_told_before_anything_is_measured(
    tmp_path: Path,
) -> None:
    (tmp_path / "file").write_text("")
    words = told(run(FOUR[0], "--overlay", tmp_path / "file" / "seen"), 1)
    assert "could not be written" in words
    assert "--overlay" in words
    assert "is a file" in told(run(FOUR[0], "--overlay", tmp_path / "file"), 2)


def test_what_the_card_cant_say_a_person_may(tmp_path: Path) -> None:
    result = run(*FOUR[:2], *CHECKED, "--say", f"{FOUR[1].name}=7/45", "--json")
    places = [(one["station"], one["view_deg"]) for one in json.loads(result.stdout)["results"]]
    assert places == [(1, 0), (7, 45)]


def test_places_less_than_a_metre_apart_give_no_measured_diameter() -> None:
    result = run(*FOUR, *CHECKED, "--nominal", 22, "--position", "1=6", "--position", "3=6.4")
    assert result.exit_code == 0
    assert "No measured diameter: the places at 6 m and 6.4 m are 0.40 m apart" in flat(
        result.stderr
    )
    assert "Station means from two directions" in result.stdout


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--json", "--csv"], "one of --json and --csv"),
        (["--at", "nan"], "nan is not a finite number of MM"),
        (["--at", "middle"], "not a valid float"),
        (["--nominal", "0"], "0"),
        (["--nominal", "inf"], "inf is not a finite number of MM"),
        (["--jaw", "0"], "0"),
        (["--jaw", "nan"], "nan is not a finite number of diameters"),
        (["--hold", "sideways"], "'sideways' is not one of"),
        (["--offset", "-1"], "a gap can't be negative"),
        (["--hold", "level", "--offset", "3"], "--hold level takes no --offset"),
        (["--u-offset", "-1"], "-1"),
        (["--say", "a.jpg"], "--say takes FILE=STATION/VIEW"),
        (["--say", "b.jpg=1/0"], "--say names b.jpg, which is not among the photographs"),
        (["--position", "2=4"], "--position needs --nominal"),
        (["--position", "two=4", "--nominal", "22"], "--position takes STATION=METRES"),
        (["--position", "2=nan", "--nominal", "22"], "--position takes STATION=METRES"),
        (["--print-set", "spring"], "holds no card set called 'spring' (it holds: demo-set)"),
        (["--figure"], "No such option"),
    ],
)
def test_misuse_is_one_sentence_with_status_2(options: list[str], words: str) -> None:
    assert words in told(run(FOUR[0], "--print-checks", CHECKS, *options), 2)


def test_print_checks_that_cant_be_read_are_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "checks.json"
    chosen = (FOUR[0], "--print-set", "spring", "--print-checks", path)
    assert "holds no card set called 'spring' (it holds: none)" in told(run(*chosen), 2)
    path.write_text("[")
    assert "is damaged" in told(run(*chosen), 2)


def test_what_is_not_there_is_one_sentence_with_status_2(tmp_path: Path) -> None:
    assert "no file or folder matches" in told(run(tmp_path / "a.jpg"), 2)
    assert "no file or folder matches" in told(run(tmp_path / "*.jpg"), 2)
    assert "holds no photographs" in told(run(tmp_path), 2)
    assert "Missing argument" in told(run(), 2)
    (tmp_path / "gone.jpg").symlink_to(tmp_path / "nowhere.jpg")
    assert "no file or folder matches" in told(run(tmp_path / "gone.jpg"), 2)
    assert "holds no photographs" in told(run(tmp_path), 2)


@pytest.mark.parametrize("content", [b"", b"some text", b"\xff\xd8\xff\xe0 and no more", None])
def test_a_file_that_is_no_photograph_is_refused_beside_those_that_are(
    tmp_path: Path, content: bytes | None
) -> None:
    if content is None:  # a photograph that was cut off while it was copied
        content = FOUR[0].read_bytes()[:200_000]
    (tmp_path / "b.jpg").write_bytes(content)
    result = run(FOUR[0], tmp_path / "b.jpg", *CHECKED)
    assert result.exit_code == 1
    assert "b.jpg: no diameter. b.jpg" in flat(result.stdout)
    assert "station-1-view-00.jpg" in result.stdout
