"""What the columns of a table mean: their names, alternative names and units."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from inspection.exchange.headings import OTHER_LANGUAGES, direction_of, heading_words

What = Literal["readings", "ropes"]

MOST_SHOWN = 24  # headings in a message; a damaged file may have any number of any length


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table that we read and write.

    Parameters
    ----------
    name : str
        Its heading in tables that we write.
    meaning : str
        In words, for the template.
    example : str
        An example cell.
    others : tuple of str
        Alternative names, without units, spaces or punctuation.
    needed : bool
        True if a table is useless without it.
    kind : {"text", "length", "angle", "position"}
        Which units its heading may name.
    """

    name: str
    meaning: str
    example: str
    others: tuple[str, ...] = ()
    needed: bool = False
    kind: Literal["text", "length", "angle", "position"] = "text"


READINGS: dict[str, Column] = {
    "inspection": Column(
        "inspection",
        "name of the inspection",
        "2026-11-crane-3",
        ("inspectionid", "inspectionno", "inspectionnumber", "visit", "survey"),
        needed=True,
    ),
    "rope": Column(
        "rope",
        "name of the rope, for a new inspection",
        "hoist rope 1",
        ("ropeid", "ropeno", "ropenumber", "ropename"),
    ),
    "on": Column(
        "on",
        "day of the inspection",
        "2026-11-02",
        ("date", "day", "inspectiondate", "inspectedon"),
    ),
    "station": Column(
        "station",
        "number of the station, from 1",
        "1",
        ("stationno", "stationnumber", "stn", "place", "point"),
        needed=True,
    ),
    "position_m": Column(
        "position_m",
        "place along the rope, m",
        "12.5",
        ("position", "distance", "ropeposition", "alongrope"),
        kind="position",
    ),
    "view_deg": Column(
        "view_deg",
        "direction across the rope, degrees",
        "0",
        ("view", "direction", "angle", "viewangle", "orientation", "axis"),
        needed=True,
        kind="angle",
    ),
    "typed": Column(
        "typed",
        "what the gauge showed: 22.4, 22,4 mm, 0.88 in, 1 3/8",
        "22,41",
        ("astyped", "typedvalue", "typedtext"),
        needed=True,
        kind="length",
    ),
    "value": Column(
        "value_mm",
        "the same in mm, as a check; optional",
        "22.41",
        (
            "value",
            "reading",
            "diameter",
            "measured",
            "measurement",
            "measureddiameter",
            "dia",
            "d",
            "size",
        ),
        kind="length",
    ),
    "gauge": Column(
        "gauge",
        "number of the gauge",
        "C-07",
        ("gaugeid", "gaugeno", "gaugenumber", "instrument", "instrumentno", "caliper", "tool"),
        needed=True,
    ),
    "gauge_kind": Column(
        "gauge_kind",
        "wide-jaw caliper, plain caliper, micrometer or diameter tape",
        "wide-jaw caliper",
        ("gaugetype", "kindofgauge", "instrumenttype", "kind", "type"),
    ),
    "resolution": Column(
        "resolution_mm",
        "smallest step of the gauge, mm",
        "0.01",
        ("resolution", "res", "leastcount", "step", "graduation"),
        kind="length",
    ),
    "permissible_error": Column(
        "permissible_error_mm",
        "largest permissible error of the gauge, mm",
        "0.03",
        (
            "permissibleerror",
            "maxpermissibleerror",
            "maximumpermissibleerror",
            "largestpermissibleerror",
            "mpe",
        ),
        kind="length",
    ),
    "calibration_due": Column(
        "calibration_due",
        "last day of the gauge's calibration",
        "2027-01-31",
        ("caldue", "calibrateduntil", "nextcalibration", "calibrationdate", "duedate"),
    ),
    "person": Column(
        "person",
        "who read it",
        "A. Berg",
        ("readby", "measuredby", "inspector", "operator", "name", "who", "by"),
        needed=True,
    ),
    "note": Column(
        "note",
        "what is at the station",
        "crossover, layer 2",
        ("remark", "remarks", "comment", "comments"),
    ),
    "place": Column("held_at", "where the inspection was held", "quay 4", ("site",)),
    "tension": Column("tension", "tension while measuring", "none", ("load",)),
    "inspector": Column("inspector_name", "who is responsible for the inspection", "A. Berg", ()),
    "reviewer": Column("reviewer", "who reviews it", "R. Two", ("reviewedby",)),
    "supervisor": Column("supervisor", "who supervises", "S. Three", ()),
    "logged_at": Column(
        "logged_at",
        "when it was logged",
        "2026-11-02T09:14",
        ("at", "time", "datetime", "timestamp", "loggedon", "readat", "dateandtime"),
    ),
}

