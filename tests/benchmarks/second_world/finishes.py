"""Materials of world two's ropes, for LuxCore.

Roughness is 0.03 (mirror) to 0.6 (weathered zinc). Dirt, rust and old grease are in the valleys:
each vertex carries how far out it is, and the materials are mixed accordingly.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from second_world.wires import Array, Rope, lay_radius_mm

STEEL = (0.56, 0.55, 0.53)  # normal reflectance of iron, rounded (from memory, confidence 0.8)
ZINC = (0.66, 0.67, 0.69)  # zinc, dulled by its oxide (from memory, confidence 0.6)


def outwardness(rope: Rope, points_mm: Array) -> Array:
    """Return 0 (valley) to 1 (crown) for points (N, 3) in the rope's own frame."""
    if rope.strands == 0:
        return np.ones(len(points_mm))
    inner = lay_radius_mm(rope)
    radius = np.hypot(points_mm[:, 1], points_mm[:, 2])
    return np.clip((radius - inner) / (rope.diameter_mm / 2 - inner) * 1.25 - 0.25, 0, 1)


def rope_material(finish: str, rng: np.random.Generator) -> dict[str, Any]:
    """Return the properties of the materials "rope" and "core".

    Parameters
    ----------
    finish : str
        One of `shots.FINISHES`.
    rng : Generator
        Draws roughness, shade and dirt.
    """
    lines: dict[str, Any] = {
        "scene.textures.out.type": "hitpointgrey",
        "scene.materials.dirt.type": "matte",
        "scene.materials.dirt.kd": [0.035, 0.03, 0.025],
        "scene.materials.core.type": "matte",
        "scene.materials.core.kd": [0.03, 0.027, 0.024],
    }
    dirt = float(rng.uniform(0.0, 0.5))
    if finish == "bright":
        lines |= _metal("clean", STEEL, float(rng.uniform(0.06, 0.2)))
    elif finish == "polished":
        lines |= _metal("clean", STEEL, float(rng.uniform(0.03, 0.05)))
        dirt = float(rng.uniform(0.0, 0.15))
    elif finish == "galvanised":
        lines |= _spangle(float(rng.uniform(0.18, 0.3)), float(rng.uniform(0.35, 0.6)))
    elif finish == "dirty":
        lines |= _metal("clean", STEEL, float(rng.uniform(0.25, 0.5)))
        dirt = float(rng.uniform(0.6, 0.95))
    elif finish == "rusty":
        lines |= _rust(rng)
    elif finish == "painted":
        hue = [(0.4, 0.32, 0.03), (0.3, 0.04, 0.03), (0.05, 0.09, 0.2), (0.3, 0.3, 0.3)]
        lines |= _glossy("clean", hue[int(rng.integers(4))], 0.05, float(rng.uniform(0.05, 0.3)))
    elif finish == "greased":
        shade = float(rng.uniform(0.012, 0.04))
        kd = (shade, 0.85 * shade, 0.6 * shade)
        lines |= _glossy("clean", kd, 0.04, float(rng.uniform(0.04, 0.3)))
    elif finish == "wet":
        lines |= _metal("under", STEEL, float(rng.uniform(0.15, 0.4)))
        lines |= {
            "scene.materials.clean.type": "glossycoating",
            "scene.materials.clean.base": "under",
            "scene.materials.clean.ks": [0.03, 0.03, 0.03],
            "scene.materials.clean.uroughness": 0.02,
            "scene.materials.clean.vroughness": 0.02,
            "scene.materials.clean.ka": [0.1, 0.2, 0.5],
            "scene.materials.clean.d": 0.3,
        }
    else:
        raise ValueError(f"there is no finish {finish!r}.")
    lines |= {  # a texture must come before what uses it
        "scene.textures.out_scaled.type": "scale",
        "scene.textures.out_scaled.texture1": "out",
        "scene.textures.out_scaled.texture2": 3.0,
        # clean where the vertex has 1, dirt where it has less than `dirt`
        "scene.textures.clean_raw.type": "add",
        "scene.textures.clean_raw.texture1": "out_scaled",
        "scene.textures.clean_raw.texture2": float(1.0 - 3.0 * dirt),
        "scene.textures.clean_share.type": "clamp",
        "scene.textures.clean_share.texture": "clean_raw",
        "scene.textures.clean_share.min": 0.0,
        "scene.textures.clean_share.max": 1.0,
        "scene.materials.rope.type": "mix",
        "scene.materials.rope.material1": "dirt",
        "scene.materials.rope.material2": "clean",
        "scene.materials.rope.amount": "clean_share",
    }
    return lines


def _metal(name: str, reflectance: tuple[float, float, float], roughness: Any) -> dict[str, Any]:
    return {
        f"scene.textures.{name}_fresnel.type": "fresnelcolor",
        f"scene.textures.{name}_fresnel.kr": list(reflectance),
        f"scene.materials.{name}.type": "metal2",
        f"scene.materials.{name}.fresnel": f"{name}_fresnel",
        f"scene.materials.{name}.uroughness": roughness,
        f"scene.materials.{name}.vroughness": roughness,
    }


def _spangle(smooth: float, rough: float) -> dict[str, Any]:
    """Return zinc with crystals about 2 mm wide, some smoother, some rougher."""
    return {
        "scene.textures.crystal.type": "blender_voronoi",
        "scene.textures.crystal.noisesize": 2.0,
        "scene.textures.crystal.intensity": 1.0,
        "scene.textures.crystal.mapping.type": "globalmapping3d",
        "scene.textures.crystal_rough.type": "mix",
        "scene.textures.crystal_rough.amount": "crystal",
        "scene.textures.crystal_rough.texture1": smooth,
        "scene.textures.crystal_rough.texture2": rough,
    } | _metal("clean", ZINC, "crystal_rough")


def _rust(rng: np.random.Generator) -> dict[str, Any]:
    shade = float(rng.uniform(0.7, 1.3))
    return {
        "scene.textures.patch.type": "fbm",
        "scene.textures.patch.octaves": 6,
        "scene.textures.patch.roughness": 0.6,
        "scene.textures.patch.mapping.type": "globalmapping3d",
        "scene.textures.patch.mapping.transformation":
            [0.7, 0, 0, 0, 0, 0.7, 0, 0, 0, 0, 0.7, 0, 0, 0, 0, 1],
        "scene.textures.rust.type": "mix",
        "scene.textures.rust.amount": "patch",
        "scene.textures.rust.texture1": [0.23 * shade, 0.09 * shade, 0.035 * shade],
        "scene.textures.rust.texture2": [0.1 * shade, 0.045 * shade, 0.025 * shade],
        "scene.materials.clean.type": "matte",
        "scene.materials.clean.kd": "rust",
    }  # fmt: skip


def _glossy(
    name: str, kd: tuple[float, float, float], ks: float, roughness: float
) -> dict[str, Any]:
    return {
        f"scene.materials.{name}.type": "glossy2",
        f"scene.materials.{name}.kd": list(kd),
        f"scene.materials.{name}.ks": [ks, ks, ks],
        f"scene.materials.{name}.uroughness": roughness,
        f"scene.materials.{name}.vroughness": roughness,
    }
