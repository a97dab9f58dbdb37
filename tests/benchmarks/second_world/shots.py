"""World two's fixed list: protocol and stress stations, two views each.

Everything follows from `SEED` and the station's number. The list was fixed before anything was
measured; a new claim needs a new seed, never another choice of stations.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from second_world.card import ROLLS, Bend
from second_world.phone import Phone, good_phone, poor_phone
from second_world.wires import Rope
from vision.target.layout import LAST_NUMBER, LAYOUTS, Layout, layout_named

# Spent: the first 173 photographs of 41005, 195 of 41004, 193 of 41003 and 41002, 246 of 41001.
SEED = 41005
STATIONS = 100  # in each part, with two views each
FINISHES = ("bright", "galvanised", "rusty", "greased", "wet", "polished", "painted", "dirty")
FLAT = Bend()
LIGHTS = ("overcast", "sun", "low sun", "flash", "lamps", "indoor", "mixed")
SIZES_MM = (16.0, 26.0, 8.0, 34.0, 20.0, 12.0, 44.0, 10.0, 54.0, 18.0, 6.5, 38.0, 24.0, 14.0, 30.0)
STRANDS = (6, 8, 6, 18, 6, 4, 6, 12, 8, 6, 16, 0, 6)


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph: rope, card, camera, light and phone. Lengths mm, angles degrees."""

    file: str
    part: str
    pair: str
    seed: int
    rope: Rope
    nominal_mm: float
    finish: str
    light: str
    layout: str
    card_number: int
    scale_x: float
    scale_y: float
    along_read_mm: float
    across_read_mm: float
    view_deg: float
    gap_mm: float
    offset_mm: float
    axis_deg: float
    distance_mm: float
    tilt_deg: float
    azimuth_deg: float
    roll_deg: float
    f35_exif: int
    f35_true: float
    size_px: tuple[int, int]
    principal_px: tuple[float, float]
    flash_mm: float
    phone: Phone
    bend: Bend = FLAT
    stray: str = ""
    note: str = ""


def all_shots(seed: int = SEED) -> list[Shot]:
    """Return the whole list, protocol and stress mixed evenly."""
    return [
        shot
        for number in range(STATIONS)
        for part in ("protocol", "stress")
        for shot in station(part, number, seed)
    ]


