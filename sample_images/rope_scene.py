"""The scene that is rendered: card, rope, ground and light, for the path tracer Mitsuba 3."""

from __future__ import annotations

import ctypes.util
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from rope_camera import Camera
from rope_card import ACROSS, card_shape
from rope_light import light_sources
from rope_mesh import Mesh
from rope_surface import solid

# When tried, Dr.Jit 1.5 failed with LLVM 15 ("Cannot select fmaximum") and worked with LLVM 19;
# LLVM 16 added the instruction for this kind of processor (from memory, confidence 0.6).
OLDEST_LLVM = 16


def load_renderer() -> Any:
    """Return the `mitsuba` module with its variant set: CUDA where there is one, else LLVM.

    Raises
    ------
    SystemExit
        If Mitsuba or an LLVM library is not installed.
    """
    try:
        import mitsuba
    except ImportError:
        raise SystemExit(
            "Mitsuba is not installed. Install the extra: pip install -e '.[samples]'."
        ) from None
    import drjit

    if drjit.has_backend(drjit.JitBackend.CUDA):
        mitsuba.set_variant("cuda_ad_rgb")
        return mitsuba
    library = os.environ.get("DRJIT_LIBLLVM_PATH") or _newest_llvm()
    if not library:
        raise SystemExit(
            f"No LLVM library of version {OLDEST_LLVM} or newer was found; Mitsuba needs one to "
            f"compile its scenes. Install one (libllvm19 in Debian and Ubuntu), or set "
            "DRJIT_LIBLLVM_PATH to its path."
        )
    os.environ["DRJIT_LIBLLVM_PATH"] = library
    mitsuba.set_variant("llvm_ad_rgb")
    return mitsuba


def _newest_llvm() -> str | None:
    """Return the newest suitable LLVM library in the places where systems keep it."""
    found = [
        *Path("/usr/lib").glob("llvm-*/lib/libLLVM[.-]*"),
        *Path("/usr/lib").glob("*/libLLVM[.-]*"),
    ]
    dated = []
    for path in found:
        version = re.search(r"(?:llvm-|libLLVM-|libLLVM\.so\.)(\d+)", str(path))
        if version and ".so" in path.name and int(version[1]) >= OLDEST_LLVM:
            dated.append((int(version[1]), str(path)))
    if dated or found:  # one that is too old would only fail later
        return max(dated)[1] if dated else None
    return ctypes.util.find_library("LLVM")


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """Everything in front of the camera, in the card's frame, mm.

    `solids` are the meshes of the rope and of anything on or beside it, each with its surface.
    """

    texture: NDArray[np.float32]
    card_size_mm: tuple[float, float]
    solids: tuple[tuple[Mesh, str], ...]
    light: str
    ground_depth_mm: float
    rope_angle_deg: float
    seed: int
    card_shown: bool = True
    bend: str = ""
    bend_mm: float = 0.0
    card_rows: tuple[float, float] = ACROSS


def scene_of(mi: Any, stage: Stage, camera: Camera, rng: np.random.Generator) -> dict[str, Any]:
    """Return the scene description; `rng` turns the light and mottles the ground and the rope."""
    T = mi.ScalarTransform4f
    paper = {"type": "diffuse", "reflectance": _texture(mi, stage.texture)}
    scene: dict[str, Any] = {
        "type": "scene",
        "card": card_shape(
            mi,
            {"type": "twosided", "inner": paper},
            stage.card_size_mm,
            bend=stage.bend,
            bend_mm=stage.bend_mm,
            axis_angle_deg=stage.rope_angle_deg,
            rows=stage.card_rows,
        ),
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
    """Return a mottled ground (concrete, boards or paint) with no pattern of the card's size."""
    hue = np.array(
        [(0.34, 0.33, 0.31), (0.27, 0.19, 0.12), (0.12, 0.17, 0.15), (0.20, 0.21, 0.23)]
    )[rng.integers(4)]
    size = 2048
    mottle = np.zeros((size, size), np.float32)
    for cells, strength in ((16, 0.15), (128, 0.12), (1024, 0.16)):
        grains = rng.standard_normal((cells, cells)).astype(np.float32)
        mottle += strength * cv2.resize(grains, (size, size), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip(hue * np.exp(mottle)[..., None], 0.01, 0.8), dtype=np.float32)
