"""Faces cut from photographs by others, laid within a drawn outline: the width that was laid.

A few pictures of `texture_bench`, which has them all.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.texture_bench import LIGHTS, measured

EVEN, HARD = LIGHTS[0], next(light for light in LIGHTS if light.name == "hard shadow")


@pytest.mark.parametrize("face", ["brick", "gravel", "grass"])
@pytest.mark.parametrize("outline", ["six strands", "bar"])
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