def station(part: str, number: int, seed: int = SEED) -> list[Shot]:
    """Return both views of one station."""
    rng = np.random.default_rng([seed, part == "stress", number])
    nominal = SIZES_MM[number % len(SIZES_MM)]
    rope = _rope(number, nominal, rng)
    finish = FINISHES[(number + number // 8) % len(FINISHES)]
    if finish == "painted" and rope.strands:
        finish = "galvanised"
    light = LIGHTS[(2 * number + number // 7) % len(LIGHTS)]
    layout = _layout(nominal, rng)
    card = 2 * int(rng.integers(0, LAST_NUMBER // 2))
    scale = 1 + rng.uniform(-0.01, 0.01, 2)
    f35 = 28 if nominal < 9 else int(rng.integers(23, 29))  # thin ropes need the longest
    true = f35 * (1 + float(rng.normal(0, 0.03)))
    stress = _STRESSES[number % len(_STRESSES)] if part == "stress" else ""
    if stress == "long lens":
        f35 = int(rng.integers(48, 78))
        true = f35 * (1 + float(rng.normal(0, 0.03)))
    if stress == "print 1 to 3 % off":
        scale = 1 + rng.choice([-1, 1], 2) * rng.uniform(0.01, 0.03, 2)
    shots = []
    for view in (0, 1):
        own = np.random.default_rng([seed, part == "stress", number, view])
        large = bool(own.random() < 0.3) or part == "protocol"
        size = (4000, 3000) if large else (2800, 2100)
        bend = FLAT
        if stress == "bent card":
            kind = str(own.choice(ROLLS))
            # a straight rope holds the sheet's ends down: it curls up about the rope only
            up = kind == "about the rope" and own.random() < 0.5
            bend = Bend(kind, float(own.uniform(1, 8)) * (1 if up else -1))
        shot = Shot(
            file=f"{part}-{number:03d}-{90 * view:02d}-{finish}-{light.replace(' ', '-')}.jpg",
            part=part,
            pair=f"{part}-{number:03d}",
            seed=int(own.integers(1, 10**6)),
            rope=rope,
            nominal_mm=nominal,
            finish=finish,
            light=light,
            layout=layout.name,
            card_number=card + view,
            scale_x=float(scale[0]),
            scale_y=float(scale[1]),
            along_read_mm=round(layout.along_bar_mm * scale[0] + float(rng.normal(0, 0.02)), 2),
            across_read_mm=round(layout.across_bar_mm * scale[1] + float(rng.normal(0, 0.02)), 2),
            view_deg=90.0 * view,
            gap_mm=float(
                own.uniform(0.5, 2.0) if stress == "gap over 0.5 mm" else own.uniform(0, 0.5)
            ),
            offset_mm=float(own.uniform(-0.05, 0.05)) * nominal,
            axis_deg=float(own.uniform(-12, 12)),
            distance_mm=0.0,
            tilt_deg=0.0,
            azimuth_deg=float(own.uniform(0, 360)),
            roll_deg=float(own.normal(0, 8)) if own.random() < 0.7 else float(own.uniform(0, 360)),
            f35_exif=f35,
            f35_true=true,
            size_px=size,
            principal_px=tuple(own.normal(0, 0.002 * size[0], 2)),
            flash_mm=float(own.uniform(10, 40)),
            phone=good_phone(own) if part == "protocol" else poor_phone(own, stress),
            bend=bend,
            stray={4: "broken wire", 10: "grease lump"}.get(number % 13, "")
            if rope.strands
            else "",
            note=stress,
        )
        tilt = (25.0, 35.0) if stress == "tilt over 25 deg" else (0.0, 25.0)
        far = 900.0 if stress in ("far", "long lens") else 600.0
        shots.append(_placed(shot, layout, own, tilt, far, 60.0 if stress == "far" else 100.0))
    return shots


_STRESSES = (
    "gap over 0.5 mm", "bent card", "tilt over 25 deg", "far", "print 1 to 3 % off", "long lens",
    "lifted shadows", "veil", "messenger", "motion", "soft focus", "over-sharpened", "denoised",
)  # fmt: skip


def _rope(number: int, nominal: float, rng: np.random.Generator) -> Rope:
    strands = STRANDS[number % len(STRANDS)]
    if strands == 0:
        return Rope(round(nominal + float(rng.uniform(-0.05, 0.05)), 3), strands=0)
    if nominal < 12:
        strands = min(strands, 8)
    diameter = nominal * (1 + float(rng.uniform(-0.04 if nominal > 7 else 0.0, 0.045)))
    return Rope(
        diameter_mm=diameter,
        strands=strands,
        wires=6 if strands > 8 else int(rng.integers(9, 14)),
        lay_mm=float(rng.uniform(6.2, 7.2)) * diameter,
        strand_lay_mm=float(rng.uniform(2.6, 3.4)) * diameter,
        right_hand=bool(rng.random() < 0.65),
        lang=bool(rng.random() < 0.3),
        tightness=float(rng.uniform(0.95, 1.0)),
        ovality=float(rng.choice([0.0, rng.uniform(0, 0.03), rng.uniform(0.03, 0.06)])),
        oval_deg=float(rng.uniform(0, 180)),
        phase_deg=float(rng.uniform(0, 360)),
        worn=float(rng.uniform(0.004, 0.015)) if rng.random() < 0.25 else 0.0,
        thin=float(rng.uniform(0.02, 0.06)) if rng.random() < 0.15 else 0.0,
        thin_mm=float(rng.uniform(3, 5)) * diameter,
        compacted=bool(rng.random() < 0.12),
    )


def _layout(nominal: float, rng: np.random.Generator) -> Layout:
    """Return a card for the rope: the narrowest band that is wide enough, on random paper."""
    best: dict[str, Layout] = {}
    for layout in sorted(LAYOUTS, key=lambda one: one.band_mm):
        if 1.05 * nominal <= layout.rope_max_mm <= 2.4 * nominal:
            best.setdefault(layout.paper, layout)
    names = sorted(best)
    return best[names[int(rng.integers(len(names)))]]


def _placed(
    shot: Shot, layout: Layout, rng: np.random.Generator, tilt: tuple[float, float],
    farthest_mm: float, least_px: float,
) -> Shot:  # fmt: skip
    """Return the shot from a position where the card fits and the rope is large enough."""
    from second_world.camera import camera_of

    focal = shot.f35_true / np.hypot(36, 24) * np.hypot(*shot.size_px)
    far = min(farthest_mm, focal * shot.rope.diameter_mm / least_px)
    half = np.array([layout.length_mm / 2, layout.half_height_mm, 0.0])
    for _ in range(3000):
        tried = replace(
            shot,
            distance_mm=float(rng.uniform(min(200.0, 0.95 * far), far)),
            tilt_deg=float(rng.uniform(*tilt)),
        )
        camera = camera_of(tried)
        seen = camera.project(np.array([[a, b, 0.0] for a in (-1, 1) for b in (-1, 1)]) * half)
        if (seen > 15).all() and (seen < np.array(shot.size_px) - 15).all():
            return tried
        far = min(1.002 * far, 1400.0)
    raise ValueError(f"no place was found for {shot.file} on {shot.layout}.")


def layout_of(shot: Shot) -> Layout:
    """Return the card's layout."""
    return layout_named(shot.layout)
