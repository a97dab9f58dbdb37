"""The edge in profiles made by formula, where beside it a dark shadow lies on the band.

The figures are those of a rendered bright rope under the sun: band (32, 42, 101) in light, (12, 18,
62) in the shadow; rope rising to grey over three rows. A dark shadow's colour is noisy, and halved
colour tints it, so that it is somewhat unlike the band.
"""

from __future__ import annotations

import numpy as np
import pytest

from vision.rope.edge_position import place_edge
from vision.rope.rectify import light_of
from vision.target.blur import Blur

EDGE = 26.0
ROWS, COLUMNS = 50, 300


def strip_with_shadow(
    width: int, tint: float, rng: np.random.Generator
) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    """Return linear light of a strip whose rope begins at EDGE behind `width` rows of shadow."""
    rows = np.arange(ROWS)[:, None, None]
    band, shade, rope = (np.array(v, float) for v in ((53, 64, 136), (12, 18, 62), (150, 150, 148)))
    shade = shade + tint * np.array([-8.0, -6.0, 0.0])
    inside = np.clip((rows - EDGE) / 3 + 0.5, 0, 1)
    outside = np.where(rows < EDGE - width, band, shade)
    code = outside * (1 - inside) + rope * inside
    code = code + rng.normal(0, 2, (ROWS, COLUMNS, 1)) + np.zeros(3)
    return np.asarray(light_of(np.clip(code, 0, 255) / 255), np.float32)


@pytest.mark.parametrize("width", [0, 4, 6, 9])
@pytest.mark.parametrize("tint", [0.0, 1.0])
def test_a_dark_shadow_beside_bright_wires_is_no_edge(width: int, tint: float) -> None:
    light = strip_with_shadow(width, tint, np.random.default_rng(1))
    path = np.full(COLUMNS, int(EDGE))
    place, sure, clearness = place_edge(light, path, 5.0, Blur(0.9, 1.2), 0.65, mirrors=True)
    assert sure.mean() > 0.95
    assert np.median(place) == pytest.approx(EDGE, abs=1.5)
    assert clearness > 0.8
