"""The user's own limits: read, written, applied, and refused in one sentence."""

from __future__ import annotations

import json

import pytest

from inspection.limits.conformity import SIMPLE, judge
from inspection.limits.rules import Limit, NotApplicable
from inspection.limits.standards import RULE_SETS, limits_for
from inspection.limits.user_rules import rules_from_json
from inspection.model.rope import Rope
from inspection.model.serialization import to_dict

ROW = {
    "rule_set": "Oil rig, main hoist", "what": "new rope", "quantity": "measured diameter",
    "purpose": "accept", "source": "order 17, item 4", "low_pct": -1, "high_pct": 4,
    "services": ["new"],
}  # fmt: skip


def test_a_users_limit_works_like_a_published_one() -> None:
    rules = rules_from_json(json.dumps([ROW]))
    (limit,) = limits_for(Rope("R", 50.0, service="new"), rule_sets=[], own=rules)
    assert isinstance(limit, Limit)
    assert (limit.low_mm, limit.high_mm) == (49.5, 52.0)
    assert limit.rule.sure == "entered by the user"
    for value, outcome in (
        (49.499, "outside"),
        (49.5, "within"),
        (52.0, "within"),
        (52.001, "outside"),
    ):
        assert judge(limit, value, 0.0, decision=SIMPLE).outcome == outcome
    (other,) = limits_for(Rope("R", 50.0), rule_sets=[], own=rules)
    assert isinstance(other, NotApplicable)


def test_limits_of_one_name_are_all_applied_and_none_takes_the_place_of_a_published_one() -> None:
    # looser ones first: a stricter limit must not be lost behind the name of another
    least = ROW | {"quantity": "mean diameter", "start": "nothing", "services": []}
    least |= {"low_pct": None, "high_pct": None}
    published = {"rule_set": "ISO 4309:2017", "what": "uniform decrease"}
    rules = rules_from_json(
        json.dumps(
            [
                least | {"low_mm": 47.0},
                least | {"low_mm": 48.5},
                least | {"low_mm": 49.0, "ropes": ["another"]},
                least | {"low_mm": 49.5, "services": ["new"], **published},
                least | {"low_mm": 48.0, **published},
            ]
        )
    )
    rope = Rope("R", 50.0, reference_mm=51.0)
    found = limits_for(rope, rule_sets=["ISO 4309:2017"], own=(*rules, *rules))
    lows = [one.low_mm for one in found if isinstance(one, Limit) and one.low_mm is not None]
    # the first is the published one: 51 mm less 7.5 % of 50 mm
    assert lows == [47.25, 47.0, 48.5, 48.0]


@pytest.mark.parametrize("name", list(RULE_SETS))
def test_the_published_rules_survive_being_written_and_read(name: str) -> None:
    # rows without a figure ("none given" in the table) are not for users to write
    rules = tuple(
        rule
        for rule in RULE_SETS[name]
        if not (rule.low_pct is rule.high_pct is rule.low_mm is rule.high_mm is None)
    )
    assert rules_from_json(json.dumps([to_dict(rule) for rule in rules])) == rules


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"quantity": "weight"}, "'quantity' must be one of"),
        ({"purpose": None}, "needs 'purpose', as text"),
        ({"what": ""}, "needs 'what', as text"),
        ({"colour": "red"}, "unknown field 'colour'"),
        ({"low_pct": None, "high_pct": None}, "has no figure"),
        ({"low_pct": "minus one"}, "'low_pct' must be a number; got 'minus one'"),
        ({"low_pct": True}, "'low_pct' must be a number"),
        ({"low_pct": float("nan")}, "'low_pct' must be a number"),
        ({"services": "new"}, "'services' must be a list"),
        ({"services": ["old"]}, "'services' must be a list of some of new, in-service"),
        ({"fibre_centred": "yes"}, "'fibre_centred' must be true, false or null"),
        ({"note": 3}, "'note' must be text"),
        ({"start": "zero"}, "'start' must be one of"),
        # as a text it would be a list of letters, and the limit for no rope
        ({"ropes": "crane 2"}, "'ropes' must be a list of names; got 'crane 2'"),
        ({"ropes": ["crane 2", ""]}, "'ropes' must be a list of names"),
        ({"ropes": [2]}, "'ropes' must be a list of names"),
        ({"plain_winding": "no"}, "'plain_winding' must be true or false"),
        ({"low_pct": 10**400}, "'low_pct' must be a number"),
        ({"size_edge": "()"}, "'size_edge' must be one of"),
        ({"quantity": ["ovality"]}, "needs 'quantity', as text"),
    ],
)
def test_a_wrong_field_is_named(change: dict[str, object], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        rules_from_json(json.dumps([ROW | change]))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [("[", "not JSON"), ("{}", "must be a JSON list"), ("[3]", "limit 1 must be a JSON object")],
)
def test_a_file_that_is_not_a_list_of_limits_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        rules_from_json(text)
