"""Odd figures: every shift and exchange of today's figures that the model tests.

A shift moves some figures together: one reading, both directions of a station with or without
its photographs, all that one gauge or one person read, all from one station onwards. An exchange
puts readings in one another's places. Each is compared with what all the other figures predict.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.special import logsumexp

from inspection.model.log import Log
from inspection.screening.figures.expected_readings import Array, Figures, Fit, Whole, fit, gather
from inspection.screening.figures.predictions import (
    DRAW_SEED,
    DRAWS,
    WORTH_DRAWING,
    chance_by_drawing,
    markov_bound,
)
from inspection.screening.figures.shifts import reading_dof, shifts
from inspection.screening.multiple_testing import ScreeningTest

FEWEST_BEFORE, FEWEST_AFTER = 2, 2  # stations on each side of a change
CERTAIN_P = 1e-9  # tails are not known beyond this: below it, the fewest entries come first
MOST_LET_GO = 12  # shifts
ODD_P = 1e-3  # a shift less likely than this by itself is left free
NOT_READ_PCT = 2.0  # how far an unmeasured place may be from the others, standard deviation
NEVER = -1e9  # logarithm of the evidence for the impossible


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
        Gauge or person, if the shift concerns one.
    """

    check: str
    direction: Array
    entries: tuple[int, ...]
    name: str = ""


@dataclass(frozen=True, slots=True)
class Exchange:
    """Readings that were entered in one another's places.

    Parameters
    ----------
    code : str
        Code of what was exchanged.
    words : str
        The words people see.
    change_mm : ndarray of shape (n,)
        Change of the figures when the exchange is undone, mm.
    entries : tuple of int
        Entries that change.
    free : ndarray of shape (j, n)
        Places left without a reading when it is undone, one per row.
    source : ndarray of shape (m,)
        Which of today's readings belongs to the place of each, numbered from 0.
    twice : tuple of (int, int)
        Places whose entry is a copy of another place's, to the digit: (place, other).
    """

    code: str
    words: str
    change_mm: Array
    entries: tuple[int, ...]
    free: Array
    source: Whole
    twice: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class LogModel:
    """The model of a log's figures, and every shift tested with it.

    Parameters
    ----------
    fitted : Fit
        The model.
    shifts : tuple of Shift
        The shifts tested.
    chances : ndarray of shape (m,)
        For each, the probability of one at least as large if nothing is wrong.
    """

    fitted: Fit
    shifts: tuple[Shift, ...]
    chances: Array

    @property
    def figures(self) -> Figures:
        """The figures of the model."""
        return self.fitted.figures


def model_of(log: Log) -> LogModel | None:
    """Return the model of a log with every shift's chance; None without a usable reading."""
    figures = gather(log)
    if figures is None:
        return None
    fitted, found = fit(figures), shifts_of(figures)
    return LogModel(fitted, tuple(found), shift_chances(fitted, found))


def today(figures: Figures) -> range:
    """Return the places of today's readings among the figures."""
    return range(figures.first, len(figures.off_mm))


def entry_at(figures: Figures, place: int) -> int:
    """Return the entry of the log at a place among the figures."""
    return figures.entries[place - figures.first]


def shifts_of(figures: Figures) -> list[Shift]:
    """Return every shift to be tested."""
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
            always = figures.at_station(station)
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
        found += _changes(figures, theirs, name)
    if len(gauges) > 1:
        found += _changes(figures, list(today(figures)), "")
    for name in people if len(people) > 1 else []:
        theirs = [k for k in today(figures) if readings[entry_at(figures, k)].person == name]
        found.append(_shift(figures, "person", theirs, name))
    if stations > 1:
        found.append(_shift(figures, "whole", [*today(figures), *photographs]))
    return found


def _changes(figures: Figures, places: list[int], name: str) -> Iterator[Shift]:
    stations_read = sorted({int(figures.station[place]) for place in places})
    for start in stations_read[FEWEST_BEFORE : len(stations_read) - FEWEST_AFTER + 1]:
        later = [place for place in places if figures.station[place] >= start]
        yield _shift(figures, "change", later, name)


def _shift(figures: Figures, check: str, places: list[int], name: str = "") -> Shift:
    direction = np.zeros(len(figures.off_mm))
    direction[places] = 1.0
    entries = tuple(entry_at(figures, place) for place in places if place >= figures.first)
    return Shift(check, direction, entries, name)


def shift_chances(fitted: Fit, found: list[Shift]) -> Array:
    """Return, for each shift, the probability of one at least as large if nothing is wrong."""
    return shifts(fitted, np.array([shift.direction for shift in found])).p


def exchanges_of(figures: Figures) -> Iterator[Exchange]:
    """Yield the exchanges to be tested."""
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
        since = f"from station {names[rows[0]]} onwards"
        too_low = _undone(
            figures,
            "rows-shifted",
            f"every line {since} one too low on the sheet",
            later,
            [columns[last][view] for view in sides[last]],
        )
        yield too_low
        if start:
            before = full[start - 1]
            yield replace(
                too_low,
                words=f"the line of station {names[before]} filled in twice, and every line "
                f"{since} one too low on the sheet",
                twice=tuple((columns[first][view], columns[before][view]) for view in sides[first]),
            )
        yield _undone(
            figures,
            "rows-shifted",
            f"every line {since} one too high on the sheet",
            sooner,
            [columns[first][view] for view in sides[first]],
        )


