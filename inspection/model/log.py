"""Everything known about one inspection's entries, in one frozen value.

Screening and assessment read a `Log`; where its parts came from (a folder, a record, a page) is
not their concern.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from inspection.model.readings import Gauge, Reading, reading_terms
from inspection.model.rope import Inspection, Rope
from vision.results import Estimate, Result
from vision.uncertainty import Term

Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier inspection of the same rope: what was read then, and what photographs gave."""

    inspection: Inspection
    readings: tuple[Reading, ...]
    results: tuple[Result, ...] = ()


@dataclass(frozen=True, slots=True)
class Log:
    """One inspection's entries with all that they can be held against.

    Parameters
    ----------
    rope : Rope
        The rope.
    inspection : Inspection
        The inspection, with its stations.
    readings : tuple of Reading
        The manual entries, in the order in which they were logged.
    gauges : mapping of str to Gauge
        The gauges that the readings name, by identity.
    results : tuple of (Estimate or Refusal)
        What the photographs gave.
    earlier : tuple of Earlier
        Earlier inspections of this rope, oldest first.

    Examples
    --------
    >>> from datetime import date
    >>> from inspection.model.rope import Station
    >>> log = Log(
    ...     Rope("R-1", 34.0),
    ...     Inspection("I-1", "R-1", date(2026, 11, 3), stations=(Station(1, 0.0),)),
    ...     (Reading("34.87", 34.87, 1, 0, "C-1", "A. Berg"),),
    ...     {"C-1": Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)},
    ... )
    >>> log.where(0)
    'station 1, 0 deg'
    """

    rope: Rope
    inspection: Inspection
    readings: tuple[Reading, ...]
    gauges: Mapping[str, Gauge] = field(default_factory=dict)
    results: tuple[Result, ...] = ()
    earlier: tuple[Earlier, ...] = ()

    def where(self, entry: int) -> str:
        """Return the words for the place of reading number `entry` (from 0)."""
        reading = self.readings[entry]
        return place_words(reading.station, reading.view_deg)

    def positions_m(self) -> dict[int, float]:
        """Return each station's distance along the rope, m."""
        return {station.number: station.position_m for station in self.inspection.stations}


def place_words(station: int, view_deg: int) -> str:
    """Return the words for a place on the rope, as every table and report shows them."""
    return f"station {station}, {view_deg} deg"


def counted(number: int, one: str, several: str) -> str:
    """Return a number with its noun: "1 entry", "3 entries"."""
    return f"{number} {one if number == 1 else several}"


def best_estimates(results: Iterable[Result]) -> dict[Place, Estimate]:
    """Return the surest estimate of every place that a card named.

    Where a place was photographed twice, the figure with the smaller standard uncertainty
    stands for it; choosing by uncertainty never looks at the diameter.
    """
    best: dict[Place, Estimate] = {}
    for result in results:
        if not isinstance(result, Estimate) or result.station is None or result.view_deg is None:
            continue
        place = (result.station, result.view_deg)
        if place not in best or result.u_mm < best[place].u_mm:
            best[place] = result
    return best


def readings_at(readings: Iterable[Reading]) -> dict[Place, list[int]]:
    """Return the numbers (from 0) of the readings of every place, in order of logging."""
    placed: dict[Place, list[int]] = {}
    for entry, reading in enumerate(readings):
        placed.setdefault((reading.station, reading.view_deg), []).append(entry)
    return placed


def right_angle_pairs(readings: tuple[Reading, ...]) -> list[tuple[int, int]]:
    """Return the pairs of readings at one station whose directions lie 90 degrees apart.

    Of a place that was read several times only the first reading counts.
    """
    first = {place: entries[0] for place, entries in readings_at(readings).items()}
    return [
        (entry, first[station, view + 90])
        for (station, view), entry in sorted(first.items())
        if (station, view + 90) in first and view < 90
    ]


def log_terms(log: Log) -> list[tuple[Term, ...] | None]:
    """Return the budget of every reading of the log; None where its gauge is not known."""
    return [budget_of(log, reading, inspection=log.inspection.identity) for reading in log.readings]


def budget_of(log: Log, reading: Reading, *, inspection: str) -> tuple[Term, ...] | None:
    """Return the budget of one reading, or None where its gauge is not known."""
    gauge = log.gauges.get(reading.gauge)
    if gauge is None or reading.value_mm <= 0:
        return None
    return reading_terms(
        reading, gauge, outer_strands=log.rope.outer_strands, inspection=inspection
    )
