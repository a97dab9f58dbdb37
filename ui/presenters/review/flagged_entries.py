"""Flagged entries across inspections: to be checked or accepted, ranked, in groups, as tables."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isclose
from pathlib import Path
from urllib.parse import urlencode

from inspection.comparison.standing_apart import GaugeOrPerson, StandsApart
from inspection.exchange.spreadsheet import write_sheet
from inspection.model.log import counted
from inspection.model.loss import loss_rank
from inspection.record.overview.examinations import ACCEPTED, ComparedEntry
from inspection.record.overview.rankings import CorrectedSlip, ListedFinding, ReaderTally, RopeTally
from inspection.record.record import Record
from inspection.record.views import StationReview
from ui.presenters.review.queue import station_of
from ui.presenters.review.station_finding import COMPARED
from ui.text import chance_words, one_in
from vision.results import Finding, Place

HEADINGS = (
    "inspection", "rope", "place", "date", "entries", "finding", "comparisons there",
    "state", "reason", "decided by",
    "action", "innocent explanation", "chance if nothing is wrong", "page",
)  # fmt: skip
ROPE_HEADINGS = (
    "rope", "entries to check", "accepted although they disagree", "inspections",
    "not examined yet", "last inspection",
)  # fmt: skip
READER_HEADINGS = (
    "gauge or person", "name", "entries to check", "accepted although they disagree", "comparisons",
    "disagree", "chance of so many", "reads more than the others (mm)",
    "U k = 2 (mm)", "chance of so large a difference", "stands apart",
)  # fmt: skip
SLIP_HEADINGS = (
    "inspection", "place", "typed", "corrected to", "corrected by", "date", "reason",
)  # fmt: skip
DISAGREES = "accepted although it disagrees"
# Facts and gaps that no figure contradicts; every other finding disagrees with something.
FACTS = ("photograph-refused", "photograph-doubtful", "direction-missing", "station-not-measured")


@dataclass(frozen=True, slots=True)
class FlaggedEntry:
    """One finding in the supervisor's list.

    Parameters
    ----------
    listed : ListedFinding
        The finding with its inspection.
    sent_back : StationReview or None
        The decision that sent its station back to the inspector; None if it is not waiting.
    evidence : tuple of str
        The comparisons at the places it names, one sentence each.
    """

    listed: ListedFinding
    sent_back: StationReview | None = None
    evidence: tuple[str, ...] = ()

    @property
    def query(self) -> dict[str, str]:
        """The query of the review page's address that shows it."""
        named = {"inspection": self.listed.inspection}
        places = self.listed.logged.finding.places
        station = station_of(self.listed.logged)
        if station is None:
            return named | {"look": self.listed.logged.key}
        named |= {"station": str(station)}
        view = places[0].view_deg if len(places) == 1 else None
        return named if view is None else named | {"view": str(view)}

    @property
    def page(self) -> str:
        """The page that shows it, relative to the address of the server."""
        return f"review?{urlencode(self.query)}"

    @property
    def where(self) -> str:
        """The places it names, at most three of them."""
        named = self.listed.logged.finding.where
        more = f" and {len(named) - 3} more" if len(named) > 3 else ""
        return ", ".join(named[:3]) + more

    @property
    def state(self) -> str:
        """Its state: waiting, with the inspector, or accepted as it is."""
        logged = self.listed.logged
        if not logged.settled_by:
            return "with the inspector" if self.sent_back is not None else "waits for a reviewer"
        if not logged.settled_how.startswith(ACCEPTED):
            return logged.settled_how.partition(":")[0]
        return "accepted as it is" if logged.finding.code in FACTS else DISAGREES

    @property
    def reason(self) -> str:
        """The reason for the decision; empty if there is none."""
        if self.sent_back is not None and not self.listed.logged.settled_by:
            return self.sent_back.why
        return self.listed.logged.settled_how.partition(":")[2].strip()

    @property
    def who(self) -> str:
        """Who decided; empty if nobody has."""
        if self.sent_back is not None and not self.listed.logged.settled_by:
            return self.sent_back.who
        return self.listed.logged.settled_by


def flagged_entries(
    found: Sequence[ListedFinding],
    waiting: Mapping[tuple[str, int], StationReview],
    compared: Sequence[ComparedEntry] = (),
) -> list[FlaggedEntry]:
    """Return findings as entries of the list, in the same order.

    Parameters
    ----------
    found : sequence of ListedFinding
        From `inspection.record.overview.rankings.ranked_findings`.
    waiting : mapping of (str, int) to StationReview
        Inspection and station -> the decision that sent it back to its inspector.
    compared : sequence of ComparedEntry, optional
        Comparisons from which the evidence is taken.
    """
    named = {one.inspection for one in found}
    by_inspection: dict[str, list[ComparedEntry]] = {}
    for entry in compared:
        if entry.inspection in named:
            by_inspection.setdefault(entry.inspection, []).append(entry)
    entries = []
    for one in found:
        station = station_of(one.logged)
        sent = None if station is None else waiting.get((one.inspection, station))
        proof = evidence(one.logged.finding, by_inspection.get(one.inspection, []))
        entries.append(FlaggedEntry(one, sent, proof))
    return entries


