"""Entries across inspections: what deserves a second look, filtered, and as a table to keep."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from inspection.crosscheck import Comparison
from inspection.record import LoggedFinding, OpenInspection, Record, Summary
from inspection.tables import write_sheet
from ui.check_tables import chance_words
from ui.station_queue import name_of, strength

MOST_JUDGED = 60  # inspections that a screen opens at once; more are filtered first
HEADINGS = (
    "inspection", "rope", "day", "entry", "what was seen", "what to do", "innocent explanation",
    "chance if nothing is wrong", "settled by", "settled how",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """One finding with the inspection that it is about.

    Parameters
    ----------
    there : OpenInspection
        The inspection.
    logged : LoggedFinding
        What was found, and how it was settled.
    """

    there: OpenInspection
    logged: LoggedFinding

    @property
    def doubt_name(self) -> str:
        """What the review calls it."""
        return name_of(self.logged)

    @property
    def where(self) -> str:
        """The places it names, at most three."""
        named = self.logged.finding.where
        more = f" and {len(named) - 3} more" if len(named) > 3 else ""
        return ", ".join(named[:3]) + more


def chosen(
    known: list[Summary], *, rope: str | None, words: str, since: date | None, until: date | None
) -> list[Summary]:
    """Return the inspections that a filter leaves, in the order that they came in.

    Parameters
    ----------
    known : list of Summary
        All inspections.
    rope : str or None
        A rope; None for all.
    words : str
        Part of the place; empty for all.
    since, until : date or None
        First and last day.
    """
    return [
        one for one in known
        if (rope is None or one.rope == rope)
        and words.casefold().strip() in one.place.casefold()
        and (since is None or one.on >= since)
        and (until is None or one.on <= until)
    ]  # fmt: skip


def entries_of(opened: list[OpenInspection], *, settled: bool) -> list[Entry]:
    """Return the entries that deserve a look, the strongest reason first."""
    found = [
        Entry(there, one)
        for there in opened
        for one in there.findings
        if one.current and (settled or not one.settled_by)
    ]
    return sorted(found, key=lambda one: (bool(one.logged.settled_by), -strength(one.logged)))


def entry_rows(entries: list[Entry]) -> list[list[str]]:
    """Return entries as rows of text under `HEADINGS`."""
    return [
        [
            one.there.inspection.identity, one.there.rope.identity,
            one.there.inspection.on.isoformat(), "; ".join(one.logged.finding.where),
            one.logged.finding.seen, one.logged.finding.remedy, one.logged.finding.innocent,
            chance_words(one.logged.finding.p_value), one.logged.settled_by,
            one.logged.settled_how,
        ]
        for one in entries
    ]  # fmt: skip


def entries_table(entries: list[Entry], suffix: str) -> bytes:
    """Return entries as a CSV or XLSX file in which nothing runs as a formula."""
    rows = entry_rows(entries)
    return _as_bytes(lambda path: write_sheet(path, HEADINGS, rows), suffix)


def readings_table(record: Record, suffix: str, *, inspection: str | None = None) -> bytes:
    """Return the readings as they stand, as a CSV or XLSX file."""
    from inspection.tables_out import export_readings

    return _as_bytes(lambda path: export_readings(record, path, inspection=inspection), suffix)


def _as_bytes(write: Callable[[Path], object], suffix: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"table{suffix}"
        write(path)
        return path.read_bytes()


def by_name(comparisons: list[Comparison], group: str) -> dict[str, list[Comparison]]:
    """Return comparisons by gauge, person, card set or camera, each group under its name."""
    groups: dict[str, list[Comparison]] = {}
    for one in comparisons:
        groups.setdefault(str(getattr(one, group)) or "not named", []).append(one)
    return dict(sorted(groups.items()))
