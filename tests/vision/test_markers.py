"""Cards found in photographs whose corners are known from the camera that took them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from studio import GROUND, HAND, Array, Bar, Patch, Placed, Shot, photograph

from vision.findings import RefusedError
from vision.target.detect import FoundCard, find_cards
from vision.target.layout import (
    PLAIN_LAYOUTS,
    Layout,
    chess_corners_mm,
    layout_named,
    marker_box_mm,
)

A5 = layout_named("A5 middle")
A6 = layout_named("A6 middle")
NUMBER = 7
SMALL: dict[str, Any] = {"size": (1200, 900), "focal_px": 1100.0, "distance_mm": 290.0}


def off_px(found: FoundCard, shot: Shot) -> Array:
    """Return how far each corner lies from its true projection, px (N, 2)."""
    flat = np.column_stack([found.corners_mm, np.zeros(len(found.corners_mm))])
    return np.asarray(found.corners_px - shot.seen_px(flat))


def rms_px(found: FoundCard, shot: Shot) -> float:
    return float(np.sqrt((off_px(found, shot) ** 2).mean()))


def check(found: FoundCard, shot: Shot, layout: Layout, number: int, least: float) -> None:
    """The right card, at least this share of its corners, each within 0.1 px rms of the truth."""
    assert (found.layout, found.number) == (layout, number)
    assert len(found.corners_mm) >= least * len(chess_corners_mm(layout))
    assert rms_px(found, shot) < 0.1


def marker_patches(layout: Layout, share: float, seed: int) -> tuple[Patch, ...]:
    """Hide a share of a card's markers, each with the white around it, under brown patches."""
    places = [(strip, column) for strip in (0, 1) for column in range(layout.columns)]
    chosen = np.random.default_rng(seed).permutation(len(places))[: round(share * len(places))]
    patches = []
    for i in chosen:
        x0, y0, x1, y1 = marker_box_mm(layout, *places[i])
        patches.append(Patch(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), HAND))
    return tuple(patches)


