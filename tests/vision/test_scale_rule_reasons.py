"""Every reason for photographs without the card, triggered by a picture drawn for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.photo_arrays import photo_from_array
from tests.vision.rules import draw_rule, mm_row, shot, with_bar
from tests.vision.test_scale_rule import beside_a_rule
from vision.findings import REASONS
from vision.photo.photo import Photo, open_photo
from vision.reasons import WITHOUT_CARD
from vision.results import Estimate, Refusal
from vision.scale_rule.measure import measure_with_scale
from vision.scale_rule.scale import Placement, ScaleRequest

pytestmark = pytest.mark.usefixtures("scale_read_once")
Case = tuple[Photo, ScaleRequest]
SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def a_bar(**asked: object) -> Case:
    photo, archive = beside_a_rule(shot(), 20.0, 9.0)
    return photo, replace(archive, **asked)  # type: ignore[arg-type]


def faint_bar() -> Case:
    """Draw a bar three steps of 255 darker than its ground, in noise of 1.5."""
    return beside_a_rule(shot(), 20.0, 9.0, value=182)


def bare_rule() -> Case:
    """Draw a rule with plain ground beside it, in the place of the object."""
    camera = shot()
    away = np.array([[-90.0, -90], [-80, -90], [-90, -80], [-80, -80]])
    drawn = with_bar(draw_rule(camera, upper=mm_row(-5, 145)), away, noise=0.0)
    ends = camera.project(np.array([[20.0, -2, 0], [120, -2, 0]])).tolist()
    rule = tuple(map(tuple, ends))
    return photo_from_array(drawn), ScaleRequest(
        rule, 100.0, across_px=((750.0, 30.0), (750.0, 200.0))
    )


def few_marks() -> Case:
    camera = shot()
    drawn = draw_rule(camera, upper=mm_row(0, 6, 10.0), long_mm=(-3, 62))
    rule = tuple(map(tuple, camera.project(np.array([[0.0, -2, 0], [60, -2, 0]])).tolist()))
    photo = photo_from_array(np.repeat(drawn[..., None], 3, 2), focal_px=camera.focal_px)
    return photo, ScaleRequest(rule, 60.0, across_px=((750.0, 30.0), (750.0, 200.0)))  # type: ignore[arg-type]


def dotted() -> Case:
    """Draw marks too short to be followed across the rule, as the dots of a pattern are."""
    camera = shot()
    dots = mm_row(-5, 145)
    dots[:, 1] = 0.5
    drawn = draw_rule(camera, upper=dots)
    rule = tuple(map(tuple, camera.project(np.array([[20.0, -0.3, 0], [120, -0.3, 0]])).tolist()))
    photo = photo_from_array(np.repeat(drawn[..., None], 3, 2), focal_px=camera.focal_px)
    return photo, ScaleRequest(rule, 100.0, across_px=((750.0, 30.0), (750.0, 200.0)))  # type: ignore[arg-type]


def tilted() -> Case:
    camera = shot(tilt_deg=(58, 0), far_mm=500)
    rule = camera.project(np.array([[20.0, -2, 0], [120, -2, 0]]))
    picture = draw_rule(camera, upper=mm_row(-5, 145), lower=mm_row(-5, 145))
    photo = photo_from_array(
        with_bar(picture, np.array([[-9.0, -9], [-8, -9], [-9, -8], [-8, -8]])),
        focal_px=camera.focal_px,
    )
    ends = tuple(map(tuple, rule.tolist()))
    return photo, ScaleRequest(ends, 100.0, across_px=((700.0, 20.0), (700.0, 90.0)))  # type: ignore[arg-type]


def bent_bar() -> Case:
    """Bend a bar by a twelfth of its diameter within one diameter to each side."""
    photo, archive = a_bar()
    pixels = np.array(photo.pixels)
    assert archive.across_px is not None
    (x, _), _ = archive.across_px
    high, wide = pixels.shape[:2]
    columns, rows = np.meshgrid(np.arange(wide, dtype=np.float32), np.arange(high))
    shift = 10.0 * ((columns - x) / 120.0) ** 2  # 6 px a mm: 120 px are one diameter
    moved = rows + np.where(rows < 480, shift, 0.0)  # the rule lies below, and stays
    bent = cv2.remap(pixels, columns, moved.astype(np.float32), cv2.INTER_CUBIC,
                     borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return photo_from_array(bent, focal_px=photo.focal_px), archive


def on_a_card() -> Case:
    """Take a bar on a striped card for a photograph without one, the card's marks for a rule."""
    photo = open_photo(SAMPLES / "bar-16mm.jpg")
    ends, across = ((1411.0, 989.0), (2359.0, 939.0)), ((1890.0, 1307.0), (1906.0, 1669.0))
    return photo, ScaleRequest(ends, 100.0, across_px=across)


