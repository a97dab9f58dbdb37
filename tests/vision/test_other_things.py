"""Photographs of other things, and cards used wrongly: the right answer or the right refusal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skimage.data
from photo_files import Pixels
from scenes import CHECK, CHECKED, findings_of, measured, shot_of, strip, taken
from studio import DARK_GREASE, HAND, Bar, Patch

from tests.photo_arrays import photo_from_array
from vision.photo.photo import PhotoError, open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate, Refusal

# The pictures that come with scikit-image: faces, coins, text, stars, bricks, a chessboard ...
OTHERS = sorted(
    path for path in Path(skimage.data.__file__).parent.iterdir()
    if path.suffix in (".png", ".jpg", ".tif", ".gif")
)  # fmt: skip
NO_PHOTOGRAPHS = {
    "multipage.tif": "contains several pages",
    "multipage_rgb.tif": "TIFF picture cannot be decoded",
    "no_time_for_that_tiny.gif": "is a GIF file",
}
SMALL: dict[str, Any] = {"size": (1200, 833), "focal_px": 1667.0}
ROWS, COLUMNS = np.mgrid[0:600, 0:800]


def three(grey: object) -> Pixels:
    return np.repeat(np.asarray(grey, np.uint8)[..., None], 3, axis=2)


PATTERNS: dict[str, Callable[[], Pixels]] = {
    "noise": lambda: np.random.default_rng(1).integers(0, 256, (600, 800, 3), np.uint8),
    "coarse noise": lambda: np.repeat(
        np.repeat(np.random.default_rng(2).integers(0, 256, (15, 20, 3), np.uint8), 40, 0), 40, 1
    ),
    "black": lambda: three(0 * ROWS),
    "white": lambda: three(0 * ROWS + 255),
    "gradient": lambda: three(COLUMNS * 255 / 800),
    "stripes": lambda: three((COLUMNS // 7) % 2 * 255),
    "chessboard": lambda: three((COLUMNS // 50 + ROWS // 50) % 2 * 255),
    "rings": lambda: three(127 + 120 * np.sin(np.hypot(COLUMNS - 400, ROWS - 300) / 5)),
}


def test_there_are_pictures_of_other_things() -> None:
    assert len(OTHERS) >= 20


@pytest.mark.fault(
    "a picture of something else (from scikit-image)",
    "`No printed card was found in the photograph. ...`",
)
@pytest.mark.parametrize("path", OTHERS, ids=lambda path: path.name)
def test_a_picture_of_something_else_gives_no_diameter(path: Path) -> None:
    if path.name in NO_PHOTOGRAPHS:
        with pytest.raises(PhotoError, match=NO_PHOTOGRAPHS[path.name]):
            open_photo(path)
        return
    photo = open_photo(path)
    results = measure_photo(photo)
    assert {item.code for item in findings_of(results)} == {"no-card"}
    assert all(isinstance(result, Refusal) for result in results)


@pytest.mark.fault(
    "noise, a gradient, stripes, a chessboard",
    "`No printed card was found in the photograph. ...`",
)
@pytest.mark.parametrize("name", PATTERNS)
def test_a_pattern_gives_no_diameter(name: str) -> None:
    results = measure_photo(photo_from_array(PATTERNS[name]()))
    assert {item.code for item in findings_of(results)} == {"no-card"}


@pytest.mark.fault(
    "a rope without its card",
    "`No printed card was found in the photograph. ...`",
)
def test_a_rope_without_its_card_gives_no_diameter() -> None:
    results = measured(taken(shot_of(**SMALL, aim_mm=(420.0, 0.0))))
    assert [item.code for item in findings_of(results)] == ["no-card"]


@pytest.mark.fault(
    "two ropes on one card",
    "`Something lies beside the rope along 100 % of it, ...`",
)
def test_two_ropes_on_one_card_are_refused() -> None:
    other = strip(lambda x: 4.0, DARK_GREASE, lambda x: -14.0)
    rope = Bar(14, 7, offset_mm=10, colour=DARK_GREASE)
    (result,) = measured(taken(shot_of(**SMALL, bar=rope, patches=[other])))
    assert isinstance(result, Refusal)
    assert [item.code for item in result.findings] == ["two-ropes"]


@pytest.mark.fault(
    "a hand on a strip of the card",
    "the diameter",
)
def test_a_hand_on_a_strip_does_no_harm() -> None:
    hand = Patch(((-100, -75), (-55, -75), (-50, -40), (-58, -26), (-75, -24), (-100, -30)), HAND)
    (result,) = measured(taken(shot_of(**SMALL, patches=[hand])))
    assert isinstance(result, Estimate)
    assert abs(result.diameter_mm - 24) < result.expanded_mm()


@pytest.mark.fault(
    "a hand over the rope",
    "a refusal",
)
def test_a_hand_over_the_rope_is_not_measured_as_rope() -> None:
    rope = strip(lambda x: 12.0, DARK_GREASE, lambda x: 0.0)
    hand = Patch(((-20, -75), (20, -75), (22, 20), (-18, 18)), HAND)
    (result,) = measured(taken(shot_of(**SMALL, bar=None, patches=[rope, hand])))
    assert isinstance(result, Refusal)


@pytest.mark.fault(
    "a card printed at 97 %, measured without its print check",
    "a figure 3 % off, with the warning `print-unchecked`",
)
def test_a_print_at_97_percent_is_detected_by_its_bars_only() -> None:
    # Card, rope and distance shrink together: no photograph of them can show it. What remains is
    # the warning beside every figure of an unchecked print, and the caliper on the two bars.
    shot = shot_of(**SMALL, scale=(0.97, 0.97))
    (unchecked,) = measured(taken(shot, settings=Settings()))
    assert isinstance(unchecked, Estimate)
    assert "print-unchecked" in {item.code for item in unchecked.findings}
    assert unchecked.diameter_mm == pytest.approx(24 / 0.97, rel=0.004)
    bars = replace(CHECK, along_read_mm=0.97 * 180, across_read_mm=0.97 * 110)
    (checked,) = measured(taken(shot, settings=replace(CHECKED, print_check=bars)))
    assert isinstance(checked, Estimate)
    assert abs(checked.diameter_mm - 24) < checked.expanded_mm()
