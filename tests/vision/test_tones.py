"""What a picture's values are worth as light, by the card's own black."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes import one_estimate, shot_of
from studio import Shot

from vision.tones import DENSEST, LIGHT_OF, code_of, light_table, pressed


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


def test_lifted_shadows_may_be_a_faded_print_and_stay() -> None:
    assert pressed(np.array([0.45]), np.array([0.9])) == 1.0
    assert np.array_equal(light_table(1.0), LIGHT_OF)


def test_light_that_was_bent_is_bent_back() -> None:
    bent = code_of(np.array([0.1, 0.5]) ** 2)
    back = np.interp(bent, np.arange(256) / 255, light_table(2.0))
    assert back == pytest.approx([0.1, 0.5], abs=2e-3)


def test_without_a_step_nothing_is_said() -> None:
    assert pressed(np.empty(0), np.empty(0)) == 1.0


@pytest.mark.parametrize("power", [1.6, 2.0, 2.5])
def test_a_phone_that_presses_shadows_down_gives_the_same_diameter(power: float) -> None:
    shot = shot_of()
    values = np.rint(255 * (np.arange(256) / 255) ** power).astype(np.uint8)
    bent: Shot = replace(shot, pixels=values[shot.pixels])
    before, after = one_estimate(shot), one_estimate(bent)
    assert abs(after.diameter_mm - before.diameter_mm) < before.expanded_mm()
