"""Odd figures: every shift and exchange of today's figures that the model can be asked about.

A shift moves some figures together: one reading, both directions of a station with or without
its photographs, all that one gauge or one person read, all from one station on. An exchange puts
readings in one another's places. Each is held against what all else lets expect.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.special import logsumexp

from inspection.model.log import Log
from inspection.screening.expected_readings import Array, Figures, Fit, fit, gather, shifts
from inspection.screening.multiple_testing import ScreeningTest

FEWEST_BEFORE, FEWEST_AFTER = 2, 2  # stations on each side of a change
ODD_P = 1e-3  # a shift that is less likely by itself is let go
NOT_READ_PCT = 2.0  # how far a place of which nothing was read may lie from the others


@dataclass(frozen=True, slots=True)
class Shift:
    """Some of today's figures that move together.

    Parameters
    ----------
    check : str
        Kind of shift; key of `inspection.screening.multiple_testing.SHARES`.
    direction : ndarray of shape (n,)
        How much each figure moves.
    entries : tuple of int
        Entries of the log that move, numbered from 0.
    name : str
        Gauge or person, where it is about one.
    """

    check: str
    direction: Array
    entries: tuple[int, ...]
    name: str = ""


@dataclass(frozen=True, slots=True)
class Exchange:
    """Readings that stand in one another's places.

    Parameters
    ----------
    code : str
        What was exchanged.
    words : str
        The same for people.
    change_mm : ndarray of shape (n,)
        What the figures change by when it is undone, mm.
    entries : tuple of int
        Entries that change.
    free : ndarray of shape (j, n)
        Places of which nothing was read then, one a row.
    """

    code: str
    words: str
    change_mm: Array
    entries: tuple[int, ...]
    free: Array


def today(figures: Figures) -> range:
    """Return the places of today's readings among the figures."""
    return range(figures.first, len(figures.off_mm))


def entry_at(figures: Figures, place: int) -> int:
    """Return the entry of the log that stands at a place among the figures."""
    return figures.entries[place - figures.first]


def shifts_of(figures: Figures) -> list[Shift]:
    """Return every shift that is looked for."""
    readings = figures.log.readings
    photographs = [int(place) for place in figures.photographs]
    found = [_shift(figures, "entry", [place]) for place in today(figures)]
    stations = len(figures.numbers)
    for station in range(stations):
        here = [place for place in today(figures) if figures.station[place] == station]
        seen = [place for place in photographs if figures.station[place] == station]
        if len(here) > 1:
            found.append(_shift(figures, "station", [*here, *seen]))
            if seen:
                found.append(_shift(figures, "station-read", here))
            always = [k for k in range(len(figures.off_mm)) if figures.station[k] == station]
            if len(always) > len(here) + len(seen):
                found.append(_shift(figures, "place", always))
            across = np.zeros(len(figures.off_mm))
            across[here] = figures.cos_2_view[here]
            if np.ptp(across[here]) > 1.0:
                entries = tuple(entry_at(figures, place) for place in here)
                found.append(Shift("across", across, entries))
        for place in here:
            alike = [
                other
                for other in seen
                if math.isclose(figures.cos_2_view[other], figures.cos_2_view[place], abs_tol=1e-6)
            ]
            if alike:
                found.append(_shift(figures, "direction", [place, *alike]))
    gauges = sorted({readings[entry].gauge for entry in figures.entries})
    people = sorted({readings[entry].person for entry in figures.entries})
    for name in gauges:
        theirs = [k for k in today(figures) if readings[entry_at(figures, k)].gauge == name]
        found.append(_shift(figures, "gauge", theirs, name))
        held = sorted({int(figures.station[place]) for place in theirs})
        for start in held[FEWEST_BEFORE : len(held) - FEWEST_AFTER + 1]:
            later = [place for place in theirs if figures.station[place] >= start]
            found.append(_shift(figures, "change", later, name))
    for name in people if len(people) > 1 else []:
        theirs = [k for k in today(figures) if readings[entry_at(figures, k)].person == name]
        found.append(_shift(figures, "person", theirs, name))
    if stations > 1:
        found.append(_shift(figures, "whole", [*today(figures), *photographs]))
    return found


