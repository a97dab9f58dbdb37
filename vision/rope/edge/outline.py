"""Trace the rope's outline on both sides: where the printed stripes end, to a fraction of a pixel.

The pose gives the phase of the stripes at every pixel. In a window along the rope the light is
split by least squares into its mean and the part in phase with the pattern (a lock-in, after
Takeda, Ina and Kobayashi 1982). The in-phase amplitude shows how much of the paper is visible,
whatever the light: the rope's texture, gloss and shadow have no such phase, and mirror images of
the band in wires are so compressed that their stripes average out. The outline is where the
amplitude falls to half of that just outside.

First the contrast (amplitude over mean, the same in light and shade) separates band from rope on a
straight strip: the score of a boundary is the votes outside it minus those inside (the change point
of Hinkley 1970), and the rough outline is the best path of such boundaries (dynamic programming, as
in Amini, Weymouth and Jain 1990). Then windows are placed along that outline, the half-way point is
found in each, the outline is moved there, and so on. Once the windows follow the outline, they no
longer flatten its crowns. Each pass leaves the share of a ripple that its window blurs away, so a
few passes are enough, and the last correction shows what is left.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, camera_centre_mm
from vision.findings import RefusedError, finding, limit_of
from vision.least_squares import scatter_of
from vision.medians import median_of
from vision.rope.axis import Axis, to_height
from vision.rope.constants import (
    CLEAR_SIGMAS,
    HALF,
    HALF_LENGTH,
    PASSES,
    U_SHADOW_SHARE,
    WINDOW_PERIODS,
)
from vision.rope.edge.light import (
    clipped_sigmas,
    lights_of,
    own_light,
    shone_sigmas,
    times_over,
    tone_px,
)
from vision.rope.edge.lock_in import Scene, half_size_mm, locked_in
from vision.rope.edge.look import (
    SideLook,
    correction_px,
    covered_mm,
    initial_outline,
    look_along,
)
from vision.rope.edge.mirrors import no_rim, rim_hypotheses
from vision.rope.edge.profiles import (
    best_paths,
    in_direction,
    noise_gain,
    out_of_step,
    slope_of,
)
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
BURNT = 0.98  # of a pixel's maximum: a higher value may stand for any amount of light


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """One side of the rope in the plane of the outline.

    Parameters
    ----------
    side : {"left", "right"}
        "left" is the positive side across the rope (up on the card).
    along_mm : ndarray of shape (N,)
        Places along the rope, mm from the station.
    outward_mm : ndarray of shape (N,)
        Distance of the edge outwards from the axis, mm; NaN where it was not found.
    step_mm : float
        Size of a pixel, mm.
    window_mm : float
        Length along the rope over which a point is averaged (one sigma), mm.
    noise_px : float
        Standard deviation of a point, estimated from the light out of phase with the stripes, px.
    reference_px : float
        Displacement by the extrapolation of the light from the paper just outside to the edge, px.
    tone_px : float
        Displacement if all blur had been applied after the camera's tone curve, px.
    own_light_px : float
        Distance outside the outline at which the rope's own light has fallen to half, px.
    dark_beside : bool
        Whether the rope's own light ends before the stripes begin: there is a hard, black shadow
        between them.
    burnt : float
        Share of the edge's surroundings that is overexposed, 0 to 1.
    clipped_px : float
        Possible displacement of the stripes' half by burnt-out light at the edge or in the
        reference, px, in addition to the correction made.
    times_over : float
        Exposure of the paper beside the rope over the brightest recordable light; 0 where it is
        not burnt out.
    dark_share, own_spread_px : float
        Share of the rope's length beside which there is such a shadow, and scatter of the end of
        the rope's own light beside the crowns, px.
    shaded_share, u_shade_px : float
        Share of the rope's length where stripes continue inside the outline, as in a shadow, and
        the outline's uncertainty, px, after it was followed on to the rope there.
    hidden_px : float
        Possible height of crowns over the outline that are too close together for its windows, px.
    shadow_px, u_shadow_px : float
        Width of the hard shadow removed from the outline, and its standard uncertainty, px.
    covered_mm : tuple of tuple of float
        Stretches along the rope, mm from the station, where something covers the paper outside the
        outline: a loose wire or grease.
    rim_hypotheses : callable
        Computes `vision.rope.edge.mirrors.rim_hypotheses`; not called for a rope with clear crowns.
    """

    side: Side
    along_mm: Array
    outward_mm: Array
    step_mm: float
    window_mm: float
    noise_px: float
    reference_px: float
    tone_px: float
    own_light_px: float
    dark_beside: bool
    burnt: float
    clipped_px: float = 0.0
    times_over: float = 0.0
    dark_share: float = 0.0
    own_spread_px: float = 0.0
    shaded_share: float = 0.0
    u_shade_px: float = 0.0
    hidden_px: float = 0.0
    shadow_px: float = 0.0
    u_shadow_px: float = 0.0
    covered_mm: tuple[tuple[float, float], ...] = ()
    rim_hypotheses: Callable[[], tuple[Array, Array]] = no_rim


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Both sides of the rope, in the plane of the outline.

    Parameters
    ----------
    left, right : Edge
        The two sides.
    origin_mm, direction : ndarray of shape (2,)
        Station and unit vector along the rope, in the plane.
    height_mm, rough_mm : float
        Height of the plane over the card; approximate width of the rope in the plane, mm.
    px_per_mm : float
        Scale of the photograph at the station, across the rope.
    card_half_mm : tuple of float
        Half the card's length and height, mm, to which its bend refers.
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
    """Return the rope's outline around a station.

    Parameters
    ----------
    light : ndarray of shape (H, W), float32
        Linear light of the upright photograph, or of the part of it around the rope, 0 to 1.
    located : LocatedCard
        The card, its pose and the photograph's blur.
    axis : Axis
        The rope's approximate axis.
    at_mm : float
        Station: place along the card, mm from its middle.
    height_mm : float or None
        Height of the rope's axis over the card; None for a rope that lies on it.
    corner_px : tuple of int
        Position of the first pixel (x, y) of `light` in the photograph.
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
    eye = camera_centre_mm(camera)  # the span is on the card: project it to the plane of the axis
    lifted_mm = eye[0] + (np.array(axis.span_mm) - eye[0]) * (1 - height / eye[2])
    first, last = (lifted_mm - at_mm) / axis.direction[0] + np.array([ENDS, -ENDS]) * width
    begin = max(float(first), -HALF_LENGTH * width)
    end = min(float(last), HALF_LENGTH * width)
    if end - begin < width:
        raise RefusedError(finding("off-the-card", at_mm))
    step = max(1 / scale, (end - begin) / MOST_COLUMNS)
    along = begin + step * np.arange(math.ceil((end - begin) / step - 1e-6), dtype=float)
    px_mm, edges, tracers = 1 / scale, [], []
    per_mm = 1 / float(along[1] - along[0])
    scenes = [
        Scene(
            light, camera, card, along, origin, axis.direction, height, sign, corner_px, width / 2
        )
        for _, sign in SIDES
    ]
    for scene, seen in zip(scenes, _rough(scenes, width / 2, px_mm), strict=True):
        # a first pass shows a side's noise and the distance between its crowns
        look = look_along(scene, px_mm, blur, initial_outline(*seen), seen[1])
        edge = _edge(look, look.sigma, 1, through=True)
        edges.append(edge)
        tracers.append(partial(_traced, look, seen[0], _unshaded(edge)))
    windows = windows_mm(
        along,
        [edge.outward_mm for edge in edges],
        [edge.noise_px * px_mm for edge in edges],
        [edge.window_mm for edge in edges],
        width,
    )
    left, right = (
        _traced_through_shade(trace, _Manner(window * per_mm), CLEAR_SIGMAS * blur.light_px)
        for trace, window in zip(tracers, windows, strict=True)
    )
    left, right = (
        replace(edge, hidden_px=hidden_mm(edge.window_mm, width) * scale) for edge in (left, right)
    )
    left, right = _without_shadow(left, right, blur), _without_shadow(right, left, blur)
    return Outline(left, right, origin, axis.direction, height, width, scale, half_size_mm(card))


