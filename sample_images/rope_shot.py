"""The description of a photograph: rope, card, camera, light, and where everything is."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from rope_camera import Array, Camera, camera_looking_at, focal_px_of
from rope_card import ACROSS, bent_points_mm
from rope_mesh import RopeShape
from rope_sensor import Sensor

from vision.target.layout import chess_corners_mm, layout_named


@dataclass(frozen=True, slots=True)
class Shot:
    """Everything that determines a photograph: the same shot gives the same photograph.

    `end_at_mm` is where the rope ends on the card (None: it runs through). `extra` is "",
    "broken wire", "grease lump" or "second rope". `f35_true` is the lens's true 35-mm
    equivalent, `f35_exif` the one that the phone writes. `hold` and `axis_height_mm` say how
    the card was held: touching (with a gap of `gap_mm`), level (the axis `axis_height_mm` from
    the card's plane), or at a stand-off of `axis_height_mm`, for which the user read
    `offset_read_mm`. `pair` names the station that two views share.
    """

    file: str
    shape: RopeShape
    d_nominal_mm: float
    layout: str
    card_number: int
    seed: int
    surface: str = "galvanised"
    light: str = "overcast"
    distance_mm: float = 400.0
    tilt_deg: float = 0.0
    azimuth_deg: float = 0.0
    roll_deg: float = 0.0
    aim_mm: tuple[float, float] = (0.0, 0.0)
    axis_angle_deg: float = 0.0
    offset_mm: float = 0.0
    gap_mm: float = 0.0
    turn_deg: float = 0.0
    end_at_mm: float | None = None
    extra: str = ""
    f35_exif: int = 26
    f35_true: float = 26.0
    principal_offset_px: tuple[float, float] = (0.0, 0.0)
    size_px: tuple[int, int] = (4000, 3000)
    orientation: int = 1
    model: str = "Phone A"
    taken_at: datetime = datetime(2026, 9, 14, 9, 0, 0)
    scale_x: float = 1.0
    scale_y: float = 1.0
    along_read_mm: float = 0.0
    across_read_mm: float = 0.0
    sensor: Sensor = field(default_factory=Sensor)
    ground_depth_mm: float = 3.0
    card_shown: bool = True
    answerable: bool = True
    note: str = ""
    hold: str = "touching"
    axis_height_mm: float = 0.0
    offset_read_mm: float = 0.0
    bend: str = ""
    bend_mm: float = 0.0
    card_rows: tuple[float, float] = ACROSS
    rope_shown: bool = True
    print_checked: bool = True
    pair: str = ""
    old_card: bool = False


def camera_of(shot: Shot) -> Camera:
    """Return the shot's camera; it looks at a point half a nominal diameter above the card."""
    return camera_looking_at(
        np.array([*shot.aim_mm, shot.d_nominal_mm / 2]),
        distance_mm=shot.distance_mm,
        tilt_deg=shot.tilt_deg,
        azimuth_deg=shot.azimuth_deg,
        roll_deg=shot.roll_deg,
        focal_px=focal_px_of(shot.f35_true, *shot.size_px),
        principal_offset_px=shot.principal_offset_px,
        size_px=shot.size_px,
    )


def card_size_mm(shot: Shot) -> tuple[float, float]:
    """Return the printed card's true width and height, mm."""
    layout = layout_named(shot.layout)
    return layout.width_mm * shot.scale_x, layout.height_mm * shot.scale_y


def chess_corners_3d(shot: Shot) -> Array:
    """Return the true positions of the card's chess corners (N, 3), mm."""
    drawn = chess_corners_mm(layout_named(shot.layout)) * [shot.scale_x, shot.scale_y]
    return bent_points_mm(drawn, card_size_mm(shot), shot.bend, shot.bend_mm, shot.axis_angle_deg)
