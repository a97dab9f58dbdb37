"""The light sources: sky, sun, the phone's flash, a window, lamps."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from rope_camera import Camera
from rope_mesh import Array

LIGHTS = ("overcast", "sun", "low sun", "flash", "lamps", "back light", "mixed shadow")


def light_sources(
    mi: Any, light: str, camera: Camera, *, rope_angle_deg: float, rng: np.random.Generator
) -> dict[str, Any]:
    """Return the scene's lights for one of `LIGHTS`; `rng` decides their directions and places.

    A low sun is to one side of the rope, so that the rope's shadow lies along one edge. Back
    light comes from low down beyond the card, towards the camera. In mixed shadow, slats between
    the sun and the card cast stripes of shadow across card and rope.

    Raises
    ------
    ValueError
        If `light` is not one of `LIGHTS`.
    """
    T = mi.ScalarTransform4f
    up_tilt, up_turn = rng.uniform(0, 40), rng.uniform(0, 360)
    turned = T().rotate([0, 0, 1], up_turn).rotate([0, 1, 0], up_tilt).rotate([1, 0, 0], 90)

    def sky(
        zenith: tuple[float, float, float], horizon: tuple[float, float, float]
    ) -> dict[str, Any]:
        elevation = np.linspace(90, -90, 128)[:, None, None]
        share = np.clip(np.sin(np.radians(elevation)), 0, 1) ** 0.7
        glow = share * np.array(zenith) + (1 - share) * np.array(horizon)
        glow = np.where(elevation > 0, glow, 0.12)
        patches = cv2.resize(
            rng.standard_normal((6, 12)).astype(np.float32),
            (256, 128),
            interpolation=cv2.INTER_CUBIC,
        )
        glow = np.broadcast_to(glow, (128, 256, 3)) * np.exp(0.25 * patches)[..., None]
        return {"type": "envmap", "bitmap": mi.Bitmap(glow.astype(np.float32)), "to_world": turned}

    def disk(
        place: Array, radius_mm: float, radiance: tuple[float, float, float]
    ) -> dict[str, Any]:
        return {
            "type": "disk",
            "to_world": T().look_at(place.tolist(), [0, 0, 0], [0.3, 0.9, 0.31]).scale(radius_mm),
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": list(radiance)}},
        }

    def towards(elevation_deg: float, azimuth_deg: float) -> Array:
        e, a = np.radians([elevation_deg, azimuth_deg])
        return np.array([math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)])

    if light == "overcast":
        return {"sky": sky((1.0, 1.0, 1.03), (0.4, 0.4, 0.4))}
    if light == "back light":
        beyond = camera.R_cam_card[1] * [-1.0, -1.0, 0.0]  # the picture's upper edge, on the card
        azimuth = math.degrees(math.atan2(beyond[1], beyond[0])) + rng.uniform(-35, 35)
        window = disk(1500.0 * towards(rng.uniform(14, 28), azimuth), 420.0, (11.0, 11.0, 10.6))
        return {"sky": sky((0.22, 0.23, 0.26), (0.16, 0.16, 0.16)), "window": window}
    if light in ("sun", "low sun", "mixed shadow"):
        low = light == "low sun"
        elevation = rng.uniform(22, 38) if low else rng.uniform(45, 75)
        side = rope_angle_deg + rng.choice([90.0, -90.0]) + rng.uniform(-25, 25)
        azimuth = side if low else rng.uniform(0, 360)
        # A disk of 0.53 degrees, like the sun's, five metres away: penumbra and glints as outdoors.
        strength = 3.0 / (math.pi * math.sin(math.radians(0.265)) ** 2)
        sun = disk(
            5000.0 * towards(elevation, azimuth),
            5000.0 * math.tan(math.radians(0.265)),
            (strength, 0.95 * strength, 0.86 * strength),
        )
        lit = {"sky": sky((0.16, 0.24, 0.40), (0.30, 0.34, 0.40)), "sun": sun}
        return lit | (
            _slats(mi, towards(elevation, azimuth), camera, rng) if light == "mixed shadow" else {}
        )
    if light == "flash":
        beside = camera.centre_mm + 14.0 * camera.R_cam_card[0] + 6.0 * camera.R_cam_card[1]
        power = 2.0 * float(np.linalg.norm(camera.centre_mm)) ** 2 / (math.pi * 3.0**2)
        return {
            "room": sky((0.12, 0.11, 0.10), (0.08, 0.08, 0.08)),
            "flash": disk(beside, 3.0, (power, power, 0.98 * power)),
        }
    if light == "lamps":
        lamps: dict[str, Any] = {"room": sky((0.10, 0.10, 0.10), (0.12, 0.115, 0.11))}
        for number in range(2):
            place = rng.uniform(900, 1500) * towards(rng.uniform(45, 75), rng.uniform(0, 360))
            lamps[f"lamp{number}"] = {
                "type": "rectangle",
                "to_world": T()
                .look_at(place.tolist(), [0, 0, 0], [0.3, 0.9, 0.31])
                .scale([150, 300, 1]),
                "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [9.0, 8.6, 7.8]}},
            }
        return lamps
    raise ValueError(f"`light` must be one of {', '.join(LIGHTS)}; got {light!r}.")


def _slats(mi: Any, towards_sun: Array, camera: Camera, rng: np.random.Generator) -> dict[str, Any]:
    """Return thin dark slats above the camera, towards the sun, in a random orientation."""
    T = mi.ScalarTransform4f
    place = (500.0 + 1.4 * camera.centre_mm[2]) * towards_sun
    turn, pitch = rng.uniform(0, 180), rng.uniform(50, 130)
    slats: dict[str, Any] = {}
    for number in range(-3, 4):
        aside = number * pitch + rng.uniform(-0.15, 0.15) * pitch
        half = rng.uniform(0.15, 0.3) * pitch
        to_world = (
            T()
            .look_at(place.tolist(), [0, 0, 0], [0.3, 0.9, 0.31])
            .rotate([0, 0, 1], turn)
            .translate([aside, 0, 0])
            .scale([half, 350.0, 1.0])
        )
        slats[f"slat{number + 3}"] = {
            "type": "rectangle",
            "to_world": to_world,
            "bsdf": {
                "type": "twosided",
                "inner": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.1}},
            },
        }
    return slats
