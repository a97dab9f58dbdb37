"""The picture that a perfect lens would give, by the path tracer Mitsuba 3, at low cost.

Light and colour are computed separately. Light on flat surfaces is smooth except at the edges of
shadows, so it is sampled at half the resolution and smoothed. Colour (the card's pattern, the
ground's mottling) is looked up at full resolution and multiplied in. The rope and what is right
beside it are traced in full at full resolution and never smoothed: no edge that is measured is
moved. Pixels are sampled by list, not by box, so that one compiled program serves all passes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from rope_camera import Camera, Picture
from rope_scene import Stage, load_renderer, scene_of

# integrator, upper left corners of squares (px), size of a square (px), cells along its side,
# upper limit of a sample's light (one per square; optional) -> mean of each square
Sampled = Callable[..., Picture]

SPP = 64  # default samples per pixel at the rope's outline
SAMPLES = 4  # per cell; the compiled program depends on it
LIGHT_CELL_PX = 2
LIGHT_SIGMA = 2.5  # smoothing of the light on flat surfaces, in cells of LIGHT_CELL_PX
RIM = 0.12  # light that differs by more than this share when smoothed is a shadow's edge: kept
# A path from the paper via a wire to the sun is rare and bright; too few are sampled to average
# out to the smooth gleam that they make. A sample on paper is limited to GLEAM times the light
# around it, one on the rope to GLINT times that on well-lit paper (1.3 times saturates).
GLEAM, GLINT = 5.0, 20.0
FAINT = np.float32(0.01)  # added to the albedo to avoid division by zero
ALBEDO, DEPTH, SHAPE = slice(0, 3), 3, 4


@dataclass(frozen=True, slots=True, eq=False)
class Rendered:
    """A linear picture (H, W, 3) and each pixel's depth along the optical axis (H, W), mm."""

    light: Picture
    depth_mm: Picture


