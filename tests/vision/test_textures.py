"""Textures cut from photographs by others, put into a drawn outline of known width.

A few pictures of `texture_bench`, which has them all.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.texture_bench import LIGHTS, measured

EVEN, HARD, SOFT = (
    next(light for light in LIGHTS if light.name == name)
    for name in ("even", "hard shadow", "hard shadow, soft focus")
)


@pytest.mark.parametrize(
    ("face", "outline"),
    [
        ("brick", "six strands"),
        ("grass", "six strands"),
        ("gravel", "bar"),
    ],
)
def test_a_real_texture_does_not_move_the_outline(face: str, outline: str) -> None:
    row = measured(face, outline, 80, EVEN)
    assert not row.reason
    assert abs(row.off_px) < 0.3  # a sixth of a pixel a side
    assert abs(row.off_pct) < row.u_pct


@pytest.mark.parametrize(
    ("face", "outline", "across_px"),
    # the bricks are as dark as the shadow: it was taken off by 0.1 px, and the bar 3.7 % too thick
    [("gravel", "six strands", 120), ("brick", "bar", 80)],
)
def test_beside_a_real_texture_a_hard_shadow_is_taken_off(
    face: str, outline: str, across_px: int
) -> None:
    row = measured(face, outline, across_px, HARD)
    assert not row.reason
    assert abs(row.off_px) < 1.0  # the shadow is 3 px wide
    assert abs(row.off_pct) < row.u_pct


def test_smooth_strands_of_round_wires_lie_within_u() -> None:
    # an outline that swings without a period may be theirs or a bar's: by its middle, as a bar's,
    # the rope would be 0.7 % too thin
    row = measured("gravel", "smooth wires", 120, EVEN)
    assert not row.reason
    assert -0.5 < row.off_pct < 0.0
    assert abs(row.off_pct) < row.u_pct


@pytest.mark.parametrize("outline", ["bar", "six strands"])
def test_a_hard_shadow_out_of_focus_is_taken_off_or_refused(outline: str) -> None:
    # stripes that had run into each other passed for sharp ones: 2.8 % too thick at a U of 0.8 %
    row = measured("gravel", outline, 80, SOFT)
    assert row.reason == "edges-unsure" or abs(row.off_pct) < row.u_pct
