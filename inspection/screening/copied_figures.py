"""Figures that follow something other than the rope: a form, last time's sheet, one another.

Each way in which a column can have been filled without a gauge on the rope says what every figure
should then be: the nominal diameter, the certificate's, last time's, the other direction's,
an earlier station's, or one level whatever the rope does. Two accounts of the same readings are
held against each other: the rope's, figure by figure from all that is known and read before it,
and the other one, in which a part of the figures stems from there, to the digit or nearly.

The ratio of the two is an e-value: over honest logs its mean is 1 at most, so that it exceeds 1/a
with a probability of at most a (Markov; Shafer, Testing by betting, J. R. Stat. Soc. A 2021; 184:
407, from memory, confidence 0.9). Its inverse is a probability that may be held against a level.
That is a bound, ten times too large and more; how often honest logs really show as much is found by
drawing (`inspection.screening.accounts.chance_by_drawing`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from inspection.model.log import readings_at
from inspection.screening.accounts import (
    DRAW_SEED,
    DRAWS,
    WORTH_DRAWING,
    Account,
    chance_by_drawing,
    drawn,
    log_chance,
    markov_bound,
    rope_accounts,
    values_today,
)
from inspection.screening.expected_readings import LEVEL_PCT as ANY_LEVEL_PCT
from inspection.screening.expected_readings import Array, Figures
from inspection.screening.multiple_testing import ScreeningTest
from inspection.screening.odd_figures import Asked, without_the_odd

PARTS = (0.15, 0.5, 0.95)  # of the figures that stem from elsewhere
TO_THE_DIGIT_MM = 1e-4
NEARLY_MM = (TO_THE_DIGIT_MM, 0.01, 0.02)  # how far a copy may stray, standard deviation
FLAT_MM, FLAT_PCT = (0.02, 0.05, 0.1), (0.3, 0.8)  # scatter of figures about one level
LEVEL_PCT = 1.0  # how well somebody knows the level who does not measure
# Level of another rope of this size: new ones are 0 to 5 % oversize (EN 12385-4), and worn since.
OTHER_LEVEL_PCT = 2.0
FEWEST = 3  # figures; fewer say nothing at any step
# Checks whose e-value is held against what honest logs show, by drawing; the others compare today's
# figures with one another and leave so little chance that Markov's bound does.
TOLD_BEFORE = ("typed-in", "repeats-earlier")


@dataclass(frozen=True, slots=True)
class Told:
    """Readings as the rope's accounts make them, reckoned once for all that is asked of them.

    Parameters
    ----------
    accounts : list of Account
        From `rope_accounts`.
    read_mm : ndarray of shape (..., m)
        Readings, mm; several sets of them where they were drawn.
    step_mm : ndarray of shape (m,)
        What each was rounded to, mm.
    chances : list of ndarray of shape (..., m)
        Logarithm of the chance of each reading, one array an account.
    """

    accounts: list[Account]
    read_mm: Array
    step_mm: Array
    chances: list[Array]

    @property
    def honest(self) -> Array:
        """Logarithm of the chance of all readings of a set, shape (...)."""
        return _together(
            [
                one.log_weight + chances.sum(-1)
                for one, chances in zip(self.accounts, self.chances, strict=True)
            ]
        )


def told_by(
    accounts: list[Account], read_mm: Array, step_mm: Array, *, anywhere: bool = True
) -> Told:
    """Return the readings as these accounts make them; `anywhere` as in `log_chance`."""
    chances = [one.log_chances(read_mm, step_mm, anywhere=anywhere) for one in accounts]
    return Told(accounts, read_mm, step_mm, chances)


def _together(found: list[Array]) -> Array:
    total: Array = logsumexp(np.array(found), axis=0)
    return total


def log_evidence(told: Told, told_mm: Array, strays_mm: tuple[float, ...]) -> Array:
    """Return the logarithm of the e-value of figures that stem from `told_mm` in part, shape (...).

    Parameters
    ----------
    told : Told
        The readings as the rope's accounts make them.
    told_mm : ndarray of shape (m,)
        What each would be; NaN where nothing is told of it.
    strays_mm : tuple of float
        How far a copy may stray, standard deviation, mm.
    """
    known = ~np.isnan(told_mm)
    if np.count_nonzero(known) < FEWEST:
        return np.zeros(told.read_mm.shape[:-1])
    rope = [
        (one.log_weight, chances[..., known])
        for one, chances in zip(told.accounts, told.chances, strict=True)
    ]
    others = []
    for stray in strays_mm:
        copied = _told_chance(told.read_mm[..., known], told_mm[known], stray, told.step_mm[known])
        others += [
            weight + np.logaddexp(math.log1p(-part) + chances, math.log(part) + copied).sum(-1)
            for part in PARTS
            for weight, chances in rope
        ]
    count = len(strays_mm) * len(PARTS)
    honest = _together([weight + chances.sum(-1) for weight, chances in rope])
    found: Array = _together(others) - math.log(count) - honest
    return found


def _told_chance(read_mm: Array, told_mm: Array, stray_mm: float, step_mm: Array) -> Array:
    return log_chance(read_mm, told_mm, stray_mm, step_mm, anywhere=False)


def _flat_scatters_mm(nominal_mm: float) -> tuple[float, ...]:
    return (*FLAT_MM, *(pct * nominal_mm / 100.0 for pct in FLAT_PCT))


def log_evidence_of_one_level(told: Told, nominal_mm: float) -> Array:
    """Return the same for figures about one level, whatever the rope does."""
    start = _expected_level_mm(told.accounts)
    shape = told.read_mm.shape[:-1]
    scatters = _flat_scatters_mm(nominal_mm)
    totals = []
    for scatter in scatters:
        mean, weight = np.full(shape, start), (100.0 / (LEVEL_PCT * nominal_mm)) ** 2
        total = np.zeros(shape)
        for k, step in enumerate(told.step_mm):
            read = told.read_mm[..., k]
            total += _told_chance(read, mean, math.hypot(scatter, weight**-0.5), step)
            own = 1.0 / (scatter**2 + step**2 / 12.0)
            mean, weight = (mean * weight + read * own) / (weight + own), weight + own
        totals.append(total)
    found: Array = _together(totals) - math.log(len(totals)) - told.honest
    return found


def _expected_level_mm(accounts: list[Account]) -> float:
    return float(accounts[len(accounts) // 2].before_mm[0])


@dataclass(frozen=True, slots=True)
class Origin:
    """Where figures may stem from, and what a finding says of it."""

    check: str
    code: str
    told_mm: Array
    strays_mm: tuple[float, ...]
    what: str
    remedy: str
    innocent: str


def sources(figures: Figures) -> list[Origin]:
    """Return what today's figures may stem from, apart from the rope."""
    log, read = figures.log, values_today(figures)
    items = [log.readings[entry] for entry in figures.entries]
    again = "Read two of these stations again, taking the gauge off between."
    found = [
        Origin(
            "typed-in",
            "nominal-typed",
            np.full(len(items), log.rope.nominal_mm),
            (TO_THE_DIGIT_MM,),
            f"the nominal diameter ({log.rope.nominal_mm:g} mm)",
            again,
            "The nominal diameter may have stood there as a place holder, or the rope lies close "
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
                    f"The {name} diameter may have stood there as a place holder, or the rope has "
                    "not changed.",
                )
            )
    for before in log.earlier:
        then = {
            place: before.readings[entries[0]].value_mm
            for place, entries in readings_at(before.readings).items()
        }
        told = np.array([then.get(item.place, math.nan) for item in items])
        found.append(
            Origin(
                "repeats-earlier",
                "repeats-earlier",
                told,
                NEARLY_MM,
                f"the figures of {before.inspection.on} ({before.inspection.identity})",
                "Read two of these stations again, and look whether the earlier sheet was opened "
                "in place of a new one.",
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
            "A round rope and a steady hand can be more even than reckoned, or one reading was "
            "taken for both directions.",
        )
    )
    order = {number: k for k, number in enumerate(figures.numbers)}
    for lag in range(1, len(order)):
        told = np.full(len(items), math.nan)
        for k, item in enumerate(items):
            place = order[item.station] - lag
            before_it = first.get((figures.numbers[place], item.view_deg)) if place >= 0 else None
            # only what was written before can have been copied
            if before_it is not None and before_it < k and first[item.station, item.view_deg] == k:
                told[k] = read[before_it]
        found.append(
            Origin(
                "repeats-station",
                "repeats-station",
                told,
                (TO_THE_DIGIT_MM,),
                f"the figures {'one line' if lag == 1 else f'{lag} lines'} before",
                again,
                "An even rope read with a coarse step repeats itself, or a line of the sheet was "
                "filled down by mistake.",
            )
        )
    return found


