"""Figures that follow something other than the rope: a form, last time's sheet, one another.

Each way of filling a column without a gauge on the rope predicts every figure: the nominal
diameter, the certificate's, last time's, the other direction's, an earlier station's, or one level
whatever the rope does. Two models of the same readings are compared: the rope's, which predicts
each figure from everything known or read before it, and a copy, in which some of the figures come
from that source, to the digit or nearly.

The ratio of their likelihoods is an e-value: over honest logs its mean is at most 1, so that it
exceeds 1/a with a probability of at most a (Markov; Shafer, Testing by betting, J. R. Stat. Soc. A
2021; 184: 407, from memory, confidence 0.9). Its inverse can be compared with a level. That bound
is ten times too large or more; how often honest logs really reach such a value is found by drawing
(`inspection.screening.figures.predictions.chance_by_drawing`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from inspection.model.log import readings_at
from inspection.screening.figures.expected_readings import LEVEL_PCT as ANY_LEVEL_PCT
from inspection.screening.figures.expected_readings import Array, Figures
from inspection.screening.figures.odd_figures import LogModel, without_the_odd
from inspection.screening.figures.predictions import (
    DRAW_SEED,
    DRAWS,
    WORTH_DRAWING,
    Prediction,
    chance_by_drawing,
    drawn,
    log_chance,
    markov_bound,
    rope_predictions,
    values_today,
)
from inspection.screening.multiple_testing import ScreeningTest

PARTS = (0.15, 0.5, 0.95)  # fraction of the figures that were copied
TO_THE_DIGIT_MM = 1e-4
NEARLY_MM = (TO_THE_DIGIT_MM, 0.01, 0.02)  # how far a copy may stray, standard deviation
FLAT_MM, FLAT_PCT = (0.02, 0.05, 0.1), (0.3, 0.8)  # scatter of figures about one level
LEVEL_PCT = 1.0  # how well the level is known without measuring
# Level of another rope of this size: new ones are 0 to 5 % oversize (EN 12385-4), and worn since.
OTHER_LEVEL_PCT = 2.0
FEWEST = 3  # figures; fewer say nothing, whatever the gauge's step
# Checks whose e-value is compared with that of honest logs, by drawing; the others compare today's
# figures with one another, and find such small probabilities that Markov's bound is enough.
CHECKED_BY_DRAWING = ("typed-in", "repeats-earlier")


@dataclass(frozen=True, slots=True)
class GivenRope:
    """Readings with their chances under the rope's predictions, calculated once for all tests.

    Parameters
    ----------
    predictions : list of Prediction
        From `rope_predictions`.
    read_mm : ndarray of shape (..., m)
        Readings, mm; several sets of them where they were drawn.
    step_mm : ndarray of shape (m,)
        What each was rounded to, mm.
    chances : list of ndarray of shape (..., m)
        Logarithm of the chance of each reading, one array per prediction.
    """

    predictions: list[Prediction]
    read_mm: Array
    step_mm: Array
    chances: list[Array]

    @property
    def honest(self) -> Array:
        """Logarithm of the chance of all readings of a set, shape (...)."""
        return _together(
            [
                one.log_weight + chances.sum(-1)
                for one, chances in zip(self.predictions, self.chances, strict=True)
            ]
        )


def given_predictions(
    predictions: list[Prediction], read_mm: Array, step_mm: Array, *, anywhere: bool = True
) -> GivenRope:
    """Return the readings with their chances under `predictions`; `anywhere` as in `log_chance`."""
    chances = [one.log_chances(read_mm, step_mm, anywhere=anywhere) for one in predictions]
    return GivenRope(predictions, read_mm, step_mm, chances)


def _together(found: list[Array]) -> Array:
    total: Array = logsumexp(np.array(found), axis=0)
    return total


def log_evidence(given: GivenRope, source_mm: Array, strays_mm: tuple[float, ...]) -> Array:
    """Return the logarithm of the e-value of figures partly copied from `source_mm`, shape (...).

    Parameters
    ----------
    given : GivenRope
        The readings with their chances under the rope's predictions.
    source_mm : ndarray of shape (m,)
        What each would be as a copy; NaN where the source has no value.
    strays_mm : tuple of float
        How far a copy may stray, standard deviation, mm.
    """
    known = ~np.isnan(source_mm)
    if np.count_nonzero(known) < FEWEST:
        return np.zeros(given.read_mm.shape[:-1])
    rope = [
        (one.log_weight, chances[..., known])
        for one, chances in zip(given.predictions, given.chances, strict=True)
    ]
    others = []
    for stray in strays_mm:
        copied = _copy_chance(
            given.read_mm[..., known], source_mm[known], stray, given.step_mm[known]
        )
        others += [
            weight + np.logaddexp(math.log1p(-part) + chances, math.log(part) + copied).sum(-1)
            for part in PARTS
            for weight, chances in rope
        ]
    count = len(strays_mm) * len(PARTS)
    honest = _together([weight + chances.sum(-1) for weight, chances in rope])
    found: Array = _together(others) - math.log(count) - honest
    return found


def _copy_chance(read_mm: Array, source_mm: Array, stray_mm: float, step_mm: Array) -> Array:
    return log_chance(read_mm, source_mm, stray_mm, step_mm, anywhere=False)


def _flat_scatters_mm(nominal_mm: float) -> tuple[float, ...]:
    return (*FLAT_MM, *(pct * nominal_mm / 100.0 for pct in FLAT_PCT))


def log_evidence_of_one_level(given: GivenRope, nominal_mm: float) -> Array:
    """Return the same for figures scattered about one level, whatever the rope does."""
    start = _expected_level_mm(given.predictions)
    shape = given.read_mm.shape[:-1]
    scatters = _flat_scatters_mm(nominal_mm)
    totals = []
    for scatter in scatters:
        mean, weight = np.full(shape, start), (100.0 / (LEVEL_PCT * nominal_mm)) ** 2
        total = np.zeros(shape)
        for k, step in enumerate(given.step_mm):
            read = given.read_mm[..., k]
            total += _copy_chance(read, mean, math.hypot(scatter, weight**-0.5), step)
            own = 1.0 / (scatter**2 + step**2 / 12.0)
            mean, weight = (mean * weight + read * own) / (weight + own), weight + own
        totals.append(total)
    found: Array = _together(totals) - math.log(len(totals)) - given.honest
    return found


def _expected_level_mm(predictions: list[Prediction]) -> float:
    return float(predictions[len(predictions) // 2].before_mm[0])


@dataclass(frozen=True, slots=True)
class Origin:
    """A possible source of copied figures, and what a finding says about it."""

    check: str
    code: str
    source_mm: Array
    strays_mm: tuple[float, ...]
    what: str
    remedy: str
    innocent: str


def sources(figures: Figures) -> list[Origin]:
    """Return the sources from which today's figures may have been copied."""
    log, read = figures.log, values_today(figures)
    items = [log.readings[entry] for entry in figures.entries]
    again = "Measure two of these stations again, taking the gauge off between readings."
    found = [
        Origin(
            "typed-in",
            "nominal-typed",
            np.full(len(items), log.rope.nominal_mm),
            (TO_THE_DIGIT_MM,),
            f"the nominal diameter ({log.rope.nominal_mm:g} mm)",
            again,
            "The nominal diameter may have been entered as a placeholder, or the rope is close "
            "to it.",
        )
    ]
    for name, value in (("reference", log.rope.reference_mm), ("baseline", log.rope.baseline_mm)):
        if value is not None:
            found.append(
                Origin(
                    "typed-in",
                    f"{name}-typed",
                    np.full(len(items), value),
                    (TO_THE_DIGIT_MM,),
                    f"the {name} diameter ({value:g} mm)",
                    again,
                    f"The {name} diameter may have been entered as a placeholder, or the rope has "
                    "not changed.",
                )
            )
    for before in log.earlier:
        then = {
            place: before.readings[entries[0]].value_mm
            for place, entries in readings_at(before.readings).items()
        }
        source = np.array([then.get(item.place, math.nan) for item in items])
        found.append(
            Origin(
                "repeats-earlier",
                "repeats-earlier",
                source,
                NEARLY_MM,
                f"the figures of {before.inspection.on} ({before.inspection.identity})",
                "Measure two of these stations again, and check whether the earlier sheet was "
                "opened instead of a new one.",
                "The earlier sheet may have been sent in again by mistake, or copied as a form to "
                "be overwritten.",
            )
        )
    first: dict[tuple[int, int], int] = {}
    across = np.full(len(items), math.nan)
    for k, item in enumerate(items):
        other = first.get((item.station, (item.view_deg + 90) % 180))
        if other is not None and (item.station, item.view_deg) not in first:
            across[k] = read[other]
        first.setdefault((item.station, item.view_deg), k)
    found.append(
        Origin(
            "x-equals-y",
            "x-equals-y",
            across,
            NEARLY_MM,
            "the other direction of the same station",
            again,
            "A round rope and a steady hand can give more even figures than assumed, or one "
            "reading was entered for both directions.",
        )
    )
    order = {number: k for k, number in enumerate(figures.numbers)}
    for lag in range(1, len(order)):
        source = np.full(len(items), math.nan)
        for k, item in enumerate(items):
            place = order[item.station] - lag
            before_it = first.get((figures.numbers[place], item.view_deg)) if place >= 0 else None
            # only what was entered before can have been copied
            if before_it is not None and before_it < k and first[item.station, item.view_deg] == k:
                source[k] = read[before_it]
        found.append(
            Origin(
                "repeats-station",
                "repeats-station",
                source,
                (TO_THE_DIGIT_MM,),
                f"the figures {'one line' if lag == 1 else f'{lag} lines'} before",
                again,
                "An even rope read with a coarse step repeats itself, or a line of the sheet was "
                "filled down by mistake.",
            )
        )
    return found


