"""Screening: which entries of a log deserve a second look, most deserving first.

It speaks of entries, never of people, and gives an innocent explanation with every finding:
most odd entries are slips.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from inspection.model.log import Log
from inspection.screening.checks.digit_preference import digit_preference_tests
from inspection.screening.checks.gauges import gauge_tests
from inspection.screening.checks.lay_length import lay_length_tests
from inspection.screening.checks.photo_reuse import photo_tests
from inspection.screening.checks.repeat_shots import repeat_shots_tests
from inspection.screening.checks.timing import Pace, timing_tests
from inspection.screening.figures.copied_figures import copied_figures_tests
from inspection.screening.figures.explained import Tested
from inspection.screening.figures.explanations import explain
from inspection.screening.figures.narrow_jaws import honest_predictions, narrow_jaws_tests
from inspection.screening.figures.odd_figures import (
    Exchange,
    LogModel,
    Shift,
    model_of,
    odd_figures_tests,
)
from inspection.screening.multiple_testing import (
    ScreeningTest,
    adjust_for_multiplicity,
    bonferroni_factors,
    ranked,
)
from vision.results import Finding

LEVEL = 0.05
USUAL_PACE = Pace()
COPIES = ("typed-in", "repeats-earlier", "repeats-station", "x-equals-y")


def screen_log(log: Log, *, level: float = LEVEL, pace: Pace = USUAL_PACE) -> tuple[Finding, ...]:
    """Return the entries that deserve a second look: `screen` with the log's own model.

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
    return screen(log, model_of(log), level=level, pace=pace)


def screen(
    log: Log, model: LogModel | None, *, level: float = LEVEL, pace: Pace = USUAL_PACE
) -> tuple[Finding, ...]:
    """Return the entries that deserve a second look, most deserving first.

    Parameters
    ----------
    log : Log
        One inspection's entries and what they can be compared with.
    model : LogModel or None
        Its model, from `inspection.screening.figures.odd_figures.model_of`.
    level : float, optional
        Probability that a log in which nothing is wrong raises any finding at all.
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
        If `level` is not between 0 and 1.

    Notes
    -----
    *The level holds for the whole log*: each check owns a fixed share of it, divided evenly among
    its tests, with Holm's step-down rule on top (`inspection.screening.multiple_testing`). Plain
    facts use none of it. Slips of the pen raise no finding of their own; they explain what other
    tests raised.

    *The ranking*: what may be a loss of section first, then entries whose diameter may be wrong,
    then figures that may have been copied, then those where only the circumstances are odd; within
    each group the smaller probability first, with 0 for facts.

    *Assumptions*: the stated errors of gauges and photographs, normal scatter, and how well
    people repeat, which is learned (`figures.expected_readings`). Where stated errors
    are too small, there are more findings than the level says.
    """
    if not 0 < level < 1:
        raise ValueError(f"`level` must be between 0 and 1; got {level}.")
    causes, patterns = chance_tests(log, model)
    tests = [*(test for test, _ in causes), *patterns]
    shared = adjust_for_multiplicity(tests)
    kept = [test for test in shared[len(causes) :] if test.p is not None and test.p <= level]
    found = [*_one_a_check(kept), *fact_tests(log, pace=pace)]
    if model is not None:
        odd = [
            Tested(cause, test.p or 0.0, times)
            for test, times, (_, cause) in zip(
                shared, bonferroni_factors(tests), causes, strict=False
            )
        ]
        # a copied figure says nothing about the rope
        copied = {entry for test in kept if test.check in COPIES for entry in test.entries}
        explained = explain(model.fitted, odd, level=level, set_aside=copied)
        explained_codes = {test.code for test in explained}
        found = [*explained, *(test for test in found if test.code not in explained_codes)]
    return tuple(test.finding() for test in ranked(found))


def review_rank(findings: Sequence[Finding]) -> float:
    """Return how much an inspection deserves a look, for ranking many; 0 without findings.

    It is minus log10 of the first finding's probability (one in a million for a plain fact, at
    least one in 10^30 for any finding), plus a hundredth for each further finding.

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


def chance_tests(
    log: Log, model: LogModel | None
) -> tuple[list[tuple[ScreeningTest, Shift | Exchange]], list[ScreeningTest]]:
    """Return every test with a probability, before the level is shared out.

    Tests of figures come with the shift or exchange tested; tests of patterns have none.
    """
    causes: list[tuple[ScreeningTest, Shift | Exchange]] = []
    patterns = [
        *digit_preference_tests(log),
        *lay_length_tests(log),
        *repeat_shots_tests(log),
    ]
    if model is not None:
        honest = honest_predictions(model.fitted)
        causes = [*odd_figures_tests(model), *narrow_jaws_tests(model.fitted, honest)]
        patterns += copied_figures_tests(model, honest.predictions)
    return causes, patterns


def fact_tests(log: Log, *, pace: Pace = USUAL_PACE) -> list[ScreeningTest]:
    """Return the plain facts that an honest log does not show."""
    return [*gauge_tests(log), *timing_tests(log, pace=pace), *photo_tests(log)]


def _one_a_check(tests: list[ScreeningTest]) -> list[ScreeningTest]:
    """Return the tests, dropping any that overlap a less likely one of the same check."""
    kept: list[ScreeningTest] = []
    for test in ranked(tests):
        if not any(
            test.check == other.check and set(test.entries) & set(other.entries) for other in kept
        ):
            kept.append(test)
    return kept