def render(stage: Stage, camera: Camera, *, spp: int) -> Rendered:
    """Return what a perfect lens would see.

    Parameters
    ----------
    stage : Stage
        What is in front of the camera.
    camera : Camera
        The camera.
    spp : int
        Samples per pixel beside the rope and at its outline: 16, 64, 144, 256 and so on (4 times
        the square of an even number), each in its own part of the pixel, so that no edge shifts.

    Raises
    ------
    ValueError
        If `spp` is not 4 times the square of an even number.
    SystemExit
        If Mitsuba or an LLVM library is missing.
    """
    cells = math.isqrt(spp // SAMPLES)
    if cells < 2 or cells % 2 or SAMPLES * cells**2 != spp:
        raise ValueError(f"`spp` must be 16, 64, 144, 256 or the like; got {spp}.")
    mi = load_renderer()
    rng = np.random.default_rng(stage.seed)
    scene = mi.load_dict(scene_of(mi, stage, camera, rng))
    path = mi.load_dict({"type": "path", "max_depth": 4, "rr_depth": 8})
    guides = mi.load_dict({"type": "aov", "aovs": "albedo:albedo,depth:depth,shape:shape_index"})
    sampled = _sampler(mi, scene, camera, rng)
    guide = _grid(sampled, guides, camera, 1, 2)
    # A pixel that rope and card share has a mean between two indices and counts as neither.
    rope = np.isin(guide[..., SHAPE], _shape_indices(scene, "solid")).astype(np.uint8)
    rope = cv2.morphologyEx(rope, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    card = np.isin(guide[..., SHAPE], _shape_indices(scene, "card")).astype(np.uint8)
    light = _flat_light(_grid(sampled, path, camera, LIGHT_CELL_PX, 2), guide, rope, card)
    picture = light * (guide[..., ALBEDO] + FAINT)
    if rope.any():
        _paint_rope(sampled, path, picture, light, rope, cells)
    return Rendered(
        np.asarray(picture, np.float32),
        np.asarray(guide[..., DEPTH] * _axis_cosine(camera), np.float32),
    )


def _paint_rope(
    sampled: Sampled,
    path: Any,
    picture: Picture,
    light: Picture,
    rope: NDArray[np.uint8],
    cells: int,
) -> None:
    """Put the rope, and what is right beside it, into the picture."""
    outside = cv2.distanceTransform(1 - rope, cv2.DIST_L2, 3)
    inside = cv2.distanceTransform(rope, cv2.DIST_L2, 3)
    width = 2 * float(np.percentile(inside[inside > 0], 99))
    deep = inside > 0.03 * width + 6
    beside = (outside <= 0.15 * width + 10) & ~deep
    limit = GLEAM * light.max(axis=2)
    limit[rope == 1] = GLINT * np.percentile(light[rope == 0], 90)
    for where, parts in ((beside, cells), (deep, cells // 2)):
        at = np.argwhere(where)[:, ::-1]
        if len(at):
            picture[where] = sampled(path, at, 1, parts, limit[where])[:, :3]


def _flat_light(
    seen: Picture, guide: Picture, rope: NDArray[np.uint8], card: NDArray[np.uint8]
) -> Picture:
    """Return the light (H, W, 3) on flat surfaces, without their colour."""
    height, width = rope.shape
    rows, columns = seen.shape[:2]

    def in_cells(picture: Any) -> Picture:
        even = cv2.copyMakeBorder(
            np.asarray(picture, np.float32),
            0, rows * LIGHT_CELL_PX - height, 0, columns * LIGHT_CELL_PX - width,
            cv2.BORDER_REPLICATE,
        )  # fmt: skip
        return np.asarray(cv2.resize(even, (columns, rows), interpolation=cv2.INTER_AREA))

    bare = seen[..., :3] / (in_cells(guide[..., ALBEDO]) + FAINT)
    bare = cv2.merge([cv2.medianBlur(np.ascontiguousarray(bare[..., k]), 5) for k in range(3)])
    free, on_card = in_cells(rope) == 0, in_cells(card)
    smooth = np.zeros_like(bare)
    for region in (free & (on_card == 1), free & (on_card < 1)):
        weight = region.astype(np.float32)
        wide = _smoothed(bare, weight, LIGHT_SIGMA)
        fine = _smoothed(bare, weight, 0.8)
        off = np.abs(fine - wide).mean(axis=2) / (wide.mean(axis=2) + 1e-6)
        rim = cv2.GaussianBlur(np.clip(off / RIM - 1, 0, 1).astype(np.float32), (0, 0), 1.0)
        mixed = wide + rim[..., None] * (fine - wide)
        smooth[region] = mixed[region]
    # Cells under the rope are painted over later; those at its edge take their neighbours' light.
    hidden = (~free).astype(np.float32)
    filled = _smoothed(smooth, 1 - hidden, 2 * LIGHT_SIGMA)
    smooth[~free] = filled[~free]
    whole = cv2.resize(
        smooth, (columns * LIGHT_CELL_PX, rows * LIGHT_CELL_PX), interpolation=cv2.INTER_LINEAR
    )
    return np.asarray(whole[:height, :width], np.float32)


def _smoothed(picture: Picture, weight: Picture, sigma: float) -> Picture:
    share = cv2.GaussianBlur(weight, (0, 0), sigma)
    blurred = cv2.GaussianBlur(picture * weight[..., None], (0, 0), sigma)
    return np.asarray(blurred / np.maximum(share, 1e-6)[..., None], np.float32)


def _grid(sampled: Sampled, integrator: Any, camera: Camera, cell: int, parts: int) -> Picture:
    """Return the means of the picture's squares of `cell` px, (rows, columns, channels)."""
    columns, rows = math.ceil(camera.width_px / cell), math.ceil(camera.height_px / cell)
    corners = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2)
    return sampled(integrator, corners * cell, cell, parts).reshape(rows, columns, -1)


def _sampler(mi: Any, scene: Any, camera: Camera, rng: np.random.Generator) -> Sampled:
    import drjit as dr

    random = mi.load_dict({"type": "stratified", "sample_count": SAMPLES})
    random.set_samples_per_wavefront(SAMPLES)  # one cell's samples are consecutive
    chunk = 2**24 if "cuda" in mi.variant() else 2**20  # samples at once; LLVM needs 1 GB per 2^20

    def opaque(value: float) -> Any:  # an input of the compiled program, not a constant in it
        return dr.opaque(mi.Float, float(value))

    focal, u0, v0 = opaque(camera.focal_px), *map(opaque, camera.principal_px)
    turn = [[opaque(value) for value in row] for row in camera.R_cam_card]
    centre = mi.Point3f(*map(opaque, camera.centre_mm))

    def rays(u: Any, v: Any) -> Any:
        """Return rays through points in px, (0, 0) being the corner of the first pixel."""
        x, y = (u - 0.5 - u0) / focal, (v - 0.5 - v0) / focal
        ahead = [turn[0][k] * x + turn[1][k] * y + turn[2][k] for k in range(3)]
        return mi.RayDifferential3f(mi.Ray3f(centre, dr.normalize(mi.Vector3f(*ahead))))

    def sampled(
        integrator: Any,
        corner_px: NDArray[np.int64],
        cell: float,
        parts: int,
        limit: Picture | None = None,
    ) -> Picture:
        per_square = parts * parts * SAMPLES
        side, size = dr.opaque(mi.UInt32, parts), opaque(cell / parts)
        means_found = []
        step = max(1, chunk // per_square)
        for start in range(0, len(corner_px), step):
            corners = corner_px[start : start + step].astype(np.float32)
            count = len(corners) * per_square
            random.seed(dr.opaque(mi.UInt32, int(rng.integers(2**31))), count)
            index = dr.arange(mi.UInt32, count)
            part, sample = index // SAMPLES % (side * side), index % SAMPLES
            corner = index // SAMPLES // (side * side)
            jitter = random.next_2d()
            place = [
                dr.gather(mi.Float, mi.Float(np.ascontiguousarray(corners[:, axis])), corner)
                + size * (mi.Float(cell_of) + 0.5 * (mi.Float(half_of) + jitter[axis]))
                for axis, cell_of, half_of in (
                    (0, part % side, sample % 2),
                    (1, part // side, sample // 2),
                )
            ]
            colour, _, extra = integrator.sample(scene, random, rays(*place))
            channels = extra if extra else [colour[0], colour[1], colour[2]]
            channels = [dr.select(dr.isfinite(c), mi.Float(c), 0.0) for c in channels]
            # the same program serves with and without a limit
            own_limit = np.full(len(corners), np.inf) if limit is None else limit[start:][:step]
            upper = dr.gather(mi.Float, mi.Float(own_limit.astype(np.float32)), corner)
            channels = [dr.minimum(c, upper) for c in channels]
            dr.eval(channels)
            means = [np.asarray(dr.block_sum(c, per_square)) / per_square for c in channels]
            means_found.append(np.stack(means, axis=-1).astype(np.float32))
        return np.concatenate(means_found)

    return sampled


def _shape_indices(scene: Any, name: str) -> list[int]:
    """Return the renderer's indices of the shapes whose names begin with `name`."""
    return [number for number, shape in enumerate(scene.shapes(), 1) if shape.id().startswith(name)]


def _axis_cosine(camera: Camera) -> Picture:
    """Return the cosine of each pixel's angle from the optical axis; converts range to depth."""
    x = (np.arange(camera.width_px) - camera.principal_px[0]) / camera.focal_px
    y = (np.arange(camera.height_px) - camera.principal_px[1]) / camera.focal_px
    return np.asarray(1 / np.sqrt(1 + x[None] ** 2 + y[:, None] ** 2), np.float32)
