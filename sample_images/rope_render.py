"""The picture that a perfect lens would give, by the path tracer Mitsuba 3, at little cost.

Light and colour are found apart. Light on flat things is smooth, so few samples at low resolution
and a denoiser do for it; colour (the card's chess pattern, the ground's mottle) is looked up at
full resolution and put on. Only the rope on the card gets full paths at full resolution, most of
them within a few pixels of its outline, where nothing is smoothed: no edge that is measured is
moved. Pixels are sampled by list, not by box, so that one compiled program serves all passes of
a scene and all scenes of a kind.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from rope_camera import Camera, Picture
from rope_scene import Stage, load_renderer, scene_of

BoxPx = tuple[int, int, int, int]
Sampled = Callable[[Any, Any, float, int], Picture]  # what, pixels, size of one, samples -> means

CHUNK = 2**20  # samples traced at once: about 1 GB of memory
SAMPLES = 4  # of every path pass: the compiled program depends on it
RAW_PX = 4  # nothing is smoothed within this of the rope's outline
FAINT = np.float32(0.01)  # keeps colour from being divided by nothing
ALBEDO, NORMAL, DEPTH, SHAPE = slice(0, 3), slice(3, 6), 6, 7


@dataclass(frozen=True, slots=True, eq=False)
class Rendered:
    """A linear picture (H, W, 3) and how far each pixel's thing is along the axis (H, W), mm."""

    light: Picture
    depth_mm: Picture


