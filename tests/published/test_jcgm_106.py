"""Conformity: probabilities of JCGM 106:2012 and the guard bands of ISO 14253-1.

The three examples: inputs from memory (confidence 0.85), probabilities computed apart. The rope
of 20 mm: a worked table of our own with limits 20 and 21 mm and U = 0.12 mm (k = 2).
"""

from __future__ import annotations

import pytest

from inspection.limits.conformity import GUARD_2013, GUARD_2017, SIMPLE, DecisionRule, judge
from inspection.limits.rules import Limit, Rule

RULE = Rule("example", "example", "mean diameter", "accept", "JCGM 106:2012", "2012", "7", "")


@pytest.mark.parametrize(
    ("low", "high", "value", "u", "probability"),
    [
        (None, -5.40, -5.47, 0.05, 0.919),  # breakdown voltage, V
        (490.0, None, 509.7, 8.6, 0.989),  # burst pressure, kPa
        (12.5, 16.3, 13.6, 1.8, 0.663),  # oil viscosity, mm2/s
    ],
)
def test_probabilities_of_conformity_are_the_examples(
    low: float | None, high: float | None, value: float, u: float, probability: float
) -> None:
    verdict = judge(Limit(RULE, low, high), value, u)
    assert round(verdict.p_conform, 3) == probability


@pytest.mark.parametrize(
    ("value", "outcome", "probability"),
    [
        (19.87, "outside", 0.015),
        (20.05, "undecided", 0.798),
        (20.119, "undecided", 0.976),
        (20.12, "within", 0.977),
        (20.13, "within", 0.985),
        (20.50, "within", 1.000),
        (20.88, "within", 0.977),
        (20.95, "undecided", 0.798),
        (21.05, "undecided", 0.202),
        (21.12, "undecided", 0.023),
        (21.121, "outside", 0.022),
        (21.13, "outside", 0.015),
    ],
)
def test_a_guard_band_of_u_expanded_accepts_20_12_to_20_88(
    value: float, outcome: str, probability: float
) -> None:
    verdict = judge(Limit(RULE, 20.0, 21.0), value, 0.06, decision=GUARD_2013)
    assert verdict.outcome == outcome
    assert verdict.p_conform == pytest.approx(probability, abs=0.0006)


@pytest.mark.parametrize(
    ("value", "outcome"),
    # 1.65 x 0.06 = 0.099: accept 20.099 to 20.901 (2017 edition)
    [(20.098, "undecided"), (20.099, "within"), (20.901, "within"), (20.902, "undecided")],
)
def test_the_2017_edition_has_the_narrower_guard_band(value: float, outcome: str) -> None:
    assert judge(Limit(RULE, 20.0, 21.0), value, 0.06, decision=GUARD_2017).outcome == outcome


@pytest.mark.parametrize(
    ("decision", "let_through"),
    # a figure at the acceptance limit is wrongly accepted with at most 2.3 %, 5 %, 50 %
    [(GUARD_2013, 0.023), (DecisionRule("1.645 u", 1.645, ""), 0.050), (SIMPLE, 0.5)],
)
def test_what_a_guard_band_lets_through_is_known(
    decision: DecisionRule, let_through: float
) -> None:
    u = 0.06
    verdict = judge(Limit(RULE, 20.0, None), 20.0 + decision.guard_factor * u, u, decision=decision)
    assert verdict.outcome == "within"
    assert 1.0 - verdict.p_conform == pytest.approx(let_through, abs=0.0005)
