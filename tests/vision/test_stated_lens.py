"""The focal length stated in a photograph's file, for pictures that may have been cropped since."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.photo_arrays import photo_from_array
from vision.camera import Lens, Rival
from vision.photo.photo import Photo
from vision.target.stated_lens import WIDE, cropped_lens, settled, stated_lens, unsettled

PLAIN = Lens(3000.0, 0.04, (1999.5, 1499.5), 40.0)


def photo(
    width: int, height: int, taken_px: tuple[int, int] | None, focal_px: float | None = 3000.0
) -> Photo:
    one = photo_from_array(np.zeros((height, width, 3), np.uint8), focal_px=focal_px)
    return replace(one, taken_px=taken_px)


def test_a_picture_of_its_cameras_own_size_was_not_cropped() -> None:
    assert stated_lens(photo(4000, 3000, (4000, 3000))).cropped is None
    assert stated_lens(photo(1512, 2016, (2016, 1512))).cropped is None  # pixels binned, upright


def test_a_picture_smaller_than_the_camera_wrote_may_be_cropped_by_that_ratio() -> None:
    lens = stated_lens(photo(2800, 2100, (4000, 3000), 2102.0))
    assert lens.cropped is not None
    other = cropped_lens(lens, lens.cropped)
    # a crop keeps its pixels: 26 mm on 5000 px of diagonal
    assert other.focal_px == pytest.approx(2102.0 * 4000 / 2800)
    # cut from anywhere: 1200 px of margin, 600 to each side, rectangular (GUM 4.3.7)
    assert other.u_centre_px == pytest.approx(math.hypot(28.0, 600 / math.sqrt(3)))


def test_a_picture_of_a_size_that_no_sensor_has_may_be_cropped() -> None:
    assert stated_lens(photo(2800, 2100, (2800, 2100))).cropped is not None
    assert stated_lens(photo(1600, 1200, (1600, 1200))).cropped is None  # as messengers send it


def test_a_size_that_nobody_wrote_down_says_less_than_a_shape_that_no_camera_has() -> None:
    shaped = stated_lens(photo(2800, 2100, (2800, 2100))).cropped
    odd = stated_lens(photo(2800, 1500, (2800, 1500))).cropped
    assert shaped is not None
    assert odd is not None
    assert 0.05 < shaped.weight < 0.3 < 0.7 < odd.weight


def test_without_a_card_a_cropped_looking_picture_is_taken_wider() -> None:
    whole = unsettled(stated_lens(photo(4000, 3000, (4000, 3000), None)))
    cut = unsettled(stated_lens(photo(2800, 2100, (2800, 2100), None)))
    assert whole.u_log_focal == pytest.approx(0.30)
    assert cut.u_log_focal > 0.35
    assert cut.focal_px / 2800 > whole.focal_px / 4000


def test_pixels_without_a_file_are_believed_but_for_a_plain_mistake() -> None:
    lens = stated_lens(photo(2800, 2100, None))
    assert lens.cropped is None
    assert len(lens.rivals) == 1


@pytest.mark.parametrize("u_own", [0.02, 0.1, 0.3])
def test_without_rivals_the_stated_figure_stays(u_own: float) -> None:
    known = settled(PLAIN, math.log(3000.0) + 0.02, u_own)
    variance = 1 / (1 / 0.04**2 + 1 / u_own**2)  # two normal figures of one thing
    assert known.focal_px == pytest.approx(3000.0 * math.exp(0.02 * variance / u_own**2), rel=1e-3)
    assert known.u_log_focal == pytest.approx(math.sqrt(variance), rel=1e-2)
    assert known.stated == pytest.approx(variance / 0.04**2, rel=2e-2)


def test_two_accounts_are_weighed_by_bayes_theorem() -> None:
    # stated, or shorter by e^0.4; the card shows e^-0.2 with 0.2: both fit alike, so that the
    # posterior is the prior's weights of two normal figures, narrowed by the card's
    rival = Rival(math.exp(-0.4), math.exp(-0.4), 0.25)
    known = settled(replace(PLAIN, rivals=(rival,)), math.log(3000.0) - 0.2, 0.2)
    narrow = 1 / (1 / 0.04**2 + 1 / 0.2**2)
    ends = [narrow * (m / 0.04**2 - 0.2 / 0.2**2) for m in (0.0, -0.4)]
    mean = 0.75 * ends[0] + 0.25 * ends[1]
    variance = narrow + 0.75 * 0.25 * (ends[1] - ends[0]) ** 2
    assert math.log(known.focal_px / 3000.0) == pytest.approx(mean, rel=1e-2)
    assert known.u_log_focal == pytest.approx(math.sqrt(variance), rel=1e-2)
    assert known.u_centre_px == pytest.approx(PLAIN.u_centre_px, rel=1e-4)


@pytest.mark.parametrize("own", [0.2, 0.5, 0.9])
def test_a_zoom_carries_the_principal_point_off_and_what_the_card_shows_of_it(own: float) -> None:
    # drawn instead (JCGM 101:2008): a zoom by 1 to 3, what the card shows as unsure as the
    # principal point, which a zoom carries off by as much as it enlarges
    zoom, u_own = Rival(1.0, 3.0, 0.3), 0.15
    known = settled(replace(PLAIN, rivals=(zoom,)), math.log(3000.0) + own, u_own)
    rng, draws = np.random.default_rng(2), 2_000_000
    zoomed = rng.random(draws) < zoom.weight
    x = np.where(zoomed, rng.uniform(0, math.log(3), draws), 0) + rng.normal(0, 0.04, draws)
    unsure = np.where(zoomed, u_own * np.maximum(np.exp(x), 1), u_own)
    weight = np.exp(-0.5 * ((own - x) / unsure) ** 2) / unsure
    mean = float(np.average(x, weights=weight))
    variance = float(np.average((x - mean) ** 2, weights=weight))
    spread = float(np.average((unsure / u_own) ** 2, weights=weight))
    assert (known.u_centre_px / PLAIN.u_centre_px) ** 2 == pytest.approx(spread, rel=1e-2)
    assert math.log(known.focal_px / 3000.0) == pytest.approx(mean, rel=1e-2)
    assert known.u_log_focal == pytest.approx(math.sqrt(variance), rel=1e-2)


def test_a_card_that_knows_decides_and_one_that_does_not_leaves_it_open() -> None:
    zoomed = replace(PLAIN, rivals=(Rival(1.0, 3.0, 0.05),))
    sure = settled(zoomed, math.log(4500.0), 0.05)
    assert sure.u_log_focal < 1.6 * 0.05  # as sure as the card is of a picture enlarged so
    square_on = settled(zoomed, math.log(3000.0), WIDE)
    assert square_on.u_log_focal > 2 * 0.04
