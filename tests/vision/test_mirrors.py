"""A polished bar's flank mirrors the stripes: the effect on its outline.

Seen square from far off, a sight that meets a flank of radius r where it leans by psi, r (1 - cos
psi) inside its limb, is turned by 2 psi and meets the paper (h + r sin psi) tan(2 psi) farther out,
h the limb's height. That is worked out here by itself, added up and blurred; the tool follows its
sights through the camera.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes import A5
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr
from studio import Array

from vision.camera import Lens, camera_of
from vision.rope.edge.light import EVERY_PX, lights_of
from vision.rope.edge.lock_in import Scene
from vision.rope.edge.mirrors import no_rim, rim_hypotheses, rims_px
from vision.rope.edge.profiles import half_way
from vision.target.blur import Blur
from vision.target.layout import Card
from vision.tones import code_of, light_of

Complex = NDArray[np.complex128]
R = 12.0
PX_MM = 0.1
PERIOD = 4.107  # mm, of A5's stripes square to a bar that lies along the card
FAR_MM = 1e5
WHITE, BLACK = 0.78, 0.04  # light of the stripes
T = EVERY_PX * np.arange(-20, 12)
CAMERA = camera_of(
    Lens(FAR_MM / PX_MM, 0.01, (999.5, 749.5), 1.0),
    np.array([np.pi, 0, 0]),
    np.array([0, 0, FAR_MM]),
)
BAR = Scene(
    np.zeros((1500, 2000), np.float32), CAMERA, Card(A5), np.zeros(1), np.zeros(2),
    np.array([1.0, 0.0]), R, 1.0,
)  # fmt: skip


def mirrored(t_px: Array, blur_px: float, share: float) -> Complex:
    """Return the stripes left at places outwards from the limb, over those outside."""
    psi = np.linspace(0, np.pi / 5, 2001)  # ten times as many move a limb by 1e-6 px
    delta = R * (1 - np.cos(psi)) / PX_MM
    y = (R + R * np.sin(psi)) * np.tan(2 * psi)
    carrier = 2 * np.pi * PX_MM / PERIOD

    def spread(place: Array) -> Complex:
        """Light from a place, by the phase that paper shows where it is seen."""
        off = t_px[:, None] - place
        whole = np.sqrt(2 * np.pi) * blur_px * np.exp(-0.5 * (carrier * blur_px) ** 2)
        return np.asarray(np.exp(-0.5 * (off / blur_px) ** 2 - 1j * carrier * off) / whole)

    open_paper = np.linspace(0, max(t_px) + 6 * blur_px, 1001)
    back = np.trapezoid(spread(-delta) * np.exp(2j * np.pi * y / PERIOD), delta, axis=1)
    return np.asarray(np.trapezoid(spread(open_paper), open_paper, axis=1) + share * back)


def half_of(blur_px: float, share: float) -> float:
    t = np.linspace(-3 * blur_px, 3 * blur_px, 601)
    values = mirrored(t, blur_px, share).real
    last = int(np.flatnonzero(values < 0.5)[-1])
    return float(np.interp(0.5, values[last : last + 2], t[last : last + 2]))


def accounts_of(blur: Blur, stripes: Complex, limb: float) -> tuple[Array, Array]:
    """Return the accounts of stripes seen at `T`, beside a limb over the paper's mean light."""
    lights = WHITE, BLACK, limb * (WHITE + BLACK) / 2
    return rim_hypotheses(BAR, (R, PX_MM), blur, (T, stripes), lights)


@pytest.mark.parametrize("share", [0.0, 0.4, 0.8])
@pytest.mark.parametrize("blur_px", [0.4, 0.8, 1.5])
def test_what_a_flank_mirrors_is_known_within_its_uncertainty(blur_px: float, share: float) -> None:
    limb = half_of(blur_px, share)
    seen = accounts_of(Blur(blur_px), mirrored(T + limb, blur_px, share), 0.8)
    rim, _, u = rims_px(seen, no_rim())
    assert abs(rim - limb) < 2 * u + 0.01
    assert u < (0.01 if share == 0 else 0.05)


def test_what_one_side_shows_of_the_surface_holds_for_the_other() -> None:
    limb = half_of(0.8, 0.8)
    shown = accounts_of(Blur(0.8), mirrored(T + limb, 0.8, 0.8), 0.8)
    hidden = shown[0], np.zeros_like(shown[0])  # nothing to be seen: each account as likely
    alone = rims_px(no_rim(), hidden)
    _, rim, u = rims_px(shown, hidden)
    assert abs(rim - limb) < 0.02 < abs(alone[1] - limb)
    assert u < 2 * alone[2]  # of both sides, which err alike


@pytest.mark.parametrize("limb", [0.02, 0.3, 1.6])
@pytest.mark.parametrize("radius_px", [1.0, 2.5])
def test_what_sharpening_does_beside_a_limb_is_told_by_the_cards_own_steps(
    limb: float, radius_px: float
) -> None:
    step = EVERY_PX / 10
    t = np.arange(-15, 15, step)

    def sharpened(rope: float, paper: float) -> Array:
        code = code_of(rope + (paper - rope) * ndtr(t / 0.8))
        masked = code - gaussian_filter1d(code, radius_px / step, mode="nearest")
        return np.asarray(code + 0.4 * masked)

    card = sharpened(BLACK, WHITE)
    low, high = card[0], card[-1]
    slope = np.diff(card).max() / step
    over = (card.max() - high + low - card.min()) / 2 / (high - low)
    blur = Blur(float((high - low) / slope / np.sqrt(2 * np.pi)), float(over))
    rope = limb * (WHITE + BLACK) / 2
    white, black = light_of(sharpened(rope, WHITE)), light_of(sharpened(rope, BLACK))
    share = np.asarray(white - black, float) / float(white[-1] - black[-1])
    last = int(np.flatnonzero((share < 0.5) & (t < 4))[-1])
    moved = float(np.interp(0.5, share[last : last + 2], t[last : last + 2]))
    seen = np.interp(T + moved, t, share).astype(complex)
    rim, _, u = rims_px(accounts_of(blur, seen, limb), no_rim())
    assert abs(rim - moved) < 0.4 * abs(moved) + 2 * u
    if limb < 0.1:
        assert rim < -0.03


def test_a_limbs_own_light_is_told_from_the_papers() -> None:
    paper = ndtr(T / 0.8)
    mean, pooled = 0.4 * paper + 0.3 * (1 - paper), 0.45 * paper
    lights = lights_of(mean, pooled, T, T > 3, 0.8)
    assert lights == pytest.approx((0.4 + 0.353, 0.4 - 0.353, 0.3), abs=0.02)


@pytest.mark.parametrize("between", [0.3, -0.3])
def test_stripes_against_their_phase_are_a_mirrors_and_no_paper_in_shade(between: float) -> None:
    t = EVERY_PX * np.arange(-16, 12)
    share = np.select([t > 0, t > -2, t > -5], [1.0, between, 0.3], 0.0)[None]
    contrast = np.abs(share) / 0.5
    _, sure, farther = half_way(share, contrast, t, len(t) - 6, 2.0)
    assert sure.all()
    assert bool(np.isfinite(farther[0])) is (between > 0)