def _columns(figures: Figures) -> dict[int, dict[int, int]]:
    """Return the place of the first reading of every station (by order) and direction."""
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
    """Return the exchange whose undoing gives every place the figure of its source."""
    change = np.zeros(len(figures.off_mm))
    origin = np.arange(len(figures.entries))
    for place, other in source.items():
        change[place] = figures.off_mm[other] - figures.off_mm[place]
        origin[place - figures.first] = other - figures.first
    entries = tuple(sorted(entry_at(figures, place) for place in source))
    rows = np.zeros((len(free or ()), len(change)))
    for row, place in enumerate(free or ()):
        rows[row, place] = 1.0
    return Exchange(code, words, change, entries, rows, origin)


def retype_evidence(fitted: Fit, change_mm: Array) -> float:
    """Return the logarithm of how much more likely the figures are once they are changed."""
    carried = fitted.precision @ change_mm
    return float(-(change_mm @ fitted.pull) - 0.5 * change_mm @ carried)


def exchange_evidence(fitted: Fit, exchange: Exchange) -> float:
    """Return the same for an exchange, with places that were not measured left free."""
    today_off = fitted.figures.off_mm[fitted.figures.first :]
    return float(_Undoing(fitted, [exchange]).gains(today_off[None, :])[0, 0])


class _Undoing:
    """Some exchanges, and how much more likely each makes today's readings, or drawn ones."""

    def __init__(self, fitted: Fit, found: list[Exchange]) -> None:
        figures, self.found = fitted.figures, found
        first, size = figures.first, NOT_READ_PCT * figures.log.rope.nominal_mm / 100.0
        # precision and mean of today's readings given everything read before today
        self.precision = fitted.precision[first:, first:]
        self.step = figures.step_mm[first:]
        today_off = figures.off_mm[first:]
        self.mean = today_off - np.linalg.solve(self.precision, fitted.pull[first:])
        self.first, self.size = first, size
        self.parts = [self._let_go(one) for one in found]

    def _let_go(self, one: Exchange) -> tuple[Array, float, tuple[Whole, Array, float] | None]:
        """Return precision and log determinant with the free places left free, and theirs."""
        rows = self.size * one.free[:, self.first :]
        if not len(rows):
            return self.precision, 0.0, None
        scaled = rows @ self.precision
        inner = np.eye(len(rows)) + scaled @ rows.T
        precision: Array = self.precision - scaled.T @ np.linalg.solve(inner, scaled)
        log_det = 0.5 * float(np.linalg.slogdet(inner)[1])
        if not one.twice:
            return precision, log_det, None
        places = np.flatnonzero(one.free[:, self.first :].any(axis=0))
        covariance = np.asarray(np.linalg.inv(precision[np.ix_(places, places)]), dtype=float)
        return precision, log_det, (places, covariance, float(np.linalg.slogdet(covariance)[1]))

    def gains(self, off_mm: Array) -> Array:
        """Return the gain of each exchange for sets of today's figures, shape (b, exchanges)."""
        away = off_mm - self.mean
        plain = 0.5 * np.einsum("bi,bi->b", away @ self.precision, away)
        gains = np.empty((len(off_mm), len(self.found)))
        for k, (one, (precision, log_det, free)) in enumerate(
            zip(self.found, self.parts, strict=True)
        ):
            turned = away[:, one.source] + self.mean[one.source] - self.mean
            pull = turned @ precision
            gains[:, k] = plain - 0.5 * np.einsum("bi,bi->b", pull, turned) - log_det
            if free is not None:
                places, covariance, log_size = free
                theirs = pull[:, places]
                # then the free places hold no unknown value but a copy to the digit
                gains[:, k] += 0.5 * np.einsum("bi,bi->b", theirs @ covariance, theirs)
                gains[:, k] += 0.5 * (log_size + len(places) * math.log(2.0 * math.pi))
                filled = np.array([place for place, _ in one.twice]) - self.first
                other = np.array([place for _, place in one.twice]) - self.first
                step = self.step[filled]
                equal = np.abs(off_mm[:, filled] - off_mm[:, other]) <= 0.5 * step + 1e-6
                gains[:, k] -= np.log(step).sum()
                gains[~equal.all(axis=1), k] = NEVER
        return gains

    def draw(self, count: int) -> Array:
        """Return sets of today's figures, each with one of the exchanges drawn at random."""
        rng = np.random.default_rng(DRAW_SEED)
        root = np.linalg.cholesky(np.linalg.inv(self.precision))
        sets = self.mean + rng.normal(size=(count, len(self.mean))) @ root.T
        chosen = rng.integers(len(self.found), size=count)
        for k in range(count):
            one = self.found[chosen[k]]
            meant = sets[k] + self.size * rng.normal(size=len(one.free)) @ one.free[:, self.first :]
            sets[k, one.source] = meant
            for place, other in one.twice:
                filled = place - self.first
                sets[k, filled] = sets[k, other - self.first] + self.step[filled] * rng.uniform(
                    -0.5, 0.5
                )
        return sets


