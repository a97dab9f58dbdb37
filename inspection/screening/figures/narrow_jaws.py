"""Narrow jaws: readings that are too low and scatter too much, as beside the crowns.

A gauge whose jaws are narrower than the pitch of the crowns touches one cross-section, and reads
low by however far it stops short of the crowns: never high, and differently each time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from inspection.model.readings import CROWN_MISS, shortfall_pct
from inspection.screening.figures.expected_readings import Array, Figures, Fit, fit
from inspection.screening.figures.odd_figures import Shift, entry_at, today
from inspection.screening.figures.predictions import (
    DRAW_SEED,
    DRAWS,
    WORTH_DRAWING,
    Prediction,
    chance_by_drawing,
    drawn,
    expected_otherwise,
    likeliest_prediction,
    markov_bound,
    rope_predictions,
    values_today,
)
from inspection.screening.multiple_testing import ScreeningTest
from vision.results import Estimate

JAWS = ("wide-jaw caliper", "micrometer")  # kinds entered as bearing on several crowns


def shortfall_moments_pct(outer_strands: int) -> tuple[float, float]:
    """Return mean and standard deviation of the shortfall of narrow jaws, % of the diameter.

    For jaws that stop anywhere up to `CROWN_MISS` of the way to the valley.

    Examples
    --------
    >>> mean, sd = shortfall_moments_pct(6)
    >>> round(mean, 2), round(sd, 2)
    (0.76, 0.68)
    """
    miss = np.linspace(0.0, CROWN_MISS, 101)
    lost = np.array([shortfall_pct(max(outer_strands, 3), float(part)) for part in miss])
    return float(lost.mean()), float(lost.std())


def with_narrow_jaws(figures: Figures, direction: Array) -> Figures:
    """Return the figures as expected if some of today's were read with narrow jaws.

    Parameters
    ----------
    figures : Figures
        All figures.
    direction : ndarray of shape (n,)
        1 for those that were read with the gauge in question, else 0.
    """
    nominal = figures.log.rope.nominal_mm
    mean, sd = shortfall_moments_pct(figures.log.rope.outer_strands)
    lost = mean * nominal / 100.0 * direction
    # where the jaws stop on average differs from person to person, by about half as much
    fixed = figures.fixed_mm2 + np.outer(lost, lost) * (sd / mean / 2.0) ** 2
    np.einsum("ii->i", fixed)[:] += (sd * nominal / 100.0 * direction) ** 2
    return replace(figures, off_mm=figures.off_mm + lost, fixed_mm2=fixed)


@dataclass(frozen=True, slots=True)
class Honest:
    """What is expected of today's readings if nothing is wrong, calculated once for all gauges.

    Parameters
    ----------
    known : Fit
        The model of all figures before today's.
    predictions : list of Prediction
        The rope's predictive distributions.
    """

    known: Fit
    predictions: list[Prediction]


def honest_predictions(fitted: Fit) -> Honest:
    """Return what the rope predicts of today's readings; `fitted` is the model of all figures."""
    known = fit(fitted.figures.before_today())
    return Honest(known, rope_predictions(fitted.figures, known, fitted))


def jaws_chance(fitted: Fit, direction: Array, honest: Honest | None = None) -> float:
    """Return the probability that an honest log gives this much evidence for narrow jaws.

    How much more likely they make today's readings is an e-value, as in
    `copied_figures`. Each of the two models has the scatter that suits it: an unsteady hand
    scatters as much as narrow jaws do. So does an uneven rope: where nothing else shows its
    variations, they are taken as the readings have them, however rare such a rope is.
    """
    figures = fitted.figures
    honest = honest or honest_predictions(fitted)
    read, step = values_today(figures), figures.step_mm[figures.first :]
    rope, predicted = honest.predictions, with_narrow_jaws(figures, direction)
    if not figures.shown:
        rope = [*rope[:-1], replace(rope[-1], log_weight=max(rope[-1].log_weight, 0.0))]
    jaws = [expected_otherwise(one, figures, predicted) for one in rope[:-1]]
    jaws.append(likeliest_prediction(predicted, honest.known, fit(predicted, start=fitted.learned)))
    gained = float(_log_total(jaws, read, step) - _log_total(rope, read, step))
    if gained <= WORTH_DRAWING:
        return markov_bound(gained)
    rng = np.random.default_rng(DRAW_SEED)
    weights = np.exp([one.log_weight for one in jaws])
    chosen = rng.choice(len(jaws), size=DRAWS, p=weights / weights.sum())
    sets = np.array([drawn(jaws[k], step, rng) for k in chosen])
    of_rope, plain = _log_total(rope, sets, step), _log_total(jaws, sets, step, anywhere=False)
    return chance_by_drawing(gained, _log_total(jaws, sets, step) - of_rope, of_rope - plain)


def _log_total(
    predictions: list[Prediction], read: Array, step: Array, *, anywhere: bool = True
) -> Array:
    total: Array = logsumexp(
        [
            one.log_weight + one.log_chances(read, step, anywhere=anywhere).sum(-1)
            for one in predictions
        ],
        axis=0,
    )
    return total


def wide_jaws(figures: Figures) -> list[tuple[str, Array]]:
    """Return each gauge entered as having wide jaws, and all together where there are several.

    Each is the name of the gauge, empty for all, with a row: 1 for what was read with it, else 0.
    """
    readings, gauges = figures.log.readings, figures.log.gauges
    rows: dict[str, Array] = {}
    for place in today(figures):
        name = readings[entry_at(figures, place)].gauge
        if gauges[name].kind in JAWS:
            rows.setdefault(name, np.zeros(len(figures.off_mm)))[place] = 1.0
    found = sorted(rows.items(), key=lambda item: item[0])
    if len(found) > 1:
        found.append(("", np.sum([row for _, row in found], axis=0)))
    return found


def narrow_jaws_tests(fitted: Fit, honest: Honest) -> list[tuple[ScreeningTest, Shift]]:
    """Return one test per gauge entered as having wide jaws, with what was tested."""
    figures, tests = fitted.figures, []
    for name, row in wide_jaws(figures):
        entries = tuple(entry_at(figures, int(place)) for place in np.flatnonzero(row))
        p = jaws_chance(fitted, row, honest)
        where = figures.log.places(entries)
        tests.append(
            (
                ScreeningTest("narrow-jaws", "narrow-jaws", entries, where, p, "", "", ""),
                Shift("narrow-jaws", row, entries, name),
            )
        )
    return tests


def pitch_words(figures: Figures) -> str:
    """Return the crown pitch that photographs show, to follow "the crown pitch"."""
    pitches = [
        photograph.crown_pitch_mm
        for photograph in figures.log.results
        if isinstance(photograph, Estimate) and photograph.crown_pitch_mm
    ]
    return f" ({float(np.median(pitches)):.0f} mm by the photographs)" if pitches else ""
