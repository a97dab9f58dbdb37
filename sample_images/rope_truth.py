"""The truth about a rendered photograph."""

from __future__ import annotations

import math

import numpy as np
from rope_caliper import caliper_width_mm, seen_width_mm, widths_all_round_mm
from rope_camera import Camera
from rope_mesh import Mesh
from rope_sensor import Sensor
from rope_shot import Shot, chess_corners_3d

JAWS_IN_DIAMETERS = {
    "truth_2d_mm": 2.0,
    "truth_1p5d_mm": 1.5,
    "truth_2p5d_mm": 2.5,
    "truth_3d_mm": 3.0,
}


def truth_row(
    shot: Shot, camera: Camera, laid: Mesh, axis_mm: float, outer: Mesh
) -> dict[str, object]:
    """Return the truth about a photograph, keyed by the columns of truth.csv.

    Parameters
    ----------
    shot, camera : Shot, Camera
        The photograph.
    laid, outer : Mesh
        The rope's outer surface as it lies on the card, and in its own frame.
    axis_mm : float
        Height of the rope's axis above the card, mm.
    """
    angle = math.radians(shot.axis_angle_deg)
    axis = np.array([math.cos(angle), math.sin(angle), 0.0])
    normal = np.array([-axis[1], axis[0], 0.0])
    station = shot.offset_mm * normal + [0, 0, axis_mm]
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
    all_round = widths_all_round_mm(outer.vertices_mm, jaw_mm=2 * d)
    corners = camera.project(0.999 * chess_corners_3d(shot))
    in_view = (corners >= 0).all(axis=1) & (corners < [camera.width_px, camera.height_px]).all(
        axis=1
    )
    c, t = camera.centre_mm, camera.t_cam_card_mm
    return {
        "file": shot.file,
        "d_nominal_mm": shot.d_nominal_mm,
        "strands": shot.shape.strands,
        "lay_mm": round(shot.shape.lay_mm, 2) if shot.shape.strands else "",
        "surface": shot.surface,
        "light": shot.light,
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
        "corners_in_view": f"{in_view.mean():.2f}" if shot.card_shown else "0",
        "seen_2d_mm": round(seen_2d, 4),
        "largest_2d_mm": round(all_round.max(), 4),
        "smallest_2d_mm": round(all_round.min(), 4),
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
        "pair": shot.pair,
        "hold": shot.hold,
        "offset_read_mm": shot.offset_read_mm,
        "print_checked": "yes" if shot.print_checked else "no",
        "bend": shot.bend,
        "bend_mm": round(shot.bend_mm, 2),
        "ovality_pct": round(100 * shot.shape.ovality, 2),
        "thin_pct": round(100 * shot.shape.thin, 2),
        "worn_pct": round(100 * shot.shape.worn, 2),
        "lay": ("lang" if shot.shape.lang else "ordinary") if shot.shape.strands else "",
    }


def finished(row: dict[str, object], camera: Camera, sensor: Sensor) -> dict[str, object]:
    """Return a truth row with the sensor's data added, lengths in px of the finished picture."""
    scale = sensor.scale(camera)
    size = (round(camera.width_px * scale), round(camera.height_px * scale))
    principal = [
        (value + 0.5) * scale - 0.5  # pixel (0, 0) is the *centre* of the first pixel
        for value in camera.principal_px
    ]
    return row | {
        "focal_px_true": round(camera.focal_px * scale, 2),
        "principal_x_px": round(principal[0], 2),
        "principal_y_px": round(principal[1], 2),
        "rope_px": round(float(str(row["rope_px"])) * scale, 1),
        "megapixels": round(size[0] * size[1] / 1e6, 2),
        "psf_px": round(sensor.psf_px, 3),
        "full_well": round(sensor.full_well),
        "sharpening": round(sensor.sharpening, 3),
        "quality": sensor.quality,
        "k1": round(sensor.k1, 5),
        "aperture_mm": round(sensor.aperture_mm, 3),
        "focus_mm": round(sensor.focus_mm, 1) if sensor.aperture_mm else "",
        "motion_px": round(sensor.motion_px * scale, 2),
    }
