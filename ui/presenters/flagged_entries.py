"""Entries across inspections: what has to be checked, filtered, and as a table to export."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from urllib.parse import urlencode

from inspection.assessment import Assessment
from inspection.comparison.crosscheck import Comparison
from inspection.comparison.standing_apart import stand_apart
from inspection.exchange.spreadsheet import write_sheet
from inspection.record.examinations import ComparedEntry
from inspection.record.record import Record
from inspection.record.views import LoggedFinding, OpenInspection, StationReview, Summary
from ui.presenters.review_queue import finding_strength, item_name, station_of
from ui.text import chance_words
from vision.results import Finding, Place

MOST_ASSESSED = 60  # inspections that a screen opens at once; more are filtered first
HEADINGS = (
    "inspection", "rope", "place", "day", "entry", "what was seen", "evidence", "what to do",
    "innocent explanation", "chance if nothing is wrong", "settled by", "settled how",
    "sent back by", "sent back why", "page",
)  # fmt: skip


APART_HEADINGS = (
    "gauge or person",
    "name",
    "comparisons",
    "against the others mm",
    "U (k = 2) mm",
    "chance if nothing is wrong, all counted",
    "stands apart",
)


@dataclass(frozen=True, slots=True)
class FlaggedEntry:
    """One finding with the inspection that it is about.

    Parameters
    ----------
    opened : OpenInspection
        The inspection.
    logged : LoggedFinding
        What was found, and how it was settled.
    evidence : tuple of str
        The figures at the places it names, a sentence each.
    """

    opened: OpenInspection
    logged: LoggedFinding
    evidence: tuple[str, ...] = ()

    @property
    def item_name(self) -> str:
        """What the review calls it."""
        return item_name(self.logged)

    @property
    def sent_back(self) -> StationReview | None:
        """The decision by which its station waits for the inspector; None where it does not."""
        station = station_of(self.logged)
        mine = [
            review
            for review in self.opened.station_reviews
            if review.station == station and review.stands
        ]
        return mine[-1] if mine and mine[-1].back else None

    @property
    def page(self) -> str:
        """Where the pages show it: what stands behind the address of the server."""
        asked = {"inspection": self.opened.inspection.identity, "look": self.item_name}
        return f"review?{urlencode(asked)}"

    @property
    def where(self) -> str:
        """The places it names, at most three."""
        named = self.logged.finding.where
        more = f" and {len(named) - 3} more" if len(named) > 3 else ""
        return ", ".join(named[:3]) + more


def filtered(
    known: Sequence[Summary],
    sites: Mapping[str, str],
    *,
    rope: str | None,
    words: str,
    since: date | None,
    until: date | None,
) -> list[Summary]:
    """Return the inspections that a filter leaves, in the order that they came in.

    Parameters
    ----------
    known : list of Summary
        All inspections.
    sites : mapping of str to str
        Rope -> the site where it hangs.
    rope : str or None
        A rope; None for all.
    words : str
        Part of the site or of the inspection's place; empty for all.
    since, until : date or None
        First and last day.
    """
    return [
        one
        for one in known
        if (rope is None or one.rope == rope)
        and words.casefold().strip() in f"{sites.get(one.rope, '')}\n{one.place}".casefold()
        and (since is None or one.on >= since)
        and (until is None or one.on <= until)
    ]


def flagged_entries(
    inspections: list[OpenInspection], assessments: list[Assessment], *, settled: bool
) -> list[FlaggedEntry]:
    """Return the entries to check, the most urgent first.

    Parameters
    ----------
    inspections, assessments : list
        Inspections, and what was judged of each.
    settled : bool
        With those that were settled, behind the others.
    """
    found = [
        FlaggedEntry(opened, logged, evidence(assessment, logged.finding))
        for opened, assessment in zip(inspections, assessments, strict=True)
        for logged in opened.findings
        if logged.current and (settled or not logged.settled_by)
    ]
    return sorted(
        found, key=lambda one: (bool(one.logged.settled_by), -finding_strength(one.logged))
    )


def evidence(assessment: Assessment, finding: Finding) -> tuple[str, ...]:
    """Return the figures at the places that a finding names, at most three sentences.

    A comparison of photograph and gauge for a place with its direction, else the station's
    means; a sentence that the finding says itself is left out.
    """
    sentences: list[str] = []
    for place in finding.places:
        sentences += [
            f"{place.words}: {comparison.words}"
            for comparison in assessment.crosscheck.comparisons
            if comparison.place == place
            and f"{comparison.difference_mm:+z.2f} mm" not in finding.seen
        ]
        sentences += [
            f"{place.words}: mean by the {source} {section.mean_mm:.2f} ± "
            f"{2 * section.u_mean_mm:.2f} mm."
            for source, sections in (
                ("photographs", assessment.photograph_sections),
                ("gauge", assessment.gauge_sections),
            )
            for section in sections
            if Place(section.station) == place
        ]
    return tuple(sentences[:3])


def entry_rows(entries: list[FlaggedEntry]) -> list[list[str]]:
    """Return entries as rows of text under `HEADINGS`."""
    rows = []
    for entry in entries:
        inspection, finding, sent = entry.opened.inspection, entry.logged.finding, entry.sent_back
        rows.append(
            [
                inspection.identity,
                entry.opened.rope.identity,
                inspection.place,
                inspection.on.isoformat(),
                "; ".join(finding.where),
                finding.seen,
                " ".join(entry.evidence),
                finding.remedy,
                finding.innocent,
                chance_words(finding.p_value),
                entry.logged.settled_by,
                entry.logged.settled_how,
                sent.who if sent else "",
                sent.why if sent else "",
                entry.page,
            ]
        )
    return rows


def entries_table(entries: list[FlaggedEntry], suffix: str) -> bytes:
    """Return entries as a CSV or XLSX file in which nothing runs as a formula."""
    rows = entry_rows(entries)
    return _as_bytes(lambda path: write_sheet(path, HEADINGS, rows), suffix)


def apart_rows(comparisons: list[ComparedEntry]) -> list[list[str]]:
    """Return every gauge and person against all others, as rows under `APART_HEADINGS`."""
    return [
        [
            apart.kind,
            apart.name,
            str(apart.count),
            f"{apart.difference_mm:+z.3f}",
            f"{2 * apart.u_mm:.3f}",
            chance_words(apart.adjusted),
            "stands apart" if apart.flagged else "",
        ]
        for apart in stand_apart(comparisons)
    ]


def apart_table(comparisons: list[ComparedEntry], suffix: str) -> bytes:
    """Return the same as a CSV or XLSX file."""
    rows = apart_rows(comparisons)
    return _as_bytes(lambda path: write_sheet(path, APART_HEADINGS, rows), suffix)


def readings_table(record: Record, suffix: str, *, inspection: str | None = None) -> bytes:
    """Return the readings as they stand, as a CSV or XLSX file."""
    from inspection.exchange.export_tables import export_readings

    return _as_bytes(lambda path: export_readings(record, path, inspection=inspection), suffix)


def _as_bytes(write: Callable[[Path], object], suffix: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"table{suffix}"
        write(path)
        return path.read_bytes()


def by_name(comparisons: list[Comparison], group: str) -> dict[str, list[Comparison]]:
    """Return comparisons by gauge, person, card set or camera, each group under its name."""
    groups: dict[str, list[Comparison]] = {}
    for comparison in comparisons:
        groups.setdefault(str(getattr(comparison, group)) or "not named", []).append(comparison)
    return dict(sorted(groups.items()))
