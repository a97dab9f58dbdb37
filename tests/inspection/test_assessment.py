"""A whole case: the assessment keeps the results of all parts, and adds nothing."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from inspection.assessment import Assessment, assess
from inspection.comparison.crosscheck import crosscheck
from inspection.limits.conformity import SIMPLE
from inspection.limits.remaining_life import station_histories
from inspection.limits.standards import limits_for
from inspection.limits.user_rules import rules_from_json
from inspection.model.log import Log
from inspection.model.rope import Rope
from inspection.screening.figures.odd_figures import model_of, with_learned_repeatability
from inspection.screening.screen import review_rank, screen_log
from tests.inspection.danger_logs import SOUND, log_of
from tests.inspection.planted_faults import FAULTS, lose_section
from tests.inspection.simulated_logs import STEADY, Case, simulate, simulate_log
from vision.findings import finding
from vision.results import Estimate, Finding, Refusal


@pytest.fixture(scope="module")
def log() -> Log:
    return simulate_log(np.random.default_rng(3), stations=6, earlier=1, photographs=True)


@pytest.fixture(scope="module")
def judgement(log: Log) -> Assessment:
    return assess(log)


def test_a_judgement_keeps_what_its_parts_say(log: Log, judgement: Assessment) -> None:
    assert judgement.findings == screen_log(log)  # nothing is missing or repeated here
    told, dof = with_learned_repeatability(log, model_of(log))
    assert judgement.crosscheck == crosscheck(
        log.results,
        log.readings,
        told.gauges,
        log.rope,
        inspection=log.inspection.identity,
        dof=dof,
    )
    assert judgement.agreement is not None
    assert judgement.agreement.count == len(log.readings)
    assert len(judgement.photograph_sections) == len(judgement.gauge_sections) == 6


def test_a_sound_log_deserves_no_look_and_is_not_cleared(judgement: Assessment) -> None:
    assert not judgement.needs_review
    assert judgement.judged_against_nothing  # the simulated ropes have no reference diameter
    rope = replace(judgement.log.rope, reference_mm=judgement.log.rope.nominal_mm * 1.03)
    found = assess(replace(judgement.log, rope=rope))
    assert found.first_concern.endswith("That does not clear the rope.")


@pytest.mark.parametrize("reason", ["disagrees", "outside", "local decrease"])
def test_each_reason_alone_asks_for_a_look(log: Log, reason: str) -> None:
    rope = replace(log.rope, reference_mm=log.rope.nominal_mm * 1.03)
    sound = assess(replace(log, rope=rope))
    assert not sound.needs_review
    comparisons, verdicts, local = sound.crosscheck.comparisons, sound.verdicts, sound.local
    if reason == "disagrees":
        off = (*comparisons[:-1], replace(comparisons[-1], word="disagrees"))
        found = replace(sound, crosscheck=replace(sound.crosscheck, comparisons=off))
        words = f"{comparisons[-1].place.words}. Photograph"
    elif reason == "outside":
        last = replace(verdicts[-1], verdict=replace(verdicts[-1].verdict, outcome="outside"))
        found = replace(sound, verdicts=(*verdicts[:-1], last))
        words = f"Station {last.station}, by the gauge: ISO 4309:2017"
    else:
        thin = replace(local[-1], outcome="local decrease")
        found = replace(sound, local=(*local[:-1], thin))
        words = f"Station {thin.station}, by the gauge, is"
    assert found.needs_review
    assert found.first_concern.startswith(f"Check first: {words}")
    # "doubtful" is said of one in 20 comparisons with nothing wrong
    doubt = tuple(replace(one, word="doubtful") for one in comparisons)
    checked = replace(sound.crosscheck, comparisons=doubt)
    assert not replace(sound, crosscheck=checked).needs_review


def test_the_largest_of_several_local_decreases_leads(log: Log) -> None:
    sound = assess(log)
    thin = [
        replace(one, outcome="local decrease", deficit_mm=mm)
        for one, mm in zip(sound.local[:3], (0.4, 0.9, 0.6), strict=True)
    ]
    found = replace(sound, local=(*thin, *sound.local[3:]))
    assert found.thin_places == (thin[1], thin[2], thin[0])
    assert found.first_concern.startswith(f"Check first: {thin[1].words}")


def test_a_limit_for_discard_comes_before_odd_entries_and_these_before_other_limits(
    log: Log,
) -> None:
    sound = assess(replace(log, rope=replace(log.rope, reference_mm=log.rope.nominal_mm * 1.03)))
    look, discard = (
        next(one for one in sound.verdicts if one.verdict.limit.rule.purpose == purpose)
        for purpose in ("look", "discard")
    )
    look, discard = (
        replace(one, verdict=replace(one.verdict, outcome="outside")) for one in (look, discard)
    )
    odd = Finding("late", "It was late.", "Ask.", "look", where=("station 1",))
    both = replace(sound, verdicts=(look, discard), findings=(odd,))
    assert both.first_concern == f"Check first: {discard.words}"
    entry = replace(both, verdicts=(look,))
    assert entry.first_concern == "Check first: station 1. It was late."
    assert replace(entry, findings=()).first_concern == f"Check first: {look.words}"


@pytest.mark.parametrize(("readings", "agrees"), [(2, False), (3, True)])
def test_agreement_is_stated_from_three_comparisons_on(
    log: Log, readings: int, agrees: bool
) -> None:
    found = assess(replace(log, readings=log.readings[:readings]))
    assert len(found.crosscheck.comparisons) == readings
    assert (found.agreement is not None) is agrees
    assert found.method_comparison is not None


def test_a_rope_without_a_reference_says_so_in_place_of_a_verdict(judgement: Assessment) -> None:
    assert judgement.verdicts == ()
    assert any("needs a reference diameter" in one.reason for one in judgement.not_applicable)


def test_a_rope_under_load_is_not_held_against_its_unloaded_reference(log: Log) -> None:
    rope = replace(log.rope, reference_mm=log.rope.nominal_mm * 1.03, reference_tension="none")
    loaded = replace(log.inspection, tension="in service, unknown")
    found = assess(replace(log, rope=rope, inspection=loaded))
    assert found.verdicts == ()
    assert found.severities == ()
    assert any("can't be compared" in one.reason for one in found.not_applicable)
    assert len(assess(replace(log, rope=rope)).severities) == 6


def test_a_rope_with_a_baseline_is_held_against_the_clause_that_starts_from_it(log: Log) -> None:
    judgement = assess(replace(log, rope=replace(log.rope, baseline_mm=20.0)))
    limits = [one.verdict.limit for one in judgement.verdicts]
    # 30 CFR 56.19024(g): a loss of more than 6 % of the baseline; 20 mm less 6 % is 18.8 mm
    assert {(one.rule.rule_set, one.low_mm) for one in limits} == {("30 CFR 56.19024", 18.8)}


def test_verdicts_follow_the_reference_and_name_station_and_source(log: Log) -> None:
    # ISO 4309 for a steel core: discard at 7.5 % of nominal below the reference (from memory, 0.9)
    nominal = log.rope.nominal_mm
    mean = float(np.mean([reading.value_mm for reading in log.readings]))
    for loss_pct, outcome in ((4.0, "within"), (9.0, "outside")):
        rope = replace(log.rope, reference_mm=mean + nominal * loss_pct / 100)
        found = assess(replace(log, rope=rope))
        decrease = [one for one in found.verdicts if "decrease" in one.verdict.limit.rule.what]
        assert {one.verdict.outcome for one in decrease} == {outcome}
        assert {(one.station, one.source) for one in decrease} == {
            (n, source) for n in range(1, 7) for source in ("photographs", "gauge")
        }
        assert found.needs_review is (outcome == "outside")
    worst = min(decrease, key=lambda one: one.verdict.margin_mm)
    assert found.first_concern.startswith(f"Check first: {worst.words} Also outside a limit: ")


def test_only_a_least_diameter_for_discard_is_a_limit_that_wear_can_reach() -> None:
    log = simulate_log(np.random.default_rng(3), stations=4, earlier=3, photographs=False)
    site = {"rule_set": "Site 4", "quantity": "mean diameter", "source": "4.2", "start": "nothing"}
    nominal = log.rope.nominal_mm
    rules = [
        site | {"what": "most", "purpose": "discard", "high_mm": 1.2 * nominal},
        site | {"what": "look", "purpose": "look", "low_mm": 0.99 * nominal},
        site | {"what": "oval", "purpose": "discard", "quantity": "ovality", "low_mm": 0.1},
    ]
    least = site | {"what": "least", "purpose": "discard", "low_mm": 0.9 * nominal}
    strict = least | {"what": "strict", "low_mm": 0.95 * nominal}
    for own, low_mm in (
        (rules, None),
        ([*rules, least], 0.9 * nominal),
        ([least, strict], 0.95 * nominal),
        ([strict, least], 0.95 * nominal),
    ):
        limits = limits_for(log.rope, rule_sets=(), own=rules_from_json(json.dumps(own)))
        found = station_histories(log, limits)
        assert len(found) == 4
        assert {one.limit and one.limit.limit_mm for one in found} == {low_mm}


def test_a_new_rope_is_judged_as_a_whole(log: Log) -> None:
    found = assess(replace(log, rope=replace(log.rope, service="new")), decision=SIMPLE)
    whole = [one for one in found.verdicts if one.station is None]
    assert {one.source for one in whole} == {"photographs", "gauge"}
    tolerance = [one for one in whole if one.verdict.limit.rule.quantity == "measured diameter"]
    # EN 12385-4, 8 mm and more: nominal to nominal + 5 %; the simulated ropes are so made
    assert {one.verdict.outcome for one in tolerance} == {"within"}


def test_a_new_rope_with_stations_too_near_says_why_it_is_not_judged(log: Log) -> None:
    near = replace(
        log.inspection,
        stations=tuple(replace(s, position_m=0.1 * s.number) for s in log.inspection.stations),
    )
    close = replace(log, inspection=near, rope=replace(log.rope, service="new"))
    assert any("at least 1 m apart" in note for note in assess(close).notes)
    # where no limit asks for the whole rope's figure nothing is missing
    assert assess(close, rule_sets=()).notes == ()


def test_a_gauge_that_is_not_known_is_noted_and_nothing_breaks(log: Log) -> None:
    found = assess(replace(log, gauges={}))
    assert any("could not be compared" in note for note in found.notes)
    assert found.crosscheck.comparisons == ()
    assert found.findings[0].code == "gauge-unknown"


def test_a_refused_photograph_deserves_a_look(log: Log) -> None:
    # one whose card was read has a place, but no figure
    refused = Refusal((finding("no-card"),), station=2, view_deg=0, photo_name="x.jpg")
    found = assess(replace(log, results=(refused, *log.results)))
    assert found.crosscheck.refused == (refused,)
    assert found.needs_review
    assert found.first_concern == (
        "Check first: photograph x.jpg. No printed card was found in the photograph."
    )


@pytest.fixture(scope="module")
def case() -> Case:
    rng = np.random.default_rng(3)
    return simulate(rng, STEADY, stations=6, earlier=1, photographs=True, hands=1)


def test_what_rests_on_an_entry_to_be_checked_is_marked_and_nothing_else_is() -> None:
    photographs = {(n, view): 22.1 for n in (1, 2, 5) for view in (0, 90)}
    texts = SOUND | {(5, 0): "21.14"}
    found = assess(log_of(texts, photographs=photographs))
    words = {(one.station, one.word) for one in found.crosscheck.comparisons}
    assert {station for station, word in words if word == "disagrees"} == {5}
    assert found.doubted == {5}
    for marked in (found.verdicts, found.local, found.severities):
        assert {one.station for one in marked} == set(range(1, 9))
        assert {one.station for one in marked if one.doubted} == {5}
    # a figure of the whole rope rests on every station
    new = Rope("R-1", 22.0, service="new")
    for log, doubted in ((log_of(texts, rope=new), True), (log_of(SOUND, rope=new), False)):
        whole = [one for one in assess(log).verdicts if one.station is None]
        assert {one.doubted for one in whole} == {doubted}


def test_a_thin_place_that_both_see_is_named(case: Case) -> None:
    planted = lose_section(5.0, both=True)(np.random.default_rng(1), case)
    assert planted is not None
    thin, entries, _ = planted
    found = assess(thin.log)
    places = {thin.log.readings[entry].station for entry in entries}
    assert {local.station for local in found.local if local.outcome == "local decrease"} == places
    assert found.findings[0].code == "loss-of-section"


def test_empty_inspections_are_judged_to_hold_nothing(log: Log) -> None:
    found = assess(replace(log, readings=(), results=(), earlier=()))
    assert not found.needs_review
    assert found.agreement is None
    assert found.local == ()


def test_the_more_deserving_inspection_ranks_higher(case: Case) -> None:
    rng = np.random.default_rng(2)
    slip = FAULTS["decimal point moved"](rng, case)
    late = FAULTS["calibration run out"](rng, case)
    assert slip is not None
    assert late is not None
    ranks = [review_rank(screen_log(ranked.log)) for ranked in (slip[0], late[0], case)]
    assert ranks == sorted(ranks, reverse=True)
    assert ranks[-1] == 0.0


def test_one_photograph_alone_is_no_section_and_no_verdict(log: Log) -> None:
    one = next(item for item in log.results if isinstance(item, Estimate))
    found = assess(replace(log, readings=(), results=(one,), earlier=()))
    assert found.photograph_sections == ()
    assert any("two directions by photographs" in note for note in found.notes)


def test_comparison_section_and_trend_reckon_with_one_repeatability() -> None:
    case = simulate(
        np.random.default_rng(12),
        replace(STEADY, repeat_mm=(0.12, 0.12), nominals_mm=(20.0,), steps=(0,)),
        stations=10,
        earlier=2,
        photographs=True,
        hands=1,
    )
    found = assess(case.log)
    again = {
        round(term.u, 12)
        for budget in (
            *(one.difference_budget for one in found.crosscheck.comparisons),
            *(one.mean_budget for one in found.gauge_sections),
        )
        for term in budget
        if term.source.startswith("reading:") and not term.source.endswith(":step")
    }
    assert len(again) == 1
    # learned, not the default of 0.15 % of 20 mm = 0.03 mm
    assert again.pop() == pytest.approx(0.12, rel=0.3)
