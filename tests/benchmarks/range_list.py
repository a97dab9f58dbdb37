"""The test range: an ordered list of protocol, stress and hopeless photographs, evenly mixed.

A station is one place on one rope, photographed at 0 and 90 degrees with two cards of one print.
Protocol stations keep to what the README asks for, on every rope, surface and light. Each scene of
a stress station breaks that in one or two ways and is developed twice: once as by a good phone,
once with a fault of lens, sensor or software (`range_sensors.py`). Hopeless photographs
(`range_hopeless.py`) must give no diameter. All kinds are mixed from the start, so the first part
of the list represents the whole, with a larger uncertainty. `SEED` gives the list to develop on,
`FRESH_SEED` the one to make claims on.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_images"))

from placing import SIZES_MM, STRANDS, SURFACES, layout_for_shot, placed
from range_hopeless import hopeless_shots
from range_sensors import FAULTS, faulty, good_sensor
from rope_light import LIGHTS
from rope_mesh import RopeShape
from rope_shot import Shot

from vision.target.layout import LAST_NUMBER

SEED = 20261126  # the development range, free to look at
FRESH_SEED = 20270510  # for claims: measured once, then spent and replaced by a new seed
STATIONS = 60  # of each of protocol and stress
BARS = 20
HOPELESS_EVERY = 5  # stations
Change = Callable[[Shot, np.random.Generator], Shot]


def range_scenes(seed: int = SEED) -> list[list[Shot]]:
    """Return the whole range in order: one list for each rendered scene."""
    scenes: list[list[Shot]] = []
    for number in range(STATIONS):
        scenes += [[shot] for shot in protocol_station(number, seed=seed)]
        scenes += stress_station(number, seed=seed)
        if number % HOPELESS_EVERY == 0:
            for _ in range(2):
                base = protocol_station(1000 + len(scenes), seed=seed)[0]
                scenes.append(hopeless_shots(base, sum(_is_hopeless(scene) for scene in scenes)))
    return scenes


def bar_scenes(seed: int = SEED) -> list[list[Shot]]:
    """Return smooth bars of every finish, half of them mirror-polished, one photograph each."""
    scenes = []
    for number in range(BARS):
        rng = np.random.default_rng([seed, 6, number])
        shot = _polished_bar(protocol_station(700 + number, seed=seed)[number % 2], rng)
        surface = "polished" if number % 2 else SURFACES[number // 2 % len(SURFACES)]
        light = LIGHTS[(number + number // len(LIGHTS)) % len(LIGHTS)]
        file = f"bar-{number:02d}-{surface}-{light}-{shot.d_nominal_mm:g}mm.jpg".replace(" ", "-")
        scenes.append([replace(shot, file=file, surface=surface, light=light, pair="")])
    return scenes


def _is_hopeless(scene: list[Shot]) -> bool:
    return not scene[0].answerable


def protocol_station(number: int, *, name: str = "protocol", seed: int = SEED) -> list[Shot]:
    """Return both views of a protocol station."""
    rng = np.random.default_rng([seed, number])
    d = SIZES_MM[(4 * number + 1) % len(SIZES_MM)]
    surface = SURFACES[(number + number // 5) % len(SURFACES)]
    light = LIGHTS[(3 * number + number // 7) % len(LIGHTS)]
    layout = layout_for_shot(d, rng)
    scale_x, scale_y = 1 + rng.uniform(-0.01, 0.01, 2)
    f35 = 28 if d < 7 else int(rng.integers(23, 29))
    portrait = rng.random() < 0.25
    station = int(rng.integers(1, LAST_NUMBER // 2))
    base = Shot(
        file="",
        shape=_shape(number, d, rng),
        d_nominal_mm=d,
        layout=layout.name,
        card_number=2 * (station - 1),
        seed=seed % 100000 + 10 * number,
        surface=surface,
        light=light,
        f35_exif=f35,
        f35_true=f35 * (1 + float(rng.normal(0, 0.03))),
        principal_offset_px=(float(rng.normal(0, 8)), float(rng.normal(0, 8))),
        size_px=(3000, 4000) if portrait else (4000, 3000),
        model=str(rng.choice(["Phone A", "Phone B", "Phone C"])),
        extra={3: "broken wire", 9: "grease lump"}.get(number % 12, ""),
        scale_x=scale_x,
        scale_y=scale_y,
        along_read_mm=_read_mm(layout.along_bar_mm * scale_x, rng),
        across_read_mm=_read_mm(layout.across_bar_mm * scale_y, rng),
        ground_depth_mm=rng.uniform(1.5, 25),
        pair=f"{name}-{number:03d}",
    )
    return [_view(base, view, number, rng) for view in (0, 1)]


def _view(base: Shot, view: int, number: int, rng: np.random.Generator) -> Shot:
    tags = f"{base.surface}-{base.light}-{base.d_nominal_mm:g}mm".replace(" ", "-")
    askew = float(rng.uniform(-12, 12))
    shot = replace(
        base,
        file=f"{base.pair}-{90 * view:02d}-{tags}.jpg",
        card_number=base.card_number + view,
        seed=base.seed + 3 * view,
        turn_deg=90.0 * view,
        azimuth_deg=rng.uniform(0, 360),
        axis_angle_deg=askew if rng.random() < 0.85 else 1.8 * askew,
        offset_mm=rng.uniform(-0.03, 0.03) * base.d_nominal_mm,
        gap_mm=float(rng.uniform(0, 0.5)),
        orientation=1 if base.size_px[0] < base.size_px[1] else int(rng.choice([1, 1, 6, 8, 3])),
        taken_at=datetime(2026, 9, 1, 8) + timedelta(minutes=37 * number + view),
        sensor=good_sensor(rng),
    )
    return placed(shot, rng, farthest_mm=600.0)


def _read_mm(true_mm: float, rng: np.random.Generator) -> float:
    """Return a caliper's reading of a bar (standard uncertainty 0.02 mm), mm."""
    return round(true_mm + float(rng.normal(0, 0.02)), 2)


