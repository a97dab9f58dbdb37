"""Camera and card recovered from corners projected by a known camera."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.stats import chi2
from studio import Array, look, pinhole

from vision.camera import FITTED, Lens, Rival, camera_centre_mm, gradient, lens_of
from vision.findings import RefusedError
from vision.rope.paper import flatness
from vision.target.detect import FoundCard
from vision.target.layout import Card, chess_corners_mm, layout_named
from vision.target.pose import U_BEND_MM, Pose, StripePoints, solve_pose
from vision.target.stated_lens import MOST_WRONG, WRONG

LAYOUT = layout_named("A5 middle")
FLAT = chess_corners_mm(LAYOUT)
CARD = Card(LAYOUT, 0, u_scale_x=4e-4, u_scale_y=4e-4)  # a checked print
UNCHECKED = Card(LAYOUT, 0)
SIZE = (4000, 3000)
FOCAL_PX = 3100.0
NOISE_PX = 0.08
ALONG = np.array([1.0, 0.0])  # of the rope, on the card
ASKEW = np.array([np.cos(np.radians(20)), np.sin(np.radians(20))])


def found_at(corners_px: Array, corners_mm: Array = FLAT) -> FoundCard:
    model, _ = cv2.findHomography(corners_mm.reshape(-1, 1, 2), corners_px.reshape(-1, 1, 2))
    return FoundCard(LAYOUT, 0, corners_mm, corners_px, np.asarray(model, float))


def cast(
    tilt_deg: float,
    *,
    azimuth_deg: float = 35.0,
    distance_mm: float = 330.0,
    focal_px: float = FOCAL_PX,
    bend_mm: float = 0.0,
    twist_mm: float = 0.0,
    k1: float = 0.0,
    centre_px: tuple[float, float] = (0.0, 0.0),
    noise_px: float = 0.0,
    seed: int = 1,
    scale: tuple[float, float] = (1.0, 1.0),
) -> tuple[FoundCard, Array, Array]:
    """Return corners as a camera sees them, and its R and t.

    `bend_mm` is how far the card's ends stand up over its middle (a parabola along the rope),
    `twist_mm` how far a corner does; `centre_px` shifts the principal point; `scale` is the true
    over the drawn length of the print.
    """
    R, t = look(tilt_deg, azimuth_deg, 8.0, distance_mm)
    x, y = FLAT[:, 0] / (LAYOUT.length_mm / 2), FLAT[:, 1] / LAYOUT.half_height_mm
    solid = np.column_stack([FLAT * scale, bend_mm * x**2 + twist_mm * x * y])
    seen = pinhole(solid, R, t, focal_px, SIZE)
    middle = (np.array(SIZE) - 1) / 2
    radius2 = (((seen - middle) / focal_px) ** 2).sum(axis=1, keepdims=True)
    seen = middle + (seen - middle) * (1 + k1 * radius2) + centre_px
    seen = seen + np.random.default_rng(seed).normal(0, 1, seen.shape) * noise_px
    return found_at(seen), R, t


def known(focal_px: float = FOCAL_PX, share: float = 0.04) -> Lens:
    return lens_of(*SIZE, focal_px, share * focal_px)


def doubted(focal_px: float) -> Lens:
    """What is known by a camera's words, which may be plainly wrong."""
    return replace(known(focal_px), rivals=(Rival(1 / MOST_WRONG, MOST_WRONG, WRONG),))


def codes(pose: Pose) -> list[str]:
    return [item.code for item in pose.findings]


@pytest.mark.parametrize("tilt_deg", [0, 10, 35])
@pytest.mark.parametrize("distance_mm", [200, 700])
def test_without_noise_the_camera_is_recovered(tilt_deg: float, distance_mm: float) -> None:
    found, R, t = cast(tilt_deg, distance_mm=distance_mm)
    pose = solve_pose(found, CARD, known())
    assert pose.focal_px == pytest.approx(FOCAL_PX, rel=1e-6)
    np.testing.assert_allclose(camera_centre_mm(pose.camera), -R.T @ t, atol=1e-3)
    assert pose.rms_px < 1e-4
    assert codes(pose) == []


