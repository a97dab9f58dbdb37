"""One photograph from its description: builds the scene, renders it, and states the truth."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path

import numpy as np
from card_texture import card_texture
from rope_caliper import caliper_width_mm, seen_width_mm, widths_all_round_mm
from rope_camera import (
    Array,
    Camera,
    Exif,
    Picture,
    Sensor,
    camera_looking_at,
    develop,
    focal_px_of,
    save_jpeg,
)
from rope_extras import broken_wire, grease_lump, taped_end
from rope_mesh import Mesh, RopeShape, inner_mesh, outer_mesh
from rope_scene import BoxPx, Stage, render

from vision.card import (
    Ink,
    layout_named,
)
from vision.card_pattern import (
    chess_corners_mm,
)

JAWS_IN_DIAMETERS = {
    "truth_2d_mm": 2.0,
    "truth_1p5d_mm": 1.5,
    "truth_2p5d_mm": 2.5,
    "truth_3d_mm": 3.0,
}


@dataclass(frozen=True, slots=True)
class Shot:
    """Everything that decides how a photograph looks; same shot, same photograph.

    `end_at_mm` is where the rope ends on the card (None: it runs through). `extra` is "",
    "broken wire" or "grease lump". `f35_true` is what the lens really has, `f35_exif` what
    the phone writes.
    """

    file: str
    shape: RopeShape
    d_nominal_mm: float
    layout: str
    card_number: int
    seed: int
    surface: str = "galvanised"
    light: str = "overcast"
    ink: Ink = "blue"
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


def camera_of(shot: Shot) -> Camera:
    """Return the shot's camera; it looks at a point half a rope above the card."""
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


def _laid(shot: Shot, mesh: Mesh, lowest_mm: float, shift_along_mm: float) -> Mesh:
    """Return a mesh of the rope's frame as it lies on the card."""
    turn, angle = np.radians([shot.turn_deg, shot.axis_angle_deg])
    about_axis = np.array(
        [[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]]
    )
    on_card = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    )
    shift = on_card @ [shift_along_mm, shot.offset_mm, shot.gap_mm - lowest_mm]
    return mesh.moved(on_card @ about_axis, shift)


def _lowest_mm(shot: Shot, mesh: Mesh, half_length_mm: float) -> float:
    """Return how far below its axis the turned rope reaches over the card, as z, mm."""
    turn = math.radians(shot.turn_deg)
    over = mesh.vertices_mm[np.abs(mesh.vertices_mm[:, 0]) <= half_length_mm]
    return float((math.sin(turn) * over[:, 1] + math.cos(turn) * over[:, 2]).min())


def make_photograph(shot: Shot, folder: Path, *, spp: int = 9) -> dict[str, object]:
    """Render one photograph into `folder` and return its row of truth."""
    stage, camera, truth = set_up(shot)
    card_px, rope_px = _boxes_px(shot, camera, stage)
    linear = render(stage, camera, card_px=card_px, rope_px=rope_px, spp=spp)
    white = _paper_light(linear, stage, camera, shot)
    pixels = develop(linear, white, shot.sensor, np.random.default_rng(shot.seed + 1))
    exif = Exif(shot.model, shot.f35_exif, shot.f35_exif / 5.6, shot.taken_at, shot.orientation)
    save_jpeg(pixels, folder / shot.file, exif, quality=shot.sensor.quality)
    return truth