@dataclass(frozen=True, slots=True)
class _Manner:
    """How an outline is traced: window in columns, whether through shadows, starting offset."""

    sigma: float
    through: bool = False
    start_px: float = 0.0  # outside the rough outline


def _traced_through_shade(
    trace: Callable[[_Manner], Edge], manner: _Manner, reach_px: float
) -> Edge:
    """Return the edge, traced on to the rope where it follows the edge of a wide shadow instead.

    A narrow shadow along the whole side is removed as a whole. A shadow whose end scatters by more
    than its width beside the crowns is present only in places. Beside any shadow, tracing is
    repeated with starts `reach_px`, the extent of the blur, farther in and farther out.
    """
    edge = trace(manner)
    all_along = edge.dark_beside and -edge.own_light_px > edge.own_spread_px
    if edge.shaded_share and not all_along:
        manner = replace(manner, through=True)
        edge = trace(manner)
    if _unshaded(edge):
        return edge
    return _median_edge(edge, [trace(replace(manner, start_px=by)) for by in (-reach_px, reach_px)])


def _median_edge(edge: Edge, others: list[Edge]) -> Edge:
    """Return the median of outlines with different starts, some of which a shadow misleads.

    Their scatter beside the crowns gives the uncertainty, as a jaw bears on one of the crowns.
    """
    every = np.array([edge.outward_mm, *(other.outward_mm for other in others)])
    middle = np.sort(every, axis=0)[1]  # NaN sorts last
    if not np.isfinite(middle).any():
        return edge
    crowns = middle >= np.nanmedian(middle)
    u_px = float(np.sqrt(np.nanmean((every[:, crowns] - middle[crowns]) ** 2))) / edge.step_mm
    return replace(edge, outward_mm=middle, u_shade_px=math.hypot(edge.u_shade_px, u_px))