def evidence(finding: Finding, compared: Sequence[ComparedEntry]) -> tuple[str, ...]:
    """Return the comparisons at the places that a finding names, at most three sentences.

    A comparison that the finding itself states is left out.
    """
    return tuple(
        f"{Place(one.station, one.view_deg).words}: photograph {one.photo_mm:.2f} mm, gauge "
        f"{one.gauge_mm:.2f} mm, difference {one.difference_mm:+z.2f} ± {2.0 * one.u_mm:.2f} mm: "
        f"{one.word}."
        for place in finding.places
        for one in compared
        if place in (Place(one.station, one.view_deg), Place(one.station))
        and not _states(finding, one)
    )[:3]


def _states(finding: Finding, one: ComparedEntry) -> bool:
    """Return whether a finding is itself about this comparison, whose zeta is its value."""
    zeta = one.difference_mm / one.u_mm
    return finding.code in COMPARED and finding.value is not None and isclose(finding.value, zeta)


def entry_rows(entries: Sequence[FlaggedEntry]) -> list[list[str]]:
    """Return entries as text rows under `HEADINGS`."""
    rows = []
    for entry in entries:
        listed, finding = entry.listed, entry.listed.logged.finding
        rows.append(
            [
                listed.inspection,
                listed.rope,
                listed.place,
                listed.on.isoformat(),
                "; ".join(finding.where),
                finding.seen,
                " ".join(entry.evidence),
                entry.state,
                entry.reason,
                entry.who,
                finding.remedy,
                finding.innocent,
                chance_words(finding.p_value),
                entry.page,
            ]
        )
    return rows


def rope_rows(tallies: Sequence[RopeTally]) -> list[list[str]]:
    """Return ropes as rows under `ROPE_HEADINGS`."""
    return [
        [
            one.rope,
            str(one.open),
            str(one.accepted),
            str(one.inspections),
            str(one.not_examined or ""),
            one.last.isoformat(),
        ]
        for one in tallies
    ]


@dataclass(frozen=True, slots=True)
class RankedReader:
    """A gauge or person, and how its readings compare with the others'.

    Parameters
    ----------
    kind, name : str
        "gauge" or "person", and its name.
    tally : ReaderTally
        Findings about its readings.
    count : int
        Comparisons with photographs.
    apart : StandsApart or None
        Comparison with all others; None if there are too few comparisons or no others.
    """

    kind: GaugeOrPerson
    name: str
    tally: ReaderTally
    count: int
    apart: StandsApart | None

    @property
    def stands_apart(self) -> str:
        """In which respects it stands apart from the others; empty if in none."""
        if self.apart is None:
            return ""
        respects = [
            words
            for words, flagged in (
                ("reads differently", self.apart.flagged),
                ("disagrees more often", self.apart.flagged_disagree),
            )
            if flagged
        ]
        return ", ".join(respects)


def ranked_readers(
    kind: GaugeOrPerson,
    apart: Sequence[StandsApart],
    tallies: Mapping[str, ReaderTally],
    compared: Sequence[ComparedEntry],
) -> list[RankedReader]:
    """Return every gauge or person: those that stand apart first, then by open findings.

    Parameters
    ----------
    kind : {"gauge", "person"}
        Gauges or people.
    apart : sequence of StandsApart
        Gauges and people, judged together.
    tallies : mapping of str to ReaderTally
        Findings about the readings of each.
    compared : sequence of ComparedEntry
        All comparisons.
    """
    counts: dict[str, int] = {}
    for one in compared:
        name = str(getattr(one, kind))
        counts[name] = counts.get(name, 0) + 1
    known = {item.name: item for item in apart if item.kind == kind}
    found = [
        RankedReader(
            kind, name, tallies.get(name, ReaderTally()), counts.get(name, 0), known.get(name)
        )
        for name in sorted({*counts, *tallies} - {""})
    ]

    def urgency(one: RankedReader) -> tuple[bool, float, int]:
        chance = 1.0 if one.apart is None else min(one.apart.adjusted, one.apart.p_disagree)
        return (not one.stands_apart, chance if one.stands_apart else 1.0, -one.tally.open)

    return sorted(found, key=urgency)


