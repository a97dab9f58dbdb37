"""Missing, duplicate and contradictory entries, which need no probability.

None of them is odd in itself, but each leaves a place on the rope without the figure that it was
meant to have, and an average would hide that.
"""

from __future__ import annotations

from dataclasses import replace

from inspection.measurement.view import weighted_terms
from inspection.model.log import Log, counted, log_terms, readings_at, stations_were
from inspection.model.loss import can_be_diameter
from inspection.model.readings import Reading
from inspection.screening.multiple_testing import ScreeningTest, plain_fact
from vision.results import Estimate, Finding, Place
from vision.uncertainty import combined_u_mm

# Readings of the same place must agree within this many standard uncertainties of the difference:
# what both share (the gauge's own error) has cancelled. As in the cross-check, 3 is "disagrees".
DISAGREES = 3.0

GAPS = ("direction-missing", "station-not-measured", "beside-the-plan")
INCOMPLETE = ("read-twice", "row-twice", *GAPS)


def gaps_and_contradictions(log: Log) -> tuple[Finding, ...]:
    """Return what is contradictory, duplicated or missing, in this order.

    These findings come in addition to the screening's, and use none of its level.
    """
    tests = [
        *_read_twice(log),
        *_rows_twice(log),
        *_directions_missing(log),
        *_not_measured(log),
        *_beside_the_plan(log),
    ]
    return tuple(test.finding() for test in tests)


def _same_row(one: Reading, two: Reading) -> bool:
    return (one.typed, one.gauge, one.person, one.at) == (two.typed, two.gauge, two.person, two.at)


def _rows_twice(log: Log) -> list[ScreeningTest]:
    twice = [
        entries[index]
        for entries in readings_at(log.readings).values()
        for index in range(1, len(entries))
        if any(
            _same_row(log.readings[entries[index]], log.readings[before])
            for before in entries[:index]
        )
    ]
    if not twice:
        return []
    places = log.places(twice)
    return [
        plain_fact(
            "row-twice",
            tuple(twice),
            places,
            seen=f"{counted(len(twice), 'row is', 'rows are')} in the log twice: "
            f"{', '.join(place.words for place in places[:6])}.",
            remedy="Remove the duplicate, or log what was read the second time.",
            innocent="A row is easily pasted twice.",
        )
    ]


def _read_twice(log: Log) -> list[ScreeningTest]:
    """Return each place whose readings differ by more than repeating a reading explains."""
    terms = log_terms(log)
    tests = []
    for entries in readings_at(log.readings).values():
        known = [entry for entry in entries if terms[entry] is not None]
        if len(known) < 2:
            continue
        low = min(known, key=lambda entry: log.readings[entry].value_mm)
        high = max(known, key=lambda entry: log.readings[entry].value_mm)
        gap = log.readings[high].value_mm - log.readings[low].value_mm
        u = combined_u_mm(weighted_terms([(1.0, terms[high] or ()), (-1.0, terms[low] or ())]))
        if gap <= DISAGREES * u:
            continue
        typed = " and ".join(log.readings[entry].typed for entry in known)
        fact = plain_fact(
            "read-twice",
            tuple(known),
            (log.place(known[0]),),
            seen=f"{log.place(known[0]).words.capitalize()} was read {typed}: {gap:.2f} mm apart, "
            f"but repeating a reading explains {DISAGREES * u:.2f} mm at most. Their mean "
            "represents neither.",
            remedy="Measure this place again, and look at the rope there; withdraw the reading "
            "that is wrong, giving the reason.",
            innocent="The second reading may belong to another station or direction.",
        )
        tests.append(replace(fact, value=gap, limit=DISAGREES * u, unit="mm", touches="figure"))
    return tests


def _directions_missing(log: Log) -> list[ScreeningTest]:
    """Return the stations that neither gauge nor photographs measured in two directions."""
    by_gauge: dict[int, set[int]] = {}
    for reading in log.readings:
        if can_be_diameter(reading.value_mm, log.rope.nominal_mm):
            by_gauge.setdefault(reading.station, set()).add(reading.view_deg % 180)
    by_photo: dict[int, set[int]] = {}
    off_plan = log.beside_the_plan()
    for one in log.results:
        if not isinstance(one, Estimate) or one in off_plan:
            continue
        if one.station is not None and one.view_deg is not None:
            by_photo.setdefault(one.station, set()).add(one.view_deg % 180)
    stations = [
        station
        for station in sorted(by_gauge.keys() | by_photo.keys())
        if max(len(by_gauge.get(station, ())), len(by_photo.get(station, ()))) < 2
    ]
    if not stations:
        return []
    return [
        plain_fact(
            "direction-missing",
            tuple(n for n, one in enumerate(log.readings) if one.station in stations),
            tuple(Place(one) for one in stations),
            seen=f"{stations_were(stations)} measured in one "
            "direction only: no mean diameter, no ovality, no verdict there.",
            remedy="Measure the direction at right angles, too.",
            innocent="Only one side of the rope may have been within reach.",
        )
    ]


def _not_measured(log: Log) -> list[ScreeningTest]:
    taken = {one.station for one in (*log.readings, *log.results)}
    stations = [one.number for one in log.inspection.stations if one.number not in taken]
    if not stations or not (log.readings or log.results):
        return []
    return [
        plain_fact(
            "station-not-measured",
            (),
            tuple(Place(one) for one in stations),
            seen=f"{stations_were(stations)} planned, but nothing was measured there.",
            remedy="Measure it, or say why it can't be measured.",
            innocent="The place may not have been within reach.",
        )
    ]


def _beside_the_plan(log: Log) -> list[ScreeningTest]:
    return [
        plain_fact(
            "beside-the-plan",
            (),
            (Place(one.station or 0, one.view_deg),),
            seen=f"Photograph {one.photo_name} gives {one.diameter_mm:.2f} mm at station "
            f"{one.station}, which was neither planned nor read in this inspection: it was "
            "not compared with anything.",
            remedy="Add the station to the inspection, or remove the photograph.",
            innocent="The card may belong to another rope.",
        )
        for one in log.beside_the_plan()
    ]
