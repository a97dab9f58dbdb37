"""A diameter beside a rule: heights, edges, colours, messages, and real screws.

Truth is the cylinder drawn by its own tangent planes (`rules.py`), or a standard's sizes.
The screws are photographs by others (public repository, MIT; `tests/real_photographs.py`).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from inspection.model.serialization import result_from_dict, to_dict
from tests.photo_arrays import photo_from_array
from tests.real_photographs import REAL, needs_real
from tests.vision.rules import Shot, draw_rule, inch_row, mm_row, shot, silhouettes, with_bar
from vision.findings import RefusedError
from vision.overlay import draw_scaled_result
from vision.photo.photo import Photo, open_photo
from vision.results import Estimate, PointPx, Refusal, ScaleSource
from vision.scale_rule.measure import measure_with_scale
from vision.scale_rule.object_edges import _bearing_line
from vision.scale_rule.scale import Placement, ScaleRequest

pytestmark = pytest.mark.usefixtures("scale_read_once")
ALONG = np.array([1.0, 0.0, 0.0])


@cache
def beside_a_rule(
    camera: Shot, diameter_mm: float, height_mm: float, *, value: int = 45, long_mm: float = 160.0
) -> tuple[Photo, ScaleRequest]:
    axis = np.array([70.0, 20.0 + diameter_mm / 2, height_mm])
    lines = silhouettes(camera, axis, ALONG, diameter_mm, long_mm / 2)
    picture = draw_rule(camera, upper=mm_row(-5, 145), lower=inch_row(0, 90, 16))
    photo = photo_from_array(with_bar(picture, lines, value), focal_px=camera.focal_px)
    reach = np.array([0.0, diameter_mm, 0.0])
    rule = camera.project(np.array([[20.0, -2, 0], [120, -2, 0]]))
    across = camera.project(np.array([axis + reach, axis - reach]))

    def pair(points: np.ndarray) -> tuple[PointPx, PointPx]:
        (a, b), (c, d) = points
        return (float(a), float(b)), (float(c), float(d))

    return photo, ScaleRequest(pair(rule), 100.0, across_px=pair(across))


def estimate(photo: Photo, asked: ScaleRequest) -> Estimate:
    result = measure_with_scale(photo, asked).result
    assert isinstance(result, Estimate), result.findings
    return result


def test_heights_move_the_figure_as_parallax_does_and_each_is_right_when_said() -> None:
    camera = shot(tilt_deg=(6, -5))
    photo, asked = beside_a_rule(camera, 20.0, 10.0)  # on the rule's face
    on = estimate(photo, replace(asked, placement=Placement.ON))
    assert on.diameter_mm == pytest.approx(20.0, abs=0.1)
    stated = estimate(
        photo, replace(asked, placement=Placement.AT_HEIGHT, height_mm=10.0, u_height_mm=0.3)
    )
    assert stated.diameter_mm == pytest.approx(on.diameter_mm, abs=0.02)
    level = estimate(photo, replace(asked, placement=Placement.LEVEL))
    # 10 mm nearer to a camera at 400 mm: 400 / 390 (similar triangles)
    assert level.diameter_mm / on.diameter_mm == pytest.approx(400 / 390, abs=2e-3)
    unsaid = estimate(photo, asked)
    assert abs(unsaid.diameter_mm - 20.0) < unsaid.expanded_mm()
    assert unsaid.expanded_mm() > 1.5 * on.expanded_mm()
    assert {"archive", "height-unsaid"} <= {one.code for one in unsaid.findings}


def test_the_budget_names_what_a_card_would_have_settled() -> None:
    photo, asked = beside_a_rule(shot(), 20.0, 9.0)
    result = estimate(photo, replace(asked, placement=Placement.BESIDE))
    named = " / ".join(term.quantity for term in result.budget)
    for word in ("height of the object", "camera's distance", "tilt of the camera", "marks"):
        assert word in named
    assert result.scale_source is ScaleSource.RULE
    said = next(one for one in result.findings if one.code == "archive")
    for word in ("151 of mm", "15 of cm", "1/16 in", "scatter", "px/mm", "U "):
        assert word in said.seen
    # as any other result: it can be kept in a record and read again
    assert result_from_dict(to_dict(result)) == result
    # a record from before the source of the scale had a field of its own told it in `hold`
    old = {**to_dict(result), "hold": "archive, rule, 240 marks, object beside"}
    del old["scale_source"]
    assert result_from_dict(old) == replace(result, hold=old["hold"])


def test_two_points_and_a_length_do_without_a_rule_and_are_less_certain() -> None:
    photo, asked = beside_a_rule(shot(), 20.0, 9.0)
    rule = estimate(photo, replace(asked, placement=Placement.BESIDE))
    points = estimate(photo, replace(asked, placement=Placement.BESIDE, graduations=False))
    assert abs(points.diameter_mm - 20.0) < points.expanded_mm()
    assert points.expanded_mm() > 1.5 * rule.expanded_mm()


def test_edges_marked_by_hand_give_the_same_diameter() -> None:
    camera = shot(tilt_deg=(6, -5))
    photo, asked = beside_a_rule(camera, 20.0, 9.0)
    corners = silhouettes(camera, np.array([70.0, 30.0, 9.0]), ALONG, 20.0, 40)
    points = tuple((float(x), float(y)) for x, y in corners)
    by_hand = estimate(
        photo, replace(asked, placement=Placement.BESIDE, across_px=None, edges_px=points)
    )  # type: ignore[arg-type]
    assert by_hand.diameter_mm == pytest.approx(20.0, abs=0.05)


def slanted(
    across: tuple[PointPx, PointPx], turn_deg: float, aside_px: float, longer: float = 1.0
) -> tuple[PointPx, PointPx]:
    """Return a line over an object as a hand draws it: aslant, and off the object's middle."""
    one, other = np.array(across)
    middle, half = (one + other) / 2, (other - one) / 2 * longer
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    along = np.array([-half[1], half[0]]) / np.linalg.norm(half)
    half = np.array([[c, -s], [s, c]]) @ half
    ends = middle + aside_px * along + np.array([-half, half])
    (a, b), (x, y) = ends.tolist()
    return (a, b), (x, y)


