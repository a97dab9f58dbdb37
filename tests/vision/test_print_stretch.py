"""A print stretched more one way than the other: what one photograph shows of it.

Truth is drawn: corners by a pinhole of the tests' own (`studio`), or whole photographs. On 184 of
the rendered range's photographs (every second of `tests/benchmarks/range_list.py`'s, 26 November
2026), whose two scales are known, no figure was farther than 2 u from its truth, and of the 12
stretched by more than 2.5 % 10 were refused, of the others none that was off by less than 1.5 %.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scenes import A5, CHECK, VIEW, shot_of, taken
from studio import Bar, look, photograph, pinhole

from vision.camera import lens_of
from vision.findings import RefusedError
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.target.detect import FoundCard, find_cards
from vision.target.layout import Card, chess_corners_mm, layout_named
from vision.target.pose import Pose, solve_pose
from vision.target.print_scale import (
    checked_card,
    print_stretch,
    refuse_stretched,
    u_print_stretch,
    unchecked_card,
)

SIZE, FOCAL_PX = (4000, 3000), 3100.0
FLAT = chess_corners_mm(A5)
LENSES = {
    "written": lens_of(*SIZE, FOCAL_PX, 0.04 * FOCAL_PX),
    "unknown": lens_of(*SIZE, None, None),
}


def cast(tilt_deg: float, scale: tuple[float, float], seed: int = 1) -> FoundCard:
    """Return the corners of a stretched print, seen with a noise of 0.1 px."""
    R, t = look(tilt_deg, 35.0, 8.0, 330.0)
    solid = np.column_stack([FLAT * scale, np.zeros(len(FLAT))])
    seen = pinhole(solid, R, t, FOCAL_PX, SIZE)
    seen = seen + np.random.default_rng(seed).normal(0, 0.1, seen.shape)
    return FoundCard(A5, 0, FLAT, seen, np.eye(3))


def seen_on(
    scale: tuple[float, float], tilt_deg: float, card: Card, **more: float
) -> tuple[FoundCard, Card, Pose]:
    """Return a card in a photograph of it, and the pose that its corners give."""
    shot = shot_of(scale=scale, tilt_deg=tilt_deg, **more)
    grey = np.asarray(cv2.cvtColor(shot.pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    (found,) = find_cards(grey)
    height, width = grey.shape
    return found, card, solve_pose(found, card, lens_of(width, height, 2500.0, 100.0))


@pytest.mark.parametrize("lens", LENSES)
@pytest.mark.parametrize("tilt_deg", [0, 5, 20, 35])
@pytest.mark.parametrize("scale", [(0.97, 1.0), (1.0, 0.97), (1.01, 1.0), (0.97, 0.97)])
def test_the_stretch_is_read_within_its_uncertainty(
    scale: tuple[float, float], tilt_deg: float, lens: str
) -> None:
    found = cast(tilt_deg, scale)
    pose = solve_pose(found, unchecked_card(A5), LENSES[lens])
    stretch, used = print_stretch(found, pose)
    u = u_print_stretch(found, pose, used)
    true = scale[0] / scale[1] - 1
    # over it 0.03 %: square on, u is that of the corners alone, and the prior of 1 % a way draws
    # towards 0 by as much
    assert abs(stretch - true) < 2 * u + 3e-4
    assert u < 0.009


def test_one_false_corner_does_not_stretch_the_card() -> None:
    found = cast(5, (1.0, 1.0))
    found.corners_px[3] += (25.0, -15.0)
    pose = solve_pose(found, unchecked_card(A5), LENSES["written"])
    stretch, used = print_stretch(found, pose)
    assert not used[3]
    assert abs(stretch) < 2 * u_print_stretch(found, pose, used) + 0.001


@pytest.mark.fault(
    "a card printed at 97 % only along or across, measured without its print check",
    "`The card looks 3.0 % longer one way than the other; the limit is 1.5 %.`",
)
@pytest.mark.parametrize("tilt_deg", [0, 15])
@pytest.mark.parametrize("scale", [(0.97, 1.0), (1.0, 0.97)])
def test_a_print_of_97_percent_one_way_is_seen_and_refused(
    scale: tuple[float, float], tilt_deg: float
) -> None:
    with pytest.raises(RefusedError) as refused:
        refuse_stretched(*seen_on(scale, tilt_deg, unchecked_card(A5)))
    (item,) = refused.value.findings
    assert item.code == "print-stretched"
    assert item.value == pytest.approx(3.0, abs=0.3)
    assert "longer one way than the other" in item.seen
    assert "Measure the two bars" in item.remedy


@pytest.mark.parametrize("scale", [(1.0, 1.0), (1.01, 1.0), (0.995, 1.005), (0.97, 0.97)])
def test_what_printers_do_and_what_no_photograph_shows_is_let_through(
    scale: tuple[float, float],
) -> None:
    refuse_stretched(*seen_on(scale, 4, unchecked_card(A5)))


def test_a_print_whose_bars_were_measured_is_not_asked_again() -> None:
    # the scales are held, and what the corners say against them is no stretch any more
    refuse_stretched(*seen_on((0.97, 1.0), 4, checked_card(CHECK)))


def test_a_tilted_phone_is_reported_first_though_the_card_looks_stretched_too() -> None:
    shot = shot_of(scale=(0.97, 1.0), tilt_deg=47.0, azimuth_deg=45)
    with pytest.raises(RefusedError):  # alone it would be refused for its print
        refuse_stretched(*seen_on((0.97, 1.0), 47.0, unchecked_card(A5), azimuth_deg=45))
    (result,) = measure_photo(*taken(shot, settings=Settings()))
    assert [item.code for item in result.findings] == ["too-tilted"]


def test_cards_of_other_layouts_are_read_too() -> None:
    layout = layout_named("A6 middle")
    drawn = chess_corners_mm(layout)
    R, t = look(6, 100.0, 3.0, 250.0)
    seen = pinhole(np.column_stack([drawn * (1, 0.98), 0 * drawn[:, 0]]), R, t, FOCAL_PX, SIZE)
    found = FoundCard(layout, 0, drawn, seen, np.eye(3))
    pose = solve_pose(found, unchecked_card(layout), LENSES["written"])
    assert print_stretch(found, pose)[0] == pytest.approx(1 / 0.98 - 1, abs=0.002)


@pytest.mark.parametrize("scale", [(0.985, 1.0), (0.97, 1.0), (1.0, 0.97)])
def test_a_figure_on_a_print_that_is_stretched_one_way_lies_inside_its_u(
    scale: tuple[float, float],
) -> None:
    # The pose can't tell which way is wrong and takes half of it for either: the figure is off
    # by half of the stretch, and the U of an unchecked print allows for that.
    for result in measure_photo(*taken(shot_of(scale=scale), settings=Settings())):
        if isinstance(result, Estimate):
            off = result.diameter_mm / 24 - 1
            assert off == pytest.approx((2 - sum(scale)) / 2, abs=0.003)
            assert abs(result.diameter_mm - 24) < result.expanded_mm()
            assert "print-unchecked" in {item.code for item in result.findings}
        else:
            assert [item.code for item in result.findings] == ["print-stretched"]


def test_fine_stripes_are_counted_on_the_print_as_it_was_fitted() -> None:
    """A rendered rope of 6 mm read 11 % too thin, its unchecked print 2.2 % longer one way.

    Where its pattern lies was foretold by the card as drawn, more than a stripe off at its ends.
    """
    thin = layout_named("A6 thin")
    view = {"size": (2400, 1700), "tilt_deg": 24.0, "distance_mm": 300.0, "focal_px": 4800.0}
    shot = photograph(thin, 6, **{**VIEW, **view}, bar=Bar(6.0, 3.0), scale=(1.022, 1.0))
    (result,) = measure_photo(*taken(shot, settings=Settings()))
    if isinstance(result, Estimate):
        assert result.diameter_mm == pytest.approx(6.0, rel=0.016)
        assert result.focal_px == pytest.approx(shot.focal_px, rel=0.08)
    else:
        assert [item.code for item in result.findings] == ["print-stretched"]
