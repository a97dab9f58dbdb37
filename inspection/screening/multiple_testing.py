"""Multiple testing: how the level of one inspection is shared out over all its tests.

A log of 16 readings is tested in some 80 ways. If each were allowed one false alarm in 20, every
second honest log would be flagged. So each check owns a fixed share of the level, its tests
divide that share evenly, and Holm's step-down rule passes on what is not needed. Whatever the
dependence between the tests, an honest log then raises any alarm at all with a probability of
at most the level.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from vision.results import Finding, Place

# Relative shares of the level, set on simulated logs with other seeds and ranges than those that
# tests/benchmarks/screening_tables.py prints. Faults that show only weakly (an exchange, an
# invented column, a copied figure) get a large share, and the largest goes to the one that a
# nearly round rope shows least (all its directions exchanged). Faults with probabilities near 1e-6
# (a slip, a copied line), or that are tested at many places, lose nothing by a small share. A
# check with nothing to test leaves its share to the rest.
SHARES: dict[str, float] = {
    "entry": 15,
    "station": 12,
    "place": 4,
    "station-read": 8,
    "across": 6,
    "direction": 6,
    "gauge": 8,
    "person": 6,
    "change": 8,
    "whole": 8,
    "exchange": 14,
    "axes": 30,
    "narrow-jaws": 10,
    "typed-in": 12,
    "repeats-earlier": 4,
    "repeats-station": 4,
    "x-equals-y": 4,
    "one-level": 14,
    "last-digits": 3,
    "lay": 3,
    "shots": 5,
}

WHOLE_ROPE = "whole rope"  # where a finding concerns no single place

# What a test concerns: section that the rope may have lost, a diameter that may be wrong, a figure
# that may not come from the rope, or only how an entry was made. They are ranked in this order.
Touches = Literal["section", "figure", "origin", "circumstances"]
RANK: dict[Touches, int] = {"section": 0, "figure": 1, "origin": 2, "circumstances": 3}


@dataclass(frozen=True, slots=True)
class ScreeningTest:
    """The result of one test of some entries, before the level is shared out.

    Parameters
    ----------
    check : str
        Key of `SHARES`; for a plain fact (`p` None) any name.
    code : str
        Code of the finding that this becomes.
    entries : tuple of int
        The readings concerned, numbered from 0 in the log.
    places : tuple of Place
        The places concerned: of the readings, of photographs, or whole stations.
    p : float or None
        Probability of something at least this odd if nothing is wrong; None for a plain fact
        that can't occur in a log in which nothing is wrong.
    seen, remedy, innocent : str
        One sentence each.
    value, limit : float or None
        Figure and limit behind `seen`, in `unit`.
    unit : str
        Their unit.
    touches : {"section", "figure", "origin", "circumstances"}
        Whether the rope may have lost section, the diameter is in doubt, or the figure's origin, or
        only how the entry was made.
    about : tuple of str
        What distinguishes it from other findings of its code at its places, as in `Finding`.
    photographs : tuple of str
        The photographs concerned, in words, where they are named instead of the places.
    look_first : bool
        Whether the rope has to be looked at there first, as in `Finding`.
    """

    check: str
    code: str
    entries: tuple[int, ...]
    places: tuple[Place, ...]
    p: float | None
    seen: str
    remedy: str
    innocent: str
    value: float | None = None
    limit: float | None = None
    unit: str = "1"
    touches: Touches = "figure"
    about: tuple[str, ...] = ()
    photographs: tuple[str, ...] = ()
    look_first: bool = False

    def finding(self) -> Finding:
        """Return the finding that the page, the command line and the report show."""
        return Finding(
            code=self.code,
            seen=self.seen,
            remedy=self.remedy,
            severity="look",
            value=self.value,
            limit=self.limit,
            unit=self.unit,
            where=self.photographs or tuple(place.words for place in self.places) or (WHOLE_ROPE,),
            p_value=self.p,
            innocent=self.innocent,
            places=self.places,
            about=self.about,
            check=self.check,
            look_first=self.look_first,
            may_be_loss=self.touches == "section",
        )


def plain_fact(
    code: str,
    entries: tuple[int, ...],
    places: tuple[Place, ...],
    *,
    seen: str,
    remedy: str,
    innocent: str,
) -> ScreeningTest:
    """Return a test without a probability, about how an entry was made; as in `ScreeningTest`."""
    return ScreeningTest(
        check=code,
        code=code,
        entries=entries,
        places=places,
        p=None,
        seen=seen,
        remedy=remedy,
        innocent=innocent,
        touches="circumstances",
    )


def adjusted_p_values(p_values: Sequence[float], weights: Sequence[float]) -> list[float]:
    """Return p-values that can be compared with the level of the whole family.

    Parameters
    ----------
    p_values : sequence of float
        One per test.
    weights : sequence of float
        Share of the level that each test owns; more than 0, any scale.

    Returns
    -------
    adjusted : list of float
        Rejecting every test whose adjusted value is at most the level keeps the probability of
        any false rejection at or below the level, under any dependence.

    Raises
    ------
    ValueError
        If the lengths differ or a weight is not more than 0.

    References
    ----------
    Holm, S. (1979), A simple sequentially rejective multiple test procedure, Scand. J.
    Statist. 6, 65-70: section 4 has the weighted form (from memory, confidence 0.9).

    Examples
    --------
    >>> adjusted_p_values([0.01, 0.04, 0.03], [1, 1, 1])
    [0.03, 0.06, 0.06]
    """
    if len(p_values) != len(weights):
        raise ValueError(
            f"one weight per p-value is needed; got {len(weights)} for {len(p_values)}."
        )
    if any(weight <= 0 for weight in weights):
        raise ValueError(f"every weight must be more than 0; got {min(weights)}.")
    order = sorted(range(len(p_values)), key=lambda index: p_values[index] / weights[index])
    left = float(sum(weights))
    worst = 0.0
    adjusted = [0.0] * len(p_values)
    for index in order:
        worst = max(worst, min(1.0, p_values[index] * left / weights[index]))
        adjusted[index] = worst
        left = max(left - weights[index], weights[index] * 1e-12)
    return adjusted


def bonferroni_factors(tests: Sequence[ScreeningTest]) -> list[float]:
    """Return the factor on each test's probability due to its share alone; 0 if it has none.

    Examples
    --------
    >>> test = ScreeningTest("lay", "", (), (), 0.5, "", "", "")
    >>> bonferroni_factors([test, test])
    [2.0, 2.0]
    """
    weights = _weights(tests)
    return [sum(weights) / weight if weight else 0.0 for weight in weights]


def _weights(tests: Sequence[ScreeningTest]) -> list[float]:
    """Return the share of the level that each test owns; 0 for plain facts."""
    count = Counter(test.check for test in tests if test.p is not None)
    return [0.0 if test.p is None else SHARES[test.check] / count[test.check] for test in tests]


def adjust_for_multiplicity(tests: Iterable[ScreeningTest]) -> list[ScreeningTest]:
    """Return the tests with `p` made comparable with the level of the whole log; facts as is."""
    listed = list(tests)
    chances = [index for index, test in enumerate(listed) if test.p is not None]
    weights = [weight for weight in _weights(listed) if weight]
    p_values = [_chance(listed[index]) for index in chances]
    for index, p in zip(chances, adjusted_p_values(p_values, weights), strict=True):
        listed[index] = replace(listed[index], p=p)
    return listed


def ranked(tests: Iterable[ScreeningTest]) -> list[ScreeningTest]:
    """Return the tests, most deserving first.

    First a possible loss of section, whatever else may explain it, then those where the
    diameter is in doubt, because people rely on it, then those whose figure may have been copied,
    then those where only how the entry was made is in doubt. Within each group the less likely
    comes first; a plain fact counts as probability 0. Ties go by the number of entries concerned,
    then by the order of the log.
    """
    return sorted(
        tests,
        key=lambda test: (
            RANK[test.touches],
            _chance(test),
            -len(test.entries),
            test.entries,
            test.code,
        ),
    )


def _chance(test: ScreeningTest) -> float:
    return 0.0 if test.p is None else test.p
