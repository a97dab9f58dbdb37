"""What the lists share: ropes' sizes and strands, a card for each rope, and camera positions."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_images"))

from rope_camera import focal_px_of
from rope_shot import Shot, camera_of, chess_corners_3d

from vision.target.layout import LAYOUTS, Layout, layout_named

SURFACES = ("galvanised", "greased", "bright", "rusty", "wet")
SIZES_MM = (22.0, 13.0, 36.0, 8.0, 28.0, 16.0, 48.0, 10.0, 32.0, 19.0, 60.0, 6.0, 24.0, 40.0, 12.0)
STRANDS = (6, 8, 6, 6, 4, 16, 8, 6, 8, 6, 6, 18, 6, 8)


def layout_for_shot(d: float, rng: np.random.Generator) -> Layout:
    """Return a card for the rope: the narrowest band that is wide enough, on random paper."""
    best: dict[str, Layout] = {}
    for layout in sorted(LAYOUTS, key=lambda layout: layout.band_mm):
        if 1.05 * d <= layout.rope_max_mm < 4.5 * d:
            best.setdefault(layout.paper, layout)
    choice = sorted(best.values(), key=lambda layout: layout.width_mm * layout.height_mm)
    return choice[int(rng.integers(len(choice)))]


def placed(
    shot: Shot,
    rng: np.random.Generator,
    *,
    farthest_mm: float = 700.0,
    least_px: float = 95.0,
    tilt_deg: tuple[float, float] = (0.0, 25.0),
) -> Shot:
    """Return the shot from a position where rope and card are large enough and in view.

    Raises
    ------
    ValueError
        If no such position was found.
    """
    layout = layout_named(shot.layout)
    focal = focal_px_of(shot.f35_true, *shot.size_px)
    farthest = min(farthest_mm, focal * shot.shape.diameter_mm / least_px)
    nearest = min(200.0, 0.96 * farthest)
    tilt_least, tilt_most = tilt_deg
    for _ in range(2000):
        distance = rng.uniform(nearest, farthest)
        tried = replace(
            shot,
            distance_mm=distance,
            tilt_deg=rng.uniform(tilt_least, tilt_most),
            roll_deg=_roll_deg(shot, rng),
            aim_mm=(
                rng.uniform(-0.08, 0.08) * layout.width_mm,
                rng.uniform(-0.08, 0.08) * layout.height_mm,
            ),
        )
        camera = camera_of(tried)
        seen = camera.project(chess_corners_3d(tried))
        margin = 20
        inside = (seen > margin).all(axis=1)
        inside &= (seen < [camera.width_px - margin, camera.height_px - margin]).all(axis=1)
        if inside.mean() >= 0.85:
            return tried
        tilt_most = max(8.0, tilt_least, tilt_most - 0.05)
    raise ValueError(f"no place was found for {shot.file} on {shot.layout}.")


def _roll_deg(shot: Shot, rng: np.random.Generator) -> float:
    if rng.random() < 0.2:
        return float(rng.uniform(0, 360))
    quarter = 90.0 * int(rng.integers(4))
    return quarter + float(rng.uniform(-12, 12))