def _unshaded(edge: Edge) -> bool:
    """Return whether there is no shadow beside a side."""
    return not edge.shaded_share and not edge.dark_share


def _traced(first: SideLook, rough: Array, unshaded: bool, manner: _Manner) -> Edge:
    """Return the edge traced in several passes, with windows that follow the outline.

    The first pass is reused if its start and window are the same; `unshaded` says whether there is
    no shadow beside the rope.
    """
    look, px_mm = first, first.px_mm
    if manner.start_px or not math.isclose(manner.sigma, first.sigma):
        base = initial_outline(rough + px_mm * manner.start_px, manner.sigma)
        look = look_along(first.scene, px_mm, first.blur, base, manner.sigma)
    for left in reversed(range(PASSES - 1)):
        base = look.base + px_mm * correction_px(look, manner.through)
        # without shadows, two windows per sigma are enough except in the last pass
        every = max(1, int(HALF * manner.sigma)) if left and unshaded else 1
        look = look_along(first.scene, px_mm, first.blur, base, manner.sigma, every)
    return _edge(look, first.sigma, PASSES, through=manner.through)


def _edge(look: SideLook, usual: float, passes: int, *, through: bool) -> Edge:
    """Return the edge from the last of several passes.

    The light beside the rope is read in pieces of at least two windows, of this size or `usual`.
    """
    scene, px_mm, blur = look.scene, look.px_mm, look.blur
    along, sigma, t, sure, shaded = scene.along_mm, look.sigma, look.t, look.sure, look.shaded
    profiles, amplitude, place = look.profiles, look.amplitude, look.place(through)
    side = next(name for name, sign in SIDES if sign == scene.sign)
    reach = CLEAR_SIGMAS * blur.light_px
    outside = t >= reach
    window_mm = sigma * float(along[1] - along[0])
    if not sure.any():
        lost = np.full(len(along), np.nan)
        return Edge(side, along, lost, px_mm, window_mm, 0.0, 0.0, 0.0, 0.0, False, 0.0)
    edge = look.base + px_mm * place
    share, noise = (one / look.reference[:, None] for one in (amplitude, look.noise))
    slope = slope_of(share[sure], t)
    at_edge = np.abs(t) <= blur.light_px
    spread = out_of_step(noise[sure], t, blur.light_px)
    crowns = sure & (edge >= median_of(edge[sure]))
    mean = median_of(profiles.mean[crowns], axis=0)
    pooled = median_of(amplitude[crowns], axis=0)
    full = profiles.light[sure] > BURNT
    burnt = float(full[:, at_edge].mean())
    paper = min(1.0, 2 * float(full[:, outside].mean()))  # half of the paper is dark stripes
    clipped = max(min(1.0, 2 * burnt), paper)
    over = times_over(mean, pooled, outside)
    cut_off = clipped > HALF
    # columns per piece, so that pieces share little light
    each = max(1, min(int(2 * max(sigma, usual)), int(sure.sum())))
    whole_pieces = int(sure.sum()) // each
    by_mean, by_stripes = (
        median_of(one[sure][: whole_pieces * each].reshape(whole_pieces, each, -1), axis=1)
        for one in (profiles.mean, amplitude)
    )
    both = np.vstack([mean, by_mean]), np.vstack([pooled, by_stripes])
    (own, *places), (dark, *gone) = own_light(*both, t, outside, blur.light_px, cut_off)
    piece = np.minimum(np.arange(sure.sum()) // each, whole_pieces - 1)
    dark_share = float(np.array(gone)[piece].mean())
    # beside the crowns as a whole, or beside so much of the rope that too little outline is left
    dark_beside = bool(dark) or 100 * (1 - dark_share) < limit_of("one-edge-only")
    # burnt-out paper spreads over a darker rope. This is corrected for blur by lens and sensor,
    # which acts before the picture's limit; blur by software, which acts after it, is in U.
    inside_px = (t >= -reach) & (t <= -blur.light_px)
    beside = profiles.mean[:, inside_px].mean(axis=1)
    shone_px = paper * blur.light_px * shone_sigmas(over, beside)
    shone = float(shone_px[sure].mean())
    own_spread_px = scatter_of(np.array(places)[piece][crowns[sure]])
    u_shade_px, doubtful = 0.0, crowns & shaded  # a jaw bears on one crown
    if through and doubtful.any():  # either the shadow's edge or the rope: two possible values
        chance = float(doubtful.sum() / crowns.sum())
        u_shade_px = float((look.half - place)[doubtful].mean()) * math.sqrt(chance - chance**2)
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
        noise_px=noise_gain(passes) * spread / slope,
        reference_px=HALF * abs(look.shade) / slope,
        tone_px=tone_px(mean, pooled, t, outside, blur),
        own_light_px=float(own),
        dark_beside=dark_beside,
        burnt=burnt,
        clipped_px=max(clipped * blur.light_px * clipped_sigmas(over) - shone, HALF * shone),
        times_over=over if cut_off else 0.0,
        dark_share=dark_share,
        shaded_share=float(shaded[sure].mean()),
        u_shade_px=u_shade_px,
        own_spread_px=own_spread_px,
        covered_mm=covered_mm(look),
        rim_hypotheses=partial(rim_hypotheses, scene, bar, blur, seen_at, lights),
    )


