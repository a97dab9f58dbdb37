"""The expected value of every reading of a log, and its uncertainty: one joint normal model.

Today's readings, today's photographs and the last inspections observe one rope: a diameter at
each station with an ovality, worn since then, through gauges, prints and people with errors of
their own. What they share (a gauge, a print, a person, a station) correlates them, and the
covariance says how far each may be from what the others predict.

Three kinds of scatter are learned from the log itself, from prior to posterior: how uneven the
rope is along its length, how its ovality varies, and how well each person repeats with each
gauge. Right-angle pairs, repeated readings, photographs and earlier inspections all inform
them, because all of them are in the one covariance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpotri

from inspection.measurement.trend import DAYS_PER_YEAR
from inspection.model.log import Log, placed
from inspection.model.readings import Gauge, Reading, calibrations_between, gauge_terms
from inspection.model.rope import Inspection
from vision.results import Estimate

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Hand = tuple[str, str]  # gauge and person: who reads with what

# Priors for ropes, people and gauges, in % of the nominal diameter where no unit is given. Judged
# from the trade's figures; no source. The simulations in tests/benchmarks show how they perform for
# very different ropes, people and gauges.
LEVEL_PCT = 10.0  # how far a rope's level may be from nominal: almost free
OVERSIZE_PCT = 1.0  # its expected value
SMOOTH_PCT = 0.4  # slow change along the rope
REACH = 0.35  # its correlation length, as a fraction of the rope's length
OVAL_PCT = 0.3  # ovality that all stations share
UNEVEN_PCT, OVAL_CHANGE_PCT, ROPE_LOG_SD = 0.1, 0.15, 0.7  # from station to station; learned
LOSS_PCT, LOSS_SD_PCT, STATION_LOSS_PCT = 0.2, 0.25, 0.15  # in a year: all along, one station
VISIT_PCT = 0.05  # tension and temperature on the day
# Where the rope never runs it keeps its diameter: how far that is from the reference, the
# reference's uncertainty where none was entered, and how much the rest may have lost against it.
UNWORN_PCT, REFERENCE_PCT, WORN_PCT = 0.3, 0.2, 3.0
PERSON_MM = 0.02  # one person's bias
REPEATABILITY_MM, REPEATABILITY_LOG_SD = 0.07, 0.55  # one person with one gauge; learned
ENTERED_LOG_SD = 0.15  # where it was entered
# Unsteady people and worn gauges are rare, but not as rare as a normal tail says: what is known of
# them is worth some five cases. So are uneven ropes once an earlier inspection shows them; until
# then a loss must not pass for unevenness. Nobody repeats worse than this. Our judgement.
RARE_DOF = 4.0
WORST_HAND_MM, WORST_HAND_PCT = 0.5, 1.0  # whichever is more
MOST_SCATTER_PCT = 5.0  # upper bound of the rope's learned scatter
LET_GO_PCT = 10.0  # size that a shift may have when it is left free
MOST_TIMES = 1000.0  # nominal; anything larger is not a reading, and would swamp all in round-off
MOST_VISITS = 3  # earlier inspections that are used
REFERENCE = MOST_VISITS + 1  # the visit at which the reference diameter was taken
SAME_PLACE_M = 0.5  # stations of two inspections within this count as one place; no source


@dataclass(frozen=True, slots=True)
class Figures:
    """All figures of a log as one vector, the readings of today last.

    Parameters
    ----------
    log : Log
        Where they come from.
    off_mm : ndarray of shape (n,)
        Figure minus its prior expectation, mm.
    changed_mm : ndarray of shape (n,)
        By how much explanations already accepted have corrected each figure, mm.
    fixed_mm2 : ndarray of shape (n, n)
        The part of their covariance that is not learned, mm².
    of_stations : ndarray of shape (2, n, m)
        The rope's two learned components, each for a variance of 1 mm², as a matrix Z for Z Z'; of
        its m columns only that of a figure's own station is not 0.
    of_hands : ndarray of shape (k - 2, n)
        The other learned components, for a variance of 1 mm²: the diagonal of each.
    prior, prior_sd, prior_dof : ndarray of shape (k,)
        Prior of the logarithm of each learned variance: location, scale, and degrees of freedom of
        its Student's t.
    hands : tuple of (gauge, person)
        Gauge and person of the learned components from the third on.
    station, cos_2_view : ndarray of shape (n,)
        Station (by order along the rope) and cosine of twice the direction.
    step_mm : ndarray of shape (n,)
        What each was rounded to, mm; 0 for a photograph.
    entries : tuple of int
        Entries of the log of the last figures; those before them have none.
    photographs : ndarray of int
        Which figures are today's photographs.
    numbers : tuple of int
        Station numbers in order along the rope.
    references : int
        How many of the first figures are the reference diameter, at places where the rope never
        runs.
    """

    log: Log
    off_mm: Array
    changed_mm: Array
    fixed_mm2: Array
    of_stations: Array
    of_hands: Array
    prior: Array
    prior_sd: Array
    prior_dof: Array
    hands: tuple[Hand, ...]
    station: Whole
    cos_2_view: Array
    step_mm: Array
    entries: tuple[int, ...]
    photographs: Whole
    numbers: tuple[int, ...]
    references: int = 0

    @property
    def shown(self) -> bool:
        """Whether photographs or earlier inspections show the rope's own variations."""
        return self.first > self.references

    def at_station(self, station: int) -> list[int]:
        """Return the places of everything ever measured at a station (by order)."""
        places = np.flatnonzero(self.station == station)
        return [int(place) for place in places if place >= self.references]

    @property
    def first(self) -> int:
        """Place of the first of today's readings."""
        return len(self.off_mm) - len(self.entries)

    def before_today(self) -> Figures:
        """Return all figures except today's readings."""
        end = self.first
        return replace(
            self,
            off_mm=self.off_mm[:end],
            changed_mm=self.changed_mm[:end],
            fixed_mm2=self.fixed_mm2[:end, :end],
            of_stations=self.of_stations[:, :end],
            of_hands=self.of_hands[:, :end],
            entries=(),
            station=self.station[:end],
            cos_2_view=self.cos_2_view[:end],
            step_mm=self.step_mm[:end],
        )

    def without(self, directions: Array) -> Figures:
        """Return the figures with some shifts left free, so that they carry no information.

        Parameters
        ----------
        directions : ndarray of shape (j, n)
            How much each figure moves for a shift of 1, one shift per row.

        Notes
        -----
        A misplaced decimal point is more than the usual size of a free shift. The shift is then
        given the size by which the figure is off, or the rest would pass for scatter of all others.
        """
        off_mm = np.abs(self.off_mm) * (directions != 0.0)
        size = np.maximum(off_mm, LET_GO_PCT * self.log.rope.nominal_mm / 100.0).max(axis=1)
        large = directions * size[:, None]
        return replace(self, fixed_mm2=self.fixed_mm2 + large.T @ large)

    def corrected(self, change_mm: Array) -> Figures:
        """Return the figures with a correction applied, each still expected where it was."""
        return replace(self, off_mm=self.off_mm + change_mm, changed_mm=self.changed_mm + change_mm)

    def log_prior(self, learned: Array) -> float:
        """Return the logarithm of the prior density of the learned variances, up to a constant."""
        away, dof = self._squares_off_the_prior(learned), self.prior_dof
        normal = np.isinf(dof)
        dof = np.where(normal, 1.0, dof)
        return float(-0.5 * np.where(normal, away, (dof + 1.0) * np.log1p(away / dof)).sum())

    def prior_pull(self, learned: Array) -> Array:
        """Return how strongly each learned variance is pulled to its prior: slope over distance.

        A Student's t acts as a normal distribution whose precision falls with the distance; with
        infinite degrees of freedom it is the normal distribution.
        """
        away, dof = self._squares_off_the_prior(learned), self.prior_dof
        pulled: Array = (1.0 + 1.0 / dof) / (1.0 + away / dof) / self.prior_sd**2
        return pulled

    def _squares_off_the_prior(self, learned: Array) -> Array:
        squares: Array = ((learned - self.prior) / self.prior_sd) ** 2
        return squares

    def covariance(self, learned: Array) -> Array:
        """Return the covariance of the figures for these logarithms of learned variances, mm²."""
        value = np.exp(learned)
        own = np.sqrt(value[:2, None]) * self.of_stations.sum(axis=2)
        total: Array = np.where(self.station[:, None] == self.station, own.T @ own, 0.0)
        total += self.fixed_mm2
        total.reshape(-1)[:: len(total) + 1] += value[2:] @ self.of_hands
        return total


