"""World two's light: sky or room all round, and sun, lamps or flash."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from second_world.camera import Camera
from second_world.wires import Array

ROWS, COLUMNS = 128, 256
SUN_DEG = 0.27  # half the sun's angular width (0.53 degrees)


def surroundings(light: str, rng: np.random.Generator) -> NDArray[np.float32]:
    """Return the radiance (ROWS, COLUMNS, 3) all round; the first row is the zenith."""
    up = np.cos(np.pi * (np.arange(ROWS) + 0.5) / ROWS)[:, None, None]  # 1 up, -1 down
    turn = 2 * np.pi * (np.arange(COLUMNS) + 0.5) / COLUMNS
    turn = turn[None, :, None] + rng.uniform(0, 2 * np.pi)
    ground = np.array(rng.uniform(0.05, 0.2)) * np.array([1.0, 0.95, 0.88])
    if light in ("overcast", "sun", "low sun", "mixed"):
        level = {"overcast": 1.0, "sun": 0.22, "low sun": 0.2, "mixed": 0.5}[light]
        hue = np.array([1.0, 1.0, 1.02] if light == "overcast" else [0.62, 0.8, 1.15])
        # CIE overcast: three times brighter at the zenith than at the horizon
        sky = level * hue * (1 + 2 * np.maximum(up, 0)) / 3 * (1 + 0.25 * np.cos(turn))
        behind = 1 + 0.6 * np.cos(3 * turn) + 0.4 * np.cos(7 * turn + 1)
        walls = 0.25 * level * np.array([1.0, 0.97, 0.92]) * behind
        light_in = np.where(up > 0.25, sky, np.where(up > 0, walls, ground * level))
    else:
        level = {"flash": 0.02, "lamps": 0.06, "indoor": 0.25}[light]
        walls = level * np.array([1.0, 0.92, 0.8]) * (1 + 0.3 * np.cos(2 * turn)) + 0 * up
        light_in = np.where(up > 0, walls, 0.4 * walls)
        if light == "indoor":  # strips on the ceiling, and a window
            strips = (up > 0.55) & (np.abs(np.sin(3 * turn)) > 0.93)
            light_in = np.where(strips, 6.0 * np.array([1.0, 0.97, 0.9]), light_in)
            window = (np.abs(up - 0.25) < 0.22) & (np.cos(turn) > 0.93)
            light_in = np.where(window, 3.5 * np.array([0.85, 0.95, 1.1]), light_in)
    return np.ascontiguousarray(np.broadcast_to(light_in, (ROWS, COLUMNS, 3)), np.float32)


def sun_lines(light: str, rng: np.random.Generator) -> dict[str, Any]:
    """Return the sun's properties; none if there is no sun."""
    if light not in ("sun", "low sun"):
        return {}
    height = np.radians(rng.uniform(12, 28) if light == "low sun" else rng.uniform(35, 70))
    turn = rng.uniform(0, 2 * np.pi)
    towards = [np.cos(height) * np.cos(turn), np.cos(height) * np.sin(turn), np.sin(height)]
    warm = [1.0, 0.8, 0.55] if light == "low sun" else [1.0, 0.95, 0.88]
    # radiance: irradiance over the disc's projected solid angle, pi sin^2
    gain = rng.uniform(2.2, 4.0) / (np.pi * np.sin(np.radians(SUN_DEG)) ** 2)
    return {
        "scene.lights.sun.type": "distant",
        "scene.lights.sun.direction": [-float(v) for v in towards],
        "scene.lights.sun.theta": SUN_DEG,
        "scene.lights.sun.color": warm,
        "scene.lights.sun.gain": [float(gain)] * 3,
    }


def shining(
    light: str, camera: Camera, flash_mm: float, rng: np.random.Generator
) -> list[tuple[Array, list[float]]]:
    """Return luminous squares that face the card: corners (4, 3), mm, and radiance."""
    squares = []
    if light == "flash":  # an LED of 4 mm beside the lens
        away = rng.uniform(0, 2 * np.pi)
        offset = flash_mm * (np.cos(away) * camera.axes[0] + np.sin(away) * camera.axes[1])
        middle = camera.centre_mm + offset
        distance = float(np.linalg.norm(middle))
        power = 1.5 * distance**2 / 16.0  # irradiance of 1.5 on the card
        squares.append((_square(middle, -middle / distance, 4.0), [power, power, 0.97 * power]))
    if light in ("lamps", "mixed"):
        for _ in range(int(rng.integers(1, 4))):
            turn, height = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(25, 75))
            far, side = rng.uniform(700, 1800), rng.uniform(60, 400)
            middle = far * np.array(
                [np.cos(height) * np.cos(turn), np.cos(height) * np.sin(turn), np.sin(height)]
            )
            power = rng.uniform(0.5, 1.5) * far**2 / side**2
            hue = np.array([1.0, rng.uniform(0.7, 1.0), rng.uniform(0.45, 1.0)])
            squares.append((_square(middle, -middle / far, side), [float(v) for v in power * hue]))
    return squares


def _square(middle: Array, facing: Array, side: float) -> Array:
    first = np.cross(facing, [0.3, 0.9, 0.3])
    first /= np.linalg.norm(first)
    second = np.cross(facing, first)
    return np.array(
        [
            middle + side / 2 * (a * first + b * second)
            for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
    )
