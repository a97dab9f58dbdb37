"""Ordinary or lang lay, from the lines of the wires on the rope's face.

The faces are drawn by formula: a helix of radius r rises by atan(2 pi r / lay length) against its
axis. In ordinary lay the wires' angle in the strand is subtracted from the strand's in the rope, in
lang lay it is added.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from studio import Array

from vision.rope.strand_texture import FACE_DEG, PER_DIAMETER, ROWS, wires_lay

D = 24.0
STEP = D / PER_DIAMETER
ANGLES = np.radians(np.linspace(-FACE_DEG, FACE_DEG, ROWS))
STRAND = math.atan(math.pi / 6.5)  # lay length 6.5 diameters
WIRE = math.atan(2 * math.pi / 17)  # 17 strand radii


def lines(angle: float, apart: float) -> Array:
    """Return a face (rows, columns) of lines at an angle to the axis, `apart` diameters apart."""
    along, around = np.meshgrid(np.arange(6 * PER_DIAMETER) * STEP, ANGLES * D / 2)
    across = along * math.sin(angle) - around * math.cos(angle)
    return np.asarray(np.cos(2 * np.pi * across / (apart * D)))


def face(lang: bool, hand: int) -> Array:
    """Return wires a twelfth of the diameter apart and valleys half a diameter apart."""
    wires = lines(hand * (STRAND + (WIRE if lang else -WIRE)), 1 / 12)
    grain = np.random.default_rng(4).normal(0, 0.3, wires.shape)
    return np.asarray(0.6 * wires + lines(hand * STRAND, 0.5) + grain)


@pytest.mark.parametrize("hand", [1, -1])
@pytest.mark.parametrize("lay", ["ordinary", "lang"])
def test_the_lay_is_told_by_the_lines_of_the_wires(lay: str, hand: int) -> None:
    assert wires_lay(face(lay == "lang", hand), ANGLES, STEP, D) == lay


def test_nothing_is_said_where_only_the_valleys_show() -> None:
    assert wires_lay(lines(STRAND, 0.25), ANGLES, STEP, D) == ""


def test_nothing_is_said_of_marks_without_a_direction() -> None:
    grain = np.random.default_rng(5).normal(0, 1, (ROWS, 6 * PER_DIAMETER))
    assert wires_lay(grain, ANGLES, STEP, D) == ""
