"""Limits that figures are outside of, in the last line: your own, too, the most severe first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from inspection.assessment import Assessment, assess
from inspection.limits.outside import is_own, outside_words
from inspection.limits.user_rules import rules_from_json
from inspection.model.rope import Groove, Rope
from tests.inspection.danger_logs import SOUND, THIN, log_of

OWN = """[{{"rule_set": "Site 4", "what": "least diameter", "quantity": "mean diameter",
  "purpose": "{purpose}", "source": "site rule 4.2", "start": "nothing", "low_mm": {least}}}]"""


def judged(
    texts: dict[tuple[int, int], str], *least: float, purpose: str = "discard"
) -> Assessment:
    rules = [
        replace(rule, what=f"least diameter {number}")
        for number, mm in enumerate(least)
        for rule in rules_from_json(OWN.format(purpose=purpose, least=mm))
    ]
    return assess(log_of(texts), own=rules)


def test_a_possible_loss_leads_and_the_limits_follow_the_most_severe_first() -> None:
    found = judged(dict(THIN), 21.4, 21.6)
    first = found.first_concern
    assert first.startswith("Check first: station 5, 0 deg; station 5, 90 deg. ")
    assert first.endswith(
        "Outside 2 limits: your own Site 4, least diameter 1 (at least 21.60 mm): 21.09 mm at "
        "station 5, by gauge; your own Site 4, least diameter 0 (at least 21.40 mm): 21.09 mm at "
        "station 5, by gauge."
    )


def test_several_stations_outside_one_limit_are_counted() -> None:
    words = outside_words(judged(dict(SOUND), 22.5).verdicts)
    assert words.startswith("Outside a limit: your own Site 4, least diameter 0 (at least 22.50")
    assert words.endswith("by gauge, and at 7 more stations.")


def test_a_verdict_that_leads_is_not_told_twice() -> None:
    first = judged(dict(SOUND), 22.5).first_concern
    assert first.startswith("Check first: Station ")
    assert "Also outside a limit: your own Site 4" in first  # at the other stations
    assert "and at 6 more stations" in first


@pytest.mark.parametrize("purpose", ["look", "fit"])
def test_a_limit_that_only_asks_for_a_look_is_not_in_the_sentence(purpose: str) -> None:
    assert outside_words(judged(dict(THIN), 21.4, purpose=purpose).verdicts) == ""


def test_more_than_three_limits_are_counted() -> None:
    words = outside_words(judged(dict(THIN), 21.4, 21.5, 21.6, 21.7, 21.8).verdicts)
    assert words.startswith("Outside 5 limits: ")
    assert words.endswith("; and 2 more.")


def test_within_every_limit_nothing_is_said() -> None:
    assert outside_words(judged(dict(SOUND), 20.0).verdicts) == ""


def test_published_limits_and_your_own_are_told_apart() -> None:
    rope = Rope("R-1", 22.0, reference_mm=22.3, grooves=(Groove("drum", 12.0, pitch_mm=25.0),))
    (own,) = rules_from_json(OWN.format(purpose="discard", least=21.0))
    found = assess(log_of(SOUND, rope=rope), own=[replace(own, sure="the maker's letter")])
    named = {
        one.verdict.limit.rule.rule_set for one in found.verdicts if is_own(one.verdict.limit.rule)
    }
    assert named == {"Site 4"}
    # your own stays your own if it has the name of a published set
    assert is_own(replace(own, rule_set="ISO 4309:2017", sure="the maker's letter"))
    assert len({one.verdict.limit.rule.rule_set for one in found.verdicts}) > 1
