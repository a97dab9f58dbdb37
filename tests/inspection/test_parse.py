"""Readings and ropes from tables: tolerant column matching, bad rows reported, all or nothing."""

from __future__ import annotations

import csv
from datetime import date, datetime
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from inspection.exchange.export_tables import write_template
from inspection.exchange.parse import read_readings, read_ropes
from inspection.exchange.spreadsheet import read_sheet
from inspection.model.readings import Gauge, Reading
from tests.inspection.reading_tables import SAMPLE, csv_file


def test_the_sample_columns_are_read(sample: Path) -> None:
    table = read_readings(sample)
    assert table.rejected == ()
    assert table.notes == ()
    first, second, third = table.rows
    assert first.reading == Reading(
        "22,41", 22.41, 1, 0, "C-07", "A. Berg", datetime(2026, 11, 2, 9, 14)
    )
    assert first.gauge == Gauge("C-07", "wide-jaw caliper", 0.01, 0.03, date(2027, 1, 31))
    assert (second.reading.typed, second.reading.value_mm) == ("22.4 mm", 22.4)
    # 25.4 mm exactly to the inch (ISO 80000-3): 7/8 in = 22.225 mm
    assert third.reading.value_mm == 22.225
    assert [row.line for row in table.rows] == [2, 3, 4]


@pytest.mark.parametrize(
    "headings",
    [
        "Inspection;Station;View [deg];Typed;Gauge;Person",
        "INSPECTION NO.;Station number;View angle (°);value (mm);Instrument;Read by",
        "visit; station_no ;direction;Diameter [mm];gauge id;inspector",
        "survey\tstn\tAXIS\tmeasured diameter, mm\tcaliper\tOperator",
    ],
)
def test_columns_are_matched_kindly(tmp_path: Path, headings: str) -> None:
    separator = "\t" if "\t" in headings else ";"
    row = separator.join(["visit", "2", "90°", "22,4", "C-07", "A. Berg"])
    table = read_readings(csv_file(tmp_path, f"{headings}\n{row}\n"))
    assert table.rejected == ()
    reading = table.rows[0].reading
    assert (reading.station, reading.view_deg, reading.value_mm) == (2, 90, 22.4)
    assert (reading.gauge, reading.person, reading.typed) == ("C-07", "A. Berg", "22,4")


@pytest.mark.parametrize(
    ("heading", "typed", "value_mm", "kept"),
    [
        ("value (in)", "0.88", 22.352, "0.88 in"),  # 0.88 x 25.4
        ("value (inch)", "0.88 in", 22.352, "0.88 in"),
        ('diameter ["]', "1 3/8", 34.925, "1 3/8"),  # 1.375 x 25.4
        ("Diameter, cm", "2,24", 22.4, "2,24 cm"),
        ("typed", "1 3/8", 34.925, "1 3/8"),
        ("value (in)", "22.4 mm", 22.4, "22.4 mm"),
    ],
)
def test_units_in_the_heading_count_and_stay_with_what_was_typed(
    tmp_path: Path, heading: str, typed: str, value_mm: float, kept: str
) -> None:
    path = tmp_path / "table.csv"
    with path.open("w", newline="") as file:
        writer = csv.writer(file, delimiter=";")
        writer.writerow(["inspection", "station", "view", heading, "gauge", "person"])
        writer.writerow(["v", "1", "0", typed, "C", "A"])
    table = read_readings(path)
    assert table.rejected == ()
    assert table.rows[0].reading.value_mm == pytest.approx(value_mm, abs=1e-12)
    assert table.rows[0].reading.typed == kept


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_told_apart_and_a_guess_is_said(tmp_path: Path, encoding: str) -> None:
    text = SAMPLE.replace("A. Berg", "Åsa Bjørk")
    table = read_readings(csv_file(tmp_path, text, encoding))
    assert table.rows[0].reading.person == "Åsa Bjørk"
    assert len(table.notes) == (1 if encoding == "cp1252" else 0)
    assert all("read as Windows-1252" in note for note in table.notes)


HEAD = "inspection,station,view_deg,typed,gauge,person,logged_at,gauge_kind,resolution_mm,mpe\n"


