"""One planted fault of each kind: found, called by its name, and at the head of the list."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspection.screening.screen import screen_log
from tests.inspection.simulated_logs import FAULTS, GAUGES, fault_rates, simulate_log

LOGS, SEED = 40, 20261103
# Kinds that logs like these can't always show: a coarse step hides a copy, rounding shows only
# where the readings spread over more than the step, the nominal may be where the rope is.
# Their rates are printed by the script, and must only not vanish.
UNSURE = {"y copied from x, 0.05 gauge", "y within a step of x, 0.01 gauge",
          "rounded to 0.05, 0.01 gauge"}  # fmt: skip
# Kinds with another true description: several slips can lead to one text.
NAMED_LESS = {"one digit mistyped", "growth of 2 %, no photograph", "misread by 1.5 %"}


@pytest.mark.parametrize("kind", sorted(set(FAULTS) - UNSURE))
def test_an_obvious_fault_is_found_named_and_leads_the_list(kind: str) -> None:
    rates = fault_rates(kind, logs=LOGS, seed=SEED)
    print(f"{kind}: named {rates.named:.2f}, found {rates.found:.2f}, leads {rates.leads:.2f}")
    assert rates.found > 0.9
    # a true second oddity of the same log may rightly come first
    assert rates.leads > 0.85
    assert rates.named > (0.6 if kind in NAMED_LESS else 0.9)


@pytest.mark.parametrize("kind", sorted(UNSURE))
def test_a_fault_that_hides_is_found_far_more_often_than_a_false_alarm(kind: str) -> None:
    rates = fault_rates(kind, logs=LOGS, seed=SEED)
    print(f"{kind}: named {rates.named:.2f}, found {rates.found:.2f}, leads {rates.leads:.2f}")
    assert rates.named > 0.4


def test_two_slips_in_one_log_are_both_explained() -> None:
    rng = np.random.default_rng(42)
    log = simulate_log(rng, stations=8, earlier=0, photographs=True)
    first = FAULTS["decimal point moved"][0](rng, log)
    assert first is not None
    second = FAULTS["inch for mm"][0](rng, first[0])
    assert second is not None
    faulty, entries = second
    assert entries != first[1]
    findings = screen_log(faulty)
    found = {one.code: one.where for one in findings}
    assert found["decimal-moved"] == tuple(one.words for one in log.places(first[1]))
    assert found["inch-for-mm"] == tuple(one.words for one in log.places(entries))


def test_a_gauge_that_reads_too_much_everywhere_is_one_finding() -> None:
    rng = np.random.default_rng(21)
    for _ in range(10):
        log = simulate_log(rng, stations=8, earlier=0, photographs=True, gauges=GAUGES[:1])
        moved = tuple(
            replace(item, value_mm=item.value_mm + 0.8, typed=f"{item.value_mm + 0.8:.2f}")
            for item in log.readings
        )
        findings = screen_log(replace(log, readings=moved))
        assert findings[0].code == "photograph-disagrees"
        assert "off alike" in findings[0].seen
        assert len(findings[0].where) >= 12
        assert len(findings) <= 2


def test_every_finding_has_its_words_and_accuses_nobody() -> None:
    rng = np.random.default_rng(9)
    people = {"A. Berg", "M. Ilves", "T. Okoro"}
    blaming = ("cheat", "fraud", "invented", "made up", "dishonest", "careless", "lied", "fake")
    for kind, (plant, _) in FAULTS.items():
        planted = plant(rng, simulate_log(rng, stations=8, earlier=1, photographs=True))
        if planted is None:
            continue
        for finding in screen_log(planted[0]):
            assert finding.severity == "look", kind
            assert finding.seen, kind
            assert finding.remedy, kind
            assert finding.innocent, kind
            assert finding.where, kind
            words = f"{finding.seen} {finding.remedy} {finding.innocent}".lower()
            assert not any(word in words for word in blaming), kind
            assert not any(person.lower() in words for person in people), kind
            assert "[" not in words
            assert "none" not in words.split()
