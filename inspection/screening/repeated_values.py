"""Repeats: figures that were read before, elsewhere, or printed on the certificate.

Two honest readings of the same rope can agree to the last digit; a whole set of them hardly
ever does. Every probability here is a bound: it reckons with a rope that did not change at all
and is equally thick everywhere, and with the least scatter of
`inspection.screening.underdispersion`.
"""

from __future__ import annotations

from collections.abc import Sequence

from scipy.special import bdtrc

from inspection.model.log import Log, readings_at
from inspection.screening.digit_preference import gauge_steps
from inspection.screening.multiple_testing import ScreeningTest
from inspection.screening.underdispersion import given_figure_probability, least_scatter_mm

FEWEST_REPEATED = 3  # fewer say nothing at any step


def repeated_value_tests(log: Log) -> list[ScreeningTest]:
    """Return the tests for sets repeated from before or elsewhere, and at the nominal typed in."""
    known = [entry for entry, item in enumerate(log.readings) if item.gauge in log.gauges]
    if len(known) < FEWEST_REPEATED:
        return []
    step = gauge_steps(
        [log.readings[entry] for entry in known],
        max(log.gauges[log.readings[entry].gauge].resolution_mm for entry in known),
    )[1]
    tests = _earlier_tests(log, known, step)
    return [*tests, *_station_tests(log, known, step), *_nominal_tests(log, known, step)]


def _earlier_tests(log: Log, known: list[int], step: float) -> list[ScreeningTest]:
    # whatever was read then, today's reading shows that figure with at most this probability
    chance = given_figure_probability(step, least_scatter_mm(log.rope.nominal_mm, step))
    tests = []
    for before in log.earlier:
        then = {
            place: before.readings[entries[0]].value_mm
            for place, entries in readings_at(before.readings).items()
        }
        both = [e for e in known if log.place(e) in then]
        same = [e for e in both if abs(log.readings[e].value_mm - then[log.place(e)]) < 1e-6]
        if len(both) < FEWEST_REPEATED:
            continue
        tests.append(
            ScreeningTest(
                check="repeats-earlier",
                code="repeats-earlier",
                entries=tuple(same or both),
                places=log.places(same or both),
                p=float(bdtrc(len(same) - 1, len(both), chance)) if same else 1.0,
                seen=f"{len(same)} of {len(both)} entries are equal to the last digit to those "
                f"of {before.inspection.on} ({before.inspection.identity}); at most about "
                f"{len(both) * chance:.1f} are to be expected.",
                remedy="Read two of these stations again, and look whether the earlier sheet "
                "was opened in place of a new one.",
                innocent="The earlier sheet may have been sent in again by mistake, or copied "
                "as a form to be overwritten.",
                value=float(len(same)),
                limit=len(both) * chance,
                about=(before.inspection.identity,),
            )
        )
    return tests


def repeated_stations_bound(stations: int, repeated: int, chance: float) -> float:
    """Return a bound on the probability that at least `repeated` stations repeat another's set.

    Parameters
    ----------
    stations : int
        Stations with a full set.
    repeated : int
        Stations whose set equals that of a station before them.
    chance : float
        Largest probability that a set shows the figures of one named beforehand.

    Notes
    -----
    Whatever was read before, station number i repeats one of its i - 1 forerunners with a
    probability of at most (i - 1) x chance, so the count is at most a sum of such independent
    events (own derivation). The sum's distribution is built station by station.

    Examples
    --------
    >>> round(repeated_stations_bound(2, 1, 0.01), 6)
    0.01
    """
    odds = [1.0]
    for before in range(stations):
        p = min(1.0, before * chance)
        odds = [
            (odds[k] * (1.0 - p) if k < len(odds) else 0.0) + (odds[k - 1] * p if k else 0.0)
            for k in range(len(odds) + 1)
        ]
    return min(1.0, sum(odds[repeated:]))


def repeated_run_bound(stations: int, length: int, chance: float) -> float:
    """Return a bound on the probability that a run of stations repeats an earlier run in order.

    The number of pairs of runs times the probability of one (union bound).
    """
    pairs = sum(1 for i in range(stations) for j in range(i + 1, stations - length + 1))
    return min(1.0, pairs * chance**length)


def _station_tests(log: Log, known: list[int], step: float) -> list[ScreeningTest]:
    sets: dict[int, dict[int, int]] = {}
    for entry in known:
        reading = log.readings[entry]
        sets.setdefault(reading.station, {}).setdefault(reading.view_deg, entry)
    full = {number: views for number, views in sets.items() if len(views) >= 2}
    places = log.positions_m()
    numbers = sorted(full, key=lambda number: (places.get(number, 0.0), number))
    if len(numbers) < 2:
        return []
    figures = [
        tuple(round(log.readings[e].value_mm / step) for _, e in sorted(full[number].items()))
        for number in numbers
    ]
    width = min(len(figure) for figure in figures)
    single = given_figure_probability(step, least_scatter_mm(log.rope.nominal_mm, step))
    chance = single**width
    repeated = [i for i in range(len(figures)) if figures[i] in figures[:i]]
    start, length = _longest_run(figures)
    bounds = [
        (repeated_stations_bound(len(numbers), len(repeated), chance), repeated),
        (
            repeated_run_bound(len(numbers), length, chance) if length else 1.0,
            list(range(start, start + length)),
        ),
    ]
    tests = []
    for p, which in bounds:
        if not which:
            which, p = list(range(len(numbers))), 1.0
        entries = tuple(e for i in which for _, e in sorted(full[numbers[i]].items()))
        tests.append(
            ScreeningTest(
                check="repeats-station",
                code="repeats-station",
                entries=entries,
                places=log.places(entries),
                p=p,
                seen=f"{len(which)} of {len(numbers)} stations have the very figures of a station "
                "before them.",
                remedy="Read one of these stations again.",
                innocent="An even rope read with a coarse step repeats itself, or a line of the "
                "sheet was filled down by mistake.",
                value=float(len(which)),
            )
        )
    return tests


def _longest_run(figures: Sequence[tuple[int, ...]]) -> tuple[int, int]:
    """Return start and length of the longest run of stations that repeats an earlier run."""
    best = (0, 0)
    for shift in range(1, len(figures)):
        length = 0
        for i in range(shift, len(figures)):
            length = length + 1 if figures[i] == figures[i - shift] else 0
            # a run must not lap over the one it repeats
            kept = min(length, shift)
            if kept > best[1]:
                best = (i - kept + 1, kept)
    return best


def _nominal_tests(log: Log, known: list[int], step: float) -> list[ScreeningTest]:
    chance = given_figure_probability(step, least_scatter_mm(log.rope.nominal_mm, step))
    nominal = log.rope.nominal_mm
    same = [e for e in known if abs(log.readings[e].value_mm - nominal) < 0.5e-3]
    shown = same or known
    return [
        ScreeningTest(
            check="nominal",
            code="nominal-typed",
            entries=tuple(shown),
            places=log.places(shown),
            p=float(bdtrc(len(same) - 1, len(known), chance)) if same else 1.0,
            seen=f"{len(same)} of {len(known)} entries are exactly the nominal diameter "
            f"({nominal:g} mm); at most about {len(known) * chance:.1f} are to be expected.",
            remedy="Read these stations again.",
            innocent="The sheet may have been filled with the nominal diameter as a place "
            "holder, or the rope may lie close to it.",
            value=float(len(same)),
            limit=len(known) * chance,
        )
    ]