def set_up(shot: Shot) -> tuple[Stage, Camera, dict[str, object]]:
    """Return what stands before the camera, the camera, and the photograph's row of truth."""
    layout = layout_named(shot.layout)
    camera = camera_of(shot)
    d = shot.shape.diameter_mm
    length = 2.2 * shot.distance_mm * max(shot.size_px) / camera.focal_px + layout.width_mm
    shift = 0.0 if shot.end_at_mm is None else shot.end_at_mm - length / 2
    outer = outer_mesh(shot.shape, length_mm=length)
    lowest = _lowest_mm(shot, outer, min(layout.width_mm, length) / 2)
    laid = _laid(shot, outer, lowest, shift)
    solids = [(laid, shot.surface)]
    if shot.shape.strands:
        inner = inner_mesh(shot.shape, length_mm=length)
        dark = "greased" if shot.surface in ("greased", "wet") else "rusty"
        solids.append((_laid(shot, inner, lowest, shift), dark))
    # What sticks to the rope is built as the camera sees it, so it is not turned with the view.
    unturned = partial(_laid, replace(shot, turn_deg=0.0), lowest_mm=lowest, shift_along_mm=0.0)
    rng = np.random.default_rng(shot.seed + 7)
    side = float(rng.choice([-1.0, 1.0]))
    if shot.extra == "broken wire":
        solids.append((unturned(broken_wire(shot.shape, side=side, at_mm=-0.4 * d)), shot.surface))
    if shot.extra == "grease lump":
        solids.append((unturned(grease_lump(d, side=side, at_mm=0.2 * d)), "greased"))
    if shot.end_at_mm is not None:
        solids.append((unturned(taped_end(d, end_mm=shot.end_at_mm)), "greased"))
    card_mm = (layout.width_mm * shot.scale_x, layout.height_mm * shot.scale_y)
    stage = Stage(
        texture=card_texture(layout, shot.card_number, shot.ink),
        card_size_mm=card_mm,
        solids=tuple(solids),
        light=shot.light,
        ground_depth_mm=shot.ground_depth_mm,
        rope_angle_deg=shot.axis_angle_deg,
        seed=shot.seed,
        card_shown=shot.card_shown,
    )
    return stage, camera, truth_row(shot, camera, laid, lowest, outer)


def _boxes_px(shot: Shot, camera: Camera, stage: Stage) -> tuple[BoxPx, BoxPx]:
    """Return the boxes (x, y, width, height), px, around the card and the rope on it."""
    angle, d = math.radians(shot.axis_angle_deg), shot.shape.diameter_mm
    half = min(stage.card_size_mm[0] / 2, 2.0 * d + 12.0)
    along = np.array([math.cos(angle), math.sin(angle), 0.0])
    across = np.array([-along[1], along[0], 0.0])
    signs = [(a, b) for a in (-1.0, 1.0) for b in (-1.0, 1.0)]
    width, height = stage.card_size_mm
    card = [np.array([a * (width / 2 + 6), b * (height / 2 + 6), 0.0]) for a, b in signs]
    rope = [
        a * half * along + (shot.offset_mm + b * 0.8 * d) * across + [0, 0, z]
        for a, b in signs
        for z in (0.0, d)
    ]
    return _box_px(camera, np.array(card + rope)), _box_px(camera, np.array(rope))


def _box_px(camera: Camera, points_mm: Array) -> BoxPx:
    seen = camera.project(points_mm)
    size = [camera.width_px, camera.height_px]
    low = np.clip(np.floor(seen.min(axis=0)), 0, size).astype(int)
    high = np.clip(np.ceil(seen.max(axis=0)), 0, size).astype(int)
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])


def _paper_light(linear: Picture, stage: Stage, camera: Camera, shot: Shot) -> Array:
    """Return the linear colour (3,) of the paper where it is well lit and in view."""
    if not stage.card_shown:
        level = float(np.percentile(linear.mean(axis=2), 90))
        return np.full(3, level / 0.6)
    rows, columns = stage.texture.shape[:2]
    rng = np.random.default_rng(shot.seed + 2)
    row, column = rng.integers(rows, size=40000), rng.integers(columns, size=40000)
    band = layout_named(shot.layout).band_mm / 2
    width, height = stage.card_size_mm
    x = ((column + 0.5) / columns - 0.5) * width
    y = (0.5 - (row + 0.5) / rows) * height
    white = (stage.texture[row, column].min(axis=1) > 0.8) & (np.abs(y) > band)
    at = np.rint(camera.project(np.column_stack([x, y, 0 * x])[white])).astype(int)
    seen = (at >= 0).all(axis=1) & (at < [camera.width_px, camera.height_px]).all(axis=1)
    light = linear[at[seen, 1], at[seen, 0]].astype(np.float64)
    return np.asarray(np.percentile(light, 80, axis=0))