def render(stage: Stage, camera: Camera, *, card_px: BoxPx, spp: int) -> Rendered:
    """Return what a perfect lens would see.

    Parameters
    ----------
    stage : Stage
        What stands in front of the camera.
    camera : Camera
        The camera.
    card_px : (x, y, width, height)
        Box around the card and the rope on it, px; rope outside of it is rendered coarsely.
    spp : int
        Samples a pixel at the rope's outline: 4, 16, 36 and so on; each has its own cell of the
        pixel, so that no edge is shifted.

    Raises
    ------
    ValueError
        If `spp` is not four times a square.
    SystemExit
        If Mitsuba, Open Image Denoise or an LLVM library is missing.
    """
    if spp < SAMPLES or SAMPLES * math.isqrt(spp // SAMPLES) ** 2 != spp:
        raise ValueError(f"`spp` must be 4, 16, 36 or so (4 times a square); got {spp}.")
    mi = load_renderer()
    rng = np.random.default_rng(stage.seed)
    scene = mi.load_dict(scene_of(mi, stage, camera, rng))
    path = mi.load_dict({"type": "path", "max_depth": 4, "rr_depth": 8})
    guides = mi.load_dict(
        {"type": "aov", "aovs": "albedo:albedo,normal:sh_normal,depth:depth,shape:shape_index"}
    )
    sampled = _sampler(mi, scene, camera, rng)
    size = (camera.width_px, camera.height_px)
    everything = (0, 0, *size)
    far = _box_of(sampled, guides, everything, 2, 1)
    colour = cv2.resize(far[..., ALBEDO], size, interpolation=cv2.INTER_LINEAR)
    depth = cv2.resize(far[..., DEPTH], size, interpolation=cv2.INTER_NEAREST)
    light = _light(sampled, path, _halved(_halved(far)), everything, cell=8)
    picture = np.asarray(cv2.resize(light, size) * (colour + FAINT), np.float32)
    x, y, width, height = card_px
    if width > 0 and height > 0:
        near = _box_of(sampled, guides, card_px, 1, 4)
        light = _light(sampled, path, _halved(near), card_px, cell=2)
        part = cv2.resize(light, (width, height)) * (near[..., ALBEDO] + FAINT)
        _put_rope(sampled, path, part, near, _numbers(scene, "solid"), (x, y), spp)
        picture[y : y + height, x : x + width] = part
        depth[y : y + height, x : x + width] = near[..., DEPTH]
    return Rendered(picture, np.asarray(depth * _slant(camera), np.float32))


def _put_rope(
    sampled: Sampled,
    path: Any,
    part: Picture,
    near: Picture,
    ropes: list[int],
    corner_px: tuple[int, int],
    spp: int,
) -> None:
    """Put the rope, and the card right beside it, into the card's part of the picture."""
    # A pixel that rope and card share has a mean between whole numbers: neither of the two.
    rope = np.isin(near[..., SHAPE], ropes).astype(np.uint8)
    rope = cv2.morphologyEx(rope, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    if not rope.any():
        return
    outside = cv2.distanceTransform(1 - rope, cv2.DIST_L2, 3)
    inside = cv2.distanceTransform(rope, cv2.DIST_L2, 3)
    width = 2 * float(inside.max())
    from_outline = np.maximum(outside, inside)
    zone = outside <= 0.15 * width + 10
    outline = zone & (from_outline <= 0.03 * width + RAW_PX + 2)
    for where, parts in ((zone & ~outline, 1), (outline, math.isqrt(spp // SAMPLES))):
        corner = np.argwhere(where)[:, None, ::-1] + corner_px
        share = np.arange(parts) / parts
        at = (corner + np.stack(np.meshgrid(share, share), axis=-1).reshape(-1, 2)).reshape(-1, 2)
        if len(at):
            light = sampled(path, at, 1 / parts, SAMPLES)[:, :3]
            part[where] = light.reshape(-1, parts * parts, 3).mean(axis=1)
    rows, columns = np.flatnonzero(zone.any(axis=1)), np.flatnonzero(zone.any(axis=0))
    box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    smooth = _denoised(part[box], near[box], quality="fast")
    soft = zone[box] & (from_outline[box] > RAW_PX + 1)
    part[box][soft] = smooth[soft]


def _light(sampled: Sampled, path: Any, guide: Picture, box: BoxPx, *, cell: int) -> Picture:
    """Return the light without the colours in a box, one value for `cell` x `cell` pixels."""
    seen = _box_of(sampled, path, box, cell, SAMPLES)[..., :3]
    clean = _denoised(seen, guide, quality="fast")
    return np.asarray(clean / (guide[..., ALBEDO] + FAINT), np.float32)


def _halved(guide: Picture) -> Picture:
    """Return guides at half the resolution, each the mean of four, the last ones repeated."""
    rows, columns = guide.shape[:2]
    even = np.pad(guide, ((0, rows % 2), (0, columns % 2), (0, 0)), mode="edge")
    return np.asarray(cv2.resize(even[..., :6], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))


def _box_of(sampled: Sampled, what: Any, box: BoxPx, cell: int, samples: int) -> Picture:
    x, y, width, height = box
    columns, rows = math.ceil(width / cell), math.ceil(height / cell)
    grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2)
    return sampled(what, grid * cell + (x, y), cell, samples).reshape(rows, columns, -1)


def _sampler(mi: Any, scene: Any, camera: Camera, rng: np.random.Generator) -> Sampled:
    import drjit as dr

    sensor = mi.load_dict(_sensor(mi, camera))

    def sampled(what: Any, corner_px: Any, cell: float, samples: int) -> Picture:
        """Return the mean (N, channels) over squares of `cell` px with these upper left corners."""
        side = math.isqrt(samples)
        own = np.stack(np.meshgrid(np.arange(side), np.arange(side)), axis=-1)
        own = own.reshape(-1, 2).astype(np.float32)
        random = mi.load_dict({"type": "stratified", "sample_count": samples})
        random.set_samples_per_wavefront(samples)  # one pixel's samples follow one another
        size = np.array([camera.width_px, camera.height_px], np.float32)
        found = []
        step = max(1, CHUNK // samples)
        for start in range(0, len(corner_px), step):
            corners = corner_px[start : start + step, None, :].astype(np.float32)
            at = rng.random((len(corners), samples, 2), dtype=np.float32)
            at += own
            at *= np.float32(cell / side)
            at += corners
            at /= size
            random.seed(int(rng.integers(2**31)), len(corners) * samples)
            x, y = (np.ascontiguousarray(at[..., axis]).ravel() for axis in (0, 1))
            ray, _ = sensor.sample_ray_differential(
                0.0, 0.5, mi.Point2f(x, y), mi.Point2f(0.5, 0.5)
            )
            colour, _, extra = what.sample(scene, random, ray)
            channels = extra if extra else [colour[0], colour[1], colour[2]]
            dr.eval(channels)
            means = [np.asarray(c).reshape(-1, samples).mean(axis=1) for c in channels]
            found.append(np.nan_to_num(np.stack(means, axis=-1)))
        return np.concatenate(found)

    return sampled


def _numbers(scene: Any, name: str) -> list[int]:
    """Return the renderer's own numbers, as its shape index has them, of shapes by their names."""
    return [number for number, shape in enumerate(scene.shapes(), 1) if shape.id().startswith(name)]


def _slant(camera: Camera) -> Picture:
    """Return the cosine of each pixel's ray with the optical axis: turns range into depth."""
    x = (np.arange(camera.width_px) - camera.principal_px[0]) / camera.focal_px
    y = (np.arange(camera.height_px) - camera.principal_px[1]) / camera.focal_px
    return np.asarray(1 / np.sqrt(1 + x[None] ** 2 + y[:, None] ** 2), np.float32)


def _denoised(colour: Picture, guide: Picture, *, quality: str) -> Picture:
    try:
        import pyoidn  # type: ignore[import-untyped]
    except ImportError:
        raise SystemExit(
            "Open Image Denoise is missing: install the extra, "
            "pip install 'rope-photo-check[samples]'."
        ) from None
    cleaned = pyoidn.denoise(
        np.ascontiguousarray(colour),
        np.ascontiguousarray(guide[..., ALBEDO]),
        np.ascontiguousarray(guide[..., NORMAL]),
        hdr=True,
        clean_aux=True,
        quality=quality,
    )
    return np.asarray(cleaned, dtype=np.float32)


def _sensor(mi: Any, camera: Camera) -> dict[str, Any]:
    to_world = np.eye(4)
    to_world[:3, :3] = camera.R_cam_card.T * [-1.0, -1.0, 1.0]  # Mitsuba: x left, y up
    to_world[:3, 3] = camera.centre_mm
    width, height = camera.width_px, camera.height_px
    return {
        "type": "perspective",
        "fov": math.degrees(2 * math.atan(width / 2 / camera.focal_px)),
        "fov_axis": "x",
        # Mitsuba's offset moves the window, not the principal point: the sign turns.
        "principal_point_offset_x": ((width - 1) / 2 - camera.principal_px[0]) / width,
        "principal_point_offset_y": ((height - 1) / 2 - camera.principal_px[1]) / height,
        "near_clip": 5.0,
        "far_clip": 1e5,
        "to_world": mi.ScalarTransform4f(to_world),
        "film": {"type": "hdrfilm", "width": width, "height": height, "rfilter": {"type": "box"}},
    }
