"""`ropephoto scale` and its screen: a printed card's own graduations serve as the rule.

The bar's true width is 16.00 mm (sample_images/truth.csv); its card was printed 0.42 % too short
along (README, step 2), which a rule that nobody checked can't know.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record
from tests.ui.upload_hands import give_to_tray
from ui.cli.main import main

SAMPLES = Path(__file__).parents[2] / "sample_images"
BAR = SAMPLES / "bar-16mm.jpg"
# on the graduations, then on the ground on both sides of the bar, where no stripes are
POINTS = ("1411,989", "2359,939", "596,1425", "606,1775")
MARKED = ("--rule", *POINTS[:2], "--length", "10 cm", "--across", *POINTS[2:], "--lies", "on")

pytestmark = [
    pytest.mark.skipif(not BAR.exists(), reason="the samples are not beside the program"),
    pytest.mark.usefixtures("scale_read_once"),
]


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["scale", *arguments])


def test_its_earlier_name_still_works_and_is_not_listed() -> None:
    assert "archive" not in CliRunner().invoke(main, ["--help"]).output
    assert (
        CliRunner()
        .invoke(main, ["archive", "--help"])
        .output.startswith("Usage: main archive [OPTIONS] PHOTO")
    )


def test_a_bar_is_measured_by_graduations_and_kept_in_json_and_a_picture(tmp_path: Path) -> None:
    done = run(str(BAR), *MARKED, "--say", "6/90", "--json", "--overlay", str(tmp_path))
    assert done.exit_code == 0, done.output
    (result,) = json.loads(done.output)["results"]
    with (SAMPLES / "truth.csv").open(encoding="utf-8") as table:
        truth = next(
            float(row["truth_2d_mm"]) for row in csv.DictReader(table) if row["file"] == BAR.name
        )
    assert abs(result["diameter_mm"] - truth) < result["expanded_mm"]
    assert result["scale_source"] == "rule"
    assert (result["station"], result["view_deg"]) == (6, 90)
    assert any(term["quantity"].startswith("height of the object") for term in result["budget"])
    assert (tmp_path / "bar-16mm-measured.jpg").stat().st_size > 10_000


def test_a_direction_that_no_card_has_is_kept_as_it_was_said(
    tmp_path: Path,
) -> None:
    record, by = str(tmp_path / "old.db"), ("--by", "A. Berg")
    table = tmp_path / "readings.csv"
    table.write_text(
        "inspection,station,view_deg,typed,gauge,gauge_kind,resolution_mm,"
        "permissible_error_mm,person,logged_at\n"
        "visit,6,45,16.0,C-07,wide-jaw caliper,0.01,0.03,A. Berg,2026-11-02 09:14:00\n"
    )
    ropes = tmp_path / "ropes.csv"
    ropes.write_text("identity,nominal_mm\nbar,16\n")
    for arguments in (
        ("init", record),
        ("import", record, str(ropes), "--what", "ropes", *by),
        ("import", record, str(table), "--rope", "bar", *by),
    ):
        made = CliRunner().invoke(main, ["record", *arguments])
        assert made.exit_code == 0, made.output
    done = run(str(BAR), *MARKED, "--say", "6/45", "--record", record, "--inspection", "visit", *by)
    assert done.exit_code == 0, done.output
    assert "6, 45" in done.output
    with open_record(Path(record)) as kept:
        (result,) = kept.inspection("visit").results
    assert (result.station, result.view_deg) == (6, 45)


def test_a_length_that_contradicts_the_marks_ends_with_1_and_says_both_values() -> None:
    done = run(str(BAR), "--rule", *POINTS[:2], "--length", "79.4mm", "--across", *POINTS[2:])
    assert done.exit_code == 1
    said = " ".join(done.output.split())
    assert "The length given is 79.40 mm" in said
    assert "points are 100." in said or "points are 99." in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--rule", "a,b", "2,2", "--length", "5cm", "--across", "1,1", "2,2"), "is not a point"),
        (("--rule", "1,1", "2,2", "--length", "x", "--across", "1,1", "2,2"), "x"),
        (("--rule", "1,1", "200,2", "--length", "5cm"), "--across"),
        ((*MARKED, "--height", "5"), "--lies and --height"),
        ((*MARKED, "--say", "3/400"), "a view is 0 to 359 degrees; got '3/400'."),
        ((*MARKED, "--say", "0/90"), "stations are numbered 1 to 999; got '0/90'."),
        ((*MARKED, "--say", "3"), "--say takes STATION/VIEW, e.g. 3/90; got '3'."),
        ((*MARKED, "--say", "²/90"), "--say takes STATION/VIEW, e.g. 3/90; got '²/90'."),
        ((*MARKED, "--say", ""), "--say takes STATION/VIEW, e.g. 3/90; got ''."),
        ((*MARKED, "--record", "x.db"), "--inspection"),
        ((*MARKED, "--json", "--csv"), "not both"),
        (("--rule", "1,1", "9999,2", "--length", "5cm", "--across", "1,1", "2,2"), "9999"),
        (("--rule", "1,1", "inf,2", "--length", "5cm", "--across", "1,1", "2,2"), "not a point"),
    ],
)
def test_misuse_is_one_sentence_and_status_2(arguments: tuple[str, ...], words: str) -> None:
    done = run(str(BAR), *arguments)
    assert done.exit_code == 2, done.output
    assert words in done.output
    assert "Traceback" not in done.output


def test_a_file_that_is_no_photograph_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "old.jpg").write_text("no picture")
    done = run(str(tmp_path / "old.jpg"), *MARKED)
    assert done.exit_code == 1
    assert done.output.startswith("Error: old.jpg")


def test_the_screen_measures_what_was_marked_and_keeps_it(
    sample_app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # in this process, which has read the scales for the command (test_bounded_pages: in the other)
    monkeypatch.setattr("vision.apart.apart", lambda _, work, *given: work(*given))
    sample_app.run()
    sample_app.switch_page("screens/scale.py").run()
    give_to_tray("archive", BAR)
    sample_app.run()
    typed = [field for field in sample_app.text_input if "x, y" in field.label]
    for field, point in zip(typed, POINTS, strict=True):
        field.set_value(point)
    next(one for one in sample_app.button if one.label == "Set these points").click().run()
    sample_app.text_input(key="scale length").set_value("79.4 mm").run()
    sample_app.selectbox(key="scale lies").set_value("on").run()
    sample_app.number_input(key="scale station").set_value(6).run()
    sample_app.number_input(key="scale view").set_value(45).run()  # no card has it
    sample_app.button(key="scale measure").click().run(timeout=120)
    assert any("79.40 mm" in said.value for said in sample_app.error)
    assert not sample_app.metric
    sample_app.text_input(key="scale length").set_value("100 mm").run()
    sample_app.button(key="scale measure").click().run(timeout=120)
    (figure,) = sample_app.metric
    assert abs(float(figure.value.split(" ")[0]) - 16.0) < 0.35
    sample_app.button(key="scale keep").click().run(timeout=120)
    assert any(
        "station 6, 45°" in said.value and "without the card" in said.value
        for said in sample_app.success
    )
    assert not sample_app.exception
    with open_record(tmp_path / "record.db") as record:
        (there,) = record.ranked()
        result = record.inspection(there.identity).results[-1]
    assert (result.photo_name, result.station, result.view_deg) == (BAR.name, 6, 45)


def test_a_point_that_is_none_is_told_and_nothing_is_lost(sample_app: AppTest) -> None:
    sample_app.run()
    sample_app.switch_page("screens/scale.py").run()
    give_to_tray("archive", BAR)
    sample_app.run()
    typed = [field for field in sample_app.text_input if "x, y" in field.label]
    typed[0].set_value("12; x")
    next(one for one in sample_app.button if one.label == "Set these points").click().run()
    assert any("is not a point" in said.value for said in sample_app.error)
    assert not sample_app.exception
