"""Plain tables in files: CSV and XLSX, read with every care and written so that nothing runs.

A cell is text. What the columns mean is said in `tables_in` and `tables_out`.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from inspection.tables_xlsx import RUNS, write_xlsx, xlsx_lines

MOST_ROWS = 200_000
MOST_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it stands in a file.

    Parameters
    ----------
    headings : tuple of str
        The first row that holds something.
    rows : tuple of (int, tuple of str)
        Line in the file (row number in a spreadsheet), and its cells.
    notes : tuple of str
        What was taken for granted while reading, a sentence each.
    """

    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    notes: tuple[str, ...] = ()


def harmless(text: str) -> str:
    """Return text that a spreadsheet won't take for a formula.

    Examples
    --------
    >>> harmless("=1+1"), harmless("22.4"), unharmed(harmless("'-x")) == "'-x"
    ("'=1+1", '22.4', True)
    """
    return f"'{text}" if RUNS.match(text) else text


def unharmed(text: str) -> str:
    """Return the text that `harmless` was given."""
    return text[1:] if text.startswith("'") and RUNS.match(text) else text


def read_sheet(path: str | Path) -> Sheet:
    """Read a table from a CSV or XLSX file, told apart by content.

    Parameters
    ----------
    path : str or Path
        The file. CSV: commas, semicolons or tabs; UTF-8, UTF-16 with its mark, or
        Windows-1252. XLSX: the first sheet; formulas count with the value last shown.

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
                f"{path.name} has {size / 1e6:.0f} MB; {MOST_BYTES / 1e6:.0f} MB is the most: "
                "split the table."
            )
        data = path.read_bytes()
    except OSError as error:
        raise ValueError(f"{path} can't be read: {error.strerror}.") from error
    notes: list[str] = []
    lines: Iterable[tuple[int, list[str]]]
    if data.startswith(b"PK"):
        lines = xlsx_lines(data, path.name, most_rows=MOST_ROWS)
    elif data.startswith(b"\xd0\xcf\x11\xe0"):
        raise ValueError(
            f"{path.name} is an old XLS file, or locked by a password; save it as XLSX or CSV."
        )
    else:
        lines, notes = _csv_lines(data, path.name)
    return _sheet(path.name, lines, notes)


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
            raise ValueError(
                f"{name} has more than {MOST_ROWS} rows; that is the most: split the table."
            )
    if not headings:
        raise ValueError(f"{name} is empty: it needs a row of headings and rows below it.")
    return Sheet(headings, tuple(rows), tuple(notes))


# ---- CSV ----------------------------------------------------------------------------------


def _csv_lines(data: bytes, name: str) -> tuple[Iterator[tuple[int, list[str]]], list[str]]:
    text, notes = _decoded(data, name)
    skip = 0
    told = re.match(r"sep=(.)\r?\n", text)
    if told is not None:  # Excel's own way to say it
        separator, skip, text = told[1], 1, text[told.end() :]
    else:
        separator = _separator(text)
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
                f"{name} is no text in UTF-8 or Windows-1252; save it as CSV in UTF-8."
            ) from error
        notes.append(f"{name} is not UTF-8; it was read as Windows-1252. Check names with accents.")
    if "\0" in text:
        raise ValueError(f"{name} is neither CSV nor XLSX; save the table as one of these.")
    return text, notes


def _separator(text: str) -> str:
    """Return what stands most often in the first line that is no comment, outside quotes."""
    for line in text.splitlines():
        if line.strip() and not line.startswith("#"):
            bare = re.sub(r'"[^"]*"', "", line)
            return max(",;\t", key=bare.count)
    return ","


def _parsed(text: str, separator: str, skip: int, name: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    line = skip + 1
    try:
        for cells in reader:
            if not (cells and cells[0].startswith("#")):
                yield line, [unharmed(cell) for cell in cells]
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
    which `read_sheet` takes off. XLSX: cells are marked as text, and as "entered as text".

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
        If the suffix is another one, or the file can't be written.
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
            writer.writerow([f"# {first}", *(harmless(cell) for cell in others)])
        for count, row in enumerate(rows, start=1):  # noqa: B007
            writer.writerow([harmless(cell) for cell in row])
    return count
