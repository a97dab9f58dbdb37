"""Marks drawn on a photograph are where the result says, and the photograph is unchanged."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from PIL import ImageColor
from studio import DARK_GREASE, Array, Bar, Image, Shot, photograph

from tests.photo_arrays import photo_from_array
from vision.findings import finding
from vision.overlay import CARD, JAW, OUTLINE, draw_results
from vision.pipeline import measure_photo
from vision.results import Estimate, Marks, Refusal
from vision.target.layout import layout_named

LAYOUT = layout_named("A5 middle")


@cache
def measured() -> tuple[Shot, Estimate, Image]:
    shot = photograph(
        LAYOUT,
        6,
        bar=Bar(24, 12, turn_deg=4, colour=DARK_GREASE),
        size=(1400, 1000),
        focal_px=1900,
        distance_mm=290,
        tilt_deg=6,
    )
    (result,) = measure_photo(photo_from_array(shot.pixels, focal_px=1900.0))
    assert isinstance(result, Estimate)
    return shot, result, draw_results(shot.pixels, (result,))


def marks() -> Marks:
    found = measured()[1].marks
    assert found is not None
    return found


def is_colour(picture: Image, colour: str) -> Array:
    wanted = np.array(ImageColor.getrgb(colour))
    return np.asarray(np.abs(picture.astype(int) - wanted).max(axis=2) < 60)


def along(begin: tuple[float, float], end: tuple[float, float], count: int) -> Array:
    t = np.linspace(0.03, 0.97, count)[:, None]
    return np.asarray((1 - t) * np.array(begin) + t * np.array(end))


def share_drawn(picture: Image, points_px: Array, colour: str, reach: int = 2) -> float:
    """Return the share of points (N, 2) with a pixel of this colour within `reach` px."""
    there = is_colour(picture, colour)
    seen = [
        there[max(0, y - reach) : y + reach + 1, max(0, x - reach) : x + reach + 1].any()
        for x, y in np.rint(points_px).astype(int).tolist()
    ]
    return float(np.mean(seen))


@pytest.mark.parametrize("side", ["crown_left_px", "crown_right_px"])
def test_the_jaws_are_drawn_along_the_crown_lines(side: str) -> None:
    shot, _, picture = measured()
    begin, end = getattr(marks(), side)
    points = along(begin, end, 60)
    assert share_drawn(picture, points, JAW) == 1.0
    assert share_drawn(shot.pixels, points, JAW) == 0.0  # the negative control


@pytest.mark.parametrize("side", ["left_px", "right_px"])
def test_the_outline_is_drawn_where_it_was_traced(side: str) -> None:
    _, result, picture = measured()
    points = np.array(getattr(marks(), side))
    line = np.array(marks().crown_left_px if side == "left_px" else marks().crown_right_px)
    off_the_jaws = (points[:, 0] < line[:, 0].min() - 5) | (points[:, 0] > line[:, 0].max() + 5)
    assert off_the_jaws.sum() > 20  # where the jaws are drawn they lie over it
    assert share_drawn(picture, points[off_the_jaws], OUTLINE) > 0.97
    assert result.crowns == 0


def test_the_marks_lie_on_the_true_silhouette_of_the_bar() -> None:
    # the drawn jaws against the bar's own edges in the photograph: stripes outside, dark inside
    shot, _, _ = measured()
    for line, other in (
        (marks().crown_left_px, marks().crown_right_px),
        (marks().crown_right_px, marks().crown_left_px),
    ):
        inward = np.mean(other, axis=0) - np.mean(line, axis=0)
        inward /= np.linalg.norm(inward)
        points = along(*line, 30)
        inside, outside = (
            shot.pixels[y, x, 2].astype(int)
            for x, y in (np.rint(points + sign * inward).astype(int).T for sign in (4.0, -4.0))
        )
        assert np.all(inside < 70)
        assert np.mean(outside > 120) > 0.25  # white between the stripes


def test_the_card_is_outlined_where_it_lies() -> None:
    shot, _, picture = measured()
    x, y = LAYOUT.length_mm / 2, LAYOUT.half_height_mm
    corners = shot.seen_px(np.array([[-x, y, 0], [x, y, 0], [x, -y, 0], [-x, -y, 0]]))
    np.testing.assert_allclose(np.array(marks().card_px), corners, atol=1.0)
    points = np.concatenate([along(corners[i], corners[(i + 1) % 4], 40) for i in range(4)])
    inside = (points >= 3).all(axis=1) & (points < np.array([1397, 997])).all(axis=1)
    assert 0.4 < share_drawn(picture, points[inside], CARD) < 1.0  # dashed


def test_the_photograph_itself_is_not_changed() -> None:
    shot, result, _ = measured()
    before = shot.pixels.copy()
    drawn = draw_results(shot.pixels, (result,))
    np.testing.assert_array_equal(shot.pixels, before)
    assert drawn.shape == before.shape
    assert drawn.dtype == np.uint8
    assert not np.shares_memory(drawn, shot.pixels)


def test_what_is_not_marked_stays_as_it_was() -> None:
    shot, _, picture = measured()
    changed = (picture != shot.pixels).any(axis=2).mean()
    assert 0.002 < changed < 0.08


LONG = "a photograph with a very long name that goes on and on, " * 4 + ".jpg"


def refusal(name: str) -> Refusal:
    return Refusal(
        findings=(finding("too-few-markers", 3.0), finding("focal-disagrees", 31.0)),
        photo_name=name,
    )


@pytest.mark.parametrize("size", [(1400, 1000), (700, 900), (480, 320)])
@pytest.mark.parametrize("name", ["rope.jpg", LONG])
def test_captions_stay_within_the_picture(size: tuple[int, int], name: str) -> None:
    plain = np.full((size[1], size[0], 3), 128, np.uint8)
    changed = (draw_results(plain, (refusal(name),)) != plain).any(axis=2)
    assert changed.any()
    rows, columns = np.nonzero(changed)
    assert columns.min() > 0
    assert columns.max() < size[0] - 1  # nothing is cut off at the right
    assert rows.min() > 0
    assert rows.max() < size[1] - 1


def test_many_results_are_all_drawn() -> None:
    shot, result, _ = measured()
    several = tuple(replace(result, at_mm=float(at)) for at in (-10, 0, 10))
    drawn = draw_results(shot.pixels, (*several, refusal("other")))
    assert share_drawn(drawn, along(*marks().crown_left_px, 60), JAW) == 1.0


@pytest.mark.parametrize("size", [(1, 1), (5, 4)])
def test_a_tiny_picture_is_no_trouble(size: tuple[int, int]) -> None:
    plain = np.full((size[1], size[0], 3), 128, np.uint8)
    assert draw_results(plain, (refusal("tiny"),)).shape == plain.shape
