"""US rules: 29 CFR 1926.1413, 30 CFR 56.19024, the older table, and new-rope oversize.

29 CFR 1926.1413(a)(2)(ii)(B): more than 5 % below nominal (read in a state's copy of the rule).
30 CFR 56.19024(g): more than 6 % below the baseline (read at law.cornell.edu). Tables: see the
data files.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from inspection.limits.conformity import SIMPLE, judge
from inspection.limits.rules import Limit, NotApplicable
from inspection.limits.standards import limits_for, usual_sets
from inspection.model.length_text import parse_length
from inspection.model.rope import Rope

HERE = Path(__file__).parent


def _rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def _only(rope: Rope, rule_set: str) -> Limit:
    (limit,) = limits_for(rope, rule_sets=[rule_set])
    assert isinstance(limit, Limit)
    return limit


@pytest.mark.parametrize("rule_set", ["29 CFR 1926.1413", "ASME B30.5"])
@pytest.mark.parametrize("nominal_mm", [6.35, 13.0, 22.225, 40.0])
def test_5_pct_below_nominal_is_still_within_and_more_is_not(
    nominal_mm: float, rule_set: str
) -> None:
    limit = _only(Rope("R", nominal_mm), rule_set)
    edge = nominal_mm * 0.95
    assert judge(limit, edge, 0.0, decision=SIMPLE).outcome == "within"
    assert judge(limit, edge + 0.001, 0.0, decision=SIMPLE).outcome == "within"
    assert judge(limit, edge - 0.001, 0.0, decision=SIMPLE).outcome == "outside"


def test_6_pct_below_the_baseline_is_still_within_and_more_is_not() -> None:
    # the baseline is 1 mm over nominal: 6 % of it counts, not of nominal
    limit = _only(Rope("R", 50.0, baseline_mm=51.0), "30 CFR 56.19024")
    edge = 51.0 * 0.94
    assert judge(limit, edge, 0.0, decision=SIMPLE).outcome == "within"
    assert judge(limit, edge - 0.001, 0.0, decision=SIMPLE).outcome == "outside"
    assert judge(limit, 50.0 * 0.94, 0.0, decision=SIMPLE).outcome == "outside"


def test_a_reference_diameter_is_no_baseline() -> None:
    (answer,) = limits_for(Rope("R", 50.0, reference_mm=51.0), rule_sets=["30 CFR 56.19024"])
    assert isinstance(answer, NotApplicable)
    assert "needs a baseline diameter" in answer.reason


@pytest.mark.parametrize("row", _rows("us_older_reductions.csv"), ids=lambda row: row["to_in"])
def test_the_older_table_holds_at_both_ends_of_each_row(row: dict[str, str]) -> None:
    decrease_mm = parse_length(row["decrease_in"])
    for size in filter(None, (row["from_in"], row["to_in"])):
        nominal_mm = parse_length(size + " in")
        for written in (nominal_mm, round(nominal_mm, 2)):  # 5/16 in is written 7.94 mm
            limit = _only(Rope("R", written), "US consensus table (older)")
            edge = written - decrease_mm
            assert judge(limit, edge, 0.0, decision=SIMPLE).outcome == "within"
            assert judge(limit, edge - 0.001, 0.0, decision=SIMPLE).outcome == "outside"


@pytest.mark.parametrize("size", ["11/32", "17/32", "13/16", "1 3/16", "1 9/16", "2"])
def test_sizes_between_and_beyond_the_rows_have_no_limit(size: str) -> None:
    rope = Rope("R", parse_length(size + " in"))
    (answer,) = limits_for(rope, rule_sets=["US consensus table (older)"])
    assert isinstance(answer, NotApplicable)
    assert "no row for a nominal diameter" in answer.reason


@pytest.mark.parametrize("row", _rows("us_new_rope.csv"), ids=lambda row: row["most_pct"])
def test_the_new_rope_oversize_holds_at_both_ends_of_each_row(row: dict[str, str]) -> None:
    sizes = []
    if row["to_in"]:
        sizes += [parse_length(row["to_in"]), round(parse_length(row["to_in"]), 2)]
    if row["over_in"]:
        sizes.append(parse_length(row["over_in"]) + 0.12)  # beyond 8.05 mm, too
    for nominal_mm in sizes:
        limit = _only(Rope("R", nominal_mm, service="new"), "US handbook, new rope")
        edge = nominal_mm * (1 + float(row["most_pct"]) / 100)
        assert judge(limit, nominal_mm, 0.0, decision=SIMPLE).outcome == "within"
        assert judge(limit, nominal_mm - 0.001, 0.0, decision=SIMPLE).outcome == "outside"
        assert judge(limit, edge, 0.0, decision=SIMPLE).outcome == "within"
        assert judge(limit, edge + 0.001, 0.0, decision=SIMPLE).outcome == "outside"


def test_8_mm_has_6_pct_by_the_handbook_and_5_by_the_european_standard_and_both_are_shown() -> None:
    # the boundary trap: the handbook's row goes through 8.0 mm (5/16 in), EN 12385-4's begins at 8
    rope = Rope("R", 8.0, service="new")
    found = {
        limit.rule.rule_set: limit.high_mm
        for limit in limits_for(rope, rule_sets=usual_sets(rope))
        if isinstance(limit, Limit) and limit.rule.quantity == "measured diameter"
    }
    assert found == {
        "EN 12385-4": pytest.approx(8.0 * 1.05),
        "US handbook, new rope": pytest.approx(8.0 * 1.06),
    }
    for nominal_mm, pct in ((7.9375, 6.0), (8.5, 5.0)):
        limit = _only(Rope("R", nominal_mm, service="new"), "US handbook, new rope")
        assert limit.high_mm == pytest.approx(nominal_mm * (1 + pct / 100))


@pytest.mark.parametrize(("nominal_mm", "decrease_in"), [(8.0, 1 / 64), (13.0, 1 / 32)])
def test_8_and_13_mm_are_read_with_the_inch_sizes_that_they_are(
    nominal_mm: float, decrease_in: float
) -> None:
    limit = _only(Rope("R", nominal_mm), "US consensus table (older)")
    assert limit.low_mm == pytest.approx(nominal_mm - decrease_in * 25.4)