def _shift(figures: Figures, check: str, places: list[int], name: str = "") -> Shift:
    direction = np.zeros(len(figures.off_mm))
    direction[places] = 1.0
    entries = tuple(entry_at(figures, place) for place in places if place >= figures.first)
    return Shift(check, direction, entries, name)


def shift_chances(fitted: Fit, found: list[Shift]) -> Array:
    """Return how likely a shift at least as large is, for each, if nothing is wrong."""
    return shifts(fitted, np.array([shift.direction for shift in found])).p


def exchanges_of(figures: Figures) -> Iterator[Exchange]:
    """Return the exchanges that are looked for, one after the other."""
    columns = _columns(figures)
    stations = [number for number in range(len(figures.numbers)) if number in columns]
    names = figures.numbers
    sides = {number: sorted(columns[number]) for number in stations}
    pairs = [number for number in stations if len(sides[number]) == 2]
    for number in pairs:
        yield _undone(
            figures,
            "directions-exchanged",
            "the two directions exchanged",
            _turned(columns, [number]),
        )
    if len(pairs) > 2:
        yield _undone(
            figures,
            "axes-exchanged",
            "the two directions exchanged at every station",
            _turned(columns, pairs),
        )
    full = [number for number in stations if sides[number] == sides[stations[0]]]
    for here, there in pairwise(full):
        swap = {columns[here][view]: columns[there][view] for view in sides[here]}
        swap |= {there_at: here_at for here_at, there_at in swap.items()}
        yield _undone(
            figures,
            "stations-exchanged",
            f"stations {names[here]} and {names[there]} exchanged",
            swap,
        )
    for start in range(len(full) - 2):
        rows = full[start:]
        later = {
            columns[here][view]: columns[there][view]
            for here, there in pairwise(rows)
            for view in sides[here]
        }
        sooner = {there_at: here_at for here_at, there_at in later.items()}
        last, first = rows[-1], rows[0]
        later |= {columns[last][view]: columns[first][view] for view in sides[first]}
        sooner |= {columns[first][view]: columns[last][view] for view in sides[first]}
        since = f"from station {names[rows[0]]} on"
        yield _undone(
            figures,
            "rows-shifted",
            f"every line {since} one too low on the sheet",
            later,
            [columns[last][view] for view in sides[last]],
        )
        yield _undone(
            figures,
            "rows-shifted",
            f"every line {since} one too high on the sheet",
            sooner,
            [columns[first][view] for view in sides[first]],
        )


def _columns(figures: Figures) -> dict[int, dict[int, int]]:
    """Return the first reading of every place: station (by order), direction -> its place."""
    columns: dict[int, dict[int, int]] = {}
    for place in today(figures):
        view = figures.log.readings[entry_at(figures, place)].view_deg
        columns.setdefault(int(figures.station[place]), {}).setdefault(view, place)
    return columns


def _turned(columns: dict[int, dict[int, int]], stations: list[int]) -> dict[int, int]:
    turned: dict[int, int] = {}
    for number in stations:
        one, other = columns[number].values()
        turned |= {one: other, other: one}
    return turned


def _undone(
    figures: Figures, code: str, words: str, source: dict[int, int], free: list[int] | None = None
) -> Exchange:
    """Return the exchange after which every place shows what stands at its source."""
    change = np.zeros(len(figures.off_mm))
    for place, other in source.items():
        change[place] = figures.off_mm[other] - figures.off_mm[place]
    entries = tuple(sorted(entry_at(figures, place) for place in source))
    rows = np.zeros((len(free or ()), len(change)))
    for row, place in enumerate(free or ()):
        rows[row, place] = 1.0
    return Exchange(code, words, change, entries, rows)


def retype_evidence(fitted: Fit, change_mm: Array) -> float:
    """Return the logarithm of how much likelier the figures are once they are changed."""
    carried = fitted.precision @ change_mm
    return float(-(change_mm @ fitted.pull) - 0.5 * change_mm @ carried)