def copied_figures_tests(
    asked: Asked, accounts: list[Account] | None = None
) -> list[ScreeningTest]:
    """Return one test a way of filling a column: its e-value, averaged over its variants.

    `accounts` is what the rope lets expect of all figures, if that has been reckoned.
    """
    if len(asked.figures.entries) < FEWEST:
        return []
    figures = without_the_odd(asked)
    if accounts is None or figures is not asked.figures:
        accounts = rope_accounts(figures)
    read, step = values_today(figures), figures.step_mm[figures.first :]
    told = told_by(accounts, read, step)
    by_check: dict[str, list[Origin]] = {}
    for source in sources(figures):
        by_check.setdefault(source.check, []).append(source)
    tests = []
    for check, variants in by_check.items():
        found = [float(log_evidence(told, one.told_mm, one.strays_mm)) for one in variants]
        together = float(logsumexp(found)) - math.log(len(found))
        chance = markov_bound(together)
        if check in TOLD_BEFORE and together > WORTH_DRAWING:
            chance = _chance_of_copies(told, variants, together)
        source = variants[int(np.argmax(found))]
        tests.append(_copied_test(figures, check, source, chance, read, step))
    if figures.shown:
        nominal = figures.log.rope.nominal_mm
        flat = float(log_evidence_of_one_level(told, nominal))
        chance = markov_bound(flat)
        if flat > WORTH_DRAWING:
            chance = _chance_of_one_level(told, nominal, flat)
        tests.append(_flat_test(figures, chance, read))
    return tests