@pytest.mark.parametrize("azimuth_deg", range(0, 360, 60))
def test_with_noise_the_camera_is_recovered_within_four_of_its_uncertainties(
    azimuth_deg: int,
) -> None:
    found, R, t = cast(15, azimuth_deg=azimuth_deg, noise_px=NOISE_PX, seed=azimuth_deg)
    pose = solve_pose(found, CARD, known())
    assert abs(pose.focal_px - FOCAL_PX) < 4 * pose.u_focal_px
    off = camera_centre_mm(pose.camera) + R.T @ t
    assert np.all(np.abs(off) < 4 * np.sqrt(np.diag(centre_covariance(pose))))
    assert pose.rms_px == pytest.approx(NOISE_PX, rel=0.35)


def centre_covariance(pose: Pose) -> Array:
    """Return the covariance of the camera centre (3, 3), mm², by central differences."""
    steps = np.array([1e-6 if name.startswith("rotation") else 1e-3 for name in FITTED])
    J = np.stack(
        [
            gradient(lambda moved, i=i: camera_centre_mm(moved)[i], pose.camera, steps=steps)
            for i in range(3)
        ]
    )
    return np.asarray(J @ pose.whole_covariance.matrix @ J.T)


def mean_z2(tilt_deg: float, card: Card) -> tuple[Array, int]:
    """Return the mean squared z of focal length and camera centre (x, y, z), and how many draws.

    Everything that the fit takes as known beforehand is drawn from that very knowledge, so that
    the scatter of the answers must be what their covariance says. The centre's three numbers
    are held against their uncertainties one by one: together they lie in a thin, slightly
    curved sheet (focal length against distance), which no covariance can describe.
    """
    draws = 60
    lens = known()
    rng = np.random.default_rng(20 + int(tilt_deg))
    u_scale = card.u_scale_x
    total = np.zeros(4)
    for seed in range(draws):
        focal_px = FOCAL_PX * float(np.exp(rng.normal(0, lens.u_log_focal)))
        shift = rng.normal(0, lens.u_centre_px, 2)
        scale = 1 + rng.normal(0, u_scale, 2)
        found, R, t = cast(
            tilt_deg,
            azimuth_deg=rng.uniform(0, 360),
            focal_px=focal_px,
            k1=rng.normal(0, lens.u_k1),
            centre_px=(shift[0], shift[1]),
            bend_mm=rng.normal(0, U_BEND_MM),
            twist_mm=rng.normal(0, U_BEND_MM),
            scale=(scale[0], scale[1]),
            noise_px=NOISE_PX,
            seed=seed,
        )
        pose = solve_pose(found, card, lens)
        off = camera_centre_mm(pose.camera) + R.T @ t
        total[0] += (
            np.log(pose.focal_px / focal_px) ** 2 / pose.whole_covariance.u("log_focal") ** 2
        )
        total[1:] += off**2 / np.diag(centre_covariance(pose))
    return total / draws, draws


@pytest.mark.parametrize(("tilt_deg", "card"), [(0, CARD), (25, UNCHECKED)])
def test_the_scatter_seen_is_the_covariance_stated(tilt_deg: float, card: Card) -> None:
    # The mean squared z of n draws is chi2(n) / n; the limits leave 0.1 % out on each side. The
    # negative control: with half or double the uncertainty the check must fail.
    z2, draws = mean_z2(tilt_deg, card)
    low, high = (float(chi2.ppf(p, draws)) / draws for p in (0.001, 0.999))
    for value in z2:
        assert low < value < high
        assert value / 0.5**2 > high
        assert value / 2.0**2 < low


def test_an_unknown_focal_length_is_solved_from_a_tilted_card() -> None:
    found, *_ = cast(30, noise_px=NOISE_PX)
    pose = solve_pose(found, CARD, lens_of(*SIZE, None, None))
    assert codes(pose) == ["focal-unknown"]
    assert pose.u_focal_px < 0.05 * FOCAL_PX
    assert abs(pose.focal_px - FOCAL_PX) < 3 * pose.u_focal_px


def test_an_unknown_focal_length_stays_unknown_on_a_frontal_card() -> None:
    found, *_ = cast(0, noise_px=NOISE_PX)
    pose = solve_pose(found, CARD, lens_of(*SIZE, None, None))
    assert codes(pose) == ["focal-unknown"]
    assert pose.u_focal_px > 0.15 * FOCAL_PX


