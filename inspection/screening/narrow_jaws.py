"""Narrow jaws: readings that lie too low and too wide apart, as beside the crowns.

A gauge whose jaws are narrower than the pitch of the crowns touches one cross-section, and reads
low by as much as it stops beside the crowns: never high, and every time otherwise.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.special import logsumexp

from inspection.model.readings import CROWN_MISS, shortfall_pct
from inspection.screening.accounts import log_chance, rope_accounts, values_today
from inspection.screening.expected_readings import Array, Figures
from inspection.screening.multiple_testing import ScreeningTest
from inspection.screening.odd_figures import Shift, entry_at, today

JAWS = ("wide-jaw caliper", "micrometer")  # kinds that are told to bear on several crowns


def shortfall_moments_pct(outer_strands: int) -> tuple[float, float]:
    """Return mean and standard deviation of the shortfall of narrow jaws, % of the diameter.

    For somebody who stops anywhere up to `CROWN_MISS` of the way to the valley.

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
    """Return the figures as expected if narrow jaws read some of today's.

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
    # how far somebody stops on average differs from person to person, by about half as much
    fixed = figures.fixed_mm2 + np.outer(lost, lost) * (sd / mean / 2.0) ** 2
    np.einsum("ii->i", fixed)[:] += (sd * nominal / 100.0 * direction) ** 2
    return replace(figures, off_mm=figures.off_mm + lost, fixed_mm2=fixed)


def jaws_chance(figures: Figures, direction: Array) -> float:
    """Return the bound on the probability that an honest log speaks so much for narrow jaws.

    How much likelier they make today's readings is an e-value, as in
    `inspection.screening.copied_figures`.
    """
    gained = _log_total(with_narrow_jaws(figures, direction)) - _log_total(figures)
    return math.exp(-max(gained, 0.0))


def _log_total(figures: Figures) -> float:
    read = values_today(figures)
    step = figures.step_mm[figures.first :]
    return float(
        logsumexp(
            [
                account.log_weight
                + log_chance(read, account.expected_mm, account.sd_mm, step).sum()
                for account in rope_accounts(figures)
            ]
        )
    )


def narrow_jaws_tests(figures: Figures) -> list[tuple[ScreeningTest, Shift]]:
    """Return one test a gauge whose jaws are told to be wide, with what was tested."""
    log = figures.log
    tests = []
    for name in sorted({log.readings[entry].gauge for entry in figures.entries}):
        if log.gauges[name].kind not in JAWS:
            continue
        places = [k for k in today(figures) if log.readings[entry_at(figures, k)].gauge == name]
        entries = tuple(entry_at(figures, place) for place in places)
        direction = np.zeros(len(figures.off_mm))
        direction[places] = 1.0
        p = jaws_chance(figures, direction)
        where = log.places(entries)
        tests.append(
            (
                ScreeningTest("narrow-jaws", "narrow-jaws", entries, where, p, "", "", ""),
                Shift("narrow-jaws", direction, entries, name),
            )
        )
    return tests
