"""Pitch, hand and uncertainty of the lay on outlines and faces made by formula.

Truth is the formula: crowns at even distances (or shifted by a known scatter), helices drawn on a
cylinder that a pinhole camera sees. Photographs with a rendered rope are in
tests/uncertainty/test_samples_lay.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from studio import Array

from vision.camera import Lens, camera_of
from vision.rope.edge.outline import Edge, Outline
from vision.rope.lay import U_FLOOR_SHARE, Crowns, _strands, crown_row
from vision.rope.strand_texture import PER_DIAMETER, Wave, pitch_by_texture, strand_wave, unrolled
from vision.rope.tangent_cylinder import Cylinder

D, PITCH = 22.0, 23.8


def _outline(
    *, pitch: float = PITCH, scatter: float = 0.0, noise: float = 0.0, half_mm: float = 66.0,
    lump: float = 0.0, seed: int = 1,
) -> Outline:  # fmt: skip
    """Round crowns with sharp valleys; `scatter` (mm) moves each crown by itself."""
    rng = np.random.default_rng(seed)
    s = np.arange(-half_mm, half_mm, 0.2)
    edges = []
    for side, first in (("left", 0.2), ("right", 0.7)):
        at = (np.arange(-12, 13) + first) * pitch
        at = at + rng.normal(0, scatter, len(at)) if scatter else at
        turn = np.interp(s, at, np.arange(len(at)))
        y = D / 2 - 0.05 * D * (1 - np.abs(np.cos(np.pi * turn)))
        y += lump * np.exp(-(((s - 10) / 1.5) ** 4)) + rng.normal(0, noise, len(s))
        edges.append(Edge(side, s, y, 0.1, 1.0, 0, 0, 0, 0, False, 0))  # type: ignore[arg-type]
    return Outline(*edges, np.zeros(2), np.array([1.0, 0.0]), D / 2, D, 8.0, (1.0, 1.0))


@pytest.mark.parametrize("pitch", [14.3, 23.8, 31.0])
@pytest.mark.parametrize("guess", [0.97, 1.03])
def test_the_pitch_of_even_crowns_is_found_within_the_budgets_floor(
    pitch: float, guess: float
) -> None:
    row = crown_row(_outline(pitch=pitch), guess * pitch)
    assert row is not None
    assert row.pitch_mm == pytest.approx(pitch, rel=U_FLOOR_SHARE)  # what the budget allows for
    assert row.apart == pytest.approx(0.5, abs=0.01)  # drawn half a pitch apart


def test_a_loose_wire_does_not_carry_the_row_away() -> None:
    row = crown_row(_outline(lump=1.5, noise=0.02), PITCH)
    assert row is not None
    assert row.pitch_mm == pytest.approx(PITCH, rel=2e-3)


def test_too_few_crowns_give_no_pitch() -> None:
    assert crown_row(_outline(half_mm=25.0), PITCH) is None


def test_the_scatter_of_crowns_is_stated_as_it_is_seen() -> None:
    # 3 % of a pitch moves each crown by itself. Within u lie 61 to 72 % of errors that follow
    # Student's t with 4 to 20 degrees, scaled so that 2 u holds 95.45 %; 160 draws stray from that
    # by 11 % at most in 99.7 of 100 cases. Halved u would hold about 40 %, doubled 95 %.
    errors = []
    for seed in range(160):
        row = crown_row(_outline(scatter=0.03 * PITCH, noise=0.02, seed=seed), PITCH)
        assert row is not None
        errors.append((row.pitch_mm - PITCH) / row.u_mm)
    held = [float((np.abs(errors) <= by).mean()) for by in (0.5, 1.0, 2.0)]
    assert 0.50 < held[1] < 0.83
    assert held[0] < 0.50
    assert held[2] > 0.83


def _drawn(hand: str, strands: int) -> tuple[Array, Array, Array]:
    """Draw dark helices on a cylinder of diameter D on the card; return what `unrolled` gives."""
    eye = np.array([15.0, -10.0, 330.0])
    axis, along_x = np.array([0.0, 0.0, D / 2]), np.array([1.0, 0.0, 0.0])
    f, w, h = 1500.0, 1000, 400
    lens = Lens(f, 0.01, (w / 2, h / 2), 1.0)
    camera = camera_of(lens, np.array([np.pi, 0, 0]), -np.diag([1.0, -1.0, -1.0]) @ eye)
    x, y = np.meshgrid(np.arange(w), np.arange(h))
    sight = np.stack([(x - w / 2) / f, -(y - h / 2) / f, -np.ones_like(x, float)], axis=-1)
    # |(eye + t sight - axis) across the rope| = D / 2, the nearer of two
    a = (sight[..., 1:] ** 2).sum(-1)
    b = (sight[..., 1:] * (eye - axis)[1:]).sum(-1)
    c = ((eye - axis)[1:] ** 2).sum() - (D / 2) ** 2
    root = b * b - a * c
    t = (-b - np.sqrt(np.maximum(root, 0))) / a
    point = eye - axis + t[..., None] * sight
    turned = np.arctan2(point[..., 2], point[..., 1])  # from the card's upper side to the camera
    sign = 1 if hand == "right" else -1  # a right-handed screw turns that way along +x
    phase = strands * (turned - sign * 2 * np.pi * point[..., 0] / (strands * PITCH))
    grey = np.where(root > 0, 90 + 80 * np.abs(np.sin(phase / 2)), 40).astype(np.uint8)
    along = np.arange(-60, 60, D / PER_DIAMETER)
    face, angles = unrolled(
        np.repeat(grey[..., None], 3, -1), camera, Cylinder(D, axis, along_x), along
    )
    return face, angles, along


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("strands", [4, 6, 8, 16])
def test_the_drawn_helices_are_read_off_the_face(hand: str, strands: int) -> None:
    drawn = _drawn(hand, strands)
    wave = strand_wave(*drawn, pitch_by_texture(*drawn, 0.5 * PITCH, 1.6 * PITCH))
    assert wave.sure
    assert wave.hand == hand
    assert wave.turns == pytest.approx(strands, abs=0.5)  # two steps of the search
    assert wave.pitch_mm == pytest.approx(PITCH, rel=0.02)


def test_a_plain_bar_with_grain_shows_no_strands() -> None:
    rng = np.random.default_rng(4)
    along = np.arange(-60, 60, D / PER_DIAMETER)
    angles = np.radians(np.linspace(-60, 60, 41))
    face = rng.normal(0, 1, (len(angles), len(along)))
    pitch = pitch_by_texture(face, angles, along, 7.0, 46.0)
    assert not strand_wave(face, angles, along, pitch).sure


@pytest.mark.parametrize(
    ("apart", "turns", "pitch_over_d", "expected"),
    [
        (0.0, 7.0, 6.5 / 6, 6),  # abreast: even; 6 x 6.5 / 6 d is a usual lay, 4 and 8 are none
        (0.0, 9.5, 6.5 / 8, 8),
        (0.5, 8.3, 6.5 / 7, 7),
        (0.5, 7.0, 1.0, None),  # half a pitch apart: odd; 5 and 9 are no usual lay, 7 too steep
        (0.0, 9.0, 0.95, None),  # 6 strands with 5.7 d or 8 with 7.6 d: not to be told
    ],
)
def test_a_number_of_strands_is_given_only_where_one_is_left(
    apart: float, turns: float, pitch_over_d: float, expected: int | None
) -> None:
    crowns = Crowns(pitch_over_d, 0.001, 10, apart)
    wave = Wave(pitch_over_d, turns, "right", 0.1, 0.001)
    assert _strands(crowns, wave, pitch_over_d, 0.0) == expected