def exchange_evidence(fitted: Fit, exchange: Exchange) -> float:
    """Return the same for an exchange, what was not read being let go."""
    gain = retype_evidence(fitted, exchange.change_mm)
    if len(exchange.free):
        pull = fitted.pull + fitted.precision @ exchange.change_mm
        rows = NOT_READ_PCT * fitted.figures.log.rope.nominal_mm / 100.0 * exchange.free
        inner = np.eye(len(rows)) + rows @ fitted.precision @ rows.T
        held = rows @ pull
        gain += 0.5 * float(held @ np.linalg.solve(inner, held))
        gain -= 0.5 * float(np.linalg.slogdet(inner)[1])
    return gain


def exchange_chances(fitted: Fit, found: list[Exchange]) -> dict[str, tuple[float, Exchange]]:
    """Return, for each kind of exchange, how likely so much gain is, and the best one of it.

    The mean gain over a kind is an e-value (as in `inspection.screening.copied_figures`): an
    exchange carries one density into another.
    """
    kinds: dict[str, list[tuple[float, Exchange]]] = {}
    for exchange in found:
        gain = exchange_evidence(fitted, exchange)
        kinds.setdefault(exchange.code, []).append((gain, exchange))
    return {
        code: (
            math.exp(
                -max(float(logsumexp([gain for gain, _ in gains])) - math.log(len(gains)), 0.0)
            ),
            max(gains, key=lambda item: item[0])[1],
        )
        for code, gains in kinds.items()
    }


def without_the_odd(figures: Figures) -> Figures:
    """Return the figures with all shifts let go that are odd by themselves.

    What is learned from the rest is how the rope is and how people read, without slips and thin
    places; and both directions of a thin place are thin, the one no copy of the other for that.
    """
    found = [shift for shift in shifts_of(figures) if shift.check not in ("across", "change")]
    odd = [
        shift.direction
        for shift, p in zip(found, shift_chances(fit(figures), found), strict=True)
        if p < ODD_P
    ]
    return figures.without(np.array(odd)) if odd else figures


def odd_figures_tests(fitted: Fit) -> list[tuple[ScreeningTest, Shift | Exchange]]:
    """Return one test a shift and one a kind of exchange, with what was tested.

    The words come later, with the explanation (`inspection.screening.explanations`).
    """
    log = fitted.figures.log

    def test(check: str, entries: tuple[int, ...], p: float) -> ScreeningTest:
        where = log.places(entries)
        return ScreeningTest(check, check, entries, where, p, "", "", "")

    found = shifts_of(fitted.figures)
    tests: list[tuple[ScreeningTest, Shift | Exchange]] = [
        (test(shift.check, shift.entries, float(p)), shift)
        for shift, p in zip(found, shift_chances(fitted, found), strict=True)
    ]
    exchanged = exchange_chances(fitted, list(exchanges_of(fitted.figures)))
    tests += [(test("exchange", best.entries, p), best) for p, best in exchanged.values()]
    return tests


def with_learned_repeatability(log: Log) -> Log:
    """Return the log, each gauge with the repeatability that its readings have shown.

    Learned with a prior from right-angle pairs, readings taken again, photographs and earlier
    inspections (`inspection.screening.expected_readings`); where several people read with one
    gauge, the mean of their variances. One that was entered stays.
    """
    figures = gather(log)
    if figures is None:
        return log
    hands: dict[str, list[float]] = {}
    for (gauge, _), repeat_mm in fit(without_the_odd(figures)).repeatability_mm().items():
        hands.setdefault(gauge, []).append(repeat_mm**2)
    gauges = {
        name: gauge
        if gauge.repeatability_mm is not None or name not in hands
        else replace(gauge, repeatability_mm=math.sqrt(sum(hands[name]) / len(hands[name])))
        for name, gauge in log.gauges.items()
    }
    return replace(log, gauges=gauges)
