"""Any value converted to JSON comes back unchanged."""

from __future__ import annotations

import json
from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime
from typing import Any, get_type_hints

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspection.comparison.bland_altman import Agreement
from inspection.comparison.crosscheck import Comparison
from inspection.limits.rules import Limit, Rule
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Groove, Inspection, Rope, Station
from inspection.model.serialization import from_dict, result_from_dict, to_dict
from inspection.record.storage.events import Event
from inspection.record.views import LoggedFinding, Photograph, Review, StationReview
from vision.results import Estimate, Finding, Marks, Place, Refusal, Result
from vision.uncertainty import Term

KINDS = (
    Rope, Groove, Station, Inspection, Gauge, Reading, Finding, Place, Term, Marks, Estimate,
    Review, StationReview, Photograph, LoggedFinding, Event, Rule, Limit, Agreement, Comparison,
)  # fmt: skip

st.register_type_strategy(float, st.floats(allow_nan=False, allow_infinity=False))
refused = st.builds(Finding, severity=st.just("refuse"))
refusals = st.builds(Refusal, findings=st.lists(refused, min_size=1, max_size=3).map(tuple))


def through_json(thing: Any) -> Any:
    return json.loads(json.dumps(to_dict(thing)))


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_comes_back(kind: type) -> None:
    @given(st.from_type(kind))
    @settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
    def comes_back(thing: Any) -> None:
        assert from_dict(kind, through_json(thing)) == thing

    comes_back()


@given(st.from_type(Estimate) | refusals)
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_result_is_known_by_its_answer(result: Result) -> None:
    back = result_from_dict(through_json(result))
    assert back == result
    assert type(back) is type(result)


@given(st.from_type(Estimate))
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_names_that_are_not_known_are_passed_over(estimate: Estimate) -> None:
    values = {**through_json(estimate), "of a newer program": [1, {"two": None}]}
    assert from_dict(Estimate, values) == estimate


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in (Rule, Limit)])
def test_a_field_with_a_default_may_be_missing(kind: type) -> None:
    least = from_dict(kind, _least(kind))
    assert from_dict(kind, through_json(least)) == least


def _least(kind: type) -> dict[str, Any]:
    """The simplest plain values of the fields without a default."""
    hints = get_type_hints(kind)
    bare = [
        item.name
        for item in fields(kind)
        if item.default is MISSING and item.default_factory is MISSING
    ]
    return {name: _plainest(hints[name]) for name in bare}


def _plainest(hint: Any) -> Any:
    if is_dataclass(hint) and isinstance(hint, type):
        return _least(hint)
    if hint in (date, datetime):
        return "2026-11-03"
    return {int: 1, float: 1.0, bool: False}.get(hint, () if "tuple" in str(hint) else "text")
