"""The command `check`, with invented estimates in place of measured photographs."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import asdict
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from inspection.assessment import assess
from inspection.folder import read_folder
from inspection.model.log import Log
from inspection.model.rope import Inspection, Rope
from inspection.record.record import open_record
from ui.cli.check import check
from vision import results
from vision.findings import finding
from vision.pipeline import Settings
from vision.results import Estimate, Refusal
from vision.uncertainty import Term

HEADINGS = (
    "inspection,station,view_deg,typed,gauge,gauge_kind,resolution_mm,permissible_error_mm,"
    "calibration_due,person,logged_at"
)
TRUE_MM = {
    (n, view): 39.5 + 0.03 * n + (0.05 if view else 0.0) for n in range(1, 7) for view in (0, 90)
}
Measured = Callable[[list[Path], Settings], list[results.Result]]


def write_folder(folder: Path, *, typed: dict[tuple[int, int], str] | None = None) -> Path:
    """An invented inspection: a 40 mm rope, 6 stations 12 m apart, one gauge."""
    texts = {place: f"{mm:.2f}" for place, mm in TRUE_MM.items()} | (typed or {})
    at = datetime(2026, 11, 3, 9, 0, 12)
    rows = [HEADINGS]
    for number, ((station, view), text) in enumerate(texts.items()):
        logged = at + timedelta(seconds=95 * number)
        rows.append(
            f'2026-11,{station},{view},"{text}",C-1,wide-jaw caliper,0.01,0.03,2027-01-31,'
            f"A. Berg,{logged.isoformat()}"
        )
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    rope = {"identity": "hoist rope 1", "nominal_mm": 40.0, "reference_mm": 41.2}
    (folder / "rope.json").write_text(json.dumps(rope), encoding="utf-8")
    stations = ["number,position_m,note", *(f"{n},{12 * n},plain" for n in range(1, 7))]
    (folder / "stations.csv").write_text("\n".join(stations), encoding="utf-8")
    for station, view in TRUE_MM:
        (folder / f"s{station}-{view}.jpg").write_bytes(b"measured by a stand-in")
    return folder


LEAST = re.compile(r"The minimum is `(\{.*?\})` in `rope\.json` and the columns\s+`([\w,]+)`")


def least_folder(folder: Path, *, without: str = "") -> Path:
    """Write the smallest folder that ui/USING.md names, a column left out."""
    page = Path(__file__).resolve().parents[2] / "ui" / "USING.md"
    told = LEAST.search(page.read_text("utf-8"))
    assert told
    row = {"station": 1, "typed": 22.2, "gauge": "C-1", "person": "A. Berg", "on": "2026-11-29"}
    columns = [name for name in told[2].split(",") if name != without]
    with (folder / "readings.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, columns, extrasaction="ignore")
        table.writeheader()
        table.writerows({**row, "view_deg": view} for view in (0, 90))
    (folder / "rope.json").write_text(told[1], encoding="utf-8")
    return folder


def test_the_least_that_the_page_of_words_names_is_a_folder(tmp_path: Path) -> None:
    judged = assess(read_folder(least_folder(tmp_path)).log)
    assert len(judged.log.readings) == 2
    # it was measured in two directions, by a gauge without a description
    assert any("in two directions by a known gauge: no mean" in note for note in judged.notes)


@pytest.mark.parametrize("without", ["station", "view_deg", "typed", "gauge", "person", "on"])
def test_of_the_least_nothing_can_be_left_out(without: str, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"has no column for|day of inspection"):
        read_folder(least_folder(tmp_path, without=without))


def measure(paths: list[Path], settings: Settings) -> list[results.Result]:
    """Stand in for the pipeline: the true diameter, known to 0.1 mm."""
    results: list[results.Result] = []
    for number, path in enumerate(paths):
        station, view = (int(part) for part in path.stem[1:].split("-"))
        results.append(
            Estimate(
                TRUE_MM[station, view],
                (Term("edges", 0.1, "mm", 1.0, "A", f"edge:{path.name}"),),
                station=station,
                view_deg=view,
                photo_name=path.name,
                photo_sha256=f"{number:064x}",
                look_hash=f"{0x5A5A << (4 * number):016x}"[-16:],
                taken_at=datetime(2026, 11, 3, 9, 0, 30) + timedelta(seconds=95 * number),
                camera="phone 1",
            )
        )
    return results


def run(folder: Path | str, *options: str, by: Measured = measure) -> Result:
    return CliRunner().invoke(check, [str(folder), *options], obj=by, env={"COLUMNS": "220"})


def test_a_sound_folder_ends_with_status_0_and_says_that_nothing_is_cleared(tmp_path: Path) -> None:
    result = run(write_folder(tmp_path))
    assert result.exit_code == 0, result.output
    last = result.output.rstrip().splitlines()[-1]
    assert last == "No entry stands out. That does not clear the rope."
    assert "A photograph never clears a rope" in result.output
    assert "Secure the load" in result.output


def test_a_swapped_digit_is_named_in_the_last_line_with_status_1(tmp_path: Path) -> None:
    result = run(write_folder(tmp_path, typed={(4, 90): "36.97"}))
    assert result.exit_code == 1
    last = result.output.rstrip().splitlines()[-1]
    assert last.startswith("Check first: station 4, 90 deg. 36.97 was logged")
    assert "39.67 in place of 36.97" in last


def test_json_holds_the_same_assessment(tmp_path: Path) -> None:
    result = run(write_folder(tmp_path, typed={(4, 90): "36.97"}), "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 1
    assert document["findings"][0]["code"] == "digits-swapped"
    assert document["findings"][0]["where"] == ["station 4, 90 deg"]
    assert len(document["comparisons"]) == 12
    assert {one["outcome"] for one in document["verdicts"]} <= {"within", "undecided", "outside"}
    assert document["cautions"]
    assert document["first_look"].startswith("Check first: station 4, 90 deg.")


def test_csv_starts_with_the_finding_and_runs_no_formula(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, typed={(4, 90): "36.97"})
    table = (folder / "readings.csv").read_text(encoding="utf-8")
    (folder / "readings.csv").write_text(table.replace("C-1", "=1+1"), encoding="utf-8")
    result = run(folder, "--csv")
    rows = list(csv.DictReader(io.StringIO(result.stdout)))
    assert rows[0]["kind"] == "finding"
    assert rows[0]["code"] == "digits-swapped"
    assert {row["kind"] for row in rows} >= {"comparison", "verdict", "first look", "caution"}
    assert not [cell for row in rows for cell in row.values() if cell.startswith("=")]


def test_a_refused_photograph_gives_status_1_and_its_reason(tmp_path: Path) -> None:
    def refuse_one(paths: list[Path], settings: Settings) -> list[results.Result]:
        results = measure(paths, settings)
        results[0] = Refusal((finding("no-card"),), photo_name=paths[0].name)
        return results

    result = run(write_folder(tmp_path), by=refuse_one)
    assert result.exit_code == 1
    assert "s1-0.jpg: no diameter. No printed card was found" in result.output
    assert "station 1, 0 deg: 39.53 was logged, no photograph" in result.output


def test_a_row_that_is_not_understood_is_shown_with_its_line(tmp_path: Path) -> None:
    result = run(write_folder(tmp_path, typed={(2, 0): "thick"}))
    assert result.exit_code == 1
    assert "Row 4 of the readings was left out:" in result.output
    assert "'thick' is not a length" in result.output
    last = result.output.strip().splitlines()[-1]
    assert "row 4 of the readings was left out" in last
    assert "No entry stands out" not in result.output
    as_json = run(tmp_path, "--json")
    assert "row 4 of the readings was left out" in json.loads(as_json.stdout)["first_look"]


def test_a_folder_without_photographs_is_still_scrutinised(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, typed={(4, 90): "3.967"})
    for picture in folder.glob("*.jpg"):
        picture.unlink()
    result = run(folder)
    assert "The folder holds no photographs." in result.output
    assert result.output.rstrip().splitlines()[-1].startswith("Check first: station 4, 90 deg")


def test_earlier_inspections_of_the_table_are_the_past_and_later_ones_are_not_read(
    tmp_path: Path,
) -> None:
    folder = write_folder(tmp_path)
    now = (folder / "readings.csv").read_text(encoding="utf-8")
    before = now.replace("2026-11", "2026-05").splitlines()[1:]
    (folder / "readings.csv").write_text(now + "\n".join(before) + "\n", encoding="utf-8")
    log: Log = read_folder(folder).log
    assert (log.inspection.identity, log.inspection.on) == ("2026-11", date(2026, 11, 3))
    assert [one.inspection.identity for one in log.earlier] == ["2026-05"]
    assert read_folder(folder, inspection="2026-05").log.earlier == ()
    result = run(folder)  # every figure equal to the last digit
    assert "repeats-earlier" in run(folder, "--csv").stdout
    assert "12 of 12 entries equal the figures of 2026-05" in result.output.splitlines()[-1]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda f: (f / "readings.csv").unlink(), "has no readings.csv"),
        (lambda f: (f / "rope.json").unlink(), "has no rope.json"),
        (
            lambda f: (f / "rope.json").write_text("{\n1"),
            "rope.json is not JSON (line 2, column 1): correct it there.",
        ),
        (
            lambda f: (f / "readings.csv").write_text("a;b\n1;2\n"),
            "readings.csv: the table has no column for station,",
        ),
        (lambda f: (f / "rope.json").write_text("[1]"), "must hold an object"),
        (lambda f: (f / "rope.json").write_text('{"identity": "R"}'), "does not describe a rope"),
        (lambda f: (f / "rope.json").write_text('{"nominal": 40}'), "unknown field 'nominal'"),
        (
            lambda f: (f / "rope.json").write_text(
                '{"identity": "R", "nominal_mm": 40, "core": "wood"}'
            ),
            "'core' is 'wood'",
        ),
        (
            lambda f: (f / "rope.json").write_text('{"identity": "R", "nominal_mm": -4}'),
            "more than 0",
        ),
        (
            lambda f: (f / "rope.json").write_text('{"identity": "R", "nominal_mm": "x"}'),
            "does not describe a rope",
        ),
        (lambda f: (f / "stations.csv").write_text("a,b\n1,2\n"), "number and position_m"),
        (lambda f: (f / "stations.csv").write_text("number,position_m\n1,here\n"), "line 2"),
        (lambda f: (f / "stations.csv").write_text("number,position_m\n1_0,4\n"), "line 2"),
        (lambda f: (f / "stations.csv").write_text("number,position_m\n1,1e9\n"), "line 2"),
        (lambda f: (f / "readings.csv").write_text(HEADINGS + "\n"), "no valid reading"),
        (lambda f: (f / "inspection.json").write_text('{"on": "soon"}'), "inspection.json"),
    ],
)
def test_a_folder_with_something_wrong_is_one_sentence_with_status_2(
    tmp_path: Path, spoil: Callable[[Path], object], words: str
) -> None:
    folder = write_folder(tmp_path)
    spoil(folder)
    result = run(folder)
    assert result.exit_code == 2, result.output
    assert words in result.output.replace("\n", " ")
    assert "--column" not in result.output  # an option of another command
    assert "Traceback" not in result.output


def test_misuse_is_told(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)
    assert run(folder, "--json", "--csv").exit_code == 2
    assert run(folder, "--inspection", "2019").exit_code == 2
    assert run(folder, "--limits", "no such table").exit_code == 2
    assert run(folder, "--print-set", "spring").exit_code == 2
    assert run(folder, "--level", "1").exit_code == 2
    assert run(tmp_path / "nowhere").exit_code == 2


def test_an_inspection_that_is_not_in_the_record_is_answered_with_those_that_are(
    tmp_path: Path,
) -> None:
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("R-1", 22.0), by="A. Berg")
        for month in range(1, 9):
            visit = Inspection(f"2026-0{month}", "R-1", date(2026, month, 2))
            record.add_inspection(visit, by="A. Berg")
    result = run(tmp_path / "record.db", "--inspection", "2019")
    assert result.exit_code == 2
    assert (
        "the record has no inspection '2019'; it has '2026-08', '2026-07', '2026-06', '2026-05', "
        "'2026-04' and 3 earlier ones."
    ) in result.output


def test_a_slower_walk_finds_the_walk(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)
    assert run(folder, "--walking-speed", "0.1").exit_code == 1
    assert "fastest walk" in run(folder, "--walking-speed", "0.1").output.splitlines()[-1]


def test_a_record_is_checked_like_a_folder(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, typed={(4, 90): "36.97"})
    log = read_folder(folder).log
    results = measure(sorted(folder.glob("*.jpg")), Settings())
    path = tmp_path / "record.db"
    with open_record(path) as record:
        record.add_rope(log.rope, by="A. Berg")
        for gauge in log.gauges.values():
            record.add_gauge(gauge, by="A. Berg")
        record.add_inspection(log.inspection, by="A. Berg")
        record.add_readings("2026-11", log.readings, by="A. Berg")
        record.add_results("2026-11", results, by="A. Berg")
    from_record = json.loads(run(path, "--json").stdout)
    from_folder = json.loads(run(folder, "--json").stdout)
    assert from_record["first_look"] == from_folder["first_look"]
    assert from_record["findings"] == from_folder["findings"]
    assert from_record["rope"] == from_folder["rope"] | {"grooves": []}


def test_the_three_lines_in_python_say_the_same(tmp_path: Path) -> None:
    from dataclasses import replace

    from inspection.assessment import assess

    folder = write_folder(tmp_path, typed={(4, 90): "36.97"})
    log = read_folder(folder).log
    assessment = assess(
        replace(log, results=tuple(measure(sorted(folder.glob("*.jpg")), Settings())))
    )
    document = json.loads(run(folder, "--json").stdout)
    assert assessment.first_concern == document["first_look"]
    assert assessment.needs_review
    assert [asdict(one)["code"] for one in assessment.findings] == [
        one["code"] for one in document["findings"]
    ]
