"""Uniform decrease after ISO 4309: bands at their edges, worked example, older edition.

The bands and the example are from memory (confidence 0.9), see the data files.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from inspection.limits.conformity import SIMPLE, judge
from inspection.limits.rules import Limit, NotApplicable
from inspection.limits.standards import limits_for
from inspection.limits.wear import SeverityRating, uniform_decrease
from inspection.model.rope import Rope

HERE = Path(__file__).parent
SEVERITY_PCT = {"slight": 20, "medium": 40, "high": 60, "very_high": 80, "discard": 100}


def _rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def _rope(nominal_mm: float, reference_mm: float | None, build: Any, core: Any) -> Rope:
    return Rope("R", nominal_mm, build=build, core=core, reference_mm=reference_mm)


def _severity(rope: Rope, mean_mm: float) -> SeverityRating:
    found = uniform_decrease(rope, mean_mm, 0.0)
    assert isinstance(found, SeverityRating)
    return found


@pytest.mark.parametrize("row", _rows("iso_4309_bands.csv"), ids=lambda row: row["build"])
@pytest.mark.parametrize("nominal_mm", [13.0, 16.0, 19.0, 22.4, 36.0, 40.0])
def test_every_band_begins_at_its_edge_and_not_before(
    row: dict[str, str], nominal_mm: float
) -> None:
    reference_mm = round(nominal_mm * 1.03, 2)
    rope = _rope(nominal_mm, reference_mm, row["build"], row["core"])
    before = 0
    for band, severity_pct in SEVERITY_PCT.items():
        # thousandths of a mm keep the arithmetic of the test itself in whole numbers
        loss_um = round(float(row[band]) * nominal_mm * 10)
        edge_um = round(reference_mm * 1000) - loss_um
        assert _severity(rope, edge_um / 1000).severity_pct == severity_pct
        assert _severity(rope, (edge_um - 1) / 1000).severity_pct == severity_pct
        assert _severity(rope, (edge_um + 1) / 1000).severity_pct == before
        before = severity_pct


@pytest.mark.parametrize("row", _rows("iso_4309_examples.csv"), ids=lambda row: row["measured_mm"])
def test_the_worked_examples_come_out(row: dict[str, str]) -> None:
    rope = _rope(float(row["nominal_mm"]), float(row["reference_mm"]), row["build"], row["core"])
    found = _severity(rope, float(row["measured_mm"]))
    assert found.decrease_pct == float(row["decrease_pct"])
    assert found.severity_pct == int(row["severity_pct"])


def test_the_trap_of_floating_point_is_real_and_a_mean_of_two_does_not_fall_into_it() -> None:
    assert (16.4 - 15.2) / 16 * 100 < 7.5  # what plain arithmetic would make of the example
    mean = (15.1 + 15.3) / 2
    assert _severity(_rope(16.0, 16.4, "single-layer", "steel"), mean).band == "discard"
    noisy = 15.200000000000001
    assert _severity(_rope(16.0, 16.4, "single-layer", "steel"), noisy).band == "discard"


def _decrease_limit(rope: Rope, rule_set: str, what: str) -> Limit:
    found = [
        limit
        for limit in limits_for(rope, rule_sets=[rule_set])
        if isinstance(limit, Limit) and limit.rule.what == what
    ]
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize("row", _rows("iso_4309_bands.csv"), ids=lambda row: row["build"])
def test_the_discard_limit_is_the_last_edge_and_belongs_to_discard(row: dict[str, str]) -> None:
    limit = _decrease_limit(
        _rope(40.0, 41.2, row["build"], row["core"]), "ISO 4309:2017", "uniform decrease"
    )
    edge = 41.2 - 0.4 * float(row["discard"])
    assert judge(limit, edge, 0.0, decision=SIMPLE).outcome == "outside"
    assert judge(limit, edge - 0.001, 0.0, decision=SIMPLE).outcome == "outside"
    assert judge(limit, edge + 0.001, 0.0, decision=SIMPLE).outcome == "within"


@pytest.mark.parametrize(("core", "pct"), [("steel", 5.0), ("fibre", 10.0)])
def test_an_increase_is_looked_at_from_5_and_10_pct_on(core: str, pct: float) -> None:
    # from memory, confidence 0.85
    limit = _decrease_limit(
        _rope(20.0, 20.6, "single-layer", core), "ISO 4309:2017", "increase of diameter"
    )
    edge = 20.6 + 0.2 * pct
    assert limit.rule.purpose == "look"
    assert judge(limit, edge - 0.001, 0.0, decision=SIMPLE).outcome == "within"
    assert judge(limit, edge, 0.0, decision=SIMPLE).outcome == "outside"


@pytest.mark.parametrize(
    ("build", "what", "pct"),
    # 7 % outer wear; other causes 10 %, rotation-resistant 3 %; all below nominal
    [
        ("single-layer", "decrease by outer wear", 7.0),
        ("rotation-resistant", "decrease by outer wear", 7.0),
        ("single-layer", "decrease by other causes", 10.0),
        ("parallel-closed", "decrease by other causes", 10.0),
        ("rotation-resistant", "decrease by other causes", 3.0),
    ],
)
def test_the_older_edition_counts_from_nominal(build: str, what: str, pct: float) -> None:
    # trade pages that still quote it; needs no reference diameter
    limit = _decrease_limit(_rope(20.0, None, build, "steel"), "ISO 4309 to 2004", what)
    edge = 20.0 * (1 - pct / 100)
    assert judge(limit, edge + 0.001, 0.0, decision=SIMPLE).outcome == "within"
    assert judge(limit, edge, 0.0, decision=SIMPLE).outcome == "outside"
    assert judge(limit, edge - 0.001, 0.0, decision=SIMPLE).outcome == "outside"


def test_without_a_reference_diameter_there_is_no_severity_and_it_says_so() -> None:
    answer = uniform_decrease(_rope(40.0, None, "single-layer", "steel"), 39.0, 0.1)
    assert isinstance(answer, NotApplicable)
    assert answer.reason == (
        "ISO 4309:2017, uniform decrease: it needs a reference diameter, but none is recorded."
    )
