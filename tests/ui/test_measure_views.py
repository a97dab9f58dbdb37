"""More than two directions, and the lay, as `ropephoto measure` shows them."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from inspection.measurement.section import pair_by_card
from ui.cli.main import main
from ui.cli.output.measure import print_csv, print_json, print_table
from vision.findings import finding
from vision.results import Estimate, Refusal, Result
from vision.uncertainty import Term

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def _seen(view_deg: int, mm: float) -> Estimate:
    own = Term("edges", 0.03, "mm", 1.0, "A", f"edge:{view_deg}")
    crowns = Term("places of the crowns", 0.05, "mm", 1.0, "A", f"crowns:{view_deg}")
    return Estimate(
        mm,
        (own,),
        station=1,
        view_deg=view_deg,
        photo_name=f"{view_deg}.jpg",
        crowns=4,
        crown_pitch_mm=23.8,
        pitch_budget=(crowns,),
        pitches=10,
        strands=6,
        hand="right",
    )


# an ellipse of 22.6 and 21.8 mm, the largest at 30 degrees, by hand:
# w(0) = w(60) = sqrt(22.6^2 cos^2 30 + 21.8^2 sin^2 30) = 22.4027; w(120) = 21.8
RESULTS: list[Result] = [_seen(0, 22.4027), _seen(60, 22.4027), _seen(120, 21.8)]


def test_the_table_says_the_ellipse_and_the_lay(capsys: pytest.CaptureFixture[str]) -> None:
    print_table(RESULTS, pair_by_card(RESULTS), None)
    shown = " ".join(capsys.readouterr().out.split())
    assert "Station 1. Ellipse: largest 22.60 mm" in shown
    assert "smallest 21.80 mm" in shown
    assert "the largest at 30 deg" in shown
    assert "Three directions leave no redundancy to check the ellipse." in shown
    assert "1, 60 23.80 0.10 6 142.8 0.6 right" in shown


def test_tables_and_lines_are_parted_by_one_empty_line(capsys: pytest.CaptureFixture[str]) -> None:
    refusal = Refusal((finding("no-card"),), photo_name="b.jpg")
    print_table([*RESULTS, refusal], pair_by_card(RESULTS), None)
    lines = [line.strip() for line in capsys.readouterr().out.splitlines()]
    starts = [
        number
        for number, line in enumerate(lines)
        if line.startswith(("Main sources", "Station means", "Station 1.", "Lay length;", "b.jpg:"))
    ]
    assert len(starts) == 5
    for start in starts:
        assert not lines[start - 1]
        assert lines[start - 2]
    assert lines[0].startswith("Diameter by photograph")


def test_json_and_csv_carry_ellipse_and_lay(capsys: pytest.CaptureFixture[str]) -> None:
    print_json(RESULTS, pair_by_card(RESULTS))
    told = json.loads(capsys.readouterr().out)
    ellipse = told["sections"][0]["ellipse"]
    assert ellipse["largest_mm"] == pytest.approx(22.6, abs=1e-3)
    assert ellipse["ovality_low_mm"] > 0
    assert ellipse["p_value"] is None
    assert told["results"][0]["lay_mm"] == pytest.approx(142.8)
    assert told["results"][0]["u_lay_mm"] == pytest.approx(0.3)
    print_csv(RESULTS)
    head, first, *_ = capsys.readouterr().out.splitlines()
    row = dict(zip(head.split(","), first.split(","), strict=True))
    assert (
        row["lay length (mm)"],
        row["standard uncertainty of the lay length (mm)"],
        row["hand of lay"],
    ) == ("142.8000", "0.3000", "right")


@pytest.mark.fault(
    "a formula in a photograph's or camera's name, `measure --csv`",
    "text with an apostrophe before it",
)
def test_no_text_of_a_photograph_runs_in_a_spreadsheet(capsys: pytest.CaptureFixture[str]) -> None:
    # an apostrophe before it, as OWASP's page on CSV injection advises
    texts = {"photo_name": "=cmd|x.jpg", "camera": "@SUM(1)", "print_set": "+1+1"}
    print_csv([replace(RESULTS[0], **texts)])  # type: ignore[arg-type]
    (row,) = csv.DictReader(capsys.readouterr().out.splitlines())
    assert (row["photograph"], row["camera"], row["card set"]) == (
        "'=cmd|x.jpg",
        "'@SUM(1)",
        "'+1+1",
    )
    assert row["diameter (mm)"] == "22.4027"


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ("=3/400", "a view is 0 to 359 degrees"),
        ("=3/-5", "takes FILE=STATION/VIEW"),
        ("=0/90", "stations are numbered 1 to 999"),
    ],
)
def test_a_direction_that_is_none_is_refused_before_measuring(said: str, sentence: str) -> None:
    name = "station-1-view-00.jpg"
    ran = CliRunner().invoke(main, ["measure", str(SAMPLES / name), "--say", name + said])
    assert ran.exit_code == 2
    assert sentence in ran.output