def _chance_of_copies(told: Told, variants: list[Origin], log_e: float) -> float:
    """Return how likely an honest log shows so much of what was told before it."""
    rng = np.random.default_rng(DRAW_SEED)
    weights = np.exp([one.log_weight for one in told.accounts])
    sets = []
    for _ in range(DRAWS):
        origin = variants[int(rng.integers(len(variants)))]
        stray = origin.strays_mm[int(rng.integers(len(origin.strays_mm)))]
        account = told.accounts[int(rng.choice(len(weights), p=weights / weights.sum()))]
        strayed = origin.told_mm + stray * rng.normal(size=len(told.step_mm))
        sets.append(drawn(account, told.step_mm, rng, strayed, float(rng.choice(PARTS))))
    read = np.array(sets)

    def evidence(one: Told) -> Array:
        found = [log_evidence(one, item.told_mm, item.strays_mm) for item in variants]
        return _together(found) - math.log(len(found))

    counts = told_by(told.accounts, read, told.step_mm)
    plain = told_by(told.accounts, read, told.step_mm, anywhere=False)
    log_weights = counts.honest - plain.honest - evidence(plain)
    return chance_by_drawing(log_e, evidence(counts), log_weights)


def _chance_of_one_level(told: Told, nominal_mm: float, log_e: float) -> float:
    """Return how likely an honest log follows one level so much better than the rope."""
    rng = np.random.default_rng(DRAW_SEED)
    start, step = _expected_level_mm(told.accounts), told.step_mm
    level = start + LEVEL_PCT * nominal_mm / 100.0 * rng.normal(size=(DRAWS, 1))
    scatter = rng.choice(_flat_scatters_mm(nominal_mm), size=(DRAWS, 1))
    read = np.round((level + scatter * rng.normal(size=(DRAWS, len(step)))) / step) * step
    counts = told_by(told.accounts, read, step)
    plain = told_by(told.accounts, read, step, anywhere=False)
    log_weights = counts.honest - plain.honest - log_evidence_of_one_level(plain, nominal_mm)
    found = log_evidence_of_one_level(counts, nominal_mm)
    return chance_by_drawing(log_e, found, log_weights)


def about_one_level(figures: Figures, scatter_mm: float) -> Figures:
    """Return the figures as expected if today's readings have nothing to do with the rope."""
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

    It is as uneven as this one, and worn otherwise; gauges and hands are the same.
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
    told = ~np.isnan(source.told_mm)
    reach = step / 2.0 + 1e-6 if len(source.strays_mm) == 1 else step / 2.0 + 2.0 * max(NEARLY_MM)
    near = told & (np.abs(read - np.where(told, source.told_mm, 0.0)) <= reach)
    same = int(
        np.count_nonzero(
            told & (np.abs(read - np.where(told, source.told_mm, 0.0)) <= step / 2.0 + 1e-6)
        )
    )
    entries = tuple(figures.entries[k] for k in np.flatnonzero(near if near.any() else told))
    nearly = ""
    if np.count_nonzero(near) > same:
        nearly = f", and {np.count_nonzero(near)} within {float(np.max(reach)):.2f} mm"
    return ScreeningTest(
        check=check,
        code=source.code,
        entries=entries,
        places=figures.log.places(entries),
        p=chance,
        seen=f"{same} of {np.count_nonzero(told)} entries are equal to the last digit to "
        f"{source.what}{nearly}; from the rope and from how this gauge is read so much likeness "
        "is not to be expected.",
        remedy=source.remedy,
        innocent=source.innocent,
        value=float(same),
        limit=float(np.count_nonzero(told)),
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
        f"{float(np.mean(read)):.2f} mm, and do not follow the rope's own ups and downs as "
        f"{known} show them.",
        remedy="Read three of these stations again, the thinnest and the thickest among them.",
        innocent="Another rope may have been read, or the stations counted from its other end.",
        value=float(np.std(read)),
        unit="mm",
        touches="origin",
    )