def copied_figures_tests(
    model: LogModel, predictions: list[Prediction] | None = None
) -> list[ScreeningTest]:
    """Return one test per way of filling a column: its e-value, averaged over its variants.

    `predictions` are the rope's predictions of all figures, if already calculated.
    """
    if len(model.figures.entries) < FEWEST:
        return []
    figures = without_the_odd(model)
    if predictions is None or figures is not model.figures:
        predictions = rope_predictions(figures)
    read, step = values_today(figures), figures.step_mm[figures.first :]
    given = given_predictions(predictions, read, step)
    by_check: dict[str, list[Origin]] = {}
    for source in sources(figures):
        by_check.setdefault(source.check, []).append(source)
    tests = []
    for check, variants in by_check.items():
        found = [float(log_evidence(given, one.source_mm, one.strays_mm)) for one in variants]
        together = float(logsumexp(found)) - math.log(len(found))
        chance = markov_bound(together)
        if check in CHECKED_BY_DRAWING and together > WORTH_DRAWING:
            chance = _chance_of_copies(given, variants, together)
        source = variants[int(np.argmax(found))]
        tests.append(_copied_test(figures, check, source, chance, read, step))
    if figures.shown:
        nominal = figures.log.rope.nominal_mm
        flat = float(log_evidence_of_one_level(given, nominal))
        chance = markov_bound(flat)
        if flat > WORTH_DRAWING:
            chance = _chance_of_one_level(given, nominal, flat)
        tests.append(_flat_test(figures, chance, read))
    return tests


