"""Tables in XLSX files: sizes checked before anything is unpacked, cells written as text."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

MOST_COLUMNS = 60
# An XLSX is a ZIP, and a small one can unpack to anything. The largest table that is read, with
# every column filled, has some 100 MB; texts are held in memory at once.
MOST_UNPACKED_BYTES, MOST_STRING_BYTES = 150_000_000, 50_000_000
MOST_TIMES, SMALL_BYTES = 200, 10_000_000  # tables shrink to a tenth or a thirtieth

# What a spreadsheet takes for a formula (OWASP, "CSV Injection"), and the mark of our comments.
RUNS = re.compile(r"'*[=+\-@\t\r#]")


def xlsx_lines(data: bytes, name: str, *, most_rows: int) -> list[tuple[int, list[str]]]:
    """Return row number and cells, as text, of the first sheet of an XLSX file."""
    _check_package(data, name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and validation, which we don't read
            return _first_sheet(data, most_rows)
    except Exception as error:
        # a damaged file makes the libraries below fail in any of a dozen ways
        raise ValueError(
            f"{name} is no sound XLSX file, or holds no cells; save it again, or as CSV."
        ) from error


def _first_sheet(data: bytes, most_rows: int) -> list[tuple[int, list[str]]]:
    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    rows = book.worksheets[0].iter_rows(max_row=most_rows + 10, max_col=MOST_COLUMNS)
    lines = [
        (number, [_cell_text(cell) for cell in row]) for number, row in enumerate(rows, start=1)
    ]
    book.close()
    return lines


def _check_package(data: bytes, name: str) -> None:
    """Look at the sizes that the ZIP states before anything is unpacked."""
    try:
        sizes, has_doctype = _parts(data)
    except Exception as error:  # a damaged ZIP makes the library fail in any of a dozen ways
        raise ValueError(f"{name} is no sound XLSX file; save it again, or as CSV.") from error
    total = sum(size for _, size in sizes)
    strings = sum(size for part, size in sizes if part.endswith("sharedStrings.xml"))
    packed_tightly = total > MOST_TIMES * len(data) and total > SMALL_BYTES
    if (
        total > MOST_UNPACKED_BYTES or strings > MOST_STRING_BYTES or packed_tightly
        or len(sizes) > 5000
    ):  # fmt: skip
        raise ValueError(
            f"{name} would unpack to {total / 1e6:.0f} MB in {len(sizes)} parts; that is too much "
            "for a table: save it again without pictures, or as CSV."
        )
    if has_doctype:
        raise ValueError(f"{name} is no sound XLSX file; save it again.")


def _parts(data: bytes) -> tuple[list[tuple[str, int]], bool]:
    """Return the parts of a package with their unpacked sizes, and whether one has a DOCTYPE."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        members = package.infolist()
        sizes = [(one.filename, one.file_size) for one in members]
        texts = [one for one in members[:5000] if one.filename.endswith((".xml", ".rels"))]
        for one in texts:
            with package.open(one) as part:
                if b"<!DOCTYPE" in part.read(4096):
                    return sizes, True
    return sizes, False


def _cell_text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return _number_text(value, str(cell.number_format))
    if isinstance(value, datetime):
        return value.isoformat() if value.time() != time() else value.date().isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)


def _number_text(value: float, shown: str) -> str:
    """Return a number as the sheet shows it: 22.4 in the format 0.00 was entered as 22.40."""
    places = re.fullmatch(r"0\.(0+)", shown)
    if places is not None and round(value, len(places[1])) == value:
        return f"{value:.{len(places[1])}f}"
    text = repr(value)
    return text.removesuffix(".0")


def write_xlsx(
    path: Path,
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    comments: Sequence[Sequence[str]],
) -> int:
    """Write rows of text to an XLSX file; return how many."""
    book = Workbook(write_only=True)
    count = -1  # the headings are no row
    sheet = book.create_sheet("table")
    for count, row in enumerate([headings, *rows]):  # noqa: B007
        sheet.append([_text_cell(sheet, cell) for cell in row])
    if comments:
        example = book.create_sheet("example")
        for row in [headings, *comments]:
            example.append([_text_cell(example, cell) for cell in row])
    packed = io.BytesIO()  # on a full disk a half-written ZIP complains a second time, by itself
    book.save(packed)
    path.write_bytes(packed.getvalue())
    return count


def _text_cell(sheet: Any, text: str) -> Any:
    cell = WriteOnlyCell(sheet, value=ILLEGAL_CHARACTERS_RE.sub("\ufffd", text))
    cell.data_type = "s"
    if RUNS.match(text):
        cell.quotePrefix = True  # stays text when somebody edits it
    return cell
