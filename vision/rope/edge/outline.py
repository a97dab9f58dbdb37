"""Trace the rope's outline on both sides: where the printed stripes end, to a part of a pixel.

The pose says which phase the stripes have at every pixel. In a window along the rope the light is
split, by least squares, into its mean and what runs in step with the pattern (a lock-in, after
Takeda, Ina and Kobayashi 1982). The amplitude in step says how much of the paper is seen there,
whatever the light: the rope's texture, its gloss and its shadow carry no such phase, and what
wires mirror of the band is squeezed so much that its stripes average out. The outline is where
the amplitude falls to half of what it is just outside.

First the contrast (amplitude over mean, alike in light and shade) parts band from rope on a
straight strip: a boundary is worth the votes outside it minus those inside (the change point of
Hinkley 1970), and the rough outline is the best path of such boundaries (dynamic programming, as
Amini, Weymouth and Jain 1990). Then the windows are laid along that outline, the half-way point is
found in each, the outline moved there, and so on: once the windows follow the outline, they
flatten its crowns no more. Each pass leaves of a ripple what its window blurs away, so that a few
passes are enough, and the last move tells what is left.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter, minimum_filter1d

from vision.camera import Camera, camera_centre_mm
from vision.findings import RefusedError, finding, limit_of
from vision.medians import median_of
from vision.rope.axis import Axis, to_height
from vision.rope.constants import (
    CLEAR_SIGMAS,
    HALF,
    HALF_LENGTH,
    PASSES,
    REFERENCE_PX,
    SEEMS_BLURRED_PX,
    WINDOW_PERIODS,
)
from vision.rope.edge.light import (
    EVERY_PX,
    clipped_sigmas,
    lights_of,
    limb_share,
    shone_sigmas,
    times_over,
    tone_px,
)
from vision.rope.edge.lock_in import Profiles, Scene, half_size_mm, locked_in
from vision.rope.edge.mirrors import no_rim, rim_accounts
from vision.rope.edge.profiles import (
    Values,
    best_paths,
    half_way,
    in_direction,
    in_step,
    out_of_step,
    sharpened,
    slope_of,
)
from vision.rope.edge.rims import Accounts, Rims, accounts_of, rims_of, two_lights
from vision.rope.edge.windows import hidden_mm, windows_mm
from vision.rope.rectify import scale_at
from vision.target.blur import Blur
from vision.target.layout import Card
from vision.target.locate import LocatedCard
from vision.tones import Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Side = Literal["left", "right"]
SIDES: tuple[tuple[Side, float], ...] = (("left", 1.0), ("right", -1.0))

MOST_COLUMNS = 1000
ENDS = 0.08  # of the diameter: left out where the rope ends in view
BURNT = 0.98  # of what a pixel can hold: more may have been any light


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """One side of the rope in the plane that it was looked for in.

    Parameters
    ----------
    side : {"left", "right"}
        "left" lies on the positive side across (up on the card).
    along_mm : ndarray of shape (N,)
        Places along the rope, mm from the station.
    outward_mm : ndarray of shape (N,)
        Distance of the edge from the axis, mm, growing outwards; NaN where unsure.
    step_mm : float
        A pixel, mm.
    window_mm : float
        Length along the rope that a point is averaged over (one sigma), mm.
    noise_px : float
        Standard deviation of a point, as the light out of step with the stripes shows it, px.
    reference_px : float
        By how much it was moved because the light changes on the way from the paper just outside
        to the edge, px.
    tone_px : float
        By how much it would move if all blur had come after the camera's tone curve, px.
    burnt : float
        Share of the edge's surroundings that is overexposed, 0 to 1.
    clipped_px : float
        How far light that is burnt out, at the edge or where the reference is read, may have moved
        the place at which half of the stripes is left, px, beyond what was taken back.
    times_over : float
        How many times as bright as the picture can hold the paper beside it was exposed; 0 where
        it is not burnt out.
    hidden_px : float
        How far crowns may stand over the outline, too close together for its windows, px.
    shaded_share, shadow_px, u_shadow_px : float
        Along which share of the rope a shadow's rim lies beside it, how far outside the outline
        that is beside the crowns, px, and how unsure it leaves the outline there, px.
    limb_share : float
        How bright the rope is just inside its outline, over the paper beside it, 0 to 1.
    rim_accounts : callable
        Works out `vision.rope.edge.light.rim_accounts`; no rope with clear crowns asks.
    """

    side: Side
    along_mm: Array
    outward_mm: Array
    step_mm: float
    window_mm: float
    noise_px: float
    reference_px: float
    tone_px: float
    burnt: float
    clipped_px: float = 0.0
    times_over: float = 0.0
    hidden_px: float = 0.0
    shaded_share: float = 0.0
    shadow_px: float = 0.0
    u_shadow_px: float = 0.0
    limb_share: float = 1.0
    rim_accounts: Callable[[], tuple[Array, Array]] = no_rim


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Both sides of the rope, in the plane that they were looked for in.

    Parameters
    ----------
    left, right : Edge
        The two sides.
    origin_mm, direction : ndarray of shape (2,)
        Station and unit vector along the rope, in the plane.
    height_mm, rough_mm : float
        Height of the plane over the card; width of the rope as first seen, brought there, mm.
    px_per_mm : float
        Scale of the photograph at the station, across the rope.
    card_half_mm : tuple of float
        Half the card's length and height, mm, as its bend is stated.
    """

    left: Edge
    right: Edge
    origin_mm: Array
    direction: Array
    height_mm: float
    rough_mm: float
    px_per_mm: float
    card_half_mm: tuple[float, float]


