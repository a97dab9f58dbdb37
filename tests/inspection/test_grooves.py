"""Grooves and drums: the limits they set, missing data, and refused values."""

from __future__ import annotations

import math

import pytest

from inspection.limits.conformity import SIMPLE, judge
from inspection.limits.grooves import groove_fit, groove_limits
from inspection.limits.rules import Limit, NotApplicable
from inspection.model.rope import Groove, Rope

ROPE = Rope("R-1", 20.0)


def test_a_drum_with_several_layers_has_its_makers_limits() -> None:
    drum = Groove("drum", 10.6, pitch_mm=22.0, layers=3, rope_min_mm=20.4, rope_max_mm=20.8)
    own = groove_limits(ROPE, drum)[2]
    assert isinstance(own, Limit)
    assert own.rule.sure == "entered by the user"
    for value, outcome in (
        (20.399, "outside"),
        (20.4, "within"),
        (20.8, "within"),
        (20.801, "outside"),
    ):
        assert judge(own, value, 0.0, decision=SIMPLE).outcome == outcome


def test_what_is_not_recorded_is_reported_with_the_reason_why_it_matters() -> None:
    room, pitch, own = groove_limits(ROPE, Groove("main drum", 10.6, layers=4))
    assert all(isinstance(answer, NotApplicable) for answer in (room, pitch, own))
    assert isinstance(room, NotApplicable)
    assert isinstance(pitch, NotApplicable)
    assert isinstance(own, NotApplicable)
    assert "it is for new ropes" in room.reason
    assert "no pitch is recorded for main drum" in pitch.reason
    assert "with 4 layers they matter" in own.reason


def test_a_groove_without_pitch_has_no_pitch_to_judge() -> None:
    fit = groove_fit(ROPE, Groove("sheave", 10.6))
    assert (fit.pitch_per_radius, fit.pitch_fits) == (None, None)
    assert fit.excess_pct == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("groove", "sentence"),
    [
        (Groove("drum", 0.0), "the radius of drum must be more than 0 mm; got 0.0"),
        (Groove("drum", 10.0, pitch_mm=math.nan), "the pitch of drum must be more than 0"),
        (Groove("drum", 10.0, rope_min_mm=-1.0), "least rope diameter of drum"),
        (Groove("drum", 10.0, rope_min_mm=21.0, rope_max_mm=20.0), "the wrong way round"),
    ],
)
def test_impossible_grooves_are_refused(groove: Groove, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        groove_limits(ROPE, groove)


def test_an_unknown_range_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match="'my own' is not a known range: choose from ISO 16625"):
        groove_fit(ROPE, Groove("sheave", 10.6), range_name="my own")
