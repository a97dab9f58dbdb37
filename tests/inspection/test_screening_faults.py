"""Planted faults: found, named, and a true loss never called a slip of the pen.

Two logs of each kind, always the same ones; rates come from tests/benchmarks/screening_tables.py,
over thousands of logs of other ranges. These tests guard what must not be lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from inspection.screening.screen import screen_log
from tests.benchmarks.screening_tables import Rates, fault_rates
from tests.inspection.planted_faults import FACTS, FAULTS, FIGURE_FAULTS
from tests.inspection.simulated_logs import GAUGES, PEOPLE, Range, simulate, simulate_log
from tests.kept_answers import answered_once
from vision.results import Finding

LOGS, SEED = 2, 4001
ONE_MORE = {"narrow jaws"}  # of three logs one may not show it
# Kinds that logs like these can't always show, with the reason; their rates are in the table.
HIDDEN = {
    "rows shifted",  # only the rope's own unevenness tells, and it is often below the scatter
    "axes exchanged",  # only its ovality does
    "invented",  # likewise: an even rope has no ups and downs to follow
    "another rope",  # two ropes of one size can be alike
    "reference in part",  # a rope that has not worn shows its reference diameter
    "nominal in part",  # the same for a rope near nominal
    "misread by 2.5 %",  # 0.2 mm on a rope of 8 mm, read by an unsteady hand
}


def _rates(shared: Path, kind: str, photographs: bool = True) -> Rates:
    return answered_once(
        shared,
        ("rates", kind, photographs),
        lambda: fault_rates(
            kind, logs=LOGS + (kind in ONE_MORE), seed=SEED, photographs=photographs
        ),
    )


@pytest.mark.parametrize("kind", sorted(set(FIGURE_FAULTS) - HIDDEN))
def test_a_fault_that_photographs_can_show_is_found(kind: str, shared: Path) -> None:
    rates = _rates(shared, kind)
    print(f"{kind}: found {rates.found:.2f}, named first {rates.named_first:.2f}, {rates.wrong}")
    assert rates.found * rates.logs >= LOGS
    accuse_nobody(rates.findings)


@pytest.mark.parametrize("kind", sorted(HIDDEN))
def test_what_is_said_of_a_fault_that_may_stay_hidden_accuses_nobody(kind: str) -> None:
    said = fault_rates(kind, logs=2, seed=SEED, photographs=True).findings
    assert said  # in one of these two logs at least it doesn't stay hidden
    accuse_nobody(said)


@pytest.mark.parametrize("kind", sorted(FACTS))
def test_a_plain_fact_is_always_named(kind: str) -> None:
    ranges = Range(repeat_mm=(0.03, 0.06), steps=(0,), times=("seconds",))
    rates = fault_rates(kind, logs=2, seed=SEED, photographs=True, ranges=ranges)
    print(f"{kind}: found {rates.found:.2f}, {rates.wrong}")
    # sixteen digits are few for the one about rounding
    assert rates.found >= (0.5 if "rounded" in kind else 1.0)
    accuse_nobody(rates.findings)


def accuse_nobody(findings: Sequence[Finding]) -> None:
    """Check each finding's wording: what is seen, what to do, and an innocent explanation."""
    blaming = ("cheat", "fraud", "invented", "made up", "dishonest", "careless", "lied", "fake")
    for finding in findings:
        assert finding.severity == "look"
        assert finding.seen
        assert finding.remedy
        assert finding.innocent
        assert finding.where
        words = f"{finding.seen} {finding.remedy} {finding.innocent}".lower()
        assert not any(word in words for word in blaming), words
        assert not any(person.lower() in words for person in PEOPLE), words
        assert "[" not in words
        assert "none" not in words.split()


def test_most_explanations_that_are_named_first_are_right(shared: Path) -> None:
    right = [_rates(shared, kind) for kind in set(FIGURE_FAULTS) - HIDDEN]
    named = sum(rates.named_first * rates.found * rates.logs for rates in right)
    assert named >= 0.8 * sum(rates.found * rates.logs for rates in right)


@pytest.mark.parametrize("kind", [kind for kind in FIGURE_FAULTS if "true loss" in kind])
@pytest.mark.parametrize("photographs", [True, False])
def test_a_true_loss_is_never_called_a_slip_of_the_pen(
    kind: str, photographs: bool, shared: Path
) -> None:
    rates = _rates(shared, kind, photographs)
    assert rates.slip == 0.0
    assert rates.found == 1.0
    assert rates.named_first == 1.0


def test_two_slips_in_one_log_are_both_explained() -> None:
    rng = np.random.default_rng(42)
    ranges = Range(steps=(0,), repeat_mm=(0.03, 0.05), nominals_mm=(22.0,))
    case = simulate(rng, ranges, stations=8, earlier=0, photographs=True, hands=1)
    first = FAULTS["decimal point moved"](rng, case)
    assert first is not None
    second = FAULTS["inch for mm"](rng, first[0])
    assert second is not None
    faulty, entries, _ = second
    assert entries != first[1]
    found = {finding.code: finding.places for finding in screen_log(faulty.log)}
    assert found["decimal-moved"] == faulty.log.places(first[1])
    assert found["inch-for-mm"] == faulty.log.places(entries)


def test_a_gauge_that_reads_too_much_everywhere_is_one_finding() -> None:
    rng = np.random.default_rng(21)
    for _ in range(3):
        log = simulate_log(rng, stations=8, earlier=0, photographs=True, gauges=GAUGES[:1])
        moved = tuple(
            replace(item, value_mm=item.value_mm + 0.8, typed=f"{item.value_mm + 0.8:.2f}")
            for item in log.readings
        )
        findings = screen_log(replace(log, readings=moved))
        assert findings[0].code == "gauge-shifted"
        assert len(findings[0].places) == 16
        assert len(findings) == 1


def test_a_gauge_that_is_off_from_half_way_on_makes_nothing_of_the_rest_look_copied() -> None:
    # a round rope and a hand of 0.05 mm: half the pairs lie within 0.04 mm of each other by chance
    rng = np.random.default_rng(14)
    ranges = Range(
        steps=(0,), repeat_mm=(0.05, 0.05), nominals_mm=(22.0,), oval_pct=(0.01, 0.02), hands=(1,)
    )
    for _ in range(4):
        case = simulate(rng, ranges, stations=10, earlier=1, photographs=False)
        moved = {
            n: case.shown(n, item.value_mm - (0.5 if n >= 10 else 0.0))
            for n, item in enumerate(case.log.readings)
        }
        codes = [finding.code for finding in screen_log(case.with_readings(moved).log)]
        assert codes[0] == "shift-from"
        assert "x-equals-y" not in codes