ROPES: dict[str, Column] = {
    "identity": Column(
        "identity",
        "what the site calls the rope",
        "hoist rope 1",
        ("rope", "ropeid", "ropeno", "ropenumber", "ropename", "name", "id"),
        needed=True,
    ),
    "nominal": Column(
        "nominal_mm",
        "nominal diameter, mm",
        "22",
        ("nominal", "nominaldiameter", "diameter", "dia", "d", "size"),
        needed=True,
        kind="length",
    ),
    "outer_strands": Column(
        "outer_strands",
        "strands in the outer layer",
        "8",
        ("strands", "outerlayerstrands", "numberofouterstrands"),
    ),
    "core": Column("core", "fibre or steel", "steel", ("coretype", "kindofcore")),
    "build": Column(
        "build",
        "single-layer, parallel-closed or rotation-resistant",
        "single-layer",
        ("construction", "ropetype", "kind", "type"),
    ),
    "fibre_centred": Column(
        "fibre_centred_strands",
        "yes where strands have fibre centres",
        "no",
        ("fibrecentred", "fibrecentres", "fibercentredstrands"),
    ),
    "duty": Column("duty", "crane, hoist, lift, mine or general", "crane", ("use", "usage")),
    "service": Column("service", "new or in-service", "in-service", ("state", "condition")),
    "reference": Column(
        "reference_mm",
        "reference diameter, mm",
        "22.35",
        ("reference", "referencediameter", "dref"),
        kind="length",
    ),
    "reference_on": Column(
        "reference_on", "day of the reference", "2025-03-01", ("referencedate", "referencetaken")
    ),
    "reference_how": Column(
        "reference_how",
        "how it was obtained",
        "mean of four, run in",
        ("referencenote", "howreference"),
    ),
    "u_reference": Column(
        "u_reference_mm",
        "its standard uncertainty, mm",
        "0.02",
        ("ureference", "referenceuncertainty"),
        kind="length",
    ),
    "reference_tension": Column(
        "reference_tension", "tension at the reference measurement", "none", ("tensionatreference",)
    ),
    "baseline": Column(
        "baseline_mm",
        "baseline diameter of a mine hoist's rope, mm",
        "",
        ("baseline", "baselinediameter"),
        kind="length",
    ),
    "lay": Column(
        "lay_mm",
        "lay length from the certificate, mm",
        "143",
        ("lay", "laylength", "layoftherope"),
        kind="length",
    ),
    "grooves": Column("grooves", "drum and sheaves, as JSON", "", ("drumandsheaves",)),
    "country": Column("country", "whose regulations apply, two letters", "DE", ("regulation",)),
    "sheaves": Column("sheaves", "steel, plastic or not stated", "steel", ("sheavematerial",)),
    "units": Column("units", "mm or inch, for display", "mm", ("shownunits", "unitsystem")),
    "site": Column("site", "where the rope works", "yard, bay 3", ("location", "place", "where")),
}

TABLES: dict[str, dict[str, Column]] = {"readings": READINGS, "ropes": ROPES}

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
