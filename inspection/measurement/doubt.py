"""Doubted figures: the entries that have to be checked before a figure is relied on, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from inspection.measurement.section import Source
from vision.results import Place

NAMED = 2  # entries named in a sentence; further ones are counted
DOUBT_MARK = " (doubted)"  # after every figure that an entry to be checked puts in doubt


@dataclass(frozen=True, slots=True)
class DoubtedEntry:
    """An entry that has to be checked.

    Parameters
    ----------
    place : Place
        Where it was entered; a whole station where something is missing.
    source : {"photographs", "gauge"} or None
        Whether it is a photograph's figure or a gauge reading; None where an entry is missing.
    value : str
        The figure with its unit, e.g. ``"22.11 mm"``; empty where an entry is missing.
    disagrees : bool
        Whether reading and photograph of this place disagree.
    """

    place: Place
    source: Source | None = None
    value: str = ""
    disagrees: bool = False

    @property
    def words(self) -> str:
        """The entry with its place, e.g. ``"22.11 mm at station 3, 90°"``."""
        direction = "" if self.place.view_deg is None else f", {self.place.view_deg}°"
        where = f"station {self.place.station}{direction}"
        return f"{self.value} at {where}" if self.value else where


def doubts_at(doubts: Sequence[DoubtedEntry], station: int | None) -> tuple[DoubtedEntry, ...]:
    """Return the entries to be checked at a station; all of them for the whole rope (None)."""
    return tuple(one for one in doubts if station in (None, one.place.station))


def doubt_words(doubts: Sequence[DoubtedEntry], source: Source) -> str:
    """Return the sentence that names the entries which put a figure in doubt; empty without any.

    Parameters
    ----------
    doubts : sequence of DoubtedEntry
        The entries to be checked at the figure's station, most urgent first.
    source : {"photographs", "gauge"}
        What the figure came from: it rests on entries of this source only.

    Examples
    --------
    >>> odd = DoubtedEntry(Place(3, 90), "gauge", "22.11 mm", disagrees=True)
    >>> doubt_words([odd], "gauge")
    'It rests on an entry that has to be checked: 22.11 mm at station 3, 90°.'
    >>> doubt_words([odd], "photographs")[:62]
    'A gauge reading disagrees with its photograph and has to be ch'
    """
    own = [one for one in doubts if one.source == source]
    other = [one for one in doubts if one.source not in (source, None)]
    apart = [one for one in other if one.disagrees]
    if own:
        verb = "entries that have" if len(own) > 1 else "an entry that has"
        return f"It rests on {verb} to be checked: {named(own)}."
    if apart and source == "photographs":
        verb = (
            "Gauge readings disagree with their photographs and have"
            if len(apart) > 1
            else "A gauge reading disagrees with its photograph and has"
        )
        return f"{verb} to be checked: {named(apart)}."
    if other:
        one, several = (
            ("A gauge reading", "Gauge readings")
            if source == "photographs"
            else ("The figure of a photograph", "Figures of photographs")
        )
        verb = f"{several} there have" if len(other) > 1 else f"{one} there has"
        return f"{verb} to be checked: {named(other)}."
    return f"An entry is missing: {named(doubts)}." if doubts else ""


def named(doubts: Sequence[DoubtedEntry]) -> str:
    """Return the first few entries by their values and places, and how many more there are."""
    shown = [one.words for one in doubts[:NAMED]]
    more = len(doubts) - len(shown)
    return f"{'; '.join(shown)}; and {more} more" if more else " and ".join(shown)
