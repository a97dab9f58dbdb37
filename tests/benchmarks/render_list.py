"""The first, seeded list of benchmark photographs: what is varied, and how far.

Every photograph of the list can be answered: the card is flat and mostly in view, the rope
at least 90 px wide and well within the band. What varies is the work's own variety: rope,
surface, light, ink, distance, tilt, phone.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_images"))

from rope_camera import focal_px_of
from rope_mesh import RopeShape
from rope_sensor import Sensor
from rope_shot import Shot, camera_of, chess_corners_3d

from vision.target.layout import LAST_NUMBER, LAYOUTS, Ink, Layout, layout_named

SEED = 20260914
SURFACES = ("galvanised", "greased", "bright", "rusty", "wet")
LIGHTS = ("overcast", "low sun", "lamps", "sun", "flash")
SIZES_MM = (22.0, 13.0, 36.0, 8.0, 28.0, 16.0, 48.0, 10.0, 32.0, 19.0, 60.0, 6.0, 24.0, 40.0, 12.0)
STRANDS = (6, 8, 6, 6, 4, 16, 8, 6, 8, 6, 6, 18, 6, 8)
BARS = {5: 16.0, 20: 30.0, 33: 10.0, 46: 45.0}  # place in the list: smooth bar of this size


def benchmark_shots(count: int) -> list[Shot]:
    """Return the first `count` photographs of the list; a longer list starts with the shorter."""
    return [_shot(number) for number in range(count)]


def _shape(number: int, d: float, rng: np.random.Generator) -> RopeShape:
    true_d = d * (1 + rng.uniform(-0.04 if d > 7 else 0.01, 0.045))
    if number in BARS:
        return RopeShape(diameter_mm=BARS[number] + round(rng.uniform(-0.05, 0.05), 3), strands=0)
    strands = STRANDS[number % len(STRANDS)]
    if strands > 8 and d < 12:
        strands = 8
    return RopeShape(
        diameter_mm=true_d,
        strands=strands,
        lay_mm=rng.uniform(6.25, 7.0) * d,
        wires=6 if strands > 8 else int(rng.integers(9, 13)),
        right_hand=bool(rng.random() < 0.7),
        lang=bool(rng.random() < 0.3),
        tightness=rng.uniform(0.96, 0.995),
        ovality=rng.uniform(0, 0.03) if rng.random() < 0.6 else 0.0,
        oval_deg=rng.uniform(0, 180),
        thin=rng.uniform(0.02, 0.05) if rng.random() < 0.15 else 0.0,
        thin_length_mm=rng.uniform(1.5, 3.0) * d,
        phase_deg=rng.uniform(0, 360),
    )


def _ink(number: int, surface: str, rng: np.random.Generator) -> Ink:
    if rng.random() < 0.75:
        return "blue"
    if surface in ("bright", "rusty"):
        return "black"
    return "white" if surface == "greased" else "blue"


def layout_for_shot(d: float, rng: np.random.Generator) -> Layout:
    """Return a layout for the rope: the narrowest band of some paper."""
    best: dict[str, Layout] = {}
    for layout in sorted(LAYOUTS, key=lambda layout: layout.band_mm):
        if 1.05 * d <= layout.rope_max_mm < 4.5 * d:
            best.setdefault(layout.paper, layout)
    choice = sorted(best.values(), key=lambda layout: layout.width_mm * layout.height_mm)
    return choice[int(rng.integers(len(choice)))]


def _shot(number: int) -> Shot:
    rng = np.random.default_rng([SEED, number])
    d = BARS.get(number, SIZES_MM[number % len(SIZES_MM)])
    surface = SURFACES[(number + number // 5) % 5]
    light = LIGHTS[(2 * number + number // 7) % 5]
    if number in BARS:
        surface = ("bright", "galvanised", "rusty", "galvanised")[list(BARS).index(number)]
    layout = layout_for_shot(d, rng)
    f35 = 28 if d < 7 else int(rng.integers(23, 29))  # the thinnest need the longest lens
    scale_x, scale_y = 1 + rng.uniform(-0.008, 0.008, 2)
    portrait = rng.random() < 0.25
    shot = Shot(
        file=f"{number:03d}-{surface.replace(' ', '-')}-{light.replace(' ', '-')}-{d:g}mm.jpg",
        shape=_shape(number, d, rng),
        d_nominal_mm=d,
        layout=layout.name,
        card_number=int(rng.integers(0, min(120, LAST_NUMBER))),
        seed=SEED % 10000 + number,
        surface=surface,
        light=light,
        ink=_ink(number, surface, rng),
        azimuth_deg=rng.uniform(0, 360),
        axis_angle_deg=float(
            rng.uniform(-12, 12)
            if rng.random() < 0.85
            else rng.choice([-1, 1]) * rng.uniform(12, 22)
        ),
        offset_mm=rng.uniform(-0.03, 0.03) * layout.band_mm,
        gap_mm=float(rng.uniform(0, 0.3) if rng.random() < 0.5 else 0.0),
        turn_deg=float(90 * rng.integers(2)),
        end_at_mm=0.5 * layout.length_mm * 0.8 if number % 12 == 7 else None,
        extra={3: "broken wire", 9: "grease lump"}.get(number % 12, ""),
        f35_exif=f35,
        f35_true=f35 * (1 + float(rng.normal(0, 0.03))),
        principal_offset_px=(float(rng.normal(0, 8)), float(rng.normal(0, 8))),
        size_px=(3000, 4000) if portrait else (4000, 3000),
        orientation=1 if portrait else int(rng.choice([1, 1, 1, 6, 8, 3])),
        model=str(rng.choice(["Phone A", "Phone B"])),
        taken_at=datetime(2026, 9, 1, 8) + timedelta(minutes=37 * number),
        scale_x=scale_x,
        scale_y=scale_y,
        along_read_mm=round(layout.along_bar_mm * scale_x + float(rng.normal(0, 0.02)), 2),
        across_read_mm=round(layout.across_bar_mm * scale_y + float(rng.normal(0, 0.02)), 2),
        sensor=Sensor(
            paper_level=rng.uniform(0.68, 0.86),
            psf_px=rng.uniform(0.5, 0.9),
            full_well=float(rng.choice([1500, 4000, 9000])),
            sharpening=rng.uniform(0.2, 0.6),
            quality=int(rng.integers(85, 96)),
            balance=(1 + float(rng.normal(0, 0.025)), 1.0, 1 + float(rng.normal(0, 0.025))),
        ),
        ground_depth_mm=rng.uniform(1.5, 25),
    )
    return placed(shot, rng)


def placed(
    shot: Shot,
    rng: np.random.Generator,
    *,
    farthest_mm: float = 700.0,
    least_px: float = 95.0,
    tilt_deg: tuple[float, float] = (0.0, 25.0),
) -> Shot:
    """Return the shot from a place where rope and card are large enough and in view.

    Raises
    ------
    ValueError
        If no such place was found.
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
