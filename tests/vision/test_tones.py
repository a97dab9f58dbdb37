"""What a picture's values are worth as light, by the card's own black."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes import one_estimate, shot_of
from studio import Array, Shot

from vision.tones import DENSEST, LIGHT_OF, PRINTED_BLACK, Tones, code_of, light_of, tones_of


def pressed(black: Array, white: Array) -> float:
    return tones_of(black, white, 0.0).power


def luminance(lightness: float) -> float:
    """CIE 15:2004, 8.2.1.1, the other way round: Y over Yn of L* above 8."""
    return ((lightness + 16) / 116) ** 3


def test_the_blackest_print_is_as_black_as_iso_12647_2_has_it() -> None:
    # gloss-coated paper, black backing: solid black L* 16, paper L* 93 (ISO 12647-2:2004, tables 4
    # and 5; from memory, confidence good)
    assert np.log10(luminance(93) / luminance(16)) == pytest.approx(DENSEST, abs=0.005)


@pytest.mark.parametrize("lightness", [16, 31])  # coated, uncoated paper
def test_no_print_by_that_standard_looks_pressed(lightness: float) -> None:
    black, white = (code_of(np.array([0.8 * luminance(one)])) for one in (lightness, 93))
    assert pressed(black, white) == pytest.approx(1.0, abs=2e-3)
    assert tones_of(black, white, 1.0).veil < 0.02


@pytest.mark.parametrize("stops", [0, -3])
@pytest.mark.parametrize("power", [1.5, 2.0, 3.0])
def test_shadows_that_were_pressed_down_are_known_by_the_power_at_the_least(
    power: float, stops: int
) -> None:
    light = 0.8 * 2.0**stops * np.array([luminance(16), luminance(93)])
    black, white = np.rint(255 * code_of(light) ** power)[:, None] / 255
    # a power of the values is about the same power of the light; rounded, black may be lighter
    assert 1.0 <= pressed(black, white) < 1.05 * power
    if stops == 0:
        assert pressed(black, white) > 1.25


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


def test_without_a_step_nothing_is_said() -> None:
    assert tones_of(np.empty(0), np.empty(0), 0.0) == Tones()


@pytest.mark.parametrize("power", [1.6, 2.0, 2.5])
def test_a_phone_that_presses_shadows_down_gives_the_same_diameter(power: float) -> None:
    shot = shot_of()
    values = np.rint(255 * (np.arange(256) / 255) ** power).astype(np.uint8)
    bent: Shot = replace(shot, pixels=values[shot.pixels])
    before, after = one_estimate(shot), one_estimate(bent)
    assert abs(after.diameter_mm - before.diameter_mm) < before.expanded_mm()