def trace_edges(
    light: Light,
    located: LocatedCard,
    axis: Axis,
    *,
    at_mm: float,
    height_mm: float | None,
    corner_px: tuple[int, int] = (0, 0),
) -> Outline:
    """Return the rope's outline about a station.

    Parameters
    ----------
    light : ndarray of shape (H, W), float32
        Linear light of the upright photograph, or of the part of it about the rope, 0 to 1.
    located : LocatedCard
        The card, its pose and the photograph's blur.
    axis : Axis
        The rope, roughly.
    at_mm : float
        Station: place along the card, mm from its middle.
    height_mm : float or None
        Height of the rope's axis over the card; None for a rope that lies on it.
    corner_px : tuple of int
        Where in the photograph that part has its first pixel (x, y).
    """
    camera, card, blur = located.pose.camera, located.printed, located.blur
    height = height_mm
    if height is None:
        height = axis.width_mm / 2
        for _ in range(3):
            height = to_height(axis, camera, height)[1] / 2
    point, width = to_height(axis, camera, height)
    origin = point + axis.direction * (at_mm - point[0]) / axis.direction[0]
    scale = scale_at(camera, np.array([*origin, height]), axis.direction)
    eye = camera_centre_mm(camera)  # the span was seen on the card: it is lifted as the axis is
    lifted_mm = eye[0] + (np.array(axis.span_mm) - eye[0]) * (1 - height / eye[2])
    first, last = (lifted_mm - at_mm) / axis.direction[0] + np.array([ENDS, -ENDS]) * width
    begin = max(float(first), -HALF_LENGTH * width)
    end = min(float(last), HALF_LENGTH * width)
    if end - begin < width:
        raise RefusedError(finding("off-the-card", at_mm))
    step = max(1 / scale, (end - begin) / MOST_COLUMNS)
    along = begin + step * np.arange(math.ceil((end - begin) / step - 1e-6), dtype=float)
    px_mm = 1 / scale
    scenes = [
        Scene(
            light, camera, card, along, origin, axis.direction, height, sign, corner_px, width / 2
        )
        for _, sign in SIDES
    ]
    rough = _rough(scenes, width / 2, px_mm)
    looks = [
        _look(scene, px_mm, blur, _begun(*seen), seen[1])
        for scene, seen in zip(scenes, rough, strict=True)
    ]
    # one look says how noisy a side is and how far its crowns are apart
    edges = [_edge(scene, px_mm, blur, look, 1) for scene, look in zip(scenes, looks, strict=True)]
    windows = windows_mm(
        along,
        [edge.outward_mm for edge in edges],
        [edge.noise_px * px_mm for edge in edges],
        [edge.window_mm for edge in edges],
        width,
    )
    edges = []
    for scene, look, seen, window in zip(scenes, looks, rough, windows, strict=True):
        sigma = window / float(along[1] - along[0])
        if not math.isclose(sigma, look.sigma):
            look = _look(scene, px_mm, blur, _begun(seen[0], sigma), sigma)
        for _ in range(PASSES - 1):
            base = look.base + px_mm * _steady(look.place, look.sure)
            look = _look(scene, px_mm, blur, base, sigma, look.accounts)
        edges.append(_edge(scene, px_mm, blur, look, PASSES))
    left, right = (
        replace(edge, hidden_px=hidden_mm(edge.window_mm, width) * scale) for edge in edges
    )
    return Outline(left, right, origin, axis.direction, height, width, scale, half_size_mm(card))