@pytest.mark.parametrize(
    ("turn_deg", "aside_px"),
    [(0.0, 0.0), (7.0, 18.0), (7.0, -18.0), (-7.0, 18.0), (-7.0, -18.0)],
)
def test_a_short_thing_is_measured_though_the_line_is_aslant_and_off_its_middle(
    turn_deg: float, aside_px: float
) -> None:
    photo, asked = beside_a_rule(shot(), 20.0, 10.0, long_mm=13.0)  # shorter than it is wide
    assert asked.across_px is not None
    line = slanted(asked.across_px, turn_deg, aside_px)
    result = estimate(photo, replace(asked, placement=Placement.ON, across_px=line))
    assert abs(result.diameter_mm - 20.0) < result.expanded_mm()


def test_a_line_anywhere_gives_a_figure_or_a_reason() -> None:
    photo, asked = beside_a_rule(shot(), 20.0, 9.0)
    rng = np.random.default_rng(4)
    for _ in range(25):
        begin = rng.uniform([20, 20], [1480, 780])
        way = rng.uniform(0, 2 * np.pi)
        end = np.clip(begin + rng.uniform(45, 250) * np.array([np.cos(way), np.sin(way)]), 5, 795)
        if np.linalg.norm(end - begin) > 5:
            (a, b), (x, y) = begin.tolist(), end.tolist()
            assert measure_with_scale(photo, replace(asked, across_px=((a, b), (x, y)))).result


def test_a_side_of_two_places_far_apart_is_no_side_of_an_object() -> None:
    places = np.full(60, 5.0)
    places[20], places[40] = 5.4, 7.5
    with pytest.raises(RefusedError) as refused:
        _bearing_line(places, 10.0, 0.1, 1.0)
    assert [item.code for item in refused.value.findings] == ["object-rough"]


def test_an_object_that_looks_like_its_ground_is_refused() -> None:
    photo, asked = beside_a_rule(shot(), 20.0, 9.0, value=184)
    result = measure_with_scale(photo, asked).result
    assert isinstance(result, Refusal)
    assert result.findings[0].code in ("object-unclear", "object-soft", "object-not-found")


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"length_mm": -5.0}, "-5"),
        ({"length_mm": float("nan")}, "nan"),
        ({"rule_px": ((1e6, 0.0), (5.0, 5.0))}, "1e+06"),
        ({"across_px": None}, "either a line"),
        ({"u_length_mm": 0.0}, "0 mm"),
    ],
)
def test_impossible_wishes_are_one_sentence_with_the_value(
    change: dict[str, object], word: str
) -> None:
    photo = photo_from_array(np.full((100, 200, 3), 128, np.uint8))
    asked = ScaleRequest(((1.0, 1.0), (190.0, 1.0)), 50.0, across_px=((5.0, 5.0), (5.0, 90.0)))
    with pytest.raises(ValueError, match=r"\.$") as wrong:
        measure_with_scale(photo, replace(asked, **change))  # type: ignore[arg-type]
    assert word in str(wrong.value)


