"""The card as data: what each marker says, which rope suits which paper."""

from __future__ import annotations

import numpy as np
import pytest

from vision.target.layout import (
    LAST_NUMBER,
    LAST_WORD,
    LAYOUT_WORD,
    LAYOUTS,
    MARKER_SHARE,
    NUMBER_WORD,
    PAGE_MARGIN_MM,
    PAPERS_MM,
    PLAIN_LAYOUTS,
    PLAIN_WORD,
    WORD_OF_LAYOUT,
    Card,
    Layout,
    card_number,
    chess_corners_mm,
    layout_for,
    layout_named,
    marker_box_mm,
    marker_corners_mm,
    marker_row,
    marker_words,
    square_mm,
    stripe_phase,
)

each_layout = pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)


def test_papers_have_the_sizes_of_iso_216_and_us_letter() -> None:
    # ISO 216:2007, main series A: A4 210 x 297, A5 148 x 210, A6 105 x 148 mm.
    assert PAPERS_MM["A4"] == (210, 297)
    assert PAPERS_MM["A5"] == (148, 210)
    assert PAPERS_MM["A6"] == (105, 148)
    # US Letter: 8.5 x 11 inch of 25.4 mm (ANSI/ASME Y14.1, size A).
    assert PAPERS_MM["Letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))


@each_layout
def test_the_band_is_2_2_times_the_thickest_rope(layout: Layout) -> None:
    assert layout.band_mm >= 2.2 * layout.rope_max_mm - 1e-9


@each_layout
def test_everything_stays_on_paper_that_a_desk_printer_reaches(layout: Layout) -> None:
    assert {layout.width_mm, layout.height_mm} == set(PAPERS_MM[layout.paper])
    assert layout.length_mm / 2 <= layout.width_mm / 2 - PAGE_MARGIN_MM - 6
    assert layout.half_height_mm <= layout.height_mm / 2 - PAGE_MARGIN_MM - 12


@each_layout
def test_every_place_has_one_word_and_only_layout_and_number_repeat(layout: Layout) -> None:
    words = [word for _, _, word in marker_words(layout, 41)]
    places = [word for word in words if word < PLAIN_WORD]
    assert len(set(places)) == len(places)
    layout_word = WORD_OF_LAYOUT[layout]
    assert set(words) - set(places) == {layout_word, NUMBER_WORD + 41}
    # a third of the card may be hidden: what it is, is said at least three times
    assert words.count(layout_word) >= 3
    assert words.count(NUMBER_WORD + 41) >= 3


def test_no_two_layouts_share_a_name_or_a_word() -> None:
    assert len({layout.name for layout in LAYOUTS}) == len(LAYOUTS)
    every = (*PLAIN_LAYOUTS, *LAYOUTS)
    words = [next(w for s, c, w in marker_words(x, 0) if (s, c) == (0, 1)) for x in every]
    # words are never given anew: cards of all years lie in drawers
    assert words == list(range(100, 100 + len(every)))
    assert WORD_OF_LAYOUT[LAYOUTS[0]] == LAYOUT_WORD
    assert max(words) < NUMBER_WORD


@each_layout
def test_stripes_are_fine_enough_for_the_rope_and_coarse_enough_for_the_camera(
    layout: Layout,
) -> None:
    # 10 px to a period (what demodulation was tried with) where the thickest rope fills 136 px
    assert 10 * layout.rope_max_mm / layout.stripe_mm == pytest.approx(136, abs=1)
    # an office printer's dot is 0.042 mm (600 to the inch): 19 of them to the finest period
    assert layout.stripe_mm > 0.8


def test_the_phase_grows_by_a_turn_along_and_across_as_the_slant_says() -> None:
    layout = layout_named("A5 middle")
    # stripes at 60 degrees to the rope, 2.0533 mm apart: by plane trigonometry a turn is
    # 2.0533 / sin 60 = 2.3710 mm along the rope and 2.0533 / cos 60 = 4.1067 mm across it
    assert layout.stripe_mm == pytest.approx(2.0533, abs=1e-4)
    points = np.array([[0.0, 0.0], [2.3710, 0.0], [0.0, 4.1067], [2.3710, -4.1067]])
    np.testing.assert_allclose(stripe_phase(layout, points) / (2 * np.pi), [0, 1, 1, 0], atol=2e-5)


def test_every_card_number_comes_back_as_its_station_and_view() -> None:
    seen = set()
    for station in range(1, LAST_NUMBER // 2 + 1):
        for view in (0, 90):
            number = card_number(station, view)
            card = Card(LAYOUTS[0], number)
            assert (card.station, card.view_deg) == (station, view)
            assert NUMBER_WORD + number <= LAST_WORD
            seen.add(number)
    assert len(seen) == 2 * (LAST_NUMBER // 2)


@pytest.mark.parametrize(("station", "view"), [(0, 0), (-1, 90), (425, 0), (3, 45), (3, 180)])
def test_a_station_or_view_without_a_card_is_refused(station: int, view: int) -> None:
    with pytest.raises(ValueError, match="must be"):
        card_number(station, view)


@pytest.mark.parametrize(
    ("rope_mm", "paper", "name"),
    [
        (8, "A6", "A6 thin"),
        (11, "A6", "A6 thin"),
        (11.01, "A6", "A6 middle"),
        (35, "a6", "A6 thick"),
        (20, "A5", "A5 middle"),
        (80, "A4", "A4 thick"),
        (40, "letter", "Letter middle"),
    ],
)
def test_the_narrowest_band_that_suits_the_rope_is_taken(
    rope_mm: float, paper: str, name: str
) -> None:
    assert layout_for(rope_mm, paper) is layout_named(name)


@pytest.mark.parametrize(
    ("rope_mm", "paper", "larger"),
    [(36, "A6", "A5"), (57, "A5", "Letter"), (79, "Letter", "A4")],
)
def test_a_rope_too_thick_is_refused_with_the_paper_that_can(
    rope_mm: float, paper: str, larger: str
) -> None:
    with pytest.raises(ValueError, match=f"too small for a rope.*use {larger} paper"):
        layout_for(rope_mm, paper)
    assert layout_for(rope_mm, larger).rope_max_mm >= rope_mm


def test_a_rope_that_no_paper_holds_is_told_the_widest() -> None:
    with pytest.raises(ValueError, match="A4 thick, is for ropes to 80 mm"):
        layout_for(81, "A4")


@pytest.mark.parametrize("rope_mm", [0.0, -3.0, float("nan")])
def test_a_rope_without_a_diameter_is_refused(rope_mm: float) -> None:
    with pytest.raises(ValueError, match="more than 0 mm"):
        layout_for(rope_mm, "A5")


def test_an_unknown_paper_or_layout_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"A3.*A6, A5, A4, Letter"):
        layout_for(20, "A3")
    with pytest.raises(ValueError, match="A5 middle"):
        layout_named("A5 huge")


@each_layout
def test_markers_lie_inside_their_white_square_with_white_around(layout: Layout) -> None:
    for strip, column, _ in marker_words(layout, 0):
        outer = square_mm(layout, strip, marker_row(strip, column), column)
        inner = marker_box_mm(layout, strip, column)
        gaps = np.abs(np.subtract(outer, inner))
        np.testing.assert_allclose(gaps, (1 - MARKER_SHARE) / 2 * layout.square_mm, atol=1e-9)
        # OpenCV's marker needs white around it of about one of its cells
        assert gaps.min() > 0.85 * layout.marker_mm / 7
        corners = marker_corners_mm(layout, strip, column)
        assert corners[0, 0] < corners[1, 0]  # first upper left, then upper right
        assert corners[0, 1] > corners[3, 1]


@each_layout
def test_chess_corners_are_where_four_squares_meet(layout: Layout) -> None:
    corners = chess_corners_mm(layout)
    assert corners.shape == (2 * (layout.columns - 1), 2)
    for strip in (0, 1):
        for column in range(layout.columns - 1):
            x, y = corners[strip * (layout.columns - 1) + column]
            upper = square_mm(layout, strip, 0, column)
            lower = square_mm(layout, strip, 1, column + 1)
            assert (x, y) == pytest.approx((upper[2], upper[1]))
            assert (x, y) == pytest.approx((lower[0], lower[3]))


def test_a_checked_print_stretches_the_drawn_points_by_axis() -> None:
    card = Card(LAYOUTS[4], scale_x=1.004, scale_y=0.99)
    points = card.true_mm(np.array([[10.0, 20.0, 3.0], [-50.0, 5.0, 0.0]]))
    np.testing.assert_allclose(points, [[10.04, 19.8, 3.0], [-50.2, 4.95, 0.0]])
