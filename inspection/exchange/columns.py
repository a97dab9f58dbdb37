"""Which column of a table has which meaning and unit, judging by its headings."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from inspection.exchange.headings import OTHER_LANGUAGES, direction_of, heading_words
from inspection.exchange.known_columns import TABLES, Column, What

LONGEST_HEADING = 1000  # letters; split at a wrong sign, a damaged file can be one cell
MOST_SHOWN = 24  # headings in a message; a damaged file may have any number of any length

_UNITS = {
    "length": {"mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm",
               "millimeters": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in",
               '"': "in"},
    "angle": {"deg": "deg", "degree": "deg", "degrees": "deg", "°": "deg"},
    "position": {"m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m"},
    "text": {},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column of a table has which meaning.

    Parameters
    ----------
    places : dict of str to int
        Column number (from 0) by meaning.
    units : dict of str to str
        Unit that a heading names, by meaning.
    headings : tuple of str
        The headings, as in the file.
    notes : tuple of str
        What was ignored or assumed.
    directions : tuple of (int, int, str)
        If a row holds readings of several directions: degrees, column number, unit.
    day_first : bool or None
        Whether 03/04/2026 is the third of April; None if not known.
    """

    places: dict[str, int]
    units: dict[str, str]
    headings: tuple[str, ...]
    notes: tuple[str, ...]
    directions: tuple[tuple[int, int, str], ...] = ()
    day_first: bool | None = None

    @property
    def mapping(self) -> tuple[tuple[str, str], ...]:
        """Each heading used and the meaning it was given, in the file's order."""
        meant = {at: meaning for meaning, at in self.places.items()}
        meant |= {at: f"reading at {view} deg" for view, at, _ in self.directions}
        return tuple((self.headings[at], meant[at]) for at in sorted(meant))

    def heading(self, meaning: str) -> str:
        """Return the heading as in the file, in quotes, for messages."""
        at = self.places.get(meaning)
        return f"column {meaning!r}" if at is None else f"column {self.headings[at]!r}"


class MissingColumnsError(ValueError):
    """A table lacks columns; `fault` says which, without the command line's remedy."""

    def __init__(self, fault: str) -> None:
        super().__init__(
            f"{fault} See `ropephoto record template`, or give the meaning of a heading with "
            "--column."
        )
        self.fault = fault


def find_columns(
    headings: Sequence[str],
    what: What,
    *,
    given: tuple[str, ...] = (),
    named: Mapping[str, str] | None = None,
    day_first: bool | None = None,
) -> Columns:
    """Find the columns of a table, whatever the case, spaces, punctuation, names and units.

    Parameters
    ----------
    headings : sequence of str
        The headings, in English, German, French, Spanish, Italian or Portuguese.
    what : {"readings", "ropes"}
        What the table holds.
    given : tuple of str, optional
        Meanings that need no column because the caller supplies them.
    named : mapping of str to str, optional
        Heading -> name of a column, a direction such as "90", or "" for a column that is not to
        be used; it overrides what a heading seems to mean.
    day_first : bool or None, optional
        Whether 03/04/2026 is the third of April.

    Raises
    ------
    MissingColumnsError
        If a column is missing.
    ValueError
        If two columns mean the same, or `named` names a heading that is not there.

    Examples
    --------
    >>> found = find_columns(["Rope no.", "Nominal diameter (in)"], "ropes")
    >>> found.places, found.units
    ({'identity': 0, 'nominal': 1}, {'nominal': 'in'})
    >>> find_columns(["Messstelle", "0°", "90°", "Messgerät", "Prüfer", "Prüfung"],
    ...              "readings").directions
    ((0, 1, ''), (90, 2, ''))
    """
    table = TABLES[what]
    renamed = {heading.strip(): meant.strip() for heading, meant in (named or {}).items()}
    unknown = [heading for heading in renamed if heading not in headings]
    if unknown:
        raise ValueError(f"there is no column {unknown[0]!r}; the headings are {_shown(headings)}.")
    across = _directions(headings, what, renamed)
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    notes: list[str] = []
    for at, heading in enumerate(headings):
        if any(at == column for _, column, _ in across):
            continue
        meaning, unit = _meaning(heading, what)
        if heading in renamed:
            meaning, unit = _named(renamed[heading], table), unit
        if meaning is None:
            if heading:
                notes.append(f"column {heading!r} was not used.")
            continue
        if meaning in places:
            raise ValueError(
                f"columns {headings[places[meaning]]!r} and {heading!r} both mean "
                f"{table[meaning].meaning}; leave one out."
            )
        places[meaning] = at
        if unit:
            units[meaning] = unit
    if any(numbered for *_, numbered in _heading_directions(headings, renamed).values()) and across:
        listed = " and ".join(f"{headings[at]!r} as {view} deg" for view, at, _ in across)
        notes.append(f"{listed}: numbered columns were taken as directions at right angles.")
    given = (*given, *(("view_deg", "typed") if across else ()))
    missing = [
        table[meaning].name
        for meaning in table
        if table[meaning].needed
        and meaning not in places
        and meaning not in given
        and not (meaning == "typed" and "value" in places)
    ]
    if missing:
        raise MissingColumnsError(
            f"the table has no column for {', '.join(missing)}; its headings are "
            f"{_shown(headings)}."
        )
    return Columns(places, units, tuple(headings), tuple(notes), across, day_first)


