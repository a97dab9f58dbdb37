"""One row of a table: its cells by meaning, read as text, length, number, day or choice."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast, get_args

from inspection.exchange.columns import Columns
from inspection.exchange.days import read_moment
from inspection.model.length_text import LengthUnit, parse_length
from inspection.model.names import checked_text

# Spreadsheets write 3 as 3.0; Python itself would also accept 1_0 for 10, and 1e9.
_WHOLE = re.compile(r"[+-]?\d{1,9}(?:\.0*)?")
_METRES = re.compile(r"[+-]?\d{1,6}(?:[.,]\d{0,9})?")


def whole_number(text: str) -> int:
    """Return a whole number as people and spreadsheets write it; ValueError if it is not one."""
    if not _WHOLE.fullmatch(text.strip()):
        raise ValueError(f"{text[:40]!r} is not a whole number (of at most 9 digits).")
    return int(text.strip().partition(".")[0])


def place_m(text: str) -> float:
    """Return a position along the rope, m, with comma or point; ValueError if it is not one."""
    if not _METRES.fullmatch(text.strip()):
        raise ValueError(f"the position {text[:40]!r} is not a distance along the rope in m.")
    return float(text.replace(",", "."))


@dataclass(frozen=True, slots=True)
class RowCells:
    """One row, its cells found by their meaning.

    Parameters
    ----------
    columns : Columns
        The column of each meaning.
    line : int
        Line in the file.
    cells : tuple of str
        The row.
    given : dict of str to str
        What to use where a cell is empty.
    """

    columns: Columns
    line: int
    cells: tuple[str, ...]
    given: dict[str, str]

    def raw(self, field: str) -> str:
        """Return the text unchanged, or what is given for an empty cell."""
        at = self.columns.places.get(field)
        text = self.cells[at] if at is not None and at < len(self.cells) else ""
        return text if text.strip() else self.given.get(field, "")

    def text(self, field: str) -> str:
        """Return the text without spaces around it."""
        text = self.raw(field).strip()
        checked_text(text)
        return text

    def needed(self, field: str) -> str:
        """Return the text; ValueError if there is none."""
        text = self.text(field)
        if not text:
            raise ValueError(f"{self.columns.heading(field)} is empty.")
        return text

    def length(self, field: str) -> float:
        """Return a length, mm."""
        text = self.needed(field)
        if text.replace(",", ".").strip("0") in (".", ""):
            return 0.0
        unit = cast(LengthUnit, self.columns.units.get(field, "mm"))
        return self.read_with(field, lambda: parse_length(text, unit=unit))

    def whole(self, field: str) -> int:
        """Return a whole number; a degree sign after it is allowed."""
        text = self.needed(field).removesuffix("°").removesuffix("deg").strip()
        try:
            return whole_number(text)
        except ValueError as error:
            raise ValueError(f"{self.columns.heading(field)} {error}") from None

    def day(self, field: str) -> date | None:
        """Return a date, None where the cell is empty."""
        text = self.text(field)
        return self._moment(field, text).date() if text else None

    def moment(self, field: str) -> datetime | None:
        """Return date and time, None where the cell is empty."""
        text = self.text(field)
        return self._moment(field, text) if text else None

    def _moment(self, field: str, text: str) -> datetime:
        try:
            return read_moment(text, day_first=self.columns.day_first)
        except ValueError as error:
            raise ValueError(f"{self.columns.heading(field)}: {error}") from None

    def choice(self, field: str, choices: Any, default: str) -> str:
        """Return one of the words of a Literal; case, spaces and hyphens don't matter."""
        text = self.text(field)
        if not text:
            return default
        plain = _squeezed(text)
        for choice in get_args(choices):
            if plain == _squeezed(choice):
                return str(choice)
        raise ValueError(
            f"{self.columns.heading(field)} {text!r} is not one of {', '.join(get_args(choices))}."
        )

    def read_with(self, field: str, call: Callable[[], float]) -> float:
        """Return what a reader returns; its error message gets the column's heading in front."""
        try:
            return call()
        except ValueError as error:
            raise ValueError(f"{self.columns.heading(field)}: {error}") from None


def _squeezed(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())