@pytest.mark.parametrize("share", [0.7, 1.3])
@pytest.mark.parametrize("azimuth_deg", [0, 35, 90, 250])
def test_a_focal_length_wrong_by_30_percent_is_noticed_on_a_tilted_card(
    share: float, azimuth_deg: float
) -> None:
    found, *_ = cast(30, azimuth_deg=azimuth_deg, noise_px=NOISE_PX)
    pose = solve_pose(found, CARD, doubted(share * FOCAL_PX))
    assert codes(pose)[0] == "focal-disagrees"
    assert pose.findings[0].value == pytest.approx(100 * abs(1 / share - 1), abs=8)
    assert abs(pose.focal_px - FOCAL_PX) < 3 * pose.u_focal_px


@pytest.mark.parametrize("share", [0.7, 1.3])
@pytest.mark.parametrize("tilt_deg", [0, 2])
def test_a_focal_length_wrong_by_30_percent_passes_unseen_on_a_frontal_card(
    share: float, tilt_deg: float
) -> None:
    found, *_ = cast(tilt_deg, noise_px=NOISE_PX)
    assert codes(solve_pose(found, CARD, doubted(share * FOCAL_PX))) == []


@pytest.mark.parametrize("tilt_deg", [0, 5, 20, 35])
def test_a_right_focal_length_is_never_said_to_disagree(tilt_deg: float) -> None:
    for seed in range(12):
        found, *_ = cast(tilt_deg, azimuth_deg=30 * seed, noise_px=NOISE_PX, seed=seed)
        assert codes(solve_pose(found, CARD, known(1.04 * FOCAL_PX))) == []


@pytest.mark.parametrize("tilt_deg", [0, 15, 30])
@pytest.mark.parametrize("bend_mm", [2.0, -2.0])
def test_a_card_bent_by_2_mm_is_refused(tilt_deg: float, bend_mm: float) -> None:
    found, *_ = cast(tilt_deg, bend_mm=bend_mm, noise_px=NOISE_PX)
    pose = solve_pose(found, CARD, known())
    with pytest.raises(RefusedError) as refused:
        flatness(pose, CARD, ALONG)
    (item,) = refused.value.findings
    assert item.code == "card-bent"
    assert item.value is not None
    assert 0.35 < item.value < 3.0


@pytest.mark.parametrize("tilt_deg", [0, 15, 30])
def test_a_card_twisted_by_2_mm_is_refused_where_the_rope_lies_askew(tilt_deg: float) -> None:
    # a twist lifts nothing under a rope that lies straight along the card's middle
    found, *_ = cast(tilt_deg, twist_mm=2.0, noise_px=NOISE_PX)
    pose = solve_pose(found, CARD, known())
    assert flatness(pose, CARD, ALONG) == ()
    with pytest.raises(RefusedError) as refused:
        flatness(pose, CARD, ASKEW)
    assert [item.code for item in refused.value.findings] == ["card-bent"]


@pytest.mark.parametrize("tilt_deg", [0, 15, 30])
@pytest.mark.parametrize("bend_mm", [0.1, -0.1])
def test_a_card_bent_by_a_tenth_of_a_millimetre_passes(tilt_deg: float, bend_mm: float) -> None:
    found, *_ = cast(tilt_deg, bend_mm=bend_mm, noise_px=NOISE_PX)
    pose = solve_pose(found, CARD, known())
    assert codes(pose) == []
    assert flatness(pose, CARD, ALONG) == ()


def test_a_slight_bend_is_a_warning() -> None:
    found, *_ = cast(30, azimuth_deg=0, bend_mm=0.33, noise_px=0.03)
    warnings = flatness(solve_pose(found, CARD, known()), CARD, ALONG)
    assert [item.code for item in warnings] == ["card-slightly-bent"]


def test_the_change_by_print_scale_is_that_of_solving_again() -> None:
    step = 1e-3
    found, *_ = cast(20, noise_px=NOISE_PX)
    pose = solve_pose(found, CARD, known())
    stretched = (replace(CARD, scale_x=1 + step), replace(CARD, scale_y=1 + step))
    for axis, card in enumerate(stretched):
        moved = (solve_pose(found, card, known()).camera.values() - pose.camera.values()) / step
        u = pose.covariance.u_all()
        # in units of each number's own uncertainty; Huber's weights move a little too
        np.testing.assert_allclose(
            pose.scale_shift[:, axis] * step / u, moved * step / u, atol=0.06
        )


def test_the_scale_of_the_print_scales_the_camera_distance() -> None:
    found, R, t = cast(20, scale=(1.01, 0.99))
    wrong = solve_pose(found, CARD, known())
    right = solve_pose(found, replace(CARD, scale_x=1.01, scale_y=0.99), known())
    np.testing.assert_allclose(camera_centre_mm(right.camera), -R.T @ t, atol=1e-2)
    assert np.linalg.norm(camera_centre_mm(wrong.camera) + R.T @ t) > 1.0