def _chance_of_copies(given: GivenRope, variants: list[Origin], log_e: float) -> float:
    """Return the probability that an honest log looks this much like a copy."""
    rng = np.random.default_rng(DRAW_SEED)
    weights = np.exp([one.log_weight for one in given.predictions])
    sets = []
    for _ in range(DRAWS):
        origin = variants[int(rng.integers(len(variants)))]
        stray = origin.strays_mm[int(rng.integers(len(origin.strays_mm)))]
        prediction = given.predictions[int(rng.choice(len(weights), p=weights / weights.sum()))]
        strayed = origin.source_mm + stray * rng.normal(size=len(given.step_mm))
        sets.append(drawn(prediction, given.step_mm, rng, strayed, float(rng.choice(PARTS))))
    read = np.array(sets)

    def evidence(one: GivenRope) -> Array:
        found = [log_evidence(one, item.source_mm, item.strays_mm) for item in variants]
        return _together(found) - math.log(len(found))

    counts = given_predictions(given.predictions, read, given.step_mm)
    plain = given_predictions(given.predictions, read, given.step_mm, anywhere=False)
    log_weights = counts.honest - plain.honest - evidence(plain)
    return chance_by_drawing(log_e, evidence(counts), log_weights)


def _chance_of_one_level(given: GivenRope, nominal_mm: float, log_e: float) -> float:
    """Return the probability that an honest log fits one level this much better than the rope."""
    rng = np.random.default_rng(DRAW_SEED)
    start, step = _expected_level_mm(given.predictions), given.step_mm
    level = start + LEVEL_PCT * nominal_mm / 100.0 * rng.normal(size=(DRAWS, 1))
    scatter = rng.choice(_flat_scatters_mm(nominal_mm), size=(DRAWS, 1))
    read = np.round((level + scatter * rng.normal(size=(DRAWS, len(step)))) / step) * step
    counts = given_predictions(given.predictions, read, step)
    plain = given_predictions(given.predictions, read, step, anywhere=False)
    log_weights = counts.honest - plain.honest - log_evidence_of_one_level(plain, nominal_mm)
    found = log_evidence_of_one_level(counts, nominal_mm)
    return chance_by_drawing(log_e, found, log_weights)