def _begun(rough: Array, sigma: float) -> Array:
    """Return the rough outline, smoothed over a whole window.

    So of its own ripple a twelfth at most gets through four passes; over half of one, two fifths
    did.
    """
    return np.asarray(
        gaussian_filter1d(median_filter(rough, 5, mode="nearest"), sigma, mode="nearest")
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What is seen in windows of `sigma` columns that are laid along an outline, `base`, mm.

    Profiles and amplitudes are (columns, samples) at `t` px outwards, the rest is (columns,):
    `smooth` is where the amplitude falls to half, px, `place` where the edge is thought to be.
    """

    base: Array
    sigma: float
    t: Array
    profiles: Profiles
    amplitude: Light
    noise: Light
    reference: Light
    shade: float
    accounts: Accounts
    rims: Rims
    smooth: Array
    chance: Array
    place: Array
    sure: Mask
    paper_burnt: float


def _look(
    scene: Scene,
    px_mm: float,
    blur: Blur,
    base: Array,
    sigma: float,
    accounts: Accounts | None = None,
) -> _Look:
    reach = CLEAR_SIGMAS * blur.light_px
    # inwards as far as the widest shadow that is taken off, and a blur's reach beyond
    inside = limit_of("hard-shadow") + reach
    t = EVERY_PX * np.arange(-np.ceil(inside / EVERY_PX), (reach + REFERENCE_PX) / EVERY_PX + 0.5)
    first = int(np.searchsorted(t, reach))
    profiles = scene.profiles(base, t * px_mm, sigma)
    amplitude, noise, reference, shade = in_step(profiles.stripes, t, first, sigma)
    smooth, sure = half_way(amplitude / reference[:, None], t, first)
    two = two_lights((amplitude, noise), profiles.mean, t, first, blur.light_px, sigma)
    if accounts is None:
        edge_blur_px = max(HALF * blur.light_px, blur.light_px - SEEMS_BLURRED_PX)
        accounts = accounts_of(two, t, edge_blur_px)
    rims = rims_of(two, accounts, len(base))
    # light that is burnt out keeps no proportion to the rest, and blur that is another beside
    # the rope shapes none as foretold: what seems a rim there is in U only
    full = profiles.light > BURNT
    paper = min(1.0, 2 * float(full[:, first:].mean()))  # half is dark stripes
    at_edge = np.abs(t) <= blur.light_px
    clipped = max(min(1.0, 2 * float(full[:, at_edge].mean())), paper)
    trust = (1 - clipped) * (blur.uneven <= limit_of("blurred-unevenly"))
    chance = trust * rims.chance
    # windows reach over the band's end: what lies within them there is no band
    whole = minimum_filter1d(profiles.on_band.all(axis=1), 2 * int(np.ceil(2 * sigma)) + 1)
    sure = (sure | (chance > HALF)) & _paper_beside(profiles, reference, first) & whole
    place = smooth + chance * (rims.place_px - smooth)
    return _Look(
        base, sigma, t, profiles, amplitude, noise, reference, shade, accounts, rims,
        smooth, chance, place, sure, paper,
    )  # fmt: skip


def _edge(scene: Scene, px_mm: float, blur: Blur, look: _Look, passes: int) -> Edge:
    """Return the edge as the last of so many passes sees it."""
    along, t, sure, place, chance = scene.along_mm, look.t, look.sure, look.place, look.chance
    profiles, amplitude, rims, paper = look.profiles, look.amplitude, look.rims, look.paper_burnt
    side = next(name for name, sign in SIDES if sign == scene.sign)
    reach = CLEAR_SIGMAS * blur.light_px
    outside, at_edge = t >= reach, np.abs(t) <= blur.light_px
    window_mm = look.sigma * float(along[1] - along[0])
    if not sure.any():
        lost = np.full(len(along), np.nan)
        return Edge(side, along, lost, px_mm, window_mm, 0.0, 0.0, 0.0, 0.0)
    edge = look.base + px_mm * place
    share, noise = (one / look.reference[:, None] for one in (amplitude, look.noise))
    slope = slope_of(share[sure], t)
    spread = out_of_step(noise[sure], t, blur.light_px)
    crowns = sure & (edge >= median_of(edge[sure]))
    mean = median_of(profiles.mean[crowns], axis=0)
    pooled = median_of(amplitude[crowns], axis=0)
    full = profiles.light[sure] > BURNT
    burnt = float(full[:, at_edge].mean())
    clipped = max(min(1.0, 2 * burnt), paper)
    over = times_over(mean, pooled, outside)
    cut_off = clipped > HALF
    # burnt-out paper shines over the rope where that is not as bright: taken back, as the blur of
    # lens and sensor comes before the picture's limit; what software blurs afterwards is in U
    inside_px = (t >= -reach) & (t <= -blur.light_px)
    beside = profiles.mean[:, inside_px].mean(axis=1)
    shone_px = paper * blur.light_px * shone_sigmas(over, beside)
    shone = float(shone_px[sure].mean())
    # two accounts, so far apart, and how unsure the second is by itself
    apart = look.smooth - rims.place_px
    variance = rims.chance * (rims.u_px**2 + (1 - chance) * apart**2)
    far, _ = half_way(amplitude / amplitude[:, -2:].mean(axis=1)[:, None], t, len(t) - 1)
    shadow_px = chance * np.maximum(far - rims.place_px, 0)
    bar = float(median_of(edge[sure])), px_mm
    stripes = median_of(share[crowns], axis=0) + 1j * median_of(noise[crowns], axis=0)
    seen_at = t - float(median_of(place[crowns])), stripes
    lights = lights_of(mean, pooled, t, outside, blur.light_px)
    return Edge(
        side,
        along,
        np.where(sure, edge + shone_px * px_mm, np.nan),
        px_mm,
        window_mm,
        noise_px=sharpened(passes) * spread / slope,
        reference_px=HALF * abs(look.shade) / slope,
        tone_px=tone_px(mean, pooled, t, outside, blur),
        burnt=burnt,
        clipped_px=max(clipped * blur.light_px * clipped_sigmas(over) - shone, HALF * shone),
        times_over=over if cut_off else 0.0,
        shaded_share=float((chance[sure] > HALF).mean()),
        shadow_px=float(shadow_px[crowns].mean()),
        u_shadow_px=math.sqrt(float(variance[crowns].mean())),
        limb_share=limb_share(lights),
        rim_accounts=partial(rim_accounts, scene, bar, blur, seen_at, lights),
    )


def _paper_beside(profiles: Profiles, reference: Values, first: int) -> Mask:
    """Return where the stripes stand out beside the outline as they do on open paper (columns,)."""
    contrast = reference / (profiles.mean[:, first:].mean(axis=1) + 1e-3)
    return np.asarray(contrast > HALF * np.sort(contrast)[9 * len(contrast) // 10])


def _rough(scenes: list[Scene], half_mm: float, px_mm: float) -> list[tuple[Array, float]]:
    """Return each side's outline roughly (columns,), mm outwards, and its window in columns."""
    # a valley between four strands is a fifth of the half width deep; what else lies at the edge
    # of the rope as first seen is less than that
    rows = np.arange((1 + HALF) * half_mm, HALF * half_mm, -px_mm)
    far = rows > (1 + HALF / 2) * half_mm
    views = [scene.look(np.zeros(len(scene.along_mm)), rows) for scene in scenes]
    sigmas = [
        WINDOW_PERIODS * 2 * np.pi / abs(float(median_of(np.diff(np.unwrap(phase[:, 0])))))
        for _, phase, _ in views
    ]
    apart, both = max(1, int(HALF * min(sigmas))), []
    for (light, phase, on_band), sigma in zip(views, sigmas, strict=True):
        # two to a window: what lies closer together shares its light
        mean, stripes = locked_in(light, phase, sigma, apart)
        on_band = on_band[::apart]
        open_band = on_band & far
        if open_band.sum() < 200 / apart:
            raise RefusedError(finding("band-too-narrow", 1.0))
        pooled = (stripes * open_band).sum(axis=2)
        contrast = in_direction(stripes, pooled, sigma / apart)[0] / (mean + 1e-3)
        usual = float(median_of(contrast[open_band]))
        votes = np.clip((contrast / usual - HALF) / HALF, -1, 1)
        votes[~on_band] = 0.0
        both.append(apart * votes.T)
    columns = np.arange(len(views[0][0]))
    return [
        (np.interp(columns, columns[::apart], rows[path]), sigma)
        for path, sigma in zip(best_paths(np.array(both)), sigmas, strict=True)
    ]


def _steady(place: Array, sure: Mask) -> Array:
    """Return by how much to move the outline, px; unsure places follow their neighbours."""
    if not sure.any():
        return np.zeros(len(place))
    filled = np.interp(np.arange(len(place)), np.flatnonzero(sure), place[sure])
    return np.asarray(np.clip(median_filter(filled, 5, mode="nearest"), -3.0, 2.0))


def band_limits_mm(outline: Outline, camera: Camera, card: Card) -> tuple[float, float]:
    """Return how far the clear band reaches to the right (-) and left (+) of the station, mm."""
    eye = camera_centre_mm(camera)
    share = (eye[2] - outline.height_mm) / eye[2]
    _, y0, _, y1 = card.layout.band_box_mm
    cosine = outline.direction[0]
    low, high = (
        (eye[1] + share * (y * card.scale_y - eye[1]) - outline.origin_mm[1]) * cosine
        for y in (y0, y1)
    )
    return float(low), float(high)