@pytest.mark.fault(
    "a table row that can't be understood",
    "`line 4: column 'station' 'x' is not a whole number ...`",
)
@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (",1,0,22.4,C,A", "column 'inspection' is empty"),
        ("v,1.5,0,22.4,C,A", "column 'station' '1.5' is not a whole number"),
        ("v,0,0,22.4,C,A", "stations are numbered from 1"),
        ("v,x,0,22.4,C,A", "column 'station' 'x' is not a whole number"),
        ("v,1,360,22.4,C,A", "the direction is 360 degrees"),
        ("v,1,0,,C,A", "column 'typed' is empty"),
        ("v,1,0,abc,C,A", "'abc' is not a length"),
        ("v,1,0,-22.4,C,A", "is negative"),
        ("v,1,0,0,C,A", "must be more than 0"),
        ("v,1,0,nan,C,A", "'nan' is not a length"),
        ('v,1,0,"22,400",C,A', "is ambiguous"),
        ("v,1,0,22.4,,A", "column 'gauge' is empty"),
        ("v,1,0,22.4,C,", "column 'person' is empty"),
        ("v,1,0,22.4,C,A,31.02.2026", "'31.02.2026' is not a day of the calendar"),
        ("v,1,0,22.4,C,A,03/04/2026", "may be 3 April or 4 March 2026"),
        ("v,1,0,22.4,C,A,,ruler,0.01,0.02", "'ruler' is not one of wide-jaw caliper"),
        ("v,1,0,22.4,C,A,,micrometer", "lack column 'resolution_mm', column 'mpe'"),
        ("v,1,0,22.4,C,A,,micrometer,0,0.02", "resolution of gauge 'C' must be more than 0"),
        ("v,1,0,22,4,C,A,,,,,", "a decimal comma"),
        ("v,1,0,22.4,C,A\x07", "control character"),
    ],
)
def test_a_bad_row_is_reported_with_its_line_and_reason(
    tmp_path: Path, row: str, reason: str
) -> None:
    good = "v,1,0,22.4,C,A\n"
    row = row.replace("22,4,C,A,,,,,", "22,4,C,A,,micrometer,0.01,0.02")
    table = read_readings(csv_file(tmp_path, f"{HEAD}{good}\n{row}\n{good}"))
    assert len(table.rows) == 2
    (bad,) = table.rejected
    assert bad.line == 4  # the empty line 3 counts, as an editor counts it
    assert reason in bad.reason
    assert "\n" not in bad.reason


def test_a_check_column_that_says_something_else_rejects_the_row(tmp_path: Path) -> None:
    text = "inspection,station,view,typed,value_mm,gauge,person\nv,1,0,22.41,22.14,C,A\n"
    (bad,) = read_readings(csv_file(tmp_path, text)).rejected
    assert "means 22.41 mm, but column 'value_mm' says 22.14 mm" in bad.reason


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "is empty"),
        ("\n\n", "is empty"),
        ("a,b\n1,2\n", "no column for inspection, station, view_deg, typed, gauge, person"),
        ("typed,value,reading\n", "'value' and 'reading' both mean"),
        ('inspection,station\n"v,1\n', "line 2: quotation marks don't match"),
        ("diameter (thou)\n", "no column for"),
    ],
)
def test_a_table_that_makes_no_sense_is_refused_in_one_sentence(
    tmp_path: Path, text: str, sentence: str
) -> None:
    with pytest.raises(ValueError, match=r".") as told:
        read_readings(csv_file(tmp_path, text))
    assert sentence in str(told.value)
    assert "\n" not in str(told.value)


def test_unused_columns_are_said(tmp_path: Path) -> None:
    text = "inspection,station,view,typed,gauge,person,weather\nv,1,0,22.4,C,A,rain\n"
    assert read_readings(csv_file(tmp_path, text)).notes == ("column 'weather' was not used.",)


def test_missing_columns_can_be_given(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "station,view,typed\n1,0,22.4\n")
    table = read_readings(path, inspection="v", person="A", gauge="C")
    assert table.rows[0].inspection == "v"
    assert table.rows[0].reading.person == "A"


def test_a_spreadsheet_is_read_as_it_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "t.xlsx"
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["inspection", "station", "view", "typed", "gauge", "person", "time"])
    sheet.append(["v", 1, 0.0, 22.4, "C", "A", datetime(2026, 11, 2, 9, 14)])
    sheet.append(["v", 2, 90, "22,41", "C", "A", None])
    sheet["D2"].number_format = "0.00"
    book.save(path)
    table = read_readings(path)
    assert table.rejected == ()
    # the last digit that was entered is part of the evidence, so 22.40 stays 22.40
    assert [row.reading.typed for row in table.rows] == ["22.40", "22,41"]
    assert table.rows[0].reading.at == datetime(2026, 11, 2, 9, 14)
    assert [row.line for row in table.rows] == [2, 3]


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_a_template_is_filled_in_and_read_back(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"template{suffix}"
    write_template(path, "readings")
    assert read_sheet(path).rows == ()
    assert read_readings(path).rows == ()
    write_template(path, "ropes")
    assert read_ropes(path).rows == ()
    if suffix == ".xlsx":
        assert load_workbook(path).sheetnames == ["table", "example"]
    else:
        assert "# hoist rope 1,22," in path.read_text("utf-8-sig")


def test_a_separator_line_and_blank_cells_do_not_matter(tmp_path: Path) -> None:
    text = "sep=;\ninspection;station;view;typed;gauge;person;;\n\n;;;\nv;1;0;22,4;C;A;;\n"
    table = read_readings(csv_file(tmp_path, text))
    assert [row.line for row in table.rows] == [5]


def test_headings_of_any_length_and_number_make_one_short_sentence(tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"  # as `python -m tests.fuzz tables --seed 3` has it, number 834
    path.write_text(",".join([*(f"h{i}" for i in range(60)), "x" * 9000]) + "\n1\n", "utf-8")
    with pytest.raises(ValueError, match="has no column for inspection") as told:
        read_readings(path)
    assert " and 37 more. See `ropephoto record template`, or" in str(told.value)
    assert len(str(told.value)) < 1500
