"""The invented inspection that the sample photographs show: one crane, one rope, four stations."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
from rope_mesh import RopeShape
from rope_sensor import Sensor
from rope_shot import Shot

from vision.target.layout import card_number, layout_named

SEED = 416
LAYOUT = "A5 middle"
SCALE_X, SCALE_Y = 0.9957, 0.9968  # this printer prints slightly too small, more so along the feed
NOMINAL_MM, LAY_MM = 22.0, 143.0
START = datetime(2026, 9, 15, 9, 4, 20)
INSPECTION = "2026-09-quay-crane-2"
GAUGE = "caliper 7"
WRONG, TYPED_MM = (3, 90), 22.11  # the reading in which two digits were swapped in typing
# (station, view): what the gauge showed, mm, and how long after the photograph it was logged, s.
# Within 0.04 mm of the true caliper width: one person, wide jaws, a dirty rope.
READINGS = {
    (1, 0): (22.24, 48),
    (1, 90): (22.17, 74),
    (2, 0): (22.03, 63),
    (2, 90): (22.19, 71),
    (3, 0): (21.50, 49),
    (3, 90): (21.21, 72),
    (4, 0): (22.18, 72),
    (4, 90): (22.17, 67),
}

ROPE = {
    "identity": "quay crane 2, hoist rope, left",
    "nominal_mm": NOMINAL_MM,
    "outer_strands": 6,
    "core": "steel",
    "build": "single-layer",
    "fibre_centred_strands": False,
    "duty": "general",
    "service": "in-service",
    "reference_mm": 22.44,
    "reference_on": "2025-03-11",
    "reference_how": "mean of two readings at right angles, straight length, after running in",
    "units": "mm",
    "grooves": [
        {"name": "drum", "radius_mm": 11.9, "pitch_mm": 25.0, "layers": 1},
        {"name": "head sheave", "radius_mm": 11.8},
    ],
    "site": "Quay 4, invented harbour",
}
INSPECTION_FACTS = {
    "identity": INSPECTION,
    "rope": ROPE["identity"],
    "on": "2026-09-15",
    "place": "Quay 4, invented harbour, boom lowered",
    "inspector": "Inspector A",
    "reviewer": "Reviewer B",
    "supervisor": "Supervisor C",
    "tension": "none",
}
# station: position, m; diameter, mm; ovality; its direction, degrees; surface; light; note
STATIONS = {
    1: (6.0, 22.26, 0.004, 20.0, "galvanised", "overcast", "near the drum, dead turns end"),
    2: (31.5, 22.14, 0.010, 70.0, "galvanised", "sun", "over the head sheave at half hoist"),
    3: (58.0, 21.55, 0.013, 10.0, "rusty", "low sun", "over the head sheave at pick-up height"),
    4: (83.5, 22.20, 0.006, 140.0, "greased", "overcast", "near the spreader"),
}


def sample_shots() -> list[Shot]:
    """Return the sample photographs in the order in which they were taken."""
    rng = np.random.default_rng(SEED)
    shots = []
    for station, (_, d, ovality, oval_deg, surface, light, _) in STATIONS.items():
        for view in (0, 90):
            shots.append(
                _shot(
                    rng,
                    f"station-{station}-view-{view:02d}.jpg",
                    RopeShape(
                        d,
                        6,
                        LAY_MM,
                        wires=10,
                        ovality=ovality,
                        oval_deg=oval_deg,
                        phase_deg=83.0 * station,
                        thin=0.008 if station == 3 else 0.0,
                        thin_length_mm=60.0,
                    ),
                    number=card_number(station, view),
                    turn_deg=float(view),
                    surface=surface,
                    light=light,
                    minutes=7.5 * (station - 1) + 1.6 * (view // 90),
                    distance_mm=rng.uniform(290, 420),
                    tilt_deg=rng.uniform(2, 14),
                )
            )
    bar = RopeShape(16.0, 0)
    shots.append(
        _shot(
            rng,
            "bar-16mm.jpg",
            bar,
            number=card_number(6, 0),
            surface="rusty",
            light="overcast",
            minutes=34.0,
            distance_mm=310.0,
            tilt_deg=6.0,
            nominal_mm=16.0,
            note="smooth matt bar of 16.00 mm, to try the method on",
        )
    )
    rope = RopeShape(22.2, 6, LAY_MM, wires=10, phase_deg=300.0)
    shots.append(
        _shot(
            rng,
            "refuse-tilted.jpg",
            rope,
            number=card_number(5, 0),
            surface="galvanised",
            light="overcast",
            minutes=37.0,
            distance_mm=430.0,
            tilt_deg=49.0,
            azimuth_deg=262.0,
            answerable=False,
            note="must be refused: the phone was tilted 49 degrees",
        )
    )
    shots.append(
        _shot(
            rng,
            "refuse-no-card.jpg",
            rope,
            number=card_number(5, 90),
            surface="galvanised",
            light="overcast",
            minutes=38.5,
            distance_mm=360.0,
            tilt_deg=8.0,
            answerable=False,
            card_shown=False,
            note="must be refused: there is no card in the picture",
        )
    )
    return shots


def _shot(
    rng: np.random.Generator,
    file: str,
    shape: RopeShape,
    *,
    number: int,
    surface: str,
    light: str,
    minutes: float,
    distance_mm: float,
    tilt_deg: float,
    turn_deg: float = 0.0,
    nominal_mm: float = NOMINAL_MM,
    answerable: bool = True,
    card_shown: bool = True,
    azimuth_deg: float | None = None,
    note: str = "",
) -> Shot:
    along, across = bars_read_mm()
    taken_at = START + timedelta(minutes=minutes, seconds=float(rng.integers(-9, 9)))
    around = rng.uniform(0, 360)
    return Shot(
        file=file,
        shape=shape,
        d_nominal_mm=nominal_mm,
        layout=LAYOUT,
        card_number=number,
        seed=SEED + number,
        surface=surface,
        light=light,
        distance_mm=distance_mm,
        tilt_deg=tilt_deg,
        azimuth_deg=around if azimuth_deg is None else azimuth_deg,
        roll_deg=float(rng.choice([0.0, 180.0]) + rng.uniform(-6, 6)),
        aim_mm=(rng.uniform(-8, 8), rng.uniform(-8, 8)),
        axis_angle_deg=rng.uniform(-6, 6),
        offset_mm=rng.uniform(-2, 2),
        gap_mm=float(rng.choice([0.0, 0.1])),
        turn_deg=turn_deg,
        f35_exif=26,
        f35_true=26.5,
        principal_offset_px=(6.0, -4.0),
        model="Phone A",
        taken_at=taken_at.replace(microsecond=0),
        scale_x=SCALE_X,
        scale_y=SCALE_Y,
        along_read_mm=along,
        across_read_mm=across,
        sensor=Sensor(psf_px=0.65, full_well=5000.0, quality=90),
        ground_depth_mm=8.0,
        card_shown=card_shown,
        answerable=answerable,
        note=note,
    )


def bars_read_mm() -> tuple[float, float]:
    """Return the caliper readings of the two print-check bars, along and across, mm."""
    layout = layout_named(LAYOUT)
    rng = np.random.default_rng(SEED + 1)
    along = layout.along_bar_mm * SCALE_X + float(rng.normal(0, 0.02))
    across = layout.across_bar_mm * SCALE_Y + float(rng.normal(0, 0.02))
    return round(along, 2), round(across, 2)
