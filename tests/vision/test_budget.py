"""The budget against Monte Carlo (JCGM 101:2008) and against GTC, a library for uncertain numbers.

The chain is run once on a photograph; then its inputs are drawn at random and the diameter is
worked out anew each time, by the whole function. What the budget says by derivatives must be
what the draws show. That the pose itself scatters as its covariance says, and moves with the
print's scale as stated, is shown in `test_pose` and, by solving it again, below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import GTC  # type: ignore[import-untyped]
import numpy as np
import pytest
from studio import DARK_GREASE, Bar, photograph

from tests.photo_arrays import photo_from_array
from vision.camera import lens_of, project_mm
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.rope.axis import find_axis
from vision.rope.budget import Observation, diameter_of, expected_hold, list_terms
from vision.rope.edge.outline import Outline, trace_edges
from vision.rope.jaw_lines import JawLines, diameter_mm, jaw_lines, tangent_planes
from vision.rope.jaws import Jaws, fit_jaws
from vision.rope.paper import read_band, stripe_points
from vision.rope.rectify import points_mm
from vision.rope.tangent_cylinder import TOUCHING, Hold, HoldKind, cylinder_mm
from vision.target.blur import Blur, read_blur
from vision.target.detect import FoundCard, find_cards
from vision.target.layout import Card, layout_named
from vision.target.locate import LocatedCard
from vision.target.pose import OtherHypothesis, Pose, StripePoints, solve_pose
from vision.target.print_scale import PrintCheck
from vision.tones import LIGHT_OF
from vision.uncertainty import Term, combined_u_mm, covariance_mm2, shares

LAYOUT = layout_named("A5 middle")
FOCAL_PX = 1500.0
D = 24.0
CHECK = PrintCheck("test-set", LAYOUT, 180.0, 110.0, 0.02)
HOLDS = {
    "touching": Hold(u_offset_mm=0.4),
    "level": Hold(HoldKind.LEVEL, u_offset_mm=0.4),
    "stand-off": Hold(HoldKind.STAND_OFF, 20.0, 0.4),
}
DRAWS = 1000


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Every step of one measurement."""

    found: FoundCard
    stripes: StripePoints
    card: Card
    pose: Pose
    outline: Outline
    jaws: Jaws
    lines: JawLines
    terms: tuple[Term, ...]
    hold: Hold
    blur: Blur

    def term(self, words: str) -> Term:
        (one,) = [term for term in self.terms if term.quantity.startswith(words)]
        return one


@cache
def chain(held: str, u_scale: float) -> Chain:
    hold = HOLDS[held]
    height = D / 2 if hold.touching else hold.axis_height_mm
    shot = photograph(
        LAYOUT,
        4,
        tilt_deg=12,
        azimuth_deg=60,
        roll_deg=3,
        distance_mm=300,
        size=(1400, 1000),
        focal_px=FOCAL_PX,
        bar=Bar(D, height, turn_deg=2, colour=DARK_GREASE),
    )
    (found,) = find_cards(shot.grey)
    card = Card(LAYOUT, 4, u_scale_x=u_scale, u_scale_y=u_scale, print_set="test-set")
    lens = lens_of(1400, 1000, FOCAL_PX, 0.04 * FOCAL_PX)
    flat = solve_pose(found, card, lens).camera
    band = read_band(shot.grey, flat, card)
    stripes = stripe_points(band, card, flat)
    pose = solve_pose(found, card, lens, stripes)
    camera = pose.camera
    axis = find_axis(band, camera, card)
    blur = read_blur(shot.grey, found)
    over = None if hold.touching else height
    light = LIGHT_OF[shot.grey]
    located = LocatedCard(found, card, pose, blur, lens)
    outline = trace_edges(light, located, axis, at_mm=0.0, height_mm=over)
    jaws = fit_jaws(outline)
    lines = jaw_lines(camera, outline, jaws)
    terms = list_terms(Observation(pose, card, outline, jaws, lines, hold, blur, "p", "c"))
    return Chain(found, stripes, card, pose, outline, jaws, lines, terms, hold, blur)