def exchange_chances(fitted: Fit, found: list[Exchange]) -> dict[str, tuple[float, Exchange]]:
    """Return, for each kind of exchange, the p-value of its gain and the best exchange.

    The mean gain over a kind is an e-value (as in `copied_figures`): an exchange
    maps one density to another.
    """
    kinds: dict[str, list[Exchange]] = {}
    for exchange in found:
        kinds.setdefault(exchange.code, []).append(exchange)
    today_off = fitted.figures.off_mm[fitted.figures.first :]
    chances = {}
    for code, alike in kinds.items():
        undoing = _Undoing(fitted, alike)
        gains = undoing.gains(today_off[None, :])[0]
        log_e = float(logsumexp(gains)) - math.log(len(gains))
        chance = markov_bound(log_e)
        if log_e > WORTH_DRAWING:
            drawn = undoing.gains(undoing.draw(DRAWS))
            together = logsumexp(drawn, axis=1) - math.log(len(gains))
            chance = chance_by_drawing(log_e, together, -together)
        chances[code] = (chance, alike[int(np.argmax(gains))])
    return chances


def oddness(figures: Figures, p: float, entries: Sequence[int]) -> tuple[float, int, float]:
    """Return the sort key of odd figures, the oddest first.

    One outlier makes everything that its gauge read look odd, and all other readings, too: among
    those, the reading that is off by most comes first.
    """
    off_mm = figures.off_mm[figures.first :]
    moved = [
        abs(off) for off, entry in zip(off_mm, figures.entries, strict=True) if entry in entries
    ]
    return max(p, CERTAIN_P), len(entries), -float(max(moved, default=0.0))


def without_the_odd(model: LogModel) -> Figures:
    """Return the figures with every shift that is odd by itself left free, the oddest first.

    What is learned from the rest is how the rope varies and how people read, without slips and
    thin places. Both directions of a thin place are thin; that makes neither a copy of the other.
    The rest is tested again each time: one outlier makes all others look odd, and can hide those
    that are.
    """
    figures, fitted, chances = model.figures, model.fitted, model.chances
    for _ in range(MOST_LET_GO):
        odd = [
            (oddness(figures, float(p), shift.entries), k)
            for k, (shift, p) in enumerate(zip(model.shifts, chances, strict=True))
            if p < ODD_P and shift.check != "across"
        ]
        if not odd:
            break
        figures = figures.without(model.shifts[min(odd)[1]].direction[None, :])
        fitted = fit(figures, start=fitted.learned)
        chances = shift_chances(fitted, list(model.shifts))
    return figures


def odd_figures_tests(model: LogModel) -> list[tuple[ScreeningTest, Shift | Exchange]]:
    """Return one test per shift and one per kind of exchange, with what was tested.

    The words come later, with the explanation (`inspection.screening.figures.explanations`).
    """
    fitted, log = model.fitted, model.figures.log

    def test(check: str, entries: tuple[int, ...], p: float) -> ScreeningTest:
        where = log.places(entries)
        return ScreeningTest(check, check, entries, where, p, "", "", "")

    tests: list[tuple[ScreeningTest, Shift | Exchange]] = [
        (test(shift.check, shift.entries, float(p)), shift)
        for shift, p in zip(model.shifts, model.chances, strict=True)
    ]
    exchanged = exchange_chances(fitted, list(exchanges_of(fitted.figures)))
    tests += [
        (test("axes" if code == "axes-exchanged" else "exchange", best.entries, p), best)
        for code, (p, best) in exchanged.items()
    ]
    return tests


def with_learned_repeatability(log: Log, model: LogModel | None) -> tuple[Log, dict[str, float]]:
    """Return the log with each gauge's learned repeatability, and its degrees of freedom.

    Learned with a prior from right-angle pairs, repeated readings, photographs and earlier
    inspections (`expected_readings`); where several people use one gauge,
    the mean of their variances. A repeatability that was entered stays. The degrees of freedom,
    by gauge, are those of the variance, with the longer tails of a single reading; of several
    people the fewest.
    """
    if model is None:
        return log, {}
    hands: dict[str, list[float]] = {}
    dof: dict[str, float] = {}
    found = fit(without_the_odd(model))
    dof_of = reading_dof(found)
    for (gauge, person), repeat_mm in found.repeatability_mm().items():
        hands.setdefault(gauge, []).append(repeat_mm**2)
        dof[gauge] = min(dof.get(gauge, math.inf), dof_of[gauge, person])
    gauges = {
        name: gauge
        if gauge.repeatability_mm is not None or name not in hands
        else replace(gauge, repeatability_mm=math.sqrt(sum(hands[name]) / len(hands[name])))
        for name, gauge in log.gauges.items()
    }
    return replace(log, gauges=gauges), dof
