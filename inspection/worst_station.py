"""The station that a person must look at first: where, how thin, how far towards discard, and why.

One rule for the sheet of stations, the register of ropes and page one of the report. A station
beyond a criterion comes first, then a possible loss of section, then the largest decrease. A figure
that depends on an entry to be checked keeps its place, and is marked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from inspection.assessment import Assessment
from inspection.limits.conformity import PlacedVerdict
from inspection.limits.outside import beyond_limits
from inspection.limits.wear import LocalDecrease, StationSeverity
from inspection.measurement.doubt import DoubtedEntry
from inspection.measurement.section import Section, Source
from inspection.model.log import budget_of
from inspection.model.loss import can_be_diameter
from inspection.model.rope import Rope
from vision.results import Estimate, Place
from vision.uncertainty import combined_u_mm

Concern = Literal["beyond a limit", "possible loss of section", "thinnest"]


@dataclass(frozen=True, slots=True)
class WorstStation:
    """The station to look at first.

    Parameters
    ----------
    station : int
        Station number.
    diameter_mm, u_mm : float
        The figure with the smallest uncertainty that it has, and its standard uncertainty, mm.
    directions : int
        Number of directions measured; with only one it is not a mean.
    why : {"beyond a limit", "possible loss of section", "thinnest"}
        Why it comes first.
    section : Section or None
        The figure with its directions; None where there is only one direction.
    severity : StationSeverity or None
        Uniform decrease of diameter; None where no reference diameter allows it.
    local : LocalDecrease or None
        Comparison with its neighbours; None for fewer than 3 stations.
    beyond : tuple of PlacedVerdict
        Verdicts "outside" a limit for discard or acceptance at this station, the most severe first.
    source : {"photographs", "gauge"}
        What the figure came from.
    doubts : tuple of DoubtedEntry
        The entries to be checked that put it in doubt.
    is_thinnest : bool
        Whether no other station is thinner.
    """

    station: int
    diameter_mm: float
    u_mm: float
    directions: int
    why: Concern
    section: Section | None = None
    severity: StationSeverity | None = None
    local: LocalDecrease | None = None
    beyond: tuple[PlacedVerdict, ...] = ()
    source: Source = "photographs"
    doubts: tuple[DoubtedEntry, ...] = ()
    is_thinnest: bool = True

    @property
    def doubted(self) -> bool:
        """Whether an entry to be checked puts it in doubt."""
        return bool(self.doubts)

    @property
    def is_local_decrease(self) -> bool:
        """Whether it is thinner than its neighbours by more than the uncertainty allows."""
        return self.local is not None and self.local.outcome == "local decrease"


def worst_station(assessment: Assessment) -> WorstStation | None:
    """Return the station to look at first; None where nothing was measured.

    A station measured in one direction only counts if it may have lost section there.
    """
    singles = _singles(assessment)
    placed = [_of_section(assessment, section) for section in assessment.best]
    placed += [one for one in singles if one.why == "possible loss of section"]
    if not placed:
        return min(singles, key=lambda one: one.diameter_mm, default=None)
    worst = min(placed, key=lambda one: _rank(one, assessment.log.rope))
    thinnest_mm = min(one.diameter_mm for one in placed)
    return replace(worst, is_thinnest=worst.diameter_mm <= thinnest_mm)


def possible_losses(assessment: Assessment) -> frozenset[int]:
    """Return the stations where section may be lost, by a finding or beside their neighbours."""
    thin = {one.station for one in assessment.local if one.outcome == "local decrease"}
    named = {
        place.station
        for finding in assessment.findings
        if finding.look_first
        for place in finding.places
    }
    return frozenset(thin | named)


def _rank(one: WorstStation, rope: Rope) -> tuple[int, float, float]:
    order: dict[Concern, int] = {
        "beyond a limit": 0,
        "possible loss of section": 1,
        "thinnest": 2,
    }
    decrease = 0.0
    if one.severity is not None:
        decrease = one.severity.severity.decrease_pct
    elif rope.reference_mm is not None:
        decrease = 100.0 * (rope.reference_mm - one.diameter_mm) / rope.nominal_mm
    return order[one.why], -decrease, one.diameter_mm


def _of_section(assessment: Assessment, section: Section) -> WorstStation:
    number = section.station
    beyond = tuple(one for one in beyond_limits(assessment.verdicts) if one.station == number)
    local = next((one for one in assessment.local if one.station == number), None)
    why: Concern = "thinnest"
    if beyond:
        why = "beyond a limit"
    elif number in possible_losses(assessment):
        why = "possible loss of section"
    return WorstStation(
        station=number,
        diameter_mm=section.mean_mm,
        u_mm=section.u_mean_mm,
        directions=len(section.views),
        why=why,
        section=section,
        severity=next((one for one in assessment.severities if one.station == number), None),
        local=local,
        beyond=beyond,
        source=section.source,
        doubts=assessment.doubts_at(number),
    )


def _singles(assessment: Assessment) -> list[WorstStation]:
    """Return the thinnest single figure of every station not measured in two directions."""
    log = assessment.log
    singles: list[tuple[float, float, Place, Source]] = [
        (one.diameter_mm, one.u_mm, one.place, "photographs")
        for one in log.results
        if isinstance(one, Estimate) and one.place is not None
    ]
    singles += [
        (one.gauge_mm, one.u_gauge_mm, one.place, "gauge")
        for one in assessment.crosscheck.comparisons
        if can_be_diameter(one.gauge_mm, log.rope.nominal_mm)
    ]
    for one in assessment.crosscheck.readings_alone:
        if can_be_diameter(one.value_mm, log.rope.nominal_mm):
            terms = budget_of(log, one, inspection=log.inspection.identity)
            singles.append((one.value_mm, combined_u_mm(terms or ()), one.place, "gauge"))
    lost, complete = possible_losses(assessment), {section.station for section in assessment.best}
    thinnest: dict[int, tuple[float, float, Source]] = {}
    for mm, u_mm, place, source in singles:
        if place.station not in complete:
            this = (mm, u_mm, source)
            thinnest[place.station] = min(this, thinnest.get(place.station, this))
    return [
        WorstStation(
            station, mm, u_mm, 1,
            "possible loss of section" if station in lost else "thinnest",
            source=source,
            doubts=assessment.doubts_at(station),
        )
        for station, (mm, u_mm, source) in thinnest.items()
    ]  # fmt: skip