def _shape(number: int, d: float, rng: np.random.Generator) -> RopeShape:
    if number % 15 == 14:
        return RopeShape(diameter_mm=round(d + rng.uniform(-0.05, 0.05), 3), strands=0)
    strands = STRANDS[number % len(STRANDS)]
    strands = min(strands, 8) if d < 12 else strands
    oval = (0.0, rng.uniform(0.0, 0.03), rng.uniform(0.03, 0.06))[number % 3]
    return RopeShape(
        diameter_mm=d * (1 + rng.uniform(-0.04 if d > 7 else 0.01, 0.045)),
        strands=strands,
        lay_mm=rng.uniform(6.25, 7.0) * d,
        wires=6 if strands > 8 else int(rng.integers(9, 13)),
        right_hand=bool(rng.random() < 0.7),
        lang=bool(number % 4 == 1),
        tightness=rng.uniform(0.96, 0.995),
        ovality=oval,
        oval_deg=rng.uniform(0, 180),
        thin=rng.uniform(0.02, 0.06) if number % 6 == 2 else 0.0,
        thin_length_mm=rng.uniform(1.5, 3.0) * d,
        phase_deg=rng.uniform(0, 360),
        worn=rng.uniform(0.005, 0.02) if number % 5 == 3 else 0.0,
    )


