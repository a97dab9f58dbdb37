"""Table files: no cell runs as a formula, and only tables are accepted."""

from __future__ import annotations

import csv
import time
import zipfile
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from inspection.exchange import spreadsheet
from inspection.exchange.parse import read_readings
from inspection.exchange.spreadsheet import (
    escape_formula,
    read_sheet,
    unescape_formula,
    write_sheet,
)
from tests.inspection.reading_tables import csv_file


def _book(path: Path, rows: list[list[str]]) -> Path:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    book.save(path)
    return path


@pytest.mark.fault(
    "a formula in any exported text",
    "text with an apostrophe before it (CSV), a text cell (XLSX)",
)
@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@A1", "\t=1", "\n=1", "\uff1d1", "\uff20A1", "#x", "'=1", "''-"]
)
def test_a_formula_is_written_so_that_it_cannot_run(tmp_path: Path, text: str) -> None:
    # OWASP, "CSV Injection": cells that begin with = + - @ tab, carriage return or line feed
    assert escape_formula(text).startswith("'")
    assert unescape_formula(escape_formula(text)) == text
    write_sheet(tmp_path / "t.csv", ["a"], [[text]])
    with (tmp_path / "t.csv").open(encoding="utf-8-sig", newline="") as file:
        cell = list(csv.reader(file))[1][0]
    assert cell[0] == "'"
    write_sheet(tmp_path / "t.xlsx", ["a"], [[text]])
    written = load_workbook(tmp_path / "t.xlsx")["table"]["A2"]
    assert written.data_type == "s"
    assert written.value == text
    assert written.quotePrefix
    for name in ("t.csv", "t.xlsx"):
        assert read_sheet(tmp_path / name).rows[0][1] == (text,)


def test_a_written_spreadsheet_can_be_sorted_by_its_headings(tmp_path: Path) -> None:
    write_sheet(tmp_path / "t.xlsx", ["a", "b"], [["1", "2"], ["3", "4"]])
    sheet = load_workbook(tmp_path / "t.xlsx")["table"]
    assert (sheet.auto_filter.ref, sheet.freeze_panes) == ("A1:B3", "A2")
    write_sheet(tmp_path / "empty.xlsx", ["a"], [])
    assert load_workbook(tmp_path / "empty.xlsx")["table"].auto_filter.ref == "A1:A1"


@pytest.mark.fault(
    "a spreadsheet whose own directory states that it unpacks to too much data",
    "`..., too much for a table: ...`",
)
def test_a_zip_bomb_is_refused_before_it_is_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("xl/worksheets/sheet1.xml", b"0" * 20_000_000)
    assert path.stat().st_size < 100_000
    monkeypatch.setattr(spreadsheet, "MOST_UNPACKED_BYTES", 10_000_000)
    with pytest.raises(ValueError, match="would unpack to 20 MB"):
        read_sheet(path)


def test_a_doctype_in_a_spreadsheet_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "laughs.xlsx"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("xl/workbook.xml", '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]>')
    with pytest.raises(ValueError, match="not a sound XLSX file"):
        read_sheet(path)


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        ("t.xlsx", b"PK\x03\x04 not a zip", "not a sound XLSX file"),
        ("t.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old XLS file, or locked by a password"),
        ("t.csv", b"a,b\n\x00\x01", "neither CSV nor XLSX"),
        ("t.csv", b"a,b\n\x81\x8d", "not text in UTF-8 or Windows-1252"),
    ],
)
def test_a_file_that_is_no_table_is_refused(
    tmp_path: Path, name: str, data: bytes, sentence: str
) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(ValueError, match=sentence):
        read_sheet(tmp_path / name)


def test_a_zip_that_is_no_spreadsheet_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "t.xlsx", "w") as package:
        package.writestr("notes.txt", "hello")
    with pytest.raises(ValueError, match="not a sound XLSX file"):
        read_sheet(tmp_path / "t.xlsx")


def test_too_many_rows_or_bytes_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spreadsheet, "MOST_ROWS", 3)
    rows = [["a"], *[[str(number)] for number in range(4)]]
    with pytest.raises(ValueError, match="more than the 3 rows"):
        read_sheet(_book(tmp_path / "t.xlsx", rows))
    with pytest.raises(ValueError, match="more than the 3 rows"):
        read_sheet(csv_file(tmp_path, "a\n1\n2\n3\n4\n"))
    monkeypatch.setattr(spreadsheet, "MOST_BYTES", 5)
    with pytest.raises(ValueError, match="more than the 0 MB allowed"):
        read_sheet(csv_file(tmp_path, "a\n1\n2\n3\n"))
    with pytest.raises(ValueError, match="can't be read: No such file"):
        read_sheet(tmp_path / "none.csv")
    with pytest.raises(ValueError, match=r"written as \.csv or \.xlsx; got 't\.ods'"):
        write_sheet(tmp_path / "t.ods", ["a"], [])
    with pytest.raises(ValueError, match="can't be written: No such file"):
        write_sheet(tmp_path / "no" / "t.csv", ["a"], [])


@pytest.mark.fault(
    "a table with a million columns",
    "`t.csv, line 1: 1000000 columns, more than the 1000 allowed: ...`",
)
def test_a_million_columns_are_refused_at_once(tmp_path: Path) -> None:
    began = time.process_time()
    with pytest.raises(ValueError, match="line 1: 1000000 columns, more than the 1000 allowed"):
        read_readings(csv_file(tmp_path, "a" + ",a" * 999_999 + "\n"))
    # compared with every known heading, it was minutes; read as headings of a million letters, 3 s
    assert time.process_time() - began < 2


def test_a_heading_of_digits_is_no_number_too_long_for_python(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no column for inspection"):
        read_readings(csv_file(tmp_path, f"station,{'9' * 5000},\u00b2\n1,2,3\n"))


@pytest.mark.fault(
    "a spreadsheet that unpacks to too much data",
    "`would unpack to 61 MB in 1 part, too much for a table: ...`",
)
def test_a_small_file_that_unpacks_to_much_is_refused(tmp_path: Path) -> None:
    # 60 MB of texts in 60 kB would take a gigabyte once they are objects
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("xl/sharedStrings.xml", b"<si><t>a</t></si>" * 3_600_000)
    with pytest.raises(ValueError, match=r"would unpack to 61 MB in 1 part, too much"):
        read_sheet(path)


@pytest.mark.parametrize("station", ["1_0", "1e9", "9" * 12, "0x10", "1.5", "inf"])
def test_what_python_takes_for_a_number_is_no_station(tmp_path: Path, station: str) -> None:
    text = f"inspection,station,view,typed,gauge,person\nv,{station},0,22.4,C,A\n"
    (bad,) = read_readings(csv_file(tmp_path, text)).rejected
    assert "is not a whole number" in bad.reason