def _rough(scenes: list[Scene], half_mm: float, px_mm: float) -> list[tuple[Array, float]]:
    """Return each side's rough outline (columns,), mm outwards, and its window in columns."""
    # a valley between four strands is a fifth of the half width deep; other deviations from the
    # rope's approximate edge are smaller
    rows = np.arange((1 + HALF) * half_mm, HALF * half_mm, -px_mm)
    far = rows > (1 + HALF / 2) * half_mm
    views = [scene.look(np.zeros(len(scene.along_mm)), rows) for scene in scenes]
    sigmas = [
        WINDOW_PERIODS * 2 * np.pi / abs(float(median_of(np.diff(np.unwrap(phase[:, 0])))))
        for _, phase, _ in views
    ]
    apart, both = max(1, int(HALF * min(sigmas))), []
    for (light, phase, on_band), sigma in zip(views, sigmas, strict=True):
        # two samples per window, as closer ones share their light
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


def _without_shadow(edge: Edge, other: Edge, blur: Blur) -> Edge:
    """Return the edge where the rope's own light ends, if there is a black shadow beside it.

    The offset between the end of that light and the outline is taken from the other side, if the
    stripes show the outline itself there.
    """
    if not edge.dark_beside:
        return replace(edge, u_shadow_px=edge.u_shade_px)
    sharp = not other.dark_beside and abs(other.own_light_px) < CLEAR_SIGMAS * blur.light_px / 2
    width = max(0.0, sharp * other.own_light_px - edge.own_light_px)
    # a lamp's shadow extends along the whole side; dark places may be the rope's limb instead
    doubt = math.sqrt(edge.dark_share * (1 - edge.dark_share))
    spread_px = min(edge.own_spread_px, width)  # at most the width that was removed
    u_px = math.hypot(U_SHADOW_SHARE * width, spread_px, doubt * width, edge.u_shade_px)
    outward_mm = edge.outward_mm - width * edge.step_mm
    taken = replace(edge, outward_mm=outward_mm, shadow_px=width, u_shadow_px=u_px)
    return replace(taken, rim_hypotheses=no_rim) if width else taken  # the stripes end elsewhere


def band_limits_mm(outline: Outline, camera: Camera, card: Card) -> tuple[float, float]:
    """Return the extent of the clear band to the right (-) and left (+) of the station, mm."""
    eye = camera_centre_mm(camera)
    share = (eye[2] - outline.height_mm) / eye[2]
    _, y0, _, y1 = card.layout.band_box_mm
    cosine = outline.direction[0]
    low, high = (
        (eye[1] + share * (y * card.scale_y - eye[1]) - outline.origin_mm[1]) * cosine
        for y in (y0, y1)
    )
    return float(low), float(high)
