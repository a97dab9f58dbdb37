"""The optical surfaces of ropes: zinc, bright steel, grease, rust, water."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from rope_camera import Picture
from rope_mesh import Array, Mesh

SURFACES = ("galvanised", "bright", "greased", "rusty", "wet", "polished")


def _mottle(points_mm: Array, scale_mm: float, rng: np.random.Generator) -> Picture:
    """Return smooth noise of about unit variance at points (N, 3): a sum of plane waves."""
    waves, phases = np.empty((3, 16), np.float32), np.empty(16, np.float32)
    for number in range(16):
        waves[:, number] = rng.standard_normal(3) * 2 * np.pi / scale_mm * rng.uniform(0.2, 1.0)
        phases[number] = rng.uniform(0, 2 * np.pi)
    return np.asarray(
        np.cos(points_mm.astype(np.float32) @ waves + phases).sum(axis=1) / math.sqrt(8.0),
        np.float32,
    )


def solid(mi: Any, mesh: Mesh, surface: str, rng: np.random.Generator) -> Any:
    """Return a Mitsuba mesh with its surface, its colour varying from place to place."""
    properties = mi.Properties()
    properties["mesh_bsdf"] = mi.load_dict(_bsdf(surface))
    made = mi.Mesh(
        "rope",
        vertex_count=len(mesh.vertices_mm),
        face_count=len(mesh.faces),
        has_vertex_normals=True,
        has_vertex_texcoords=False,
        props=properties,
    )
    made.add_attribute("vertex_color", 3, _colours(mesh, surface, rng).astype(np.float32).ravel())
    params = mi.traverse(made)
    params["vertex_positions"] = mesh.vertices_mm.astype(np.float32).ravel()
    params["vertex_normals"] = mesh.normals.astype(np.float32).ravel()
    params["faces"] = mesh.faces.astype(np.uint32).ravel()
    params.update()
    return made


def _colours(mesh: Mesh, surface: str, rng: np.random.Generator) -> Array:
    base = np.array(
        {
            "galvanised": (0.62, 0.64, 0.67),
            "bright": (0.78, 0.77, 0.75),
            "polished": (0.80, 0.80, 0.80),
            "greased": (0.030, 0.027, 0.024),
            "rusty": (0.23, 0.095, 0.045),
            "wet": (0.42, 0.43, 0.44),
        }[surface]
    )
    depth = {
        "galvanised": 0.16,
        "bright": 0.08,
        "polished": 0.0,
        "greased": 0.4,
        "rusty": 0.4,
        "wet": 0.15,
    }[surface]
    spots = _mottle(mesh.vertices_mm, 12.0, rng) + 0.7 * _mottle(mesh.vertices_mm, 2.5, rng)
    return np.asarray(np.clip(base * np.exp(depth * spots)[:, None], 0.005, 0.95))


def _bsdf(surface: str) -> dict[str, Any]:
    """Return how a surface scatters light; its colour comes from the mesh's vertices."""
    colour = {"type": "mesh_attribute", "name": "vertex_color"}
    metal: dict[str, Any] = {
        "type": "roughconductor",
        "material": "Al",
        "specular_reflectance": colour,
    }
    scattering: dict[str, dict[str, Any]] = {
        "galvanised": metal | {"alpha": 0.32},
        "bright": metal | {"alpha": 0.12},
        "polished": metal | {"alpha": 0.02},
        "greased": {
            "type": "principled",
            "base_color": colour,
            "roughness": 0.38,
            "specular": 0.5,
        },
        "rusty": {
            "type": "principled",
            "base_color": colour,
            "roughness": 0.75,
            "specular": 0.3,
        },
        "wet": {
            "type": "principled",
            "base_color": colour,
            "metallic": 0.75,
            "roughness": 0.38,
            "clearcoat": 1.0,
            "clearcoat_gloss": 0.97,
        },
    }
    return {"type": "twosided", "inner": scattering[surface]}
