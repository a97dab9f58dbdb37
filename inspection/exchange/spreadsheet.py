"""Plain tables in files: CSV and XLSX, read with care and written so that no formula runs.

A cell is text. What the columns mean is in `inspection.exchange.columns`.

In XLSX files, sizes are checked before anything is unpacked, and cells are written as text.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from itertools import islice
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.utils import get_column_letter

from inspection.model.log import counted

MOST_ROWS = 200_000
MOST_CSV_COLUMNS = 1000  # a file of 8 MB can have a million headings, each compared with all known
MOST_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as in a file.

    Parameters
    ----------
    headings : tuple of str
        The first row that is not empty.
    rows : tuple of (int, tuple of str)
        Line in the file (row number in a spreadsheet), and its cells.
    notes : tuple of str
        What was assumed while reading, a sentence each.
    above : tuple of str
        The cells above the headings.
    """

    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    notes: tuple[str, ...] = ()
    above: tuple[str, ...] = ()


def escape_formula(text: str) -> str:
    """Return text that a spreadsheet won't treat as a formula.

    Examples
    --------
    >>> escape_formula("=1+1"), unescape_formula(escape_formula("'-x")) == "'-x"
    ("'=1+1", True)
    """
    return f"'{text}" if RUNS.match(text) else text


def unescape_formula(text: str) -> str:
    """Return the text that `escape_formula` was given."""
    return text[1:] if text.startswith("'") and RUNS.match(text) else text