# Where each screw lies, px: a line across its thread and one across its head, drawn by eye. Both
# ends of the 40 mm stand on the rule's marks for 190 and 230 (its numbers 200 to 240 are 10 on).
RULE: tuple[PointPx, PointPx] = ((394.0, 847.0), (778.0, 840.0))
# ISO 261 names the thread's diameter; ISO 965-2 (6g) has what bolts of that name may measure:
# 5.794 to 5.974 and 7.760 to 7.972 mm. ISO 4762: head dk 9.78 to 10.00 and 12.73 to 13.00 mm
# (plain heads). From memory, confidence 0.9.
M6, M8, HEAD_6, HEAD_8 = (5.794, 5.974), (7.760, 7.972), (9.78, 10.00), (12.73, 13.00)
SCREWS: list[tuple[str, tuple[PointPx, PointPx], tuple[float, float], float]] = [
    ("screw_M6x25_10", ((408.0, 569.0), (353.0, 655.0)), M6, 1.0),
    ("screw_M6x25_10", ((320.0, 482.0), (207.0, 582.0)), HEAD_6, 0.0),
    ("screw_M6x25_4", ((524.0, 564.0), (595.0, 635.0)), M6, 1.0),
    ("screw_M6x25_4", ((388.0, 645.0), (529.0, 766.0)), HEAD_6, 0.0),
    ("screw_M8x10_8", ((215.0, 549.0), (215.0, 685.0)), M8, 0.0),
    ("screw_M8x10_8", ((292.0, 524.0), (292.0, 716.0)), HEAD_8, 0.0),
]


@needs_real("rule")
@pytest.mark.parametrize(("name", "across", "truth_mm", "pitch_mm"), SCREWS)
def test_real_screws_beside_a_steel_rule_lie_within_u_of_their_standards(
    name: str, across: tuple[PointPx, PointPx], truth_mm: tuple[float, float], pitch_mm: float
) -> None:
    photo = open_photo(REAL / "rule" / f"{name}.jpg")
    answer = measure_with_scale(photo, ScaleRequest(RULE, 40.0, across_px=across))
    result, scale = answer.result, answer.scale
    assert isinstance(result, Estimate), result.findings
    low, high = truth_mm
    assert result.diameter_mm - result.expanded_mm() < low
    assert result.diameter_mm + result.expanded_mm() > high
    assert result.expanded_mm() < 0.1 * result.diameter_mm
    # the nearest size that the standard allows is off by no more than 2 %
    off = max(low - result.diameter_mm, result.diameter_mm - high, 0.0)
    assert off < 0.02 * result.diameter_mm
    assert scale is not None
    told = dict(scale.marks)
    assert {"mm", "5 mm", "cm", "1/16 in", "1/8 in", "1/4 in", "1/2 in", "inch"} <= told.keys()
    assert not {"half mm", "1/32 in", "1/64 in"} & told.keys()  # this part of the rule has none
    assert told["mm"] >= 95
    assert 9.5 < scale.px_per_mm < 9.7  # read by hand on one of them: 9.60 px/mm
    assert scale.u_px_per_mm / scale.px_per_mm < 0.002
    if pitch_mm:  # crests stand one pitch apart (ISO 261, coarse), to a pixel; M8 shows too few
        assert result.crown_pitch_mm == pytest.approx(pitch_mm, abs=0.11)
    assert draw_scaled_result(photo.pixels, answer).shape == photo.pixels.shape


@needs_real("rule")
@pytest.mark.parametrize(("name", "across", "truth_mm", "pitch_mm"), SCREWS)
def test_real_screws_answer_to_lines_as_hands_draw_them(
    name: str, across: tuple[PointPx, PointPx], truth_mm: tuple[float, float], pitch_mm: float
) -> None:
    photo = open_photo(REAL / "rule" / f"{name}.jpg")
    rng, answered = np.random.default_rng(3), 0
    for _ in range(8):
        turn, aside, longer = rng.uniform(-8, 8), rng.uniform(-9, 9), rng.uniform(0.9, 1.15)
        asked = ScaleRequest(RULE, 40.0, across_px=slanted(across, turn, aside, longer))
        result = measure_with_scale(photo, asked).result
        if isinstance(result, Estimate):
            answered += 1
            assert result.diameter_mm - result.expanded_mm() < truth_mm[1]
            assert result.diameter_mm + result.expanded_mm() > truth_mm[0]
    assert answered >= 7
