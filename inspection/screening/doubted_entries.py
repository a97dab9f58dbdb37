"""The entries that put figures in doubt: those of findings, and disagreeing readings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from inspection.comparison.crosscheck import CrossCheck
from inspection.measurement.doubt import DoubtedEntry
from inspection.model.log import Log
from inspection.screening.checks.completeness import GAPS
from vision.results import Estimate, Finding, Place

# Findings about photographs; all others are about readings.
OF_PHOTOGRAPHS = (
    "beside-the-plan",
    "lay-along",
    "lay-certificate",
    "lay-changed",
    "other-camera",
    "photograph-alike",
    "photographs-day",
    "photographs-too-fast",
    "same-photograph",
    "shots-disagree",
)
OF_BOTH = ("far-from-nominal",)


def doubted_entries(
    log: Log, findings: Sequence[Finding], checked: CrossCheck
) -> tuple[DoubtedEntry, ...]:
    """Return the entries to be checked, most urgent first, each once.

    Every station that a finding names has at least one. A finding about a place names all entries
    of its kind there.
    """
    apart = {one.place for one in checked.comparisons if one.word == "disagrees"}
    listed = [
        entry
        for finding in findings
        for place in dict.fromkeys(finding.places)
        for entry in _of_finding(log, finding.code, place, apart)
    ]
    listed += [entry for place in sorted(apart) for entry in _readings(log, place, apart)]
    return tuple(dict.fromkeys(listed))


def _of_finding(log: Log, code: str, place: Place, apart: set[Place]) -> list[DoubtedEntry]:
    readings = list(_readings(log, place, apart))
    photographs = list(_photographs(log, place, apart))
    if code in OF_PHOTOGRAPHS:
        found = photographs
    elif code in GAPS:
        found = []
    elif code in OF_BOTH:
        found = [*readings, *photographs]
    else:
        found = readings or photographs
    return found or [DoubtedEntry(place)]


def _readings(log: Log, place: Place, apart: set[Place]) -> Iterator[DoubtedEntry]:
    for one in log.readings:
        if one.station == place.station and place.view_deg in (None, one.view_deg):
            value = _as_logged(one.typed, one.value_mm)
            yield DoubtedEntry(one.place, "gauge", value, one.place in apart)


def _photographs(log: Log, place: Place, apart: set[Place]) -> Iterator[DoubtedEntry]:
    for one in log.results:
        if (
            isinstance(one, Estimate)
            and one.place is not None
            and one.station == place.station
            and place.view_deg in (None, one.view_deg)
        ):
            value = f"{one.diameter_mm:.2f} mm"
            yield DoubtedEntry(one.place, "photographs", value, one.place in apart)


def _as_logged(typed: str, value_mm: float) -> str:
    """Return a reading in mm with the digits that were typed, if millimetres were typed."""
    digits = typed.strip().replace(",", ".")
    try:
        return f"{digits} mm" if float(digits) == value_mm else f"{value_mm:.2f} mm"
    except ValueError:
        return f"{value_mm:.2f} mm"
