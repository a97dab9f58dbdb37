"""Photographs from their descriptions: build the scene, render it, state the truth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from card_texture import card_texture
from rope_camera import Array, Camera, Exif, Picture, save_jpeg
from rope_extras import broken_wire, grease_lump, taped_end
from rope_mesh import Mesh, inner_mesh, outer_mesh
from rope_render import SPP, render
from rope_scene import Stage
from rope_sensor import Sensor, develop
from rope_shot import Shot, camera_of, card_size_mm
from rope_truth import finished, truth_row

from vision.target.layout import layout_named


def _on_card(shot: Shot, mesh: Mesh, axis_mm: float, shift_along_mm: float) -> Mesh:
    """Return a mesh moved from the rope's frame to the card, its axis `axis_mm` above it."""
    turn, angle = np.radians([shot.turn_deg, shot.axis_angle_deg])
    about_axis = np.array(
        [[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]]
    )
    on_card = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    )
    shift = on_card @ [shift_along_mm, shot.offset_mm, axis_mm]
    return mesh.moved(on_card @ about_axis, shift)


def _lowest_mm(shot: Shot, mesh: Mesh, half_length_mm: float) -> float:
    """Return the lowest z of the turned rope over the card, measured from its axis, mm."""
    turn = math.radians(shot.turn_deg)
    over = mesh.vertices_mm[np.abs(mesh.vertices_mm[:, 0]) <= half_length_mm]
    return float((math.sin(turn) * over[:, 1] + math.cos(turn) * over[:, 2]).min())


def make_photograph(shot: Shot, folder: Path, *, spp: int = SPP) -> dict[str, object]:
    """Render one photograph into `folder` and return its truth row."""
    return make_photographs([shot], folder, spp=spp)[0]


def make_photographs(
    shots: Sequence[Shot], folder: Path, *, spp: int = SPP
) -> list[dict[str, object]]:
    """Render photographs of one scene that differ only in the sensor; return their truth rows.

    Parameters
    ----------
    shots : sequence of Shot
        One or more with the same `scene_of_shot`.
    folder : Path
        Where the photographs are written.
    spp : int
        Samples per pixel at the rope's outline, see `rope_render.render`.
    """
    stage, camera, truth = set_up(shots[0])
    rendered = render(stage, camera, spp=spp)
    white = _paper_light(rendered.light, stage, camera, shots[0])
    rows = []
    for shot in shots:
        rng = np.random.default_rng(shot.seed + 1)
        pixels = develop(rendered.light, rendered.depth_mm, camera, white, shot.sensor, rng)
        exif = Exif(shot.model, shot.f35_exif, shot.f35_exif / 5.6, shot.taken_at, shot.orientation)
        save_jpeg(pixels, folder / shot.file, exif, quality=shot.sensor.quality)
        own = {
            "file": shot.file,
            "answerable": "yes" if shot.answerable else "no",
            "note": shot.note,
        }
        rows.append(finished(truth | own, camera, shot.sensor))
    return rows


def scene_of_shot(shot: Shot) -> Shot:
    """Return the shot without the fields that have no effect on the rendered light."""
    return replace(shot, file="", sensor=Sensor(), answerable=True, note="")


def set_up(shot: Shot) -> tuple[Stage, Camera, dict[str, object]]:
    """Return what is in front of the camera, the camera, and the photograph's truth row."""
    layout = layout_named(shot.layout)
    camera = camera_of(shot)
    d = shot.shape.diameter_mm
    length = _length_mm(shot, camera)
    shift = 0.0 if shot.end_at_mm is None else shot.end_at_mm - length / 2
    outer = outer_mesh(shot.shape, length_mm=length)
    axis = shot.axis_height_mm
    if shot.hold == "touching":
        axis = shot.gap_mm - _lowest_mm(shot, outer, min(layout.width_mm, length) / 2)
    laid = _on_card(shot, outer, axis, shift)
    solids = [(laid, shot.surface)]
    if shot.shape.strands:
        inner = inner_mesh(shot.shape, length_mm=length)
        dark = "greased" if shot.surface in ("greased", "wet") else "rusty"
        solids.append((_on_card(shot, inner, axis, shift), dark))
    # What sticks to the rope is built where the camera sees it, so it is not turned with the rope.
    unturned = partial(_on_card, replace(shot, turn_deg=0.0), axis_mm=axis, shift_along_mm=0.0)
    rng = np.random.default_rng(shot.seed + 7)
    side = float(rng.choice([-1.0, 1.0]))
    if shot.extra == "broken wire":
        solids.append((unturned(broken_wire(shot.shape, side=side, at_mm=-0.4 * d)), shot.surface))
    if shot.extra == "grease lump":
        solids.append((unturned(grease_lump(d, side=side, at_mm=0.2 * d)), "greased"))
    if shot.end_at_mm is not None:
        solids.append((unturned(taped_end(d, end_mm=shot.end_at_mm)), "greased"))
    if shot.extra == "second rope":
        beside = np.array([0.0, side * (d + 0.12 * layout.band_mm), 0.0])
        solids.append((laid.moved(np.eye(3), beside), shot.surface))
    stage = Stage(
        texture=card_texture(
            replace(layout, stripe_mm=0.0) if shot.old_card else layout, shot.card_number
        ),
        card_size_mm=card_size_mm(shot),
        solids=tuple(solids) if shot.rope_shown else (),
        light=shot.light,
        ground_depth_mm=shot.ground_depth_mm,
        rope_angle_deg=shot.axis_angle_deg,
        seed=shot.seed,
        card_shown=shot.card_shown,
        bend=shot.bend,
        bend_mm=shot.bend_mm,
        card_rows=shot.card_rows,
    )
    return stage, camera, truth_row(shot, camera, laid, axis, outer)


def _length_mm(shot: Shot, camera: Camera) -> float:
    """Return how long the rope must be to cross the whole picture, mm."""
    long = 2.2 * shot.distance_mm * max(shot.size_px) / camera.focal_px
    long += layout_named(shot.layout).width_mm
    if shot.end_at_mm is not None:
        return long
    # Rays through the picture's corners, to where they meet the card's plane.
    x, y = np.array([0.0, 0.0, 1.0, 1.0]), np.array([0.0, 1.0, 0.0, 1.0])
    size = (camera.width_px, camera.height_px)
    ray = (
        np.column_stack(
            [
                (share * n - c) / camera.focal_px
                for share, n, c in zip((x, y), size, camera.principal_px, strict=True)
            ]
            + [np.ones(4)]
        )
        @ camera.R_cam_card
    )
    down = camera.centre_mm[2] / np.maximum(-ray[:, 2], 0.2)
    reach = np.hypot(*(camera.centre_mm[:2] + down[:, None] * ray[:, :2]).T).max()
    return float(min(long, 2 * reach + 4 * shot.shape.diameter_mm))


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
    in_view = (at >= 0).all(axis=1) & (at < [camera.width_px, camera.height_px]).all(axis=1)
    light = linear[at[in_view, 1], at[in_view, 0]].astype(np.float64)
    return np.asarray(np.percentile(light, 80, axis=0))