def reader_rows(readers: Sequence[RankedReader]) -> list[list[str]]:
    """Return gauges or people as rows under `READER_HEADINGS`."""
    rows = []
    for one in readers:
        apart = one.apart
        compared = ["", "", "", "", ""]
        if apart is not None:
            compared = [
                str(apart.disagree),
                by_chance(apart.p_disagree),
                f"{apart.difference_mm:+z.3f}",
                f"{2 * apart.u_mm:.3f}",
                by_chance(apart.adjusted),
            ]
        rows.append(
            [
                one.kind,
                one.name,
                str(one.tally.open),
                str(one.tally.accepted),
                str(one.count),
                *compared,
                one.stands_apart,
            ]
        )
    return rows


def by_chance(p_value: float) -> str:
    """Return how often chance alone produces what one name among many shows.

    Examples
    --------
    >>> by_chance(0.7), by_chance(0.004)
    ('no more than chance', '1 in 250')
    """
    if p_value > 0.2:
        return "no more than chance"
    return one_in(p_value)


def slip_rows(slips: Sequence[CorrectedSlip]) -> list[list[str]]:
    """Return corrected slips as rows under `SLIP_HEADINGS`."""
    return [
        [
            one.inspection,
            f"station {one.station}, {one.view_deg} deg",
            one.before,
            one.after,
            one.who,
            one.at[:10],
            one.why,
        ]
        for one in slips
    ]


def readings_table(record: Record, suffix: str, *, inspection: str | None = None) -> bytes:
    """Return the current readings as a CSV or XLSX file."""
    from inspection.exchange.export_tables import export_readings

    return _as_bytes(lambda path: export_readings(record, path, inspection=inspection), suffix)


def table_file(heads: Sequence[str], rows: list[list[str]], suffix: str) -> bytes:
    """Return rows as a CSV or XLSX file in which no cell is a formula."""
    return _as_bytes(lambda path: write_sheet(path, tuple(heads), rows), suffix)


def _as_bytes(write: Callable[[Path], object], suffix: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"table{suffix}"
        write(path)
        return path.read_bytes()


@dataclass(slots=True)
class EntryGroup:
    """Entries that are shown together.

    Parameters
    ----------
    shown : list of FlaggedEntry
        All of one inspection, and of one station if there are several.
    folded : list of FlaggedEntry
        Of the same station at other inspections, or of the same kind elsewhere in this one.
    """

    shown: list[FlaggedEntry]
    folded: list[FlaggedEntry] = field(default_factory=list)

    @property
    def inspection(self) -> str:
        """The inspection of the entries shown."""
        return self.shown[0].listed.inspection

    @property
    def folded_words(self) -> str:
        """What is folded away, for the line that unfolds it."""
        kind = [one for one in self.folded if one.listed.inspection == self.inspection]
        earlier = [one for one in self.folded if one.listed.inspection != self.inspection]
        parts = []
        if kind:
            places = dict.fromkeys(one.where for one in kind)
            parts.append(f"{_count(kind)} of this kind: {_few(places)}")
        if earlier:
            days = sorted({one.listed.on.isoformat() for one in earlier}, reverse=True)
            parts.append(f"{_count(earlier)} about this station: {_few(days)}")
        return "; ".join(parts)


def _count(entries: Sequence[FlaggedEntry]) -> str:
    return counted(len(entries), "more entry", "more entries")


def _few(words: Iterable[str]) -> str:
    every = [*words]
    more = f" and {len(every) - 4} more" if len(every) > 4 else ""
    return f"{', '.join(every[:4])}{more}"


def grouped_entries(entries: Iterable[FlaggedEntry]) -> list[EntryGroup]:
    """Return entries in groups, in the order of each group's first.

    A possible loss of section is folded away only behind another of the same station.
    """
    groups: list[EntryGroup] = []
    by_station: dict[tuple[str, int], EntryGroup] = {}
    by_kind: dict[tuple[str, str], EntryGroup] = {}
    for entry in entries:
        listed = entry.listed
        station = station_of(listed.logged)
        place = None if station is None else (listed.rope, station)
        kind = (listed.inspection, listed.logged.finding.code)
        here = None if place is None else by_station.get(place)
        if here is not None and here.inspection == listed.inspection:
            here.shown.append(entry)
        elif here is not None and (not _is_loss(entry) or any(map(_is_loss, here.shown))):
            here.folded.append(entry)
        elif kind in by_kind and not _is_loss(entry):
            by_kind[kind].folded.append(entry)
        else:
            groups.append(EntryGroup([entry]))
            by_kind.setdefault(kind, groups[-1])
            if place is not None:
                by_station[place] = groups[-1]
    return groups


def _is_loss(entry: FlaggedEntry) -> bool:
    return loss_rank(entry.listed.logged.finding) > 0
