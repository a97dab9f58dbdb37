"""The limit that a rule gives for one rope, and why it does not apply to another."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from inspection.limits.rules import Limit, NotApplicable, exact
from inspection.limits.standards import RULE_SETS, limits_for
from inspection.model.rope import Rope, Tension

IN_SERVICE = Rope("R-1", 40.0, reference_mm=41.2)


def _reasons(rope: Rope, rule_set: str, *, tension: Tension = "none") -> list[str]:
    answers = limits_for(rope, rule_sets=[rule_set], tension=tension)
    return [answer.reason for answer in answers if isinstance(answer, NotApplicable)]


def test_every_rule_names_its_source_edition_clause_and_how_sure_it_is() -> None:
    for name, rules in RULE_SETS.items():
        for rule in rules:
            assert rule.rule_set == name
            assert all((rule.source, rule.edition, rule.clause, rule.what))
            assert rule.sure.startswith(("confirmed", "from memory, confidence 0."))


def test_every_set_answers_for_every_kind_of_rope_with_a_limit_or_a_reason() -> None:
    for build in ("single-layer", "parallel-closed", "rotation-resistant"):
        for core in ("fibre", "steel"):
            for duty in ("general", "crane", "hoist", "lift", "mine"):
                for service in ("new", "in-service"):
                    rope = Rope(
                        "R",
                        20.0,
                        build=build,
                        core=core,
                        duty=duty,
                        service=service,
                        reference_mm=20.6,
                        baseline_mm=20.5,
                    )
                    answers = limits_for(rope, rule_sets=list(RULE_SETS))
                    names = [(answer.rule.rule_set, answer.rule.what) for answer in answers]
                    assert len(set(names)) == len(names)
                    for answer in answers:
                        if isinstance(answer, NotApplicable):
                            assert answer.reason.endswith(".")
                        else:
                            assert answer.low_mm is not None or answer.high_mm is not None


@pytest.mark.parametrize(
    ("rope", "rule_set", "reason"),
    [
        (IN_SERVICE, "EN 12385-4", "it is for new ropes, this rope is in service"),
        (replace(IN_SERVICE, service="new"), "ISO 4309:2017", "it is for ropes in service"),
        (replace(IN_SERVICE, service="new", duty="lift"), "EN 12385-4", "used as lift"),
        (
            replace(IN_SERVICE, service="new"),
            "EN 12385-5",
            "it is for lift ropes, this one is used as general",
        ),
        (replace(IN_SERVICE, reference_mm=None), "ISO 4309:2017", "needs a reference diameter"),
        (replace(IN_SERVICE, duty="lift"), "ISO 4309:2017", "it is for crane or hoist ropes"),
        (replace(IN_SERVICE, duty="lift"), "29 CFR 1926.1413", "it is for crane ropes"),
        (IN_SERVICE, "30 CFR 56.19024", "needs a baseline diameter"),
    ],
)
def test_a_limit_that_does_not_apply_says_why(rope: Rope, rule_set: str, reason: str) -> None:
    reasons = _reasons(rope, rule_set)
    assert reasons
    assert all(reason in told for told in reasons)


def test_a_reference_at_another_tension_is_not_compared() -> None:
    unloaded = replace(IN_SERVICE, reference_tension="none")
    apart = _reasons(unloaded, "ISO 4309:2017", tension="in service, unknown")
    assert len(apart) == 2
    assert "can't be compared" in apart[0]
    assert _reasons(unloaded, "ISO 4309:2017", tension="none") == []


def test_a_reference_of_unknown_tension_is_compared_with_a_note() -> None:
    limit = limits_for(IN_SERVICE, rule_sets=["ISO 4309:2017"])[0]
    assert isinstance(limit, Limit)
    assert "tension at the reference measurement was not recorded" in limit.note
    assert "uncertainty is not known and not included" in limit.note


def test_a_limit_from_nominal_under_tension_says_that_tension_thins() -> None:
    (limit,) = limits_for(IN_SERVICE, rule_sets=["29 CFR 1926.1413"], tension="in service, unknown")
    assert isinstance(limit, Limit)
    assert "Tension makes a rope thinner" in limit.note
    assert limit.u_base_mm == 0.0


def test_the_references_own_uncertainty_travels_with_the_limit() -> None:
    rope = replace(IN_SERVICE, u_reference_mm=0.05)
    limit = limits_for(rope, rule_sets=["ISO 4309:2017"])[0]
    assert isinstance(limit, Limit)
    assert limit.u_base_mm == 0.05
    unloaded = replace(rope, reference_tension="none")
    known = limits_for(unloaded, rule_sets=["ISO 4309:2017"])[0]
    assert isinstance(known, Limit)
    assert known.note.startswith("The reference is the rope's diameter directly after running in.")
    assert "tension" not in known.note


def test_limits_are_exact_decimal_numbers() -> None:
    limit = limits_for(
        replace(IN_SERVICE, nominal_mm=16.0, reference_mm=16.4), rule_sets=["ISO 4309:2017"]
    )[0]
    assert isinstance(limit, Limit)
    assert limit.low_mm == 15.2  # 16.4 - 0.075 * 16 in floating point is 15.199999999999998
    assert str(exact(16.4)) == "16.4"


def test_an_unknown_set_and_an_impossible_rope_are_refused() -> None:
    with pytest.raises(ValueError, match="'ISO 4309:2030' is not a known set of limits"):
        limits_for(IN_SERVICE, rule_sets=["ISO 4309:2030"])
    for nominal_mm in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="nominal diameter must be more than 0"):
            limits_for(replace(IN_SERVICE, nominal_mm=nominal_mm))
    with pytest.raises(ValueError, match="reference diameter must be more than 0"):
        limits_for(replace(IN_SERVICE, reference_mm=0.0))
