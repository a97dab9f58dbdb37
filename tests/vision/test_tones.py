"""How a picture's values relate to light, by the card's own black."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes import one_estimate, plain_estimate, shot_of
from studio import Shot

from vision.tones import (
    DENSEST,
    LIGHT_OF,
    PALEST,
    PRINTED_BLACK,
    Tones,
    code_of,
    light_of,
    tones_of,
)


def luminance(lightness: float) -> float:
    """CIE 15:2004, 8.2.1.1, the other way round: Y over Yn of L* above 8."""
    return ((lightness + 16) / 116) ** 3


def seen(lightness: float, power: float) -> Tones:
    black, white = (code_of(np.array([0.8 * luminance(one)]) ** power) for one in (lightness, 93.0))
    return tones_of(black, white, 1.0)


def test_prints_are_as_black_as_iso_12647_2_has_it() -> None:
    # solid black over paper, black backing: L* 16 over 93 on gloss-coated paper, 31 over 92 on
    # uncoated (ISO 12647-2:2004, tables 4 and 5; from memory, confidence good)
    assert np.log10(luminance(93) / luminance(16)) == pytest.approx(DENSEST, abs=0.005)
    assert PALEST < np.log10(luminance(92) / luminance(31)) < DENSEST


@pytest.mark.parametrize("lightness", [16, 20, 25, 31])
def test_no_print_by_that_standard_looks_bent(lightness: float) -> None:
    tones = seen(lightness, 1.0)
    assert np.log(tones.power) <= 2 * tones.u_log_power
    assert tones.power < 1.05
    assert tones.veil < 0.02


# L* 16 is where the densest 2.5 % of prints begin, which two u leave out by definition; and of a
# pale print, bent a little, the black is a dense print's
@pytest.mark.parametrize(
    ("lightness", "power"),
    [(18, 1.5), (18, 2.0), (18, 3.0), (25, 1.5), (25, 2.0), (25, 3.0), (31, 2.0), (31, 3.0)],
)
def test_by_which_power_light_was_bent_is_known_within_its_uncertainty(
    lightness: float, power: float
) -> None:
    tones = seen(lightness, power)
    assert abs(np.log(tones.power / power)) <= 2 * tones.u_log_power
    assert tones.u_log_power < 0.2


def test_black_that_is_rounded_to_nothing_is_still_told() -> None:
    tones = tones_of(np.zeros(3), np.full(3, 0.6), 0.0)
    assert 1.5 < tones.power <= 3.0


def test_a_pale_print_is_told_from_a_veil_by_what_is_darker_than_its_black() -> None:
    black, white = code_of(np.array([0.25])), code_of(np.array([0.85]))
    assert tones_of(black, white, float(code_of(np.array(0.02)))).veil <= 0.02
    veiled = tones_of(black, white, float(black[0])).veil
    assert veiled == pytest.approx((0.25 - PRINTED_BLACK * 0.85) / (1 - PRINTED_BLACK), rel=0.01)


@pytest.mark.parametrize("share", [0.05, 0.1, 0.3])
def test_a_veil_over_a_usual_print_is_known_by_its_black(share: float) -> None:
    ink, paper = PRINTED_BLACK * 0.85, 0.85
    black, white, dark = ((1 - share) * one + share * 0.5 for one in (ink, paper, 0.01))
    tones = tones_of(code_of(np.array([black])), code_of(np.array([white])), code_of(dark).item())
    assert tones.power == 1.0
    assert tones.veil == pytest.approx(share * 0.5, abs=0.005)  # and what black sends back of it


def test_light_that_was_bent_or_veiled_is_brought_back() -> None:
    values = np.arange(256) / 255
    assert np.array_equal(Tones().table, LIGHT_OF)
    bent = np.interp(code_of(np.array([0.1, 0.5]) ** 2), values, Tones(power=2.0).table)
    assert bent == pytest.approx([0.1, 0.5], abs=2e-3)
    veiled = np.interp(code_of(np.array([0.1, 0.3, 0.5])), values, Tones(veil=0.2).table)
    assert veiled == pytest.approx([0.0, 0.1, 0.3], abs=2e-3)
    assert light_of(np.array(1.0)) == 1.0


def test_without_a_step_nothing_is_reported() -> None:
    assert tones_of(np.empty(0), np.empty(0), 0.0) == Tones()


@pytest.mark.parametrize("power", [1.6, 2.0, 2.5])
def test_a_phone_that_presses_shadows_down_gives_the_same_diameter(power: float) -> None:
    shot = shot_of()
    values = np.rint(255 * (np.arange(256) / 255) ** power).astype(np.uint8)
    bent: Shot = replace(shot, pixels=values[shot.pixels])
    before, after = plain_estimate(), one_estimate(bent)
    assert abs(after.diameter_mm - before.diameter_mm) < before.expanded_mm()
