"""Verdicts: margin, what would settle them, the reference's own uncertainty, wording."""

from __future__ import annotations

import math
from dataclasses import replace

import GTC  # type: ignore[import-untyped]
import pytest

from inspection.limits.conformity import GUARD_2013, GUARD_2017, SIMPLE, DecisionRule, judge
from inspection.limits.rules import Limit
from inspection.limits.standards import limits_for
from inspection.model.rope import Rope

NEW = Rope("R-1", 20.0, service="new")
USED = Rope("R-2", 40.0, reference_mm=41.2)


def _tolerance() -> Limit:
    limit = limits_for(NEW, rule_sets=["EN 12385-4"])[0]
    assert isinstance(limit, Limit)
    return limit


def test_what_would_settle_an_undecided_case_does_settle_it() -> None:
    limit = _tolerance()
    for value in (19.96, 20.05, 20.9, 21.05):
        for decision in (GUARD_2017, GUARD_2013):
            verdict = judge(limit, value, 0.08, decision=decision)
            assert verdict.outcome == "undecided"
            assert verdict.settle_u_mm is not None
            surer = judge(limit, value, verdict.settle_u_mm * 0.999, decision=decision)
            assert surer.outcome == ("within" if 20.0 <= value <= 21.0 else "outside")
            blunter = judge(limit, value, verdict.settle_u_mm * 1.001, decision=decision)
            assert blunter.outcome == "undecided"


def test_the_margin_is_the_distance_to_the_nearest_limit_and_negative_beyond() -> None:
    limit = _tolerance()
    assert judge(limit, 20.3, 0.05).margin_mm == pytest.approx(0.3)
    assert judge(limit, 20.9, 0.05).margin_mm == pytest.approx(0.1)
    assert judge(limit, 21.3, 0.05).margin_mm == pytest.approx(-0.3)


def test_a_figure_at_the_limit_can_not_be_settled_and_says_so() -> None:
    verdict = judge(_tolerance(), 20.0, 0.05)
    assert verdict.outcome == "undecided"
    assert verdict.settle_u_mm == 0.0
    assert "no measurement can settle it" in verdict.words


def test_an_uncertain_reference_makes_the_verdict_uncertain_and_a_shared_gauge_more_certain() -> (
    None
):
    limit = limits_for(replace(USED, u_reference_mm=0.06), rule_sets=["ISO 4309:2017"])[0]
    assert isinstance(limit, Limit)
    apart = judge(limit, 38.36, 0.08)
    assert apart.u_mm == pytest.approx(0.1)  # 6-8-10
    assert apart.outcome == "undecided"
    shared = judge(limit, 38.36, 0.08, base_covariance_mm2=0.05 * 0.05)
    # the same by an uncertain-number library: both figures share one gauge error of 0.05
    gauge = GTC.ureal(0.0, 0.05)
    reference = gauge + GTC.ureal(41.2, math.sqrt(0.06**2 - 0.05**2))
    now = gauge + GTC.ureal(38.36, math.sqrt(0.08**2 - 0.05**2))
    assert shared.u_mm == pytest.approx(GTC.uncertainty(reference - now))
    assert shared.outcome == "within"


def test_an_uncertain_reference_is_named_where_no_measurement_can_help() -> None:
    limit = limits_for(replace(USED, u_reference_mm=0.3), rule_sets=["ISO 4309:2017"])[0]
    assert isinstance(limit, Limit)
    assert "The reference diameter is too uncertain" in judge(limit, 38.3, 0.05).words


@pytest.mark.parametrize(("decision", "factor"), [(GUARD_2017, 1.65), (GUARD_2013, 2.0)])
def test_the_guard_band_is_as_wide_as_its_edition_says(
    decision: DecisionRule, factor: float
) -> None:
    # ISO 14253-1: U = 2 u (1998 and 2013), 1.65 u (2017; from memory, confidence 0.85)
    for width, outcome in ((0.999 * factor, "undecided"), (1.001 * factor, "within")):
        assert judge(_tolerance(), 20.0 + width * 0.1, 0.1, decision=decision).outcome == outcome


def test_simple_acceptance_ignores_the_uncertainty() -> None:
    assert judge(_tolerance(), 20.001, 5.0, decision=SIMPLE).outcome == "within"
    assert judge(_tolerance(), 19.999, 5.0, decision=SIMPLE).outcome == "outside"


def test_limits_nearer_than_two_guard_bands_can_not_be_met() -> None:
    outcomes = {judge(_tolerance(), 19.0 + i / 100, 0.4).outcome for i in range(300)}
    assert outcomes == {"undecided", "outside"}


def test_the_words_carry_figure_limit_margin_and_what_would_settle_it() -> None:
    words = judge(_tolerance(), 20.05, 0.06).words
    assert words == (
        "EN 12385-4, tolerance of the diameter: undecided; measured diameter 20.05 mm "
        "(u 0.06 mm), limit at least 20.00 mm and at most 21.00 mm, margin +0.05 mm. "
        "A measurement with U (k = 2) of 0.061 mm or less would settle it."
    )


@pytest.mark.parametrize(
    ("value", "u", "sentence"),
    [
        (math.nan, 0.1, "must be a number"),
        (20.0, -0.1, "0 or more; got -0.1"),
        (20.0, math.nan, "0 or more"),
        (math.inf, 0.1, "must be a number"),
    ],
)
def test_figures_that_are_none_are_refused(value: float, u: float, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        judge(_tolerance(), value, u)
    with pytest.raises(ValueError, match="guard_factor"):
        DecisionRule("odd", -1.0, "")
