"""The scene that is rendered: card, rope, ground and light, by the path tracer Mitsuba 3."""

from __future__ import annotations

import ctypes.util
import math
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from rope_camera import Camera, Picture
from rope_light import light_sources
from rope_mesh import Mesh
from rope_surface import solid

BoxPx = tuple[int, int, int, int]


def load_renderer() -> Any:
    """Return the `mitsuba` module with the fastest variant that runs here.

    Raises
    ------
    SystemExit
        If Mitsuba is not installed.
    """
    try:
        import mitsuba
    except ImportError:
        raise SystemExit(
            "Mitsuba is missing: install the extra, pip install 'rope-photo-check[samples]'."
        ) from None
    library = os.environ.get("DRJIT_LIBLLVM_PATH") or _newest_llvm()
    if library:
        os.environ["DRJIT_LIBLLVM_PATH"] = library
        mitsuba.set_variant("llvm_ad_rgb")
    else:
        print(
            "No LLVM library of version 15 or newer was found (install one, or set "
            "DRJIT_LIBLLVM_PATH): rendering one path at a time, many times slower."
        )
        mitsuba.set_variant("scalar_rgb")
    return mitsuba


def _newest_llvm() -> str | None:
    """Return the newest LLVM library, 15 or later, of the places where systems keep it."""
    found = [
        *Path("/usr/lib").glob("llvm-*/lib/libLLVM[.-]*"),
        *Path("/usr/lib").glob("*/libLLVM[.-]*"),
    ]
    dated = []
    for path in found:
        version = re.search(r"(?:llvm-|libLLVM-|libLLVM\.so\.)(\d+)", str(path))
        if version and ".so" in path.name and int(version[1]) >= 15:
            dated.append((int(version[1]), str(path)))
    return max(dated)[1] if dated else ctypes.util.find_library("LLVM")


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """Everything that stands in front of the camera, in the card's frame, mm.

    `solids` are the rope's meshes and whatever sticks to it, each with its surface.
    """

    texture: NDArray[np.float32]
    card_size_mm: tuple[float, float]
    solids: tuple[tuple[Mesh, str], ...]
    light: str
    ground_depth_mm: float
    rope_angle_deg: float
    seed: int
    card_shown: bool = True


def render(stage: Stage, camera: Camera, *, card_px: BoxPx, rope_px: BoxPx, spp: int) -> Picture:
    """Return the linear picture (H, W, 3) that a perfect lens would give.

    A box filter is used: a pixel adds up the light on its own square, as a sensor's does.
    The ground is rendered at half the resolution, the box (x, y, width, height) around the
    card with 4 samples a pixel, the box around the rope with `spp` more. Every count is a
    square, and each sample has its own cell of the pixel: so no edge is shifted. Open Image Denoise
    takes the grain out, except within a few pixels of the rope's outline: there the samples
    stay as they are, so that no smoothing moves the edge that is to be measured.
    """
    mi = load_renderer()
    rng = np.random.default_rng(stage.seed)
    scene = mi.load_dict(_scene(mi, stage, camera, rng))
    path = mi.load_dict({"type": "path", "max_depth": 4, "rr_depth": 8})
    guides = mi.load_dict({"type": "aov", "aovs": "albedo:albedo,normal:sh_normal"})

    def seen(integrator: Any, box: BoxPx, samples: int, seed: int, half: bool = False) -> Picture:
        sensor = mi.load_dict(_sensor(mi, camera, box, half=half, samples=samples))
        pixels = np.array(
            mi.render(scene, sensor=sensor, integrator=integrator, spp=samples, seed=seed)
        )
        channels = pixels[..., -6:] if integrator is guides else pixels[..., :3]
        return np.asarray(np.nan_to_num(channels), dtype=np.float32)

    size = (camera.width_px, camera.height_px)
    half_box = (0, 0, size[0] // 2, size[1] // 2)
    guide = seen(guides, half_box, 4, 0, half=True)
    light = _denoised(seen(path, half_box, 1, 1, half=True), guide, quality="fast")
    # The light alone is enlarged; the ground's own pattern is put on at full resolution.
    light = np.asarray(cv2.resize(light / (guide[..., :3] + np.float32(0.01)), size), np.float32)
    full = seen(guides, (0, 0, *size), 1, 2)
    picture = light * (full[..., :3] + np.float32(0.01))
    x, y, width, height = card_px
    if width > 0 and height > 0:
        near, near_guide = seen(path, card_px, 4, 3), seen(guides, card_px, 4, 4)
        u, v, wide, high = rope_px
        if wide > 0 and high > 0:
            part = near[v - y : v - y + high, u - x : u - x + wide]
            part[:] = (4 * part + spp * seen(path, rope_px, spp, 5)) / (4 + spp)
        smooth = _denoised(near, near_guide, quality="balanced")
        keep = _near_outline(near_guide[..., 3:])
        picture[y : y + height, x : x + width] = smooth + keep * (near - smooth)
    return np.asarray(picture, dtype=np.float32)


def _near_outline(normal: Picture) -> Picture:
    """Return 1 within 4 px of where the flat card meets the rope, else 0; (H, W, 1)."""
    flat = (np.abs(normal[..., 2]) > 0.999).astype(np.uint8)
    card = cv2.medianBlur(flat, 5)  # a pixel of a wire that happens to face the camera
    ball = np.ones((9, 9), np.uint8)
    outline = cv2.morphologyEx(card, cv2.MORPH_GRADIENT, ball)
    return np.asarray(outline, np.float32)[..., None]


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
        np.ascontiguousarray(guide[..., :3]),
        np.ascontiguousarray(guide[..., 3:]),
        hdr=True,
        clean_aux=True,
        quality=quality,
    )
    return np.asarray(cleaned, dtype=np.float32)