def read_sheet(path: str | Path, *, known: Callable[[Sequence[str]], int] | None = None) -> Sheet:
    """Read a table from a CSV or XLSX file, recognised by its content.

    Parameters
    ----------
    path : str or Path
        The file. CSV: commas, semicolons or tabs; UTF-8, UTF-16 with byte order mark, or
        Windows-1252. XLSX: formulas are read as the value last shown.
    known : callable, optional
        Returns how many cells of a row are known headings. Among the first 30 rows, the one with
        most of them holds the headings, and the sheet that has it is read; without `known` the
        first row and the first sheet are used.

    Raises
    ------
    ValueError
        One sentence: the file can't be read, is too large, or holds no table.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise ValueError(
                f"{path.name} has {size / 1e6:.0f} MB, more than the {MOST_BYTES / 1e6:.0f} MB "
                "allowed: split the table."
            )
        data = path.read_bytes()
    except OSError as error:
        raise ValueError(f"{path} can't be read: {error.strerror}.") from error
    notes: list[str] = []
    if data.startswith(b"PK"):
        sheets = xlsx_sheets(data, path.name, most_rows=MOST_ROWS)
        title, lines = max(sheets, key=lambda one: _best_row(one[1], known)[0])
        if title != sheets[0][0]:
            notes.append(f"the sheet {title!r} was read.")
    elif data.startswith(b"\xd0\xcf\x11\xe0"):
        raise ValueError(
            f"{path.name} is an old XLS file, or locked by a password; save it as XLSX or CSV."
        )
    else:
        parsed, notes = _csv_lines(data, path.name, known)
        lines = list(islice(parsed, MOST_ROWS + 100))
    _, start = _best_row(lines, known)
    above = [cell.strip() for _, cells in lines[:start] for cell in cells if cell.strip()]
    if above:
        notes.append(f"the rows above the headings were not read: {'; '.join(above)[:120]}.")
    return replace(_sheet(path.name, lines[start:], notes), above=tuple(above))


def _best_row(
    lines: Sequence[tuple[int, list[str]]], known: Callable[[Sequence[str]], int] | None
) -> tuple[int, int]:
    """Return how many known headings the row of headings has, and its index."""
    if known is None:
        return 0, 0
    counts = [known(cells) for _, cells in lines[:MOST_TITLE_ROWS]]
    most = max(counts, default=0)
    return (most, counts.index(most)) if most >= 2 else (most, 0)


def _sheet(name: str, lines: Iterable[tuple[int, list[str]]], notes: list[str]) -> Sheet:
    headings: tuple[str, ...] = ()
    rows: list[tuple[int, tuple[str, ...]]] = []
    for number, cells in lines:
        while cells and not cells[-1].strip():
            cells.pop()
        if not cells:
            continue
        if not headings:
            headings = tuple(cell.strip() for cell in cells)
            continue
        rows.append((number, tuple(cells)))
        if len(rows) > MOST_ROWS:
            raise ValueError(f"{name} has more than the {MOST_ROWS} rows allowed: split the table.")
    if not headings:
        raise ValueError(f"{name} is empty: it needs a row of headings and rows below it.")
    return Sheet(headings, tuple(rows), tuple(notes))


# ---- CSV ----------------------------------------------------------------------------------


def _csv_lines(
    data: bytes, name: str, known: Callable[[Sequence[str]], int] | None
) -> tuple[Iterator[tuple[int, list[str]]], list[str]]:
    text, notes = _decoded(data, name)
    skip = 0
    stated = re.match(r"sep=(.)\r?\n", text)
    if stated is not None:  # Excel's own way to state it
        separator, skip, text = stated[1], 1, text[stated.end() :]
    else:
        separator = _separator(text, known)
    return _parsed(text, separator, skip, name), notes


def _decoded(data: bytes, name: str) -> tuple[str, list[str]]:
    notes: list[str] = []
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            text = data.decode("utf-16")
        else:
            text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError as error:
            raise ValueError(
                f"{name} is not text in UTF-8 or Windows-1252; save it as CSV in UTF-8."
            ) from error
        notes.append(f"{name} is not UTF-8; it was read as Windows-1252. Check names with accents.")
    if "\0" in text:
        raise ValueError(f"{name} is neither CSV nor XLSX; save the table as one of these.")
    return text, notes


def _separator(text: str, known: Callable[[Sequence[str]], int] | None) -> str:
    """Return the separator of the row of headings, or else the commonest one in the first line.

    Comments and quoted text are ignored; a title above the headings may contain any separator.
    """
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    bare = [re.sub(r'"[^"]*"', '""', line) for line in lines[:MOST_TITLE_ROWS]]
    if known is not None and bare:
        found = {
            sign: max(known(line.split(sign, MOST_CSV_COLUMNS)) for line in bare) for sign in ",;\t"
        }
        best = max(found, key=found.__getitem__)
        if found[best] >= 2:
            return best
    return max(",;\t", key=bare[0].count) if bare else ","


def _parsed(text: str, separator: str, skip: int, name: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    line = skip + 1
    try:
        for cells in reader:
            if len(cells) > MOST_CSV_COLUMNS:
                raise ValueError(
                    f"{name}, line {line}: {len(cells)} columns, more than the {MOST_CSV_COLUMNS} "
                    "allowed: leave out those that are not needed."
                )
            if not (cells and cells[0].startswith("#")):
                yield line, [unescape_formula(cell) for cell in cells]
            line = skip + reader.line_num + 1
    except csv.Error as error:
        raise ValueError(
            f"{name}, line {line}: quotation marks don't match ({error}); close the quotes, or "
            "save the table again."
        ) from error


# ---- out ----------------------------------------------------------------------------------


def write_sheet(
    path: str | Path,
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    comments: Sequence[Sequence[str]] = (),
) -> int:
    """Write a table as CSV (UTF-8) or XLSX, by the suffix; return the number of rows.

    Every cell is text. CSV: text that a spreadsheet would run gets an apostrophe in front,
    which `read_sheet` removes. XLSX: cells are marked as text, and as "entered as text".

    Parameters
    ----------
    path : str or Path
        Ends in .csv or .xlsx.
    headings : sequence of str
        The first row.
    rows : iterable of sequence of str
        The rest.
    comments : sequence of rows, optional
        Rows for people only: marked with # in CSV, on a second sheet "example" in XLSX.

    Raises
    ------
    ValueError
        If the suffix is a different one, or the file can't be written.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in (".csv", ".xlsx"):
        raise ValueError(f"a table is written as .csv or .xlsx; got {path.name!r}.")
    part = path.with_name(f"{path.name}.part")
    try:
        write = _write_csv if kind == ".csv" else write_xlsx
        count = write(part, headings, rows, comments)
        part.replace(path)  # whole, or not at all
    except OSError as error:
        part.unlink(missing_ok=True)
        raise ValueError(f"{path} can't be written: {error.strerror}.") from error
    return count