def draw_mm(c: Chain, rng: np.random.Generator) -> float:
    """Return the diameter with every input drawn from what is known of it."""

    def normal(words: str) -> float:
        return float(rng.normal()) * c.term(words).u

    scales = np.array([normal("print scale along"), normal("print scale across")])
    numbers = c.pose.camera.values() + c.pose.scale_shift @ scales
    noise = rng.normal(0, 1, len(numbers))
    camera = c.pose.camera.with_values(
        numbers + np.linalg.cholesky(c.pose.covariance.matrix) @ noise
    )

    def outwards(side: str) -> float:
        of_side = [t for t in c.terms if t.quantity.startswith(f"{side} edge")]
        return sum(float(rng.normal()) * term.u for term in of_side)

    shifts = [
        c.jaws.left.offset_mm + outwards("left"),
        -c.jaws.right.offset_mm - outwards("right"),
    ]
    ends = np.array([-0.5, 0.5]) * c.jaws.length_mm
    left, right = (
        project_mm(  # where the jaw lines fall in the photograph does not depend on the draw
            c.pose.camera,
            points_mm(
                ends, np.full(2, y), c.outline.origin_mm, c.jaws.direction, c.outline.height_mm
            ),
        )
        for y in shifts
    )
    lines = JawLines(left, right, c.lines.station_mm, c.lines.card_half_mm)
    eye, one, two = tangent_planes(camera, lines)
    eye = eye - np.array([0.0, 0.0, lines.card_height_mm(camera)])
    hold = c.hold
    if hold.touching:
        lift = normal("gap between") + normal("rope less round")
        eye = eye - np.array([0.0, 0.0, lift])
    else:  # the axis is higher or lower, not the card
        level = hold.kind is HoldKind.LEVEL
        word = "level of the card" if level else "stand-off of the card"
        hold = Hold(HoldKind.STAND_OFF, hold.axis_height_mm + normal(word))
    return cylinder_mm(one, two, eye, hold=hold, station_mm=lines.station_mm).diameter_mm


def drawn_terms(c: Chain) -> list[Term]:
    """Return the terms that `draw_mm` draws: all but shares of the diameter taken as such."""
    left_out = ("crowns met", "direction of the jaws")
    return [term for term in c.terms if not term.quantity.startswith(left_out)]


@pytest.mark.parametrize(
    ("hold", "u_scale"),
    [("touching", 0.0005), ("touching", 0.01), ("level", 0.0005), ("stand-off", 0.0005)],
)
def test_the_combined_uncertainty_is_what_monte_carlo_shows(hold: str, u_scale: float) -> None:
    c = chain(hold, u_scale)
    rng = np.random.default_rng(3)
    drawn = np.array([draw_mm(c, rng) for _ in range(DRAWS)])
    stated = combined_u_mm(drawn_terms(c))
    # the spread of 1000 draws is known to 2.2 %: 10 % leaves four of it
    assert drawn.std(ddof=1) == pytest.approx(stated, rel=0.10)
    centre = diameter_mm(c.pose.camera, c.lines, c.hold)
    # and their mean to 0.03 of it: two of that beside the fifth that what is curved may move it
    assert drawn.mean() == pytest.approx(centre, abs=(0.2 + 2 / np.sqrt(DRAWS)) * stated)


@pytest.mark.parametrize("axis", ["along", "across"])
@pytest.mark.parametrize("step", [-0.01, 0.01])
def test_the_print_scale_acts_as_its_term_says(axis: str, step: float) -> None:
    c = chain("touching", 0.01)
    changed = replace(c.card, scale_x=1 + step), replace(c.card, scale_y=1 + step)
    card = changed[["along", "across"].index(axis)]
    camera = solve_pose(c.found, card, c.pose.lens, c.stripes).camera
    d, usual = (diameter_mm(t, c.lines, TOUCHING) for t in (camera, c.pose.camera))
    expected = c.term(f"print scale {axis}").sensitivity * step
    assert d - usual == pytest.approx(expected, abs=0.03 * c.term("print scale across").u_mm)


@pytest.mark.parametrize("hold", ["touching", "level", "stand-off"])
def test_gtc_combines_the_same_terms_to_the_same_uncertainty(hold: str) -> None:
    terms = chain(hold, 0.01).terms
    total = sum((t.sensitivity * GTC.ureal(0.0, t.u) for t in terms), GTC.ureal(0.0, 0.0))
    assert len({t.source for t in terms}) == len(terms)
    assert combined_u_mm(terms) == pytest.approx(float(total.u), rel=1e-12)


def test_gtc_shows_the_same_covariance_of_two_photographs_with_shared_sources() -> None:
    first = chain("touching", 0.01).terms
    second = tuple(
        replace(t, source=t.source.replace(":p", ":q"), sensitivity=0.9 * t.sensitivity)
        for t in first
    )
    unknowns = {t.source: GTC.ureal(0.0, 1.0) for t in (*first, *second)}

    def uncertain(terms: tuple[Term, ...]) -> object:
        return sum((t.sensitivity * t.u * unknowns[t.source] for t in terms), 0.0)

    one, two = uncertain(first), uncertain(second)
    expected = GTC.get_covariance(one, two)
    assert covariance_mm2(first, second) == pytest.approx(float(expected), rel=1e-12)
    assert 0 < covariance_mm2(first, second) < combined_u_mm(first) * combined_u_mm(second)


