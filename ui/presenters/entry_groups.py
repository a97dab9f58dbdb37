"""The supervisor's entries in groups, so that one rope or one fault does not fill the list."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from inspection.model.log import counted
from inspection.model.loss import loss_rank
from ui.presenters.flagged_entries import FlaggedEntry
from ui.presenters.review_queue import station_of


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