def test_one_false_corner_pulls_little() -> None:
    found, *_ = cast(15, noise_px=NOISE_PX)
    seen = found.corners_px.copy()
    seen[4] += [3.0, -2.0]
    pose = solve_pose(found_at(seen), CARD, known())
    clean = solve_pose(found, CARD, known())
    moved = camera_centre_mm(pose.camera) - camera_centre_mm(clean.camera)
    assert np.all(np.abs(moved) < 2 * np.sqrt(np.diag(centre_covariance(clean))))


@pytest.mark.parametrize("kept", [slice(0, 7), slice(0, 13), slice(12, 20)])
def test_corners_too_few_or_on_one_side_only_are_refused(kept: slice) -> None:
    found, *_ = cast(10)
    few = FoundCard(LAYOUT, 0, FLAT[kept], found.corners_px[kept], found.homography)
    with pytest.raises(RefusedError) as refused:
        solve_pose(few, CARD, known())
    assert [item.code for item in refused.value.findings] == ["too-few-markers"]


def test_every_number_of_the_camera_is_what_its_name_says() -> None:
    found, *_ = cast(25, bend_mm=0.2, twist_mm=-0.1, k1=0.02, centre_px=(12, -7))
    lens = replace(known(), k1=0.02, u_k1=1e-4, centre_px=(2011.5, 1492.5), u_centre_px=0.1)
    camera = solve_pose(found, CARD, lens).camera
    assert [camera.curl_mm, camera.twist_mm] == pytest.approx([0.2, -0.1], abs=0.01)
    assert camera.k1 == pytest.approx(0.02, abs=1e-3)
    assert camera.principal_point_px == pytest.approx([2011.5, 1492.5], abs=0.5)


@pytest.mark.parametrize("seed", range(3))
def test_a_few_false_corners_make_no_crop(seed: int) -> None:
    found, *_ = cast(3.0, distance_mm=400.0, noise_px=0.04, seed=seed)
    rng = np.random.default_rng(seed + 50)
    corners_px = found.corners_px.copy()
    corners_px[rng.choice(len(corners_px), 3, replace=False)] += rng.choice([-0.5, 0.5], (3, 2))
    found = replace(found, corners_px=corners_px)
    # of a size that no sensor is known to have, seen so squarely that the card tells little
    lens = replace(doubted(0.97 * FOCAL_PX), cropped=Rival(1.0, 2.5, 0.18, 600.0))
    pose = solve_pose(found, CARD, lens, None, solve_pose(found, CARD, lens).camera)
    assert pose.focal_px == pytest.approx(0.97 * FOCAL_PX, rel=0.02)
    assert pose.other is not None
    assert pose.other.weight < 0.18  # no likelier than beforehand: corners say nothing of it


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_a_pattern_printed_half_a_dot_off_the_squares_is_no_zoom(seed: int) -> None:
    # seen so squarely that a fifth of a pixel had passed for a focal length half as long again
    found, R, t = cast(2.0, azimuth_deg=180.0, distance_mm=290.0, noise_px=0.03, seed=seed)
    across = np.concatenate([np.linspace(-50, -25, 6), np.linspace(25, 50, 6)])
    drawn = np.array([(x, y) for x in np.linspace(-70, 70, 16) for y in across])
    square = np.array([np.sin(np.radians(60)), np.cos(np.radians(60))])

    def at(drawn_mm: Array) -> Array:
        return pinhole(np.column_stack([drawn_mm, np.zeros(len(drawn_mm))]), R, t, FOCAL_PX, SIZE)

    seen = at(drawn + 0.025 * square)
    seen += np.random.default_rng(7).normal(0, 0.03, seen.shape)
    over = at(drawn + square) - at(drawn)
    stripes = StripePoints(drawn, seen, over / np.linalg.norm(over, axis=1)[:, None])
    rivals = (Rival(1.0, 3.0, 0.05), Rival(1 / MOST_WRONG, MOST_WRONG, WRONG))
    lens = replace(known(0.97 * FOCAL_PX), rivals=rivals, cropped=Rival(1.0, 2.5, 0.18, 600.0))
    pose = solve_pose(found, CARD, lens, stripes, solve_pose(found, CARD, lens).camera)
    assert pose.focal_px == pytest.approx(FOCAL_PX, rel=0.04)
