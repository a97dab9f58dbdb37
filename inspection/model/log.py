"""Everything known about one inspection's entries, in one frozen value.

Screening and assessment read a `Log`, whether its parts came from a folder, a record or a page.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from inspection.model.readings import Gauge, Reading, reading_terms
from inspection.model.rope import Inspection, Rope
from vision.results import Estimate, Place, Result
from vision.uncertainty import Term


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier inspection of the same rope, with its readings and its photographs' results."""

    inspection: Inspection
    readings: tuple[Reading, ...]
    results: tuple[Result, ...] = ()


@dataclass(frozen=True, slots=True)
class Log:
    """One inspection's entries with everything that they can be compared with.

    Parameters
    ----------
    rope : Rope
        The rope.
    inspection : Inspection
        The inspection, with its stations.
    readings : tuple of Reading
        The manual entries, in the order of logging.
    gauges : mapping of str to Gauge
        The gauges that the readings name, by identity.
    results : tuple of (Estimate or Refusal)
        Results of the photographs.
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
    >>> log.place(0)
    Place(station=1, view_deg=0)
    """

    rope: Rope
    inspection: Inspection
    readings: tuple[Reading, ...]
    gauges: Mapping[str, Gauge] = field(default_factory=dict)
    results: tuple[Result, ...] = ()
    earlier: tuple[Earlier, ...] = ()

    def place(self, entry: int) -> Place:
        """Return the place of reading number `entry` (from 0)."""
        return self.readings[entry].place

    def places(self, entries: Iterable[int]) -> tuple[Place, ...]:
        """Return the places of several readings, by their numbers (from 0)."""
        return tuple(self.place(entry) for entry in entries)

    def beside_the_plan(self) -> tuple[Estimate, ...]:
        """Return figures of stations that were neither planned nor read in the inspection.

        A card left over from another rope, or a bar photographed as a check: nothing says that
        they belong to this rope. An inspection without a plan accepts every station.
        """
        planned = {station.number for station in self.inspection.stations}
        known = planned | {reading.station for reading in self.readings}
        return tuple(
            result
            for result in self.results
            if isinstance(result, Estimate) and planned and result.station not in {None, *known}
        )

    def crossovers(self) -> frozenset[int]:
        """Return the stations at which the rope crosses over to the next layer of the drum."""
        return frozenset(
            station.number for station in self.inspection.stations if station.at_crossover
        )

    def unworn(self) -> frozenset[int]:
        """Return the stations at which the rope never runs, and so does not wear."""
        return frozenset(
            station.number for station in self.inspection.stations if station.never_runs
        )

    def positions_m(self) -> dict[int, float]:
        """Return each station's distance along the rope, m."""
        return {station.number: station.position_m for station in self.inspection.stations}


def placed(results: Iterable[Result]) -> list[Estimate]:
    """Return the figures whose card gave both station and direction."""
    return [
        result
        for result in results
        if isinstance(result, Estimate) and None not in (result.station, result.view_deg)
    ]


def counted(number: int, one: str, several: str) -> str:
    """Return a number with its noun: "1 entry", "3 entries"."""
    return f"{number} {one if number == 1 else several}"


def stations_in_words(numbers: Sequence[int]) -> str:
    """Return stations as they read in a sentence.

    Examples
    --------
    >>> stations_in_words([3]), stations_in_words([1, 3, 4])
    ('station 3', 'stations 1, 3 and 4')
    """
    *before, last = map(str, numbers)
    return f"stations {', '.join(before)} and {last}" if before else f"station {last}"


def stations_were(numbers: Sequence[int]) -> str:
    """Return stations and their verb, at the beginning of a sentence.

    Examples
    --------
    >>> stations_were([3]), stations_were([1, 4])
    ('Station 3 was', 'Stations 1 and 4 were')
    """
    return f"{stations_in_words(numbers).capitalize()} {'was' if len(numbers) == 1 else 'were'}"


def readings_at(readings: Iterable[Reading]) -> dict[Place, list[int]]:
    """Return the numbers (from 0) of the readings of every place, in order of logging."""
    placed: dict[Place, list[int]] = {}
    for entry, reading in enumerate(readings):
        placed.setdefault(reading.place, []).append(entry)
    return placed


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
