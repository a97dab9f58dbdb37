"""Paper burnt out beside the rope: where the half of its stripes lies hangs on how bright both are.

The lens's blur comes before the picture's limit, as it does in a camera.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from bars import DARK_GREASE, RUST, STEEL, Colour
from scenes import A5, measured, taken
from studio import photograph
from test_edges import BRIGHT, VIEW, D, bar_of, traced
from test_shadows import shadowed

from tests.benchmarks.phone_bench import SAMPLES, originals
from tests.benchmarks.phone_effects import Effect, applied, exposed
from vision.photo.photo import open_photo
from vision.pipeline import measure_photo
from vision.results import Estimate
from vision.rope.edge.light import shone_sigmas

SMALL = {**VIEW, "size": (1500, 1050), "focal_px": 2100.0}


@pytest.mark.fault(
    "paper burnt out beside the rope, up to 3.5 times as bright as the picture can hold",
    "the diameter, with a larger U",
)
@pytest.mark.parametrize(
    ("colour", "exposure"),
    [
        pytest.param(DARK_GREASE, 2.8, id="grease"),
        pytest.param(RUST, 1.6, id="rust"),
        pytest.param(STEEL, 2.8, id="steel"),
        pytest.param(BRIGHT, 1.6, id="bright"),
    ],
)
def test_paper_that_is_burnt_out_does_not_move_the_outline(colour: Colour, exposure: float) -> None:
    shot = photograph(A5, 6, bar=bar_of(colour), exposure=exposure, **SMALL)
    (result,) = measured(taken(shot))
    assert isinstance(result, Estimate)
    # as they were, rust was 0.4 % too thin, and grease 1.3 %: its shadow was none
    assert abs(result.diameter_mm / D - 1) < 0.003
    assert abs(result.diameter_mm - D) < result.expanded_mm()


def test_what_burnt_out_light_does_to_the_outline_is_no_crown() -> None:
    # the sample bar's rust burns out in patches: its outline swings by what crowns would
    (bar,) = (one for one in originals(SAMPLES) if one.path.name == "bar-16mm.jpg")
    over = Effect("exposure", "+2.7 EV", partial(exposed, 2.7))
    file = bar.path.read_bytes()
    whole, burnt = (
        measure_photo(open_photo(one), bar.settings)[0] for one in (file, applied(over, file))
    )
    assert isinstance(whole, Estimate)
    assert isinstance(burnt, Estimate)
    assert burnt.crowns == 0
    assert abs(burnt.diameter_mm - whole.diameter_mm) < whole.expanded_mm()


@pytest.mark.parametrize("colour", [RUST, STEEL], ids=["rust", "steel"])
def test_a_hard_shadow_on_it_is_still_seen(colour: Colour) -> None:
    shot = shadowed(colour, 3.0, exposure=2.4)
    outline, _ = traced(shot)
    assert outline.right.dark_beside
    (result,) = measured(taken(shot))
    assert isinstance(result, Estimate)
    assert abs(result.diameter_mm - D) < result.expanded_mm()


def test_how_far_paper_shines_over_a_rope() -> None:
    dark, as_bright, burnt_out = shone_sigmas(4.0, np.array([0.0, 0.8, 1.0]))
    # a tenth of the paper is enough where it should stand four times as high: normal quantile 1.28
    assert dark == pytest.approx(1.28, abs=0.03)
    assert 0 < as_bright < dark
    assert burnt_out == pytest.approx(0.0, abs=1e-9)
    # white that just holds has its half where it always was
    assert shone_sigmas(1.0, np.array([0.0])) == pytest.approx(0.0, abs=1e-9)
