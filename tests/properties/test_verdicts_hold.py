"""For any figures, a thinner rope never gets a better verdict, and units don't matter."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import assume, given
from hypothesis import strategies as st

from inspection.limits.conformity import GUARD_2013, GUARD_2017, SIMPLE, judge
from inspection.limits.grooves import groove_fit
from inspection.limits.rules import Limit
from inspection.limits.standards import RULE_SETS, limits_for
from inspection.limits.wear import SeverityRating, uniform_decrease
from inspection.model.rope import Groove, Rope

KINDNESS = {"within": 2, "undecided": 1, "outside": 0}
EXACT = 1e-9  # room for floating point in probabilities

nominals = st.floats(2.5, 80.0)
figures = st.floats(0.5, 120.0)
uncertainties = st.one_of(st.just(0.0), st.floats(1e-6, 3.0))
decisions = st.sampled_from([GUARD_2013, GUARD_2017, SIMPLE])
ropes = st.builds(
    Rope,
    st.just("R"),
    nominals,
    core=st.sampled_from(["fibre", "steel"]),
    build=st.sampled_from(["single-layer", "parallel-closed", "rotation-resistant"]),
    service=st.sampled_from(["new", "in-service"]),
    duty=st.sampled_from(["general", "crane", "hoist", "lift", "mine"]),
    fibre_centred_strands=st.booleans(),
)


def _limits(rope: Rope) -> list[Limit]:
    whole = replace(
        rope,
        reference_mm=rope.nominal_mm * 1.03,
        baseline_mm=rope.nominal_mm * 1.02,
        u_reference_mm=0.02,
    )
    answers = limits_for(whole, rule_sets=list(RULE_SETS))
    return [answer for answer in answers if isinstance(answer, Limit)]


@given(ropes, figures, figures, uncertainties, decisions)
def test_a_thinner_rope_never_gets_a_kinder_verdict_on_discard(
    rope: Rope, one: float, two: float, u: float, decision: object
) -> None:
    thin, thick = sorted((one, two))
    for limit in _limits(rope):
        if limit.rule.purpose != "discard":
            continue
        assert limit.high_mm is None
        thinner = judge(limit, thin, u, decision=decision)  # type: ignore[arg-type]
        thicker = judge(limit, thick, u, decision=decision)  # type: ignore[arg-type]
        assert KINDNESS[thinner.outcome] <= KINDNESS[thicker.outcome]
        assert thinner.p_conform <= thicker.p_conform + EXACT
        assert thinner.margin_mm <= thicker.margin_mm


@given(ropes, figures, figures, uncertainties, decisions)
def test_a_thicker_rope_never_gets_a_kinder_verdict_on_oversize(
    rope: Rope, one: float, two: float, u: float, decision: object
) -> None:
    thin, thick = sorted((one, two))
    for limit in _limits(rope):
        if limit.high_mm is None:
            continue
        oversize = replace(limit, low_mm=None)
        thinner = judge(oversize, thin, u, decision=decision)  # type: ignore[arg-type]
        thicker = judge(oversize, thick, u, decision=decision)  # type: ignore[arg-type]
        assert KINDNESS[thicker.outcome] <= KINDNESS[thinner.outcome]
        assert thicker.p_conform <= thinner.p_conform + EXACT


@given(ropes, figures, uncertainties, uncertainties, decisions)
def test_more_uncertainty_never_turns_undecided_into_a_decision(
    rope: Rope, value: float, one: float, two: float, decision: object
) -> None:
    sure, unsure = sorted((one, two))
    for limit in _limits(rope):
        blunt = judge(limit, value, unsure, decision=decision).outcome  # type: ignore[arg-type]
        sharp = judge(limit, value, sure, decision=decision).outcome  # type: ignore[arg-type]
        assert blunt in ("undecided", sharp)


@given(ropes, st.floats(0.8, 1.1), uncertainties, decisions, st.sampled_from([0.5, 2.0, 4.0]))
def test_all_lengths_times_two_change_no_verdict_in_service(
    rope: Rope, part: float, u: float, decision: object, factor: float
) -> None:
    # new-rope tables depend on the size; the percentages of ropes in service do not
    used = replace(rope, service="in-service", duty="general", reference_mm=rope.nominal_mm * 1.03)
    scaled = replace(
        used, nominal_mm=used.nominal_mm * factor, reference_mm=(used.reference_mm or 0.0) * factor
    )
    sets = ["ISO 4309:2017", "ISO 4309 to 2004", "29 CFR 1926.1413"]
    value = used.nominal_mm * part
    for one, two in zip(
        limits_for(used, rule_sets=sets), limits_for(scaled, rule_sets=sets), strict=True
    ):
        assert isinstance(one, Limit)
        assert isinstance(two, Limit)
        here = judge(one, value, u, decision=decision)  # type: ignore[arg-type]
        # at the edge itself a last binary digit may differ: stay off it
        guard = here.decision.guard_factor * u
        assume(min(abs(here.margin_mm), abs(abs(here.margin_mm) - guard)) > 1e-6)
        there = judge(two, value * factor, u * factor, decision=decision)  # type: ignore[arg-type]
        assert here.outcome == there.outcome
        assert abs(here.p_conform - there.p_conform) < 1e-6


@given(ropes, figures, figures, uncertainties)
def test_a_thinner_rope_never_gets_a_kinder_severity(
    rope: Rope, one: float, two: float, u: float
) -> None:
    used = replace(rope, service="in-service", duty="general", reference_mm=rope.nominal_mm * 1.03)
    thin, thick = sorted((one, two))
    worse, better = (uniform_decrease(used, mean, u) for mean in (thin, thick))
    assert isinstance(worse, SeverityRating)
    assert isinstance(better, SeverityRating)
    assert worse.severity_pct >= better.severity_pct
    assert dict(worse.spread)["discard"] >= dict(better.spread)["discard"] - EXACT
    assert abs(sum(p for _, p in worse.spread) - 1.0) < EXACT


@given(nominals, st.integers(1, 40), st.integers(1, 400))
def test_severity_agrees_with_the_discard_verdict_at_every_hundredth(
    nominal_mm: float, tenths: int, hundredths: int
) -> None:
    nominal = round(nominal_mm, 1)
    reference = round(nominal + tenths / 10, 1)
    value = round(reference - hundredths / 100, 2)
    assume(value > 0)
    rope = Rope("R", nominal, reference_mm=reference)
    found = uniform_decrease(rope, value, 0.0)
    limit = limits_for(rope, rule_sets=["ISO 4309:2017"])[0]
    assert isinstance(found, SeverityRating)
    assert isinstance(limit, Limit)
    verdict = judge(limit, value, 0.0, decision=SIMPLE)
    assert (found.band == "discard") == (verdict.outcome == "outside")


@given(st.floats(2.0, 80.0), st.floats(0.4, 0.7), st.sampled_from([0.5, 2.0, 4.0]))
def test_a_groove_fits_at_every_scale(nominal_mm: float, ratio: float, factor: float) -> None:
    assume(min(abs(ratio - 0.525), abs(ratio - 0.55)) > 1e-6)
    one = groove_fit(Rope("R", nominal_mm), Groove("g", ratio * nominal_mm))
    two = groove_fit(Rope("R", factor * nominal_mm), Groove("g", ratio * nominal_mm * factor))
    assert one.outcome == two.outcome