def _sensor(mi: Any, camera: Camera, box_px: BoxPx, *, half: bool, samples: int) -> dict[str, Any]:
    to_world = np.eye(4)
    to_world[:3, :3] = camera.R_cam_card.T * [-1.0, -1.0, 1.0]  # Mitsuba: x left, y up
    to_world[:3, 3] = camera.centre_mm
    width, height = camera.width_px, camera.height_px
    film = {
        "type": "hdrfilm",
        "width": width // (1 + half),
        "height": height // (1 + half),
        "rfilter": {"type": "box"},
        "pixel_format": "rgb",
        "component_format": "float32",
        "crop_offset_x": box_px[0],
        "crop_offset_y": box_px[1],
        "crop_width": box_px[2],
        "crop_height": box_px[3],
    }
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
        "film": film,
        "sampler": {"type": "stratified", "sample_count": samples},
    }


def _scene(mi: Any, stage: Stage, camera: Camera, rng: np.random.Generator) -> dict[str, Any]:
    T = mi.ScalarTransform4f
    width_mm, height_mm = stage.card_size_mm
    scene: dict[str, Any] = {
        "type": "scene",
        "card": {
            "type": "rectangle",
            "to_world": T().scale([width_mm / 2, height_mm / 2, 1.0]),
            "bsdf": {
                "type": "twosided",
                "inner": {
                    "type": "diffuse",
                    "reflectance": _texture(mi, stage.texture),
                },
            },
        },
        "ground": {
            "type": "rectangle",
            "to_world": T().translate([0, 0, -stage.ground_depth_mm]).scale([2500, 2500, 1]),
            "bsdf": {
                "type": "diffuse",
                "reflectance": _texture(mi, _ground(rng))
                | {
                    "wrap_mode": "mirror",
                    "to_uv": T().translate([0.37, 0.21, 0]).scale([4.0, 4.0, 1.0]),
                },
            },
        },
    }
    if not stage.card_shown:
        del scene["card"]
    for number, (mesh, surface) in enumerate(stage.solids):
        scene[f"solid{number}"] = solid(mi, mesh, surface, rng)
    scene.update(
        light_sources(mi, stage.light, camera, rope_angle_deg=stage.rope_angle_deg, rng=rng)
    )
    return scene


def _texture(mi: Any, linear: NDArray[np.float32]) -> dict[str, Any]:
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(linear[::-1])),
        "raw": True,
        "wrap_mode": "clamp",
    }


def _ground(rng: np.random.Generator) -> NDArray[np.float32]:
    """Return a mottled ground: concrete, boards or paint, no structure of the card's size."""
    hue = np.array(
        [(0.34, 0.33, 0.31), (0.27, 0.19, 0.12), (0.12, 0.17, 0.15), (0.20, 0.21, 0.23)]
    )[rng.integers(4)]
    size = 2048
    mottle = np.zeros((size, size), np.float32)
    for cells, strength in ((16, 0.15), (128, 0.12), (1024, 0.16)):
        grains = rng.standard_normal((cells, cells)).astype(np.float32)
        mottle += strength * cv2.resize(grains, (size, size), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip(hue * np.exp(mottle)[..., None], 0.01, 0.8), dtype=np.float32)
