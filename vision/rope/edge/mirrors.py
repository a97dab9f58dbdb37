"""Effects of stripes mirrored in a smooth bar's flank, and of sharpening beside its limb.

Both displace the place at which half of the stripes' amplitude is left. The displacement is
computed for several hypotheses about flank and camera by ray tracing, and the hypotheses are
weighted by how well they agree with the photograph.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from vision.camera import camera_centre_mm
from vision.findings import limit_of
from vision.rope.constants import CLEAR_SIGMAS, HALF, U_GAP_MM
from vision.rope.edge.light import limb_share
from vision.rope.edge.lock_in import Scene
from vision.target.blur import Blur
from vision.target.layout import stripe_phase
from vision.tones import code_of, light_of

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

# Roughness of a flank: root mean square slope of its facets, evenly spaced in its logarithm.
ROUGHNESS = (0.0, *np.geomspace(0.01, 0.16, 9))
# Radius of an unsharp mask over the blur, equally likely, and the possible amounts of sharpening.
RADII, SHARES = (1.0, 3.0), np.linspace(0, 2, 41)


def rim_hypotheses(
    scene: Scene,
    bar: tuple[float, float],
    blur: Blur,
    seen: tuple[Array, Complex],
    lights: tuple[float, float, float],
) -> tuple[Array, Array]:
    """Return how far out a bar's outline is displaced by mirrored stripes, and the log odds.

    A sight that grazes the flank is reflected to the paper farther out. So the mirrored stripes
    have a phase that changes the faster the farther in they are: in phase at the limb, then
    opposite, and so on. Blur mixes the first of these lobes with the paper's own stripes. If it
    extends over one lobe, the limb seems to be farther in; over two, farther out; and over all of
    them, farther out by ``r (period / (4 pi h))^2`` times the mirrored share (h is the limb's
    height). This share is between nothing (rust) and all of the limb's light (a polished or wet
    bar), and the rougher the flank, the sooner its stripes merge. The out-of-phase part of the
    stripes is informative, since paper has none: each hypothesis is weighted by how well it fits
    the stripes around the limb (likelihood with unknown variance; points a blur's width apart are
    independent). Each also includes the effect of sharpening beside a limb that is darker or
    brighter than the stripes (`_sharpened_px`), as far as nothing is mirrored in phase.

    Parameters
    ----------
    scene : Scene
        The side.
    bar : tuple of float
        Radius of the bar and size of a pixel, mm.
    blur : Blur
        Blur and sharpening of the photograph.
    seen : tuple of ndarray of shape (N,)
        Places, px outwards from the outline, and the stripes there over those outside: in phase,
        and, as the imaginary part, a quarter of a period ahead.
    lights : tuple of float
        Light of the white and of the black stripes outside, and of the limb; 1 is the maximum that
        the picture can record.

    Returns
    -------
    rims, log_odds : ndarray of shape (M,)
        Displacement, px, and natural log odds of each hypothesis; the same hypotheses for both
        sides.
    """
    one, reach = blur.light_px, CLEAR_SIGMAS * blur.light_px
    gaps = np.sqrt(3) * U_GAP_MM * np.arange(3)
    flanks = [_mirrored(scene, *bar, gap, 4 * reach) for gap in gaps]
    inside, _, per_px = flanks[0]
    mirrored = np.hstack([flank[1] for flank in flanks])
    outside = np.arange(0.0, 4 * reach, one / 8)
    near = (seen[0] >= -2 * reach) & (seen[0] <= reach)
    at, stripes = seen[0][near], seen[1][near][:, None]
    t = np.arange(-3 * reach, 2 * reach, one / 8)
    of_limb = np.sin(np.linspace(0, np.pi / 2, 7)) ** 2  # samples of Jeffreys' prior for a share
    shares = of_limb * limb_share(lights)
    rims, misfits = [], []
    for spread in _spreads(blur):
        paper = _spread(outside, np.ones((len(outside), 1)), t, spread, per_px)
        back = _spread(-inside, mirrored, t, spread, per_px)
        share = paper[:, :, None] + back[:, :, None] * shares
        in_step = (
            2 * np.abs(back[np.searchsorted(t, 0.0), :, None]) * shares / max(shares[-1], 1e-9)
        )
        beside = _sharpened_px(spread, *lights) * (1 - np.minimum(in_step, 1)).ravel()
        share = share.reshape(len(t), -1)
        every = np.arange(share.shape[1])
        last = len(t) - 1 - (share.real < HALF)[::-1].argmax(axis=0)
        low, high = share.real[last, every], share.real[last + 1, every]
        rim = t[last] + one / 8 * (HALF - low) / (high - low)
        place = (at[:, None] + rim - t[0]) / (one / 8)
        before = np.clip(place.astype(int), 0, len(t) - 2)
        part = place - before
        expected = (1 - part) * share[before, every] + part * share[before + 1, every]
        rims.append(rim + beside)
        misfits.append((np.abs(expected - stripes) ** 2).sum(axis=0))
    independent = 2 * np.ptp(at) / (one * np.sqrt(2 * np.pi))
    return np.concatenate(rims), -independent / 2 * np.log(np.concatenate(misfits) + 1e-12)


def no_rim() -> tuple[Array, Array]:
    """Return the single hypothesis of an edge that mirrors nothing."""
    return np.zeros(1), np.zeros(1)


def rims_px(left: tuple[Array, Array], right: tuple[Array, Array]) -> tuple[float, float, float]:
    """Return both sides' rims, px, and the standard uncertainty of their sum.

    Both sides have one surface and one camera, so the same hypothesis holds for both.
    """
    log_odds = left[1] + right[1]
    odds = np.exp(log_odds - log_odds.max())
    rims = np.broadcast_arrays(left[0], right[0], odds)[:2]  # a side in shadow has only one value
    one, other = (float(np.average(side, weights=odds)) for side in rims)
    off = rims[0] + rims[1] - one - other
    return one, other, float(np.sqrt(np.average(off**2, weights=odds)))


def _spreads(blur: Blur) -> list[list[tuple[float, float]]]:
    """Return possible point spreads at an edge: sums of Gaussians, as shares and widths, px.

    An unsharp mask subtracts a wider Gaussian (`RADII`). Its share is that for which a step
    overshoots as much as the card's steps do. The edge's blur may differ from that of the card's
    steps by as much as is tolerated between parts of the card.
    """
    alike = limit_of("blurred-unevenly")
    t = np.linspace(0, 12, 241)
    spreads = []
    for radius in RADII:
        wide = np.hypot(1, radius)
        over = np.outer(SHARES, ndtr(t) - ndtr(t / wide)) - (1 - ndtr(t))
        masked = float(np.interp(blur.overshoot, over.max(axis=1), SHARES))
        steep = 1 + masked - masked / wide
        for width in blur.light_px * steep * np.geomspace(1 / alike, alike, 7):
            spreads.append([(1 + masked, width), (-masked, wide * width)])
    return spreads


def _sharpened_px(
    spread: list[tuple[float, float]], white: float, black: float, limb: float
) -> float:
    """Return the outward displacement of the stripes' half by sharpening, px.

    Sharpening acts on coded values, so a step between limb and paper overshoots: beside a dark
    limb, white stripes by more light than black ones.
    """
    (_, width), (taken, wide) = spread
    t = np.linspace(-6, 6, 241) * width
    paper = ndtr(t / width)
    radius = np.sqrt(wide**2 - width**2) / (t[1] - t[0])
    codes = code_of(limb + (np.array([[white], [black]]) - limb) * paper)
    codes = codes - taken * (codes - gaussian_filter1d(codes, radius, mode="nearest"))
    seen = light_of(codes)
    share = (seen[0] - seen[1]) / (white - black)
    last = len(t) - 1 - int((share < HALF)[::-1].argmax())
    return float(t[last] + (t[1] - t[0]) * (HALF - share[last]) / (share[last + 1] - share[last]))


def _spread(
    place: Array, light: Array | Complex, t: Array, spread: list[tuple[float, float]], per_px: Array
) -> Complex:
    """Return blurred light (places, kinds) at `t` over equally blurred stripes, in their phase.

    `per_px` is the change of the stripes' phase per pixel outwards and along the rope, rad.
    """
    steps = np.abs(np.gradient(place))
    steps[[0, -1]] /= 2
    off, kernel, whole = t[:, None] - place, np.zeros((len(t), len(place))), 0.0
    for share, width in spread:
        share *= float(np.exp(-0.5 * (width * per_px[1]) ** 2))
        kernel += share / (width * np.sqrt(2 * np.pi)) * np.exp(-0.5 * (off / width) ** 2)
        whole += share * float(np.exp(-0.5 * (width * per_px[0]) ** 2))
    carried = light * (steps * np.exp(1j * per_px[0] * place))[:, None]
    # in real numbers: a complex matrix product starts threads and takes forty times as long
    seen = (kernel @ carried.view(float)).view(complex)
    return np.asarray(seen * np.exp(-1j * per_px[0] * t)[:, None] / whole)


def _mirrored(
    scene: Scene, r_mm: float, px_mm: float, higher_mm: float, reach_px: float
) -> tuple[Array, Complex, Array]:
    """Return depths inside a bar's limb, px (N,), the mirrored stripes there, and the phase change.

    The mirrored stripes (N, `ROUGHNESS`) are relative to those of the paper behind. The phase
    change of the stripes (2,), rad, is that per pixel outwards and along the rope. Each sight is
    reflected in the flank and followed to the card, which is assumed flat. A rough flank consists
    of facets with normally distributed slopes (Beckmann and Spizzichino 1963), weighted by their
    projected area.
    """
    eye = camera_centre_mm(scene.camera)
    axis = np.array([*scene.origin_mm, scene.height_mm])
    across = scene.sign * np.array([-scene.direction[1], scene.direction[0], 0.0])
    up = np.array([0.0, 0.0, 1.0])
    a, b = float((eye - axis) @ across), float((eye - axis) @ up)
    limb = np.arctan2(b, a) - np.arccos(r_mm / np.hypot(a, b))
    turn = limb + np.linspace(0, min(np.sqrt(2 * reach_px * px_mm / r_mm), np.pi / 5), 120)

    def facing(angle: Array) -> Array:
        turned = np.cos(angle)[..., None] * across + np.sin(angle)[..., None] * up
        return np.asarray(turned)

    def phase_at(paper: Array) -> Array:
        drawn = paper[..., :2] / [scene.card.scale_x, scene.card.scale_y]
        return np.asarray(stripe_phase(scene.card.layout, drawn))

    flank = axis + r_mm * facing(turn)
    sight = flank - eye
    height = flank[:, 2] + higher_mm
    behind = phase_at(eye + sight * (eye[2] / (eye[2] - flank[:, 2]))[:, None])
    level = eye + sight * ((eye[2] - axis[2]) / (eye[2] - flank[:, 2]))[:, None]
    depth_px = ((level[0] - level) @ across) / px_mm
    mirrored = np.empty((len(turn), len(ROUGHNESS)), complex)
    sigmas = np.linspace(-2.5, 2.5, 15)
    for column, slope in enumerate(ROUGHNESS):
        normal = facing(turn[:, None] + np.arctan(slope * sigmas))
        met = np.maximum(-(sight[:, None] * normal).sum(axis=2), 0)
        weight = met * np.exp(-0.5 * sigmas**2)
        back = sight[:, None] + 2 * met[..., None] * normal
        down = np.minimum(back[..., 2], -1e-6 * eye[2])
        paper = flank[:, None] - back * (height[:, None] / down)[..., None]
        there = np.where(back[..., 2] < 0, np.exp(1j * (phase_at(paper) - behind[:, None])), 0)
        mirrored[:, column] = (weight * there).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-12)
    outwards = eye[2] / (eye[2] - axis[2]) * px_mm  # size of a pixel projected on the card
    along = np.array([*scene.direction, 0.0])
    steps = outwards * np.stack([np.zeros(3), across, along])
    there = phase_at(steps)
    return depth_px, mirrored, there[1:] - there[0]