def test_terms_of_one_source_are_one_unknown() -> None:
    same = [Term("a", 0.1, "mm", 1.0, "B", "x"), Term("b", 0.1, "mm", -1.0, "B", "x")]
    apart = [replace(same[0], source="y"), same[1]]
    assert combined_u_mm(same) == 0.0
    assert combined_u_mm(apart) == pytest.approx(math.hypot(0.1, 0.1))


@pytest.mark.parametrize("hold", ["touching", "level", "stand-off"])
def test_shares_sum_to_1_and_fall(hold: str) -> None:
    listed = [share for _, share in shares(chain(hold, 0.0005).terms)]
    assert sum(listed) == pytest.approx(1.0)
    assert listed == sorted(listed, reverse=True)


def test_of_a_focal_length_the_part_that_the_phone_stated_is_shared_with_its_photographs() -> None:
    # a weighted mean of what was stated and what the card shows: the weight of the former is
    # u^2 / u_stated^2, and what it contributes that weight times u_stated
    c = chain("touching", 0.01)
    stated, shown = c.term("focal length, as stated"), c.term("focal length, as the card")
    u = c.pose.covariance.u("log_focal")
    assert 0 < u < 0.04
    assert stated.u == pytest.approx(u**2 / 0.04**2 * 0.04)
    assert math.hypot(stated.u, shown.u) == pytest.approx(u)
    assert (stated.source, shown.source) == ("lens:c:focal", "corners:p:focal")


def test_every_influence_of_the_design_has_its_term() -> None:
    quantities = " | ".join(term.quantity for term in chain("touching", 0.01).terms)
    for words in (
        "print scale along",
        "print scale across",
        "flatness",
        "noise of the card's corners",
        "focal length",
        "principal point, sideways",
        "principal point, upwards",
        "distortion",
        "gap",
        "left edge",
        "right edge",
        "direction of the jaws",
    ):
        assert words in quantities
    assert all(term.u >= 0 and term.kind in "AB" for term in chain("level", 0.01).terms)


@cache
def measured(number: int, d_mm: float, seed: int, checked: bool) -> Estimate:
    shot = photograph(
        LAYOUT,
        number,
        tilt_deg=4,
        distance_mm=300,
        size=(1400, 1000),
        focal_px=FOCAL_PX,
        bar=Bar(d_mm, d_mm / 2, colour=DARK_GREASE),
        seed=seed,
    )
    settings = Settings(print_check=CHECK if checked else None)
    photo = photo_from_array(shot.pixels, focal_px=FOCAL_PX)
    (result,) = measure_photo(photo, settings)
    assert isinstance(result, Estimate)
    return result


def u_difference_mm(one: Estimate, two: Estimate) -> float:
    variance = one.u_mm**2 + two.u_mm**2 - 2 * covariance_mm2(one.budget, two.budget)
    return math.sqrt(variance)


SEEN_AT_AN_EDGE = {
    "reference_px": ("left edge, shade beside the rope", math.sqrt(12)),
    "tone_px": ("left edge, blur before or after the tone curve", math.sqrt(12)),
    "u_shadow_px": ("left edge, hard shadow beside it", 1.0),
    "clipped_px": ("light burnt out at the edges", math.sqrt(3)),
    "hidden_px": ("crowns too close together to be seen", math.sqrt(3)),
}


@pytest.mark.parametrize("field", SEEN_AT_AN_EDGE)
def test_what_may_shift_an_edge_counts_by_its_range(field: str) -> None:
    # a range of full width w has the standard uncertainty w / sqrt(12), one from nothing to w,
    # about nothing, w / sqrt(3) (GUM, 4.3.7); a standard uncertainty stays what it is
    c = chain("touching", 0.01)
    words, divisor = SEEN_AT_AN_EDGE[field]
    none = dict.fromkeys(SEEN_AT_AN_EDGE, 0.0)

    def terms(left_px: float, right_px: float, jaws: Jaws = c.jaws) -> dict[str, Term]:
        outline = replace(
            c.outline,
            left=replace(c.outline.left, **(none | {field: left_px})),
            right=replace(c.outline.right, **(none | {field: right_px})),
        )
        seen = Observation(c.pose, c.card, outline, jaws, c.lines, c.hold, c.blur, "p", "c")
        return {term.quantity: term for term in list_terms(seen)}

    assert words not in terms(0.0, 0.0)
    per_mm = c.term("left edge, noise").sensitivity
    assert terms(0.6, 0.0)[words].u_mm == pytest.approx(
        0.6 / c.outline.px_per_mm / divisor * per_mm
    )
    if not words.startswith("left"):  # one cause at both edges: they add
        both = per_mm + c.term("right edge, noise").sensitivity
        assert terms(0.6, 0.6)[words].u_mm == pytest.approx(
            0.6 / c.outline.px_per_mm / divisor * both
        )
    # crowns that were seen are not too close to be seen
    seen = terms(0.6, 0.0, replace(c.jaws, crown_pitch_mm=8.0))
    assert (words in seen) is (field != "hidden_px")
    assert "crowns met by the view and by parallel jaws" in seen