def _write_csv(
    path: Path,
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    comments: Sequence[Sequence[str]],
) -> int:
    count = 0
    with path.open("w", encoding="utf-8-sig", newline="") as file:  # the mark tells Excel UTF-8
        writer = csv.writer(file)
        writer.writerow(headings)
        for first, *others in comments:
            writer.writerow([f"# {first}", *(escape_formula(cell) for cell in others)])
        for count, row in enumerate(rows, start=1):  # noqa: B007
            writer.writerow([escape_formula(cell) for cell in row])
    return count


MOST_COLUMNS, MOST_SHEETS, MOST_TITLE_ROWS = 60, 20, 30
# An XLSX is a ZIP, and a small one can unpack to any size. The largest table accepted, with every
# column filled, has some 100 MB; all texts are held in memory at once.
MOST_UNPACKED_BYTES, MOST_STRING_BYTES = 150_000_000, 50_000_000
MOST_TIMES, SMALL_BYTES = 200, 10_000_000  # tables compress to a tenth or a thirtieth

# What a spreadsheet treats as a formula (OWASP, "CSV Injection"), in full width too, as some
# East Asian versions do, and the mark of our comments.
RUNS = re.compile(r"'*[=+\-@\t\r\n#\uff1d\uff0b\uff0d\uff20]")


def xlsx_sheets(
    data: bytes, name: str, *, most_rows: int
) -> list[tuple[str, list[tuple[int, list[str]]]]]:
    """Return title, and row number and cells as text, of each sheet of an XLSX file."""
    _check_package(data, name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and validation, which we don't read
            return _sheets(data, most_rows)
    except Exception as error:
        # a damaged file makes the libraries below fail in any of a dozen ways
        raise ValueError(
            f"{name} is not a sound XLSX file, or holds no cells; save it again, or as CSV."
        ) from error


def _sheets(data: bytes, most_rows: int) -> list[tuple[str, list[tuple[int, list[str]]]]]:
    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    found = []
    for sheet in book.worksheets[:MOST_SHEETS]:
        rows = sheet.iter_rows(max_row=most_rows + 10, max_col=MOST_COLUMNS)
        lines = [
            (number, [_cell_text(cell) for cell in row]) for number, row in enumerate(rows, start=1)
        ]
        found.append((sheet.title, lines))
        most_rows -= len(lines)
        if most_rows <= 0:
            break
    book.close()
    if not found:
        raise ValueError("no sheet")
    return found


def _check_package(data: bytes, name: str) -> None:
    """Check the sizes that the ZIP states before anything is unpacked."""
    try:
        sizes, has_doctype = _parts(data)
    except Exception as error:  # a damaged ZIP makes the library fail in any of a dozen ways
        raise ValueError(f"{name} is not a sound XLSX file; save it again, or as CSV.") from error
    total = sum(size for _, size in sizes)
    strings = sum(size for part, size in sizes if part.endswith("sharedStrings.xml"))
    packed_tightly = total > MOST_TIMES * len(data) and total > SMALL_BYTES
    if (
        total > MOST_UNPACKED_BYTES
        or strings > MOST_STRING_BYTES
        or packed_tightly
        or len(sizes) > 5000
    ):
        parts = counted(len(sizes), "part", "parts")
        raise ValueError(
            f"{name} would unpack to {total / 1e6:.0f} MB in {parts}, "
            "too much for a table: save it again without pictures, or as CSV."
        )
    if has_doctype:
        raise ValueError(f"{name} is not a sound XLSX file; save it again.")


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
    count = -1  # the headings do not count
    sheet = book.create_sheet("table")
    sheet.freeze_panes = "A2"  # the headings stay, with buttons to sort and filter
    for count, row in enumerate([headings, *rows]):  # noqa: B007
        sheet.append([_text_cell(sheet, cell) for cell in row])
    sheet.auto_filter.ref = f"A1:{get_column_letter(max(len(headings), 1))}{count + 1}"
    if comments:
        example = book.create_sheet("example")
        for row in [headings, *comments]:
            example.append([_text_cell(example, cell) for cell in row])
    packed = io.BytesIO()  # on a full disk a half-written ZIP would raise a second error
    book.save(packed)
    path.write_bytes(packed.getvalue())
    return count


def _text_cell(sheet: Any, text: str) -> Any:
    cell = WriteOnlyCell(sheet, value=ILLEGAL_CHARACTERS_RE.sub("\ufffd", text))
    cell.data_type = "s"
    if RUNS.match(text):
        cell.quotePrefix = True  # stays text when edited
    return cell