@pytest.mark.parametrize("roll_deg", [0, 45, 90, 135, 180, 225, 270, 315])
def test_a_card_is_found_at_any_rotation(roll_deg: float) -> None:
    shot = photograph(A5, NUMBER, roll_deg=roll_deg + 1.0, **SMALL)
    (found,) = find_cards(shot.grey)
    check(found, shot, A5, NUMBER, 1.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_card_is_found_under_a_rope_with_a_third_of_its_markers_covered(seed: int) -> None:
    shot = photograph(
        A5,
        NUMBER,
        bar=Bar(24, 12, turn_deg=3),
        patches=marker_patches(A5, 1 / 3, seed),
        tilt_deg=12,
        azimuth_deg=50 * seed,
        seed=seed,
        **SMALL,
    )
    (found,) = find_cards(shot.grey)
    check(found, shot, A5, NUMBER, 0.6)


@pytest.mark.parametrize(
    ("px_per_mm", "layout", "size", "aim_mm", "least"),
    [
        (2, layout_named("A4 thin"), (900, 700), (0, 0), 0.9),
        (2, layout_named("A4 middle"), (900, 700), (0, 0), 0.9),
        (4, A5, (1000, 750), (0, 0), 1.0),
        (10, A5, (2000, 1500), (0, 0), 1.0),
        (60, A6, (2600, 4400), (10, 0), 0.2),  # part of the card is in view
    ],
)
def test_a_card_is_found_from_2_to_60_px_per_mm(
    px_per_mm: float,
    layout: Layout,
    size: tuple[int, int],
    aim_mm: tuple[float, float],
    least: float,
) -> None:
    shot = photograph(
        layout,
        NUMBER,
        size=size,
        distance_mm=250,
        focal_px=250 * px_per_mm,
        roll_deg=4,
        aim_mm=aim_mm,
        fine=2 if px_per_mm < 30 else 1,
    )
    (found,) = find_cards(shot.grey)
    check(found, shot, layout, NUMBER, least)


@pytest.mark.parametrize("azimuth_deg", [0, 45, 90, 200])
@pytest.mark.parametrize("tilt_deg", [20, 35])
def test_a_card_is_found_tilted_up_to_35_degrees(tilt_deg: float, azimuth_deg: float) -> None:
    shot = photograph(A5, NUMBER, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg, **SMALL)
    (found,) = find_cards(shot.grey)
    check(found, shot, A5, NUMBER, 0.95)


@pytest.mark.parametrize("edge", ["hard", "soft"])
def test_a_card_is_found_half_in_shadow(edge: str) -> None:
    width_mm = 0.5 if edge == "hard" else 30.0

    def light(x: Array, y: Array) -> Array:
        return np.asarray(0.15 + 0.85 / (1 + np.exp(-(x + 0.5 * y) / width_mm)))

    shot = photograph(A5, NUMBER, light=light, roll_deg=10, **SMALL)
    (found,) = find_cards(shot.grey)
    check(found, shot, A5, NUMBER, 0.8)


def test_a_card_is_found_beside_glare() -> None:
    def light(x: Array, y: Array) -> Array:
        return np.asarray(1 + 30 * np.exp(-((x - 40) ** 2 + (y - 45) ** 2) / (2 * 12**2)))

    shot = photograph(A5, NUMBER, light=light, roll_deg=10, **SMALL)
    assert (shot.pixels.min(axis=2) == 255).mean() > 0.005  # there is a burnt blob
    (found,) = find_cards(shot.grey)
    check(found, shot, A5, NUMBER, 0.6)


@pytest.mark.parametrize("number", [0, 1, 6, 847])
def test_the_number_and_the_layout_are_read_from_the_markers(number: int) -> None:
    for layout in (A6, layout_named("Letter thin")):
        distance = 1.35 * layout.width_mm
        shot = photograph(layout, number, size=(900, 700), focal_px=900, distance_mm=distance)
        (found,) = find_cards(shot.grey)
        check(found, shot, layout, number, 1.0)


def test_an_old_card_without_stripes_is_known_by_its_own_words() -> None:
    old = next(layout for layout in PLAIN_LAYOUTS if layout.name == A5.name)
    shot = photograph(old, NUMBER, **SMALL)
    (found,) = find_cards(shot.grey)
    check(found, shot, old, NUMBER, 1.0)
    assert found.layout != A5


@pytest.mark.parametrize("axis", [0, 1])
def test_a_mirror_image_is_named(axis: int) -> None:
    shot = photograph(A5, NUMBER, **SMALL)
    with pytest.raises(RefusedError) as refused:
        find_cards(np.ascontiguousarray(np.flip(shot.grey, axis)))
    assert [item.code for item in refused.value.findings] == ["mirrored"]


def two_cards(layout: Layout, second: Layout, number: int) -> tuple[Shot, Placed]:
    """Photograph two cards beside each other on one table."""
    other = Placed(second, number, (8.0, -(layout.height_mm + second.height_mm) / 2 - 12), 5.0)
    shot = photograph(
        layout,
        NUMBER,
        others=[other],
        size=(1500, 1900),
        focal_px=1500,
        distance_mm=330,
        aim_mm=(0, -70),
        tilt_deg=8,
    )
    return shot, other


@pytest.mark.parametrize("second", [A5, A6])
def test_two_cards_in_one_photograph_are_two_results(second: Layout) -> None:
    shot, other = two_cards(A5, second, 12)
    found = {card.number: card for card in find_cards(shot.grey)}
    assert set(found) == {NUMBER, 12}
    check(found[NUMBER], shot, A5, NUMBER, 0.95)
    turn = np.radians(other.turn_deg)
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    flat = found[12].corners_mm @ turned.T + other.shift_mm
    off = found[12].corners_px - shot.seen_px(np.column_stack([flat, np.zeros(len(flat))]))
    assert found[12].layout == second
    assert np.sqrt((off**2).mean()) < 0.1


def test_too_few_markers_are_reported() -> None:
    shot = photograph(A5, NUMBER, **SMALL)
    x0, y0, x1, y1 = marker_box_mm(A5, 0, 2)
    corners = shot.seen_px(np.array([[x0, y0, 0], [x1, y1, 0]]))
    (left, low), (right, top) = np.rint(corners).astype(int)
    pixels = np.full_like(shot.grey, 110)
    pixels[top - 6 : low + 6, left - 6 : right + 6] = shot.grey[
        top - 6 : low + 6, left - 6 : right + 6
    ]
    with pytest.raises(RefusedError) as refused:
        find_cards(pixels)
    (item,) = refused.value.findings
    assert item.code == "too-few-markers"
    assert item.limit == 8


# Pictures of other things and patterns: test_other_things, which asks the whole chain.
NOTHING: dict[str, NDArray[np.uint8]] = {
    "ground": np.full((700, 900), round(255 * GROUND[0]), np.uint8),
    "one pixel": np.full((1, 1), 80, np.uint8),
    "one line": np.full((1, 900), 80, np.uint8),
}


@pytest.mark.parametrize("name", NOTHING)
def test_a_picture_without_a_card_says_so(name: str) -> None:
    with pytest.raises(RefusedError) as refused:
        find_cards(NOTHING[name])
    assert [item.code for item in refused.value.findings] == ["no-card"]
