"""Screening: which entries of a log deserve a second look, most deserving first.

It speaks of entries, never of people, and names an innocent explanation beside every finding:
most odd entries are slips.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from inspection.model.log import Log
from inspection.screening.digit_preference import digit_preference_tests
from inspection.screening.explanations import explain, figure_tests
from inspection.screening.gauge_checks import gauge_tests
from inspection.screening.lay_length import lay_length_tests
from inspection.screening.multiple_testing import ScreeningTest, adjust_for_multiplicity, ranked
from inspection.screening.photo_reuse import photo_tests
from inspection.screening.repeated_values import repeated_value_tests
from inspection.screening.timing import Pace, timing_tests
from inspection.screening.underdispersion import underdispersion_tests
from vision.results import Finding

LEVEL = 0.05
USUAL_PACE = Pace()


def screen_log(log: Log, *, level: float = LEVEL, pace: Pace = USUAL_PACE) -> tuple[Finding, ...]:
    """Return the entries that deserve a second look, most deserving first.

    Parameters
    ----------
    log : Log
        One inspection's entries and what they can be held against.
    level : float, optional
        Probability with which a log in which nothing is wrong may raise any finding at all.
    pace : Pace, optional
        How fast people walk, and how long after a reading its photograph may be taken.

    Returns
    -------
    findings : tuple of Finding
        Severity "look". `p_value` is already comparable with `level`: it bounds the
        probability that an honest log shows anything as odd as this *anywhere*. It is None for
        plain facts (a date, a step, a file used twice), which need no probability.

    Raises
    ------
    ValueError
        If `level` does not lie between 0 and 1.

    Notes
    -----
    *The level holds for the whole log*: each check owns a fixed share of it, shared evenly by
    its tests, with Holm's step-down rule on top (`inspection.screening.multiple_testing`). Plain
    facts take nothing of it. Slips of the pen raise nothing of their own; they explain what other
    tests raised.

    *The ranking*: what may be a loss of section first, then entries whose diameter may be wrong,
    then those where only the circumstances are odd; within each the smaller probability first,
    facts as 0.

    *What it rests on*: the stated uncertainties of gauges and photographs, normal errors, and
    readings that scatter at least as `inspection.screening.underdispersion` reckons. Where the
    uncertainties are stated too small, there are more findings than the level says.

    Examples
    --------
    Five stations, the fourth with two digits swapped (35.07 became 30.57):

    >>> from datetime import date
    >>> from inspection.model.readings import Gauge, Reading
    >>> from inspection.model.rope import Inspection, Rope, Station
    >>> texts = ["35.12", "35.09", "35.14", "30.57", "35.11", "35.15"]
    >>> log = Log(
    ...     Rope("R-1", 34.0),
    ...     Inspection("I-1", "R-1", date(2026, 11, 3),
    ...                stations=tuple(Station(n, 10.0 * n) for n in range(1, 7))),
    ...     tuple(Reading(text, float(text), n, 0, "C-1", "A. Berg")
    ...           for n, text in enumerate(texts, start=1)),
    ...     {"C-1": Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)},
    ... )
    >>> first = screen_log(log)[0]
    >>> first.code, first.where
    ('digits-swapped', ('station 4, 0 deg',))
    """
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie between 0 and 1; got {level}.")
    shared = adjust_for_multiplicity([*chance_tests(log), *fact_tests(log, pace=pace)])
    kept = [test for test in shared if test.p is None or test.p <= level]
    figures = {"photograph", "directions", "neighbours", "outlier", "growth"}
    odd = [test for test in kept if test.check in figures]
    patterns = [test for test in kept if test.check not in figures]
    found = ranked(_one_a_check([*explain(log, odd), *patterns]))
    return tuple(test.finding() for test in found)


def review_rank(findings: Sequence[Finding]) -> float:
    """Return how much an inspection deserves a look, for ranking many; 0 without findings.

    The strength of its first finding, minus log10 of its probability (a plain fact counts as
    one in a million, and nothing as more than one in 10^30), plus a hundredth for each further
    finding.

    Examples
    --------
    >>> first = Finding("outlier", "", "", "look", p_value=0.001)
    >>> review_rank([first]), review_rank([first, first]), review_rank([])
    (3.0, 3.01, 0.0)
    """
    if not findings:
        return 0.0
    p_value = findings[0].p_value
    strength = 6.0 if p_value is None else -math.log10(max(p_value, 1e-30))
    return round(strength + 0.01 * min(len(findings) - 1, 99), 6)


def chance_tests(log: Log) -> list[ScreeningTest]:
    """Return every test with a probability, before the level is shared out."""
    patterns = [
        *digit_preference_tests(log),
        *underdispersion_tests(log),
        *repeated_value_tests(log),
        *lay_length_tests(log),
    ]
    return [*figure_tests(log), *patterns]


def fact_tests(log: Log, *, pace: Pace = USUAL_PACE) -> list[ScreeningTest]:
    """Return the plain facts that an honest log does not show."""
    return [*gauge_tests(log), *timing_tests(log, pace=pace), *photo_tests(log)]


def _one_a_check(tests: list[ScreeningTest]) -> list[ScreeningTest]:
    """Return the tests without those that a less likely one of the same pattern overlaps."""
    patterns = {"last-digits", "evenness", "repeats-station", "repeats-earlier", "nominal"}
    kept: list[ScreeningTest] = []
    for test in ranked(tests):
        if test.check not in patterns or not any(
            test.check == other.check and set(test.entries) & set(other.entries) for other in kept
        ):
            kept.append(test)
    return kept