def stress_station(number: int, *, seed: int = SEED) -> list[list[Shot]]:
    """Return both scenes of a stress station, each developed twice."""
    rng = np.random.default_rng([seed, 7, number])
    names = [list(STRESSES)[number % len(STRESSES)]]
    if rng.random() < 0.35:
        names.append(str(rng.choice([name for name in STRESSES if name not in names])))
    names = [name for name in names if not (name == "level" and "stand-off" in names)]
    scenes = []
    for view, shot in enumerate(protocol_station(100 + number, name="stress", seed=seed)):
        for name in names:
            shot = STRESSES[name](shot, np.random.default_rng([seed, 8, number]))
        fault = FAULTS[(number + number // 10 + 3 * view) % len(FAULTS)]
        plain = replace(shot, note=" + ".join(names))
        second = faulty(plain, fault, rng)
        scenes.append([plain, second])
    return scenes


def _gap(shot: Shot, rng: np.random.Generator) -> Shot:
    return replace(shot, gap_mm=float(rng.uniform(0.5, 2.0)))


def _level(shot: Shot, rng: np.random.Generator) -> Shot:
    return replace(shot, hold="level", axis_height_mm=float(rng.normal(0, 0.5)))


def _stand_off(shot: Shot, rng: np.random.Generator) -> Shot:
    height = shot.d_nominal_mm * 0.55 + float(rng.uniform(2, 20))
    read = round(height + float(rng.normal(0, 0.5)), 1)
    return replace(shot, hold="stand-off", axis_height_mm=height, offset_read_mm=read)


def _bent(shot: Shot, rng: np.random.Generator) -> Shot:
    bend = ("ends down", "belly", "twist")[int(rng.integers(3))]
    # Mostly small bends, the hard ones: each must be noticed or must not matter.
    return replace(shot, bend=bend, bend_mm=5.0 * float(rng.random()) ** 2)


def _curled(shot: Shot, rng: np.random.Generator) -> Shot:
    """Return the shot on a card curled about the rope; the chequered rows stay in one plane."""
    bend = ("curled up", "curled down")[int(rng.integers(2))]
    return replace(shot, bend=bend, bend_mm=float(rng.uniform(2, 8)))


def _flash(shot: Shot, rng: np.random.Generator) -> Shot:
    return replace(shot, light="flash")


def _hard_sun(shot: Shot, rng: np.random.Generator) -> Shot:
    surface = str(rng.choice(["bright", "galvanised", "wet"]))
    return replace(shot, light=str(rng.choice(["sun", "low sun"])), surface=surface)


def _many_strands(shot: Shot, rng: np.random.Generator) -> Shot:
    """Return the shot with a rope whose outline is nearly smooth."""
    own = replace(
        shot.shape,
        strands=int(rng.integers(15, 19)),
        wires=int(rng.integers(6, 8)),
        lay_mm=rng.uniform(6.0, 7.0) * shot.d_nominal_mm,
        lang=bool(rng.random() < 0.5),
        worn=rng.uniform(0.0, 0.012),
        diameter_mm=max(shot.shape.diameter_mm, 12.0),
    )
    return replace(shot, shape=own) if shot.d_nominal_mm >= 12 else shot


def _polished_bar(shot: Shot, rng: np.random.Generator) -> Shot:
    bar = RopeShape(diameter_mm=round(shot.d_nominal_mm + rng.uniform(-0.05, 0.05), 3), strands=0)
    return replace(shot, shape=bar, surface="polished", extra="")


def _print_off(shot: Shot, rng: np.random.Generator) -> Shot:
    x, y = (float(rng.choice([-1, 1]) * rng.uniform(0.01, 0.03)) for _ in range(2))
    return replace(
        shot,
        scale_x=1 + x,
        scale_y=1 + y,
        along_read_mm=round(shot.along_read_mm * (1 + x) / shot.scale_x, 2),
        across_read_mm=round(shot.across_read_mm * (1 + y) / shot.scale_y, 2),
    )


def _unchecked(shot: Shot, rng: np.random.Generator) -> Shot:
    x, y = np.clip(rng.normal(0, 0.01, 2), -0.03, 0.03)
    return replace(shot, scale_x=1 + float(x), scale_y=1 + float(y), print_checked=False)


def _far(shot: Shot, rng: np.random.Generator) -> Shot:
    shot = replace(shot, f35_exif=28, f35_true=28 * shot.f35_true / shot.f35_exif)
    return placed(shot, rng, farthest_mm=900.0, least_px=55.0)


def _tilted(shot: Shot, rng: np.random.Generator) -> Shot:
    return placed(shot, rng, farthest_mm=600.0, tilt_deg=(25.0, 35.0))


def _tele(shot: Shot, rng: np.random.Generator) -> Shot:
    f35 = int(rng.integers(48, 78))
    shot = replace(shot, f35_exif=f35, f35_true=f35 * shot.f35_true / shot.f35_exif)
    while True:
        try:
            return placed(shot, rng, farthest_mm=900.0)
        except ValueError:  # a large card: step back, with the shortest of the long lenses
            if shot.f35_exif == 48:
                return placed(shot, rng, farthest_mm=1400.0)
            shot = replace(shot, f35_exif=48, f35_true=48 * shot.f35_true / shot.f35_exif)


STRESSES: dict[str, Change] = {
    "gap over 0.5 mm": _gap,
    "bent card": _bent,
    "flash": _flash,
    "print unchecked": _unchecked,
    "curled card": _curled,
    "tilt over 25 deg": _tilted,
    "level": _level,
    "many strands": _many_strands,
    "far": _far,
    "print 1 to 3 % off": _print_off,
    "hard sun": _hard_sun,
    "long lens": _tele,
    "stand-off": _stand_off,
    "polished bar": _polished_bar,
}