def test_a_gap_of_which_nothing_is_known_counts_with_its_mean_and_scatter() -> None:
    # a rectangle from 0 to twice its mean, of standard deviation mean / sqrt(3) (GUM, 4.3.7)
    held = expected_hold(TOUCHING)
    assert held.u_offset_mm == pytest.approx(held.offset_mm / math.sqrt(3))
    c = chain("touching", 0.01)

    def u_of(hold: Hold, words: str) -> float:
        seen = Observation(c.pose, c.card, c.outline, c.jaws, c.lines, hold, c.blur, "p", "c")
        (one,) = [term for term in list_terms(seen) if term.quantity.startswith(words)]
        return one.u

    assert u_of(TOUCHING, "gap between") == held.u_offset_mm
    assert u_of(Hold(u_offset_mm=0.4), "gap between") == 0.4
    assert u_of(HOLDS["stand-off"], "stand-off") == 0.4
    # the mean is subtracted only where nobody said anything about the gap
    for known in (Hold(offset_mm=0.2), Hold(u_offset_mm=0.1), Hold(HoldKind.LEVEL)):
        assert expected_hold(known) == known


def test_what_two_photographs_of_one_print_share_cancels_in_their_difference() -> None:
    one, two = measured(0, 24.0, 1, False), measured(1, 24.5, 2, False)
    assert covariance_mm2(one.budget, two.budget) > 0
    prints = [t for t in one.budget if t.source.startswith("print:")]
    u_print = combined_u_mm(prints)
    assert u_print > 0.6 * one.u_mm  # an unchecked print is the largest term
    assert u_difference_mm(one, two) < 0.75 * one.u_mm
    without = [t for t in one.budget if not t.source.startswith("print:")]
    assert u_difference_mm(one, two) == pytest.approx(
        math.sqrt(2) * combined_u_mm(without), rel=0.1
    )


def test_the_difference_of_two_print_scales_is_real() -> None:
    one, two = measured(0, 24.0, 1, True), measured(1, 24.0, 2, False)
    prints = {t.source for t in one.budget if t.source.startswith("print:")}
    assert prints == {"print:test-set:x", "print:test-set:y"}
    assert not prints & {t.source for t in two.budget}


def test_a_checked_print_is_worth_its_trouble() -> None:
    checked, unchecked = measured(0, 24.0, 1, True), measured(0, 24.0, 1, False)
    assert checked.u_mm < 0.7 * unchecked.u_mm
    assert [f.code for f in unchecked.findings] == ["print-unchecked"]
    assert checked.findings == ()


def test_derivatives_are_those_of_the_function() -> None:
    c = chain("touching", 0.01)
    gap = c.term("gap between")

    def at(gap_mm: float) -> float:
        return diameter_mm(c.pose.camera, c.lines, Hold(offset_mm=gap_mm))

    # touching: a gap moves the rope towards the camera, so the same image means a thinner rope
    assert gap.sensitivity == pytest.approx((at(0.2) - at(0.0)) / 0.2, rel=0.01)
    assert gap.sensitivity < 0


@pytest.mark.parametrize("weight", [0.1, 0.3, 0.5])
def test_of_two_accounts_of_a_picture_the_mean_counts_and_its_scatter(weight: float) -> None:
    c = chain("touching", 1e-3)
    longer = replace(c.pose.camera, log_focal=c.pose.camera.log_focal + 0.3)
    pose = replace(c.pose, other=OtherHypothesis(longer, weight))
    ends = np.array([diameter_mm(camera, c.lines, c.hold) for camera in (c.pose.camera, longer)])
    drawn = np.random.default_rng(5).choice(ends, size=200_000, p=[1 - weight, weight])
    assert diameter_of(pose, c.lines, c.hold) == pytest.approx(
        drawn.mean(), abs=0.005 * np.ptp(ends)
    )
    observed = Observation(pose, c.card, c.outline, c.jaws, c.lines, c.hold, c.blur, "p", "c")
    (term,) = [term for term in list_terms(observed) if term.quantity == "picture cropped or whole"]
    assert term.u_mm == pytest.approx(drawn.std(), rel=0.01)
