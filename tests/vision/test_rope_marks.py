"""A refusal points at the place in the photograph that caused it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes import BAR, measured, shot_of, taken
from studio import DARK_GREASE, HAND, Bar, Patch, Shot

from vision.results import PointPx


def spot_in(shot: Shot, code: str) -> PointPx:
    (result,) = measured(taken(shot))
    (found,) = [one for one in result.findings if one.code == code]
    assert found.spot_px is not None
    return found.spot_px


def on_card(shot: Shot, x_mm: float, y_mm: float) -> PointPx:
    """Return where the studio's own camera shows a point of the card."""
    at = shot.seen_px(np.array([[x_mm, y_mm, 0.0]]))[0]
    return float(at[0]), float(at[1])


@pytest.mark.parametrize("side", [1, -1], ids=["upper side", "lower side"])
def test_a_lost_edge_is_pointed_at_where_a_hand_covers_the_band(side: int) -> None:
    corners = ((-16, 2 * side), (14, 2 * side), (14, 31.5 * side), (-16, 31.5 * side))
    shot = shot_of(patches=[Patch(corners, HAND)])
    x, y = spot_in(shot, "one-edge-only")
    assert on_card(shot, -16, 12 * side)[0] < x < on_card(shot, 14, 12 * side)[0]
    inner, outer = sorted((on_card(shot, 0, 5 * side)[1], on_card(shot, 0, 31.5 * side)[1]))
    assert inner < y < outer


def test_glare_is_pointed_at_on_the_outline() -> None:
    shot = shot_of(bar=replace(BAR, colour=(9.0, 9.0, 9.0)))
    x, y = spot_in(shot, "overexposed")
    middle = on_card(shot, 0, 0)
    # the bar's own half width is 12 mm; seen nearer than the card it looks up to a tenth wider
    half = abs(on_card(shot, 0, 12)[1] - middle[1])
    assert abs(x - middle[0]) < half
    assert 0.8 * half < abs(y - middle[1]) < 1.3 * half


def test_a_rope_that_fills_the_band_is_pointed_at() -> None:
    shot = shot_of(bar=Bar(50, 25, colour=DARK_GREASE))
    x, y = spot_in(shot, "band-too-narrow")
    high, wide = shot.pixels.shape[:2]
    assert 0 < x < wide
    assert 0 < y < high