def about_one_level(figures: Figures, scatter_mm: float) -> Figures:
    """Return the figures as expected if today's readings do not depend on the rope."""
    first = figures.first
    level = float(figures.off_mm[:first].mean()) if first else 0.0
    fixed = figures.fixed_mm2.copy()
    fixed[first:, :first] = fixed[:first, first:] = 0.0
    known = (LEVEL_PCT * figures.log.rope.nominal_mm / 100.0) ** 2
    size = len(fixed) - first
    fixed[first:, first:] = known + np.diag(np.full(size, scatter_mm**2))
    np.einsum("ii->i", fixed)[first:] += figures.step_mm[first:] ** 2 / 12.0
    before = np.arange(len(fixed)) < first
    off = figures.off_mm.copy()
    off[first:] -= level
    return replace(
        figures,
        off_mm=off,
        fixed_mm2=fixed,
        of_stations=figures.of_stations * before[:, None],
        of_hands=figures.of_hands * before,
    )


def of_another_rope(figures: Figures) -> Figures:
    """Return the figures as expected if today's readings are of another rope of this size.

    It is as uneven as this one but worn differently; gauges and people are the same.
    """
    first, pct = figures.first, figures.log.rope.nominal_mm / 100.0
    fixed = figures.fixed_mm2.copy()
    fixed[first:, :first] = fixed[:first, first:] = 0.0
    fixed[first:, first:] += pct**2 * (OTHER_LEVEL_PCT**2 - ANY_LEVEL_PCT**2)
    today_only = np.arange(len(fixed)) >= first
    here = figures.of_stations * today_only[:, None]
    return replace(
        figures,
        fixed_mm2=fixed,
        of_stations=np.concatenate([figures.of_stations - here, here], axis=2),
        station=figures.station + len(figures.numbers) * today_only,
    )


def _copied_test(
    figures: Figures, check: str, source: Origin, chance: float, read: Array, step: Array
) -> ScreeningTest:
    known = ~np.isnan(source.source_mm)
    reach = step / 2.0 + 1e-6 if len(source.strays_mm) == 1 else step / 2.0 + 2.0 * max(NEARLY_MM)
    near = known & (np.abs(read - np.where(known, source.source_mm, 0.0)) <= reach)
    same = int(
        np.count_nonzero(
            known & (np.abs(read - np.where(known, source.source_mm, 0.0)) <= step / 2.0 + 1e-6)
        )
    )
    entries = tuple(figures.entries[k] for k in np.flatnonzero(near if near.any() else known))
    nearly = ""
    if np.count_nonzero(near) > same:
        nearly = f", and {np.count_nonzero(near)} within {float(np.max(reach)):.2f} mm"
    return ScreeningTest(
        check=check,
        code=source.code,
        entries=entries,
        places=figures.log.places(entries),
        p=chance,
        seen=f"{same} of {np.count_nonzero(known)} entries equal {source.what} to the last "
        f"digit{nearly}; such close agreement is not expected from this rope and the way this "
        "gauge is read.",
        remedy=source.remedy,
        innocent=source.innocent,
        value=float(same),
        limit=float(np.count_nonzero(known)),
        touches="origin",
    )


def _flat_test(figures: Figures, chance: float, read: Array) -> ScreeningTest:
    entries = figures.entries
    known = "the photographs" if len(figures.photographs) else "last time's figures"
    return ScreeningTest(
        check="one-level",
        code="follows-no-rope",
        entries=entries,
        places=figures.log.places(entries),
        p=chance,
        seen=f"The {len(entries)} entries scatter by {float(np.std(read)):.2f} mm about "
        f"{float(np.mean(read)):.2f} mm, and do not follow the rope's own variations as "
        f"{known} show them.",
        remedy="Measure three of these stations again, including the thinnest and the thickest.",
        innocent="Another rope may have been measured, or the stations counted from the other end.",
        value=float(np.std(read)),
        unit="mm",
        touches="origin",
    )