@dataclass(frozen=True, slots=True)
class Fit:
    """The model with its learned variances.

    Parameters
    ----------
    figures : Figures
        What it was fitted to.
    learned : ndarray of shape (k,)
        Logarithms of the learned variances.
    information : ndarray of shape (k, k)
        Their information, from prior and data.
    slope : ndarray of shape (k,)
        Slope of their log posterior.
    precision : ndarray of shape (n, n)
        Inverse of the covariance, mm⁻².
    pull : ndarray of shape (n,)
        Precision times `Figures.off_mm`, mm⁻¹.
    """

    figures: Figures
    learned: Array
    information: Array
    slope: Array
    precision: Array
    pull: Array

    def repeatability_mm(self) -> dict[Hand, float]:
        """Return the standard deviation of repeated readings, by gauge and person, mm."""
        return {
            hand: math.exp(0.5 * value)
            for hand, value in zip(self.figures.hands, self.learned[2:].tolist(), strict=True)
        }


def gather(log: Log) -> Figures | None:
    """Return the figures of a log with their covariance; None without a usable reading.

    A reading is usable if its gauge is known; an earlier one, if it was also taken under the same
    tension at the same place on the rope.
    """
    found = _found(log)
    if not found or found[-1].entry is None:
        return None
    nominal, places = log.rope.nominal_mm, log.positions_m()
    pct = nominal / 100.0
    numbers = tuple(sorted({one.station for one in found}, key=lambda n: (places.get(n, 0.0), n)))
    station = np.array([numbers.index(one.station) for one in found])
    cosine = np.cos(2.0 * np.radians([one.view_deg for one in found]))
    unworn = log.unworn()
    runs = np.array([float(one.station not in unworn) for one in found])
    age = runs * [one.years for one in found]
    step = np.array([one.step_mm for one in found])
    hands = tuple(sorted({one.hand for one in found if one.hand is not None}))
    here = np.eye(len(numbers))[station]
    along = np.array([places.get(number, float(k)) for k, number in enumerate(numbers)])
    apart = (along[:, None] - along) / (REACH * max(float(np.ptp(along)), 1e-9))
    smooth = (SMOOTH_PCT * pct) ** 2 * np.exp(-0.5 * apart**2)
    fixed = (LEVEL_PCT * pct) ** 2 + smooth[station][:, station]
    fixed += (OVAL_PCT * pct) ** 2 * np.outer(cosine, cosine)
    fixed += np.outer(age, age) * pct**2 * (LOSS_SD_PCT**2 + STATION_LOSS_PCT**2 * (here @ here.T))
    if not runs.all():
        fixed += (WORN_PCT * pct) ** 2 * np.outer(runs, runs)
    _add_shared(fixed, found, pct)
    # 0.1 um keeps it invertible where two figures are of the same thing
    np.einsum("ii->i", fixed)[:] += step**2 / 12.0 + 1e-8
    entered = [log.gauges[gauge].repeatability_mm for gauge, _ in hands]
    hand_prior = [2.0 * math.log(one or REPEATABILITY_MM) for one in entered]
    hand_sd = [2.0 * (ENTERED_LOG_SD if one else REPEATABILITY_LOG_SD) for one in entered]
    rope_dof = 2 * [RARE_DOF if any(0 < one.visit < REFERENCE for one in found) else math.inf]
    return Figures(
        log=log,
        off_mm=np.array([one.value_mm for one in found])
        - nominal * (1.0 + OVERSIZE_PCT / 100.0)
        - LOSS_PCT * pct * age,
        changed_mm=np.zeros(len(found)),
        fixed_mm2=fixed,
        of_stations=np.stack([here, here * cosine[:, None]]),
        of_hands=np.array([[float(one.hand == hand) for one in found] for hand in hands]),
        prior=np.array(
            [2.0 * math.log(UNEVEN_PCT * pct), 2.0 * math.log(OVAL_CHANGE_PCT * pct), *hand_prior]
        ),
        prior_sd=np.array([2.0 * ROPE_LOG_SD, 2.0 * ROPE_LOG_SD, *hand_sd]),
        prior_dof=np.array([*rope_dof, *(math.inf if one else RARE_DOF for one in entered)]),
        hands=hands,
        station=station,
        cos_2_view=cosine,
        step_mm=step,
        entries=tuple(one.entry for one in found if one.entry is not None),
        photographs=np.array(
            [k for k, one in enumerate(found) if one.hand is None and not one.visit], dtype=int
        ),
        numbers=numbers,
        references=sum(one.visit == REFERENCE for one in found),
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """One figure; its errors by source, mm."""

    value_mm: float
    station: int
    view_deg: int
    years: float
    visit: int
    errors: tuple[tuple[str, float], ...]
    hand: Hand | None = None
    step_mm: float = 0.0
    entry: int | None = None


def _found(log: Log) -> list[_Found]:
    """Return the reference diameter, earlier figures, newest first, and today's, readings last."""
    places = log.positions_m()
    found = _references(log)
    alike = [one for one in log.earlier if one.inspection.tension == log.inspection.tension]
    for visit, before in enumerate(reversed(alike[-MOST_VISITS:]), start=1):
        then = before.inspection
        moved = {
            one.number
            for one in then.stations
            if abs(one.position_m - places.get(one.number, one.position_m)) > SAME_PLACE_M
        }
        years = (log.inspection.on - then.on).days / DAYS_PER_YEAR
        kept = [item for item in before.readings if item.station not in moved]
        found += [_of_reading(log, item, then, years, visit) for item in kept if _counts(log, item)]
        found += [
            _of_photograph(item, years, visit)
            for item in placed(before.results)
            if item.station not in moved
        ]
    off_plan = log.beside_the_plan()  # a bar photographed as a check says nothing about this rope
    found += [_of_photograph(item, 0.0, 0) for item in placed(log.results) if item not in off_plan]
    # by place, so that the order of the log makes no difference
    order = sorted(
        (entry for entry, item in enumerate(log.readings) if _counts(log, item)),
        key=lambda entry: (
            places.get((item := log.readings[entry]).station, 0.0),
            item.place,
            item.value_mm,
        ),
    )
    found += [
        replace(_of_reading(log, log.readings[entry], log.inspection, 0.0, 0), entry=entry)
        for entry in order
    ]
    return found


def _references(log: Log) -> list[_Found]:
    """Return the reference diameter as it is expected at each place where the rope never runs."""
    rope = log.rope
    if rope.reference_mm is None:
        return []
    pct = rope.nominal_mm / 100.0
    u_mm = REFERENCE_PCT * pct if rope.u_reference_mm is None else rope.u_reference_mm
    read = {reading.station for reading in log.readings}
    return [
        _Found(
            rope.reference_mm,
            number,
            45,  # the mean of two directions: no ovality
            0.0,
            REFERENCE,
            (("reference", u_mm), (f"unworn:{number}", UNWORN_PCT * pct)),
        )
        for number in sorted(log.unworn() & read)
    ]


def _counts(log: Log, reading: Reading) -> bool:
    return reading.gauge in log.gauges and 0.0 < reading.value_mm < MOST_TIMES * log.rope.nominal_mm


def _of_photograph(photo: Estimate, years: float, visit: int) -> _Found:
    errors = tuple((term.source, term.sensitivity * term.u) for term in photo.budget)
    return _Found(photo.diameter_mm, photo.station or 0, photo.view_deg or 0, years, visit, errors)


def _of_reading(log: Log, item: Reading, then: Inspection, years: float, visit: int) -> _Found:
    gauge: Gauge = log.gauges[item.gauge]
    key = f"{visit}:{id(item)}"  # each reading has its own independent errors
    terms = gauge_terms(
        gauge,
        diameter_mm=log.rope.nominal_mm,
        key=key,
        outer_strands=log.rope.outer_strands,
        repeatability_mm=0.0,
        calibrations_ago=calibrations_between(gauge, then.on, log.inspection.on),
    )
    errors = tuple(
        (term.source, term.sensitivity * term.u)
        for term in terms
        if not term.source.endswith(":step")  # rounding is in the model, as a step
    )
    return _Found(
        item.value_mm,
        item.station,
        item.view_deg,
        years,
        visit,
        (*errors, (f"person:{item.person}", PERSON_MM)),
        (item.gauge, item.person),
        gauge.resolution_mm,
    )


def _add_shared(fixed: Array, found: list[_Found], pct: float) -> None:
    """Add the budgets' terms and each day's own error: one source is one unknown."""
    by_source: dict[str, dict[int, float]] = {}
    for place, one in enumerate(found):
        day = ((f"day {one.visit}", VISIT_PCT * pct),) if one.visit else ()
        for source, error in (*one.errors, *day):
            error_at = by_source.setdefault(source, {})
            error_at[place] = error_at.get(place, 0.0) + error
    for error_at in by_source.values():
        places, errors = list(error_at), np.array(list(error_at.values()))
        fixed[np.ix_(places, places)] += np.outer(errors, errors)


def fit(figures: Figures, *, start: Array | None = None) -> Fit:
    """Return the model with its learned variances: the mode of their posterior.

    Parameters
    ----------
    figures : Figures
        From `gather`.
    start : ndarray of shape (k,), optional
        Where to begin; at the prior by default.

    Notes
    -----
    Fisher scoring on the logarithms of the variances, with a normal prior on each. With P the
    inverse covariance and V a learned part, the gradient is (r'PVPr - tr PV) v / 2 and the
    information tr(PVPV) v² / 2 (Searle, Casella, McCulloch, Variance Components, 1992, chapter
    6; from memory, confidence 0.9). The level has a wide prior, so this is practically the
    restricted likelihood.
    """
    learned = (figures.prior if start is None else start).copy()
    if not len(figures.off_mm):
        return at(figures, learned)
    most = most_scatter(figures)
    for _ in range(12):
        fitted = at(figures, learned)
        step = np.clip(np.linalg.solve(fitted.information, fitted.slope), -1.5, 1.5)
        learned = np.minimum(learned + step, most)
        if np.abs(step).max() < 0.01:
            break
    return at(figures, learned)


def most_scatter(figures: Figures) -> Array:
    """Return the upper bound of each logarithm: a slip must not pass for scatter."""
    pct = figures.log.rope.nominal_mm / 100.0
    hand_mm = max(WORST_HAND_MM, WORST_HAND_PCT * pct)
    most: Array = np.full(len(figures.prior), 2.0 * math.log(hand_mm))
    most[:2] = 2.0 * math.log(MOST_SCATTER_PCT * pct)
    return np.maximum(most, figures.prior, out=most)  # an entered value is trusted


def at(figures: Figures, learned: Array) -> Fit:
    """Return the model with given variances."""
    precision = _inverse(figures.covariance(learned))
    pull = precision @ figures.off_mm
    half = 0.5 * np.exp(learned)
    drawn = figures.prior_pull(learned)
    stations, hands = figures.of_stations, figures.of_hands
    carried = precision @ stations
    gain = np.empty(len(learned))  # r'PVPr - tr PV, and below it tr PVPV
    gain[:2] = ((pull @ stations) ** 2).sum(axis=1) - (stations * carried).sum(axis=(1, 2))
    gain[2:] = hands @ (pull**2 - np.diag(precision))
    traces = np.empty((len(learned), len(learned)))
    traces[:2, :2] = ((stations.transpose(0, 2, 1)[:, None] @ carried) ** 2).sum(axis=(2, 3))
    traces[:2, 2:] = (carried**2).sum(axis=2) @ hands.T
    traces[2:, :2] = traces[:2, 2:].T
    traces[2:, 2:] = hands @ precision**2 @ hands.T
    return Fit(
        figures,
        learned,
        2.0 * np.outer(half, half) * traces + np.diag(drawn),
        half * gain - (learned - figures.prior) * drawn,
        precision,
        pull,
    )


def _inverse(covariance: Array) -> Array:
    """Return the inverse of a covariance: half the work of solving for the unit matrix."""
    if not len(covariance):
        return np.zeros_like(covariance)
    lower = dpotri(np.linalg.cholesky(covariance), lower=1)[0]
    whole: Array = lower + lower.T  # the upper triangle of `lower` is 0
    np.einsum("ii->i", whole)[:] *= 0.5
    return whole