def known_headings(cells: Sequence[str], what: What) -> int:
    """Return how many cells of a row are known headings, to find the row of headings."""
    return sum(
        _meaning(cell, what)[0] is not None
        or (
            what == "readings"
            and direction_of(cell, _UNITS["length"]) is not None
            and not cell.strip().replace(".", "").isdigit()
        )
        for cell in cells
        if len(cell) <= LONGEST_HEADING
    )


def _shown(headings: Sequence[str]) -> str:
    more = f" and {len(headings) - MOST_SHOWN} more" if len(headings) > MOST_SHOWN else ""
    return f"{', '.join(repr(one[:40]) for one in headings[:MOST_SHOWN])}{more}"


def _named(meant: str, table: dict[str, Column]) -> str | None:
    """Return the meaning that the user gave for a heading; None for a column not to be used."""
    if not meant:
        return None
    for meaning, column in table.items():
        if meant in (meaning, column.name):
            return meaning
    raise ValueError(
        f"{meant!r} is not a column of this table; it has "
        f"{', '.join(column.name for column in table.values())}."
    )


def _heading_directions(
    headings: Sequence[str], renamed: Mapping[str, str]
) -> dict[int, tuple[int, str, bool]]:
    found = {}
    for at, heading in enumerate(headings):
        meant = renamed.get(heading)
        one = (
            direction_of(heading, _UNITS["length"])
            if meant is None
            else ((int(meant), "", False) if re.fullmatch(r"\d{1,3}", meant) else None)
        )
        if one is not None:
            found[at] = one
    return found


def _directions(
    headings: Sequence[str], what: What, renamed: Mapping[str, str]
) -> tuple[tuple[int, int, str], ...]:
    """Return the columns that each hold one direction: two or more, all different."""
    if what != "readings":
        return ()
    found = _heading_directions(headings, renamed)
    angles = [view for view, _, _ in found.values()]
    if len(angles) < 2 or len(set(angles)) != len(angles):
        return ()
    return tuple((view, at, unit) for at, (view, unit, _) in found.items())


def _meaning(heading: str, what: What) -> tuple[str | None, str]:
    """Return what a heading means and the unit in it; first as a whole, then without its unit."""
    words = heading_words(heading)
    for end, unit_word in ((len(words), ""), (len(words) - 1, words[-1] if words else "")):
        name = "".join(words[:end])
        for meaning, column in TABLES[what].items():
            own, bare, others = _NAMES[what][meaning]
            unit = _UNITS[column.kind].get(unit_word, "")
            if unit_word and not unit:
                continue
            if not unit_word and name == own:
                stated = _UNITS[column.kind].get(words[-1], "")
                return meaning, stated
            if name in others or (unit and name == bare):
                return meaning, unit
    return None, ""


def _names(column: Column, elsewhere: Collection[str]) -> tuple[str, str, frozenset[str]]:
    """Return a column's name without punctuation, the same without unit, and alternatives."""
    words = re.findall(r"[^\W_]+", column.name)
    bare = words[:-1] if words[-1] in _UNITS[column.kind] else words
    return "".join(words), "".join(bare), frozenset((*column.others, *elsewhere))


_NAMES = {
    what: {
        meaning: _names(column, OTHER_LANGUAGES[what].get(meaning, ()))
        for meaning, column in table.items()
    }
    for what, table in TABLES.items()
}