def truth_row(
    shot: Shot, camera: Camera, laid: Mesh, lowest_mm: float, outer: Mesh
) -> dict[str, object]:
    """Return what is known about a photograph, by the names of truth.csv's columns."""
    angle = math.radians(shot.axis_angle_deg)
    axis = np.array([math.cos(angle), math.sin(angle), 0.0])
    normal = np.array([-axis[1], axis[0], 0.0])
    station = shot.offset_mm * normal + [0, 0, shot.gap_mm - lowest_mm]
    view = station - camera.centre_mm
    d = shot.shape.diameter_mm
    widths = {
        name: round(
            caliper_width_mm(
                laid.vertices_mm, axis=axis, point_mm=station, view=view, jaw_mm=share * d
            ),
            4,
        )
        for name, share in JAWS_IN_DIAMETERS.items()
    }
    seen_2d = seen_width_mm(
        laid.vertices_mm, axis=axis, point_mm=station, camera_mm=camera.centre_mm, jaw_mm=2 * d
    )
    round_about = widths_all_round_mm(outer.vertices_mm, jaw_mm=2 * d)
    seen = camera.project(0.999 * chess_corners_3d(shot))
    inside = (seen >= 0).all(axis=1) & (seen < [camera.width_px, camera.height_px]).all(axis=1)
    c, t = camera.centre_mm, camera.t_cam_card_mm
    return {
        "file": shot.file,
        "d_nominal_mm": shot.d_nominal_mm,
        "strands": shot.shape.strands,
        "lay_mm": round(shot.shape.lay_mm, 2) if shot.shape.strands else "",
        "surface": shot.surface,
        "light": shot.light,
        "ink": shot.ink,
        "layout": shot.layout,
        "card_number": shot.card_number,
        "distance_mm": round(float(np.linalg.norm(c)), 2),
        "tilt_deg": round(camera.tilt_deg, 3),
        "axis_angle_deg": round(shot.axis_angle_deg, 3),
        "focal_px_true": round(camera.focal_px, 2),
        "f35_exif": shot.f35_exif,
        "scale_x": round(shot.scale_x, 6),
        "scale_y": round(shot.scale_y, 6),
        "along_read_mm": shot.along_read_mm,
        "across_read_mm": shot.across_read_mm,
        "gap_mm": round(shot.gap_mm, 3),
        **widths,
        "camera_x_mm": round(c[0], 4),
        "camera_y_mm": round(c[1], 4),
        "camera_z_mm": round(c[2], 4),
        "answerable": "yes" if shot.answerable else "no",
        "note": shot.note,
        "extra": shot.extra,
        "view_deg": round(shot.turn_deg),
        "rope_px": round(camera.focal_px * d / float(np.linalg.norm(view)), 1),
        "corners_in_view": f"{inside.mean():.2f}" if shot.card_shown else "0",
        "seen_2d_mm": round(seen_2d, 4),
        "largest_2d_mm": round(round_about.max(), 4),
        "smallest_2d_mm": round(round_about.min(), 4),
        "station_x_mm": round(station[0], 4),
        "station_y_mm": round(station[1], 4),
        "station_z_mm": round(station[2], 4),
        "principal_x_px": round(camera.principal_px[0], 2),
        "principal_y_px": round(camera.principal_px[1], 2),
        "rotation_cam_card": " ".join(f"{v:.8f}" for v in camera.R_cam_card.ravel()),
        "t_cam_card_mm": " ".join(f"{v:.5f}" for v in t),
        "orientation": shot.orientation,
        "model": shot.model,
        "taken_at": shot.taken_at.isoformat(sep=" "),
        "seed": shot.seed,
    }


def chess_corners_3d(shot: Shot) -> Array:
    """Return the card's chess corners (N, 3) as they really lie, mm."""
    drawn = chess_corners_mm(layout_named(shot.layout)) * [shot.scale_x, shot.scale_y]
    return np.column_stack([drawn, np.zeros(len(drawn))])