CASES: dict[str, Callable[[], Case]] = {
    "archive": a_bar,
    "height-unsaid": a_bar,
    "points-too-near": lambda: a_bar(rule_px=((600.0, 500.0), (630.0, 500.0)), length_mm=5.0),
    "no-graduations": lambda: (
        photo_from_array(np.full((800, 1500, 3), 128, np.uint8)),
        a_bar()[1],
    ),
    "across-too-short": lambda: a_bar(across_px=((600.0, 300.0), (600.0, 330.0))),
    "too-few-graduations": few_marks,
    "length-contradicts": lambda: a_bar(length_mm=100 * 25.4 / 32),
    "object-short": lambda: a_bar(
        across_px=None,
        edges_px=((700.0, 280.0), (705.0, 280.0), (700.0, 400.0), (705.0, 400.0)),
    ),
    "object-unclear": faint_bar,
    "object-soft": bare_rule,
    "object-rough": bent_bar,
    "object-not-found": lambda: a_bar(
        across_px=None,
        edges_px=((700.0, 400.0), (800.0, 400.0), (700.0, 400.0), (800.0, 400.0)),
    ),
    "on-stripes": on_a_card,
    "face-tilted": tilted,
    "archive-unsure": lambda: a_bar(u_length_mm=12.0, graduations=False),
}


def test_every_reason_has_its_picture_and_stands_in_the_catalogue() -> None:
    assert set(CASES) == set(WITHOUT_CARD) <= set(REASONS)


@pytest.mark.parametrize("code", CASES)
def test_a_picture_made_for_a_reason_reaches_it(code: str) -> None:
    photo, asked = CASES[code]()
    result = measure_with_scale(photo, asked).result
    found = [item for item in result.findings if item.code == code]
    assert found, [item.code for item in result.findings]
    reason = REASONS[code]
    assert isinstance(result, Refusal) == (reason.severity == "refuse")
    for item in found:
        assert item.severity == reason.severity
        assert item.remedy == reason.remedy
        assert item.seen.endswith(".")
        assert "None" not in item.seen
        assert "{" not in item.seen


def test_edges_marked_by_hand_on_a_card_are_measured() -> None:
    # the bar's true edges, projected from its mesh of 16.00 mm (sample_images/truth.csv)
    photo, asked = on_a_card()
    edges = ((1844.1, 1605.3), (2054.7, 1592.6), (1834.9, 1446.6), (2045.5, 1434.8))
    by_hand = replace(asked, across_px=None, edges_px=edges, placement=Placement.ON)
    result = measure_with_scale(photo, by_hand).result
    assert isinstance(result, Estimate)
    assert abs(result.diameter_mm - 16.0) < result.expanded_mm()


@pytest.mark.parametrize(("case", "least", "most"), [(few_marks, 6, 9), (dotted, 100, 153)])
def test_the_marks_that_are_said_are_those_that_were_found(
    case: Callable[[], Case], least: int, most: int
) -> None:
    # 7 marks are drawn in the one case, 151 short ones in the other; the rule's two ends look
    # like marks as well
    (item,) = measure_with_scale(*case()).result.findings
    assert item.code == "too-few-graduations"
    assert item.value is not None
    assert least <= item.value <= most
    assert f"the longest line of evenly spaced marks has {item.value:.0f}." in item.seen
