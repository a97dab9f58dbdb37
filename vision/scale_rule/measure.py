"""A diameter from a photograph without the card: by a rule, a tape or a known length in it.

>>> from vision.scale_rule.measure import Archive, measure_archive   # doctest: +SKIP
>>> asked = Archive(((120, 900), (1900, 880)), 100.0, across_px=((700, 300), (700, 620)))
...                                                       # doctest: +SKIP
>>> measure_archive("old.jpg", asked)                     # doctest: +SKIP

The result is an `Estimate` as with the card, marked by its `hold` ("archive, ...") and a warning,
with a budget of its own: height of the object, tilt and distance of the camera are in it by name.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, rotation
from vision.findings import RefusedError, finding, refuse_above, refuse_below
from vision.photo.photo import Photo, open_photo
from vision.results import Estimate, Finding, Marks, PointPx, Refusal, Result
from vision.rope.jaws import JawLines, diameter_mm
from vision.rope.tangent_cylinder import TOUCHING, Hold, HoldKind
from vision.scale_rule.budget import edge_terms, height_term, scale_terms
from vision.scale_rule.graduation_rows import on_face_mm
from vision.scale_rule.object_edges import Piece, piece_of_points, trace_piece
from vision.scale_rule.plane import FaceView
from vision.scale_rule.scale import (
    LIES,
    U_POINT_PX,
    Archive,
    Lies,
    Scale,
    check_archive,
    read_scale,
    scale_words,
    tilt_of,
    u_length_of,
)
from vision.uncertainty import combined_u_mm

Array = NDArray[np.float64]
RULE_THICK_MM, U_RULE_THICK_MM = 1.0, 0.4  # steel rules are 0.5 to 1.5 mm (common practice)
U_TOUCH_MM = 0.3  # how closely an object lies on what it lies on (common practice)
U_LEVEL_MM = 1.0
ARCHIVE_HOLD = "archive"

__all__ = ["LIES", "Answer", "Archive", "Lies", "answer_archive", "is_archive", "measure_archive"]


def is_archive(result: Result) -> bool:
    """Tell whether a result was measured without the card."""
    return isinstance(result, Estimate) and result.hold.startswith(ARCHIVE_HOLD)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """A result, and the scale that it rests on; None where that was refused already."""

    result: Result
    scale: Scale | None


def measure_archive(source: Photo | str | os.PathLike[str] | bytes, asked: Archive) -> Result:
    """Return the diameter of what lies beside a rule, or the reasons why not.

    Raises
    ------
    PhotoError
        If the file can't be opened as a photograph.
    ValueError
        If what was asked for is impossible: one sentence with the value.
    """
    return answer_archive(source if isinstance(source, Photo) else open_photo(source), asked).result


def answer_archive(photo: Photo, asked: Archive) -> Answer:
    """Return what `measure_archive` returns, and the scale that it rests on."""
    check_archive(asked, photo.pixels.shape[1], photo.pixels.shape[0])
    scale: Scale | None = None
    try:
        scale = read_scale(photo, asked)
        return Answer(_estimate(photo, asked, scale), scale)
    except RefusedError as refused:
        refusal = Refusal(
            findings=refused.findings, station=asked.station, view_deg=asked.view_deg,
            photo_name=photo.name, photo_sha256=photo.sha256, look_hash=photo.look_hash,
            taken_at=photo.taken_at, camera=photo.camera,
        )  # fmt: skip
        return Answer(refusal, scale)


def _hold(asked: Archive) -> Hold:
    """Return how the rule's face lies to the object, the face lowered by `_lowered_mm`."""
    if asked.lies in ("beside", "on"):
        return TOUCHING
    if asked.lies == "at a height":
        return Hold(HoldKind.STAND_OFF, asked.height_mm)
    return Hold(HoldKind.LEVEL)


def _lowered_mm(asked: Archive) -> float:
    """Return how far under the rule's face the object lies on, mm."""
    return RULE_THICK_MM if asked.lies == "beside" else 0.0


def _u_height_mm(asked: Archive, d_mm: float) -> float:
    """Return the standard uncertainty of the object's height over the rule's face, mm."""
    if asked.lies == "unsaid":
        return d_mm / math.sqrt(12)  # from right under the face to right on it
    if asked.u_height_mm is not None:
        return asked.u_height_mm
    return {
        "beside": math.hypot(U_RULE_THICK_MM, U_TOUCH_MM),
        "on": U_TOUCH_MM,
        "level": U_LEVEL_MM,
        "at a height": max(0.5, 0.1 * abs(asked.height_mm)),
    }[asked.lies]


def lowered(camera: Camera, by_mm: float) -> Camera:
    """Return camera and face with the face moved away from the camera, mm."""
    moved = camera.translation_mm - rotation(camera)[:, 2] * by_mm
    return camera.with_values(moved, ("x_mm", "y_mm", "z_mm"))


def _estimate(photo: Photo, asked: Archive, scale: Scale) -> Estimate:
    face = scale.face
    hold, lower = _hold(asked), _lowered_mm(asked)
    camera = lowered(face.camera, lower)
    piece = _piece(photo, asked, camera, hold)

    def d_of(view: FaceView, raised_mm: float = 0.0) -> float:
        moved = lowered(view.camera(), lower - raised_mm)
        return diameter_mm(moved, _with_station(piece.lines, moved), hold)

    try:
        d = d_of(face.view)
    except ValueError as impossible:
        raise RefusedError(finding("object-not-found")) from impossible
    u_height = _u_height_mm(asked, d)
    step = min(0.5, 0.05 * d)
    per_mm = (d_of(face.view, step) - d_of(face.view, -step)) / (2 * step)
    px_per_mm = _px_per_mm(piece.lines, d)
    budget = (
        *scale_terms(face, asked.length_mm, u_length_of(asked), d_of, photo.sha256, photo.camera),
        height_term(per_mm, u_height, photo.sha256),
        *edge_terms(piece, d, px_per_mm, photo.sha256, traced=asked.edges_px is None),
    )
    refuse_above("archive-unsure", 200 * combined_u_mm(budget) / d)
    by = f"rule, {scale.used} marks" if scale.used else "two points"
    return Estimate(
        diameter_mm=d, budget=tuple(budget), findings=_warnings(asked, scale, d),
        station=asked.station, view_deg=asked.view_deg,
        hold=f"{ARCHIVE_HOLD}, {by}, object {asked.lies}",
        jaw_mm=piece.length_mm, crowns=piece.crests, crown_pitch_mm=piece.pitch_mm or None,
        spread_mm=piece.spread_mm, px_per_mm=px_per_mm, tilt_deg=tilt_of(face),
        focal_px=face.camera.focal_px,
        u_focal_px=face.camera.focal_px * face.covariance.u("log_focal"),
        photo_name=photo.name, photo_sha256=photo.sha256, look_hash=photo.look_hash,
        taken_at=photo.taken_at, camera=photo.camera, marks=_marks(asked, scale, piece),
    )  # fmt: skip


def _with_station(lines: JawLines, camera: Camera) -> JawLines:
    middle = np.concatenate([lines.left_px, lines.right_px]).mean(axis=0)
    return replace(lines, station_mm=np.array([*on_face_mm(camera, middle[None])[0], 0.0]))


def _piece(photo: Photo, asked: Archive, camera: Camera, hold: Hold) -> Piece:
    if asked.edges_px is not None:
        return piece_of_points(camera, np.array(asked.edges_px, float), U_POINT_PX)
    assert asked.across_px is not None
    one, other = (np.array(point, float) for point in asked.across_px)
    refuse_below("across-too-short", float(np.linalg.norm(other - one)))
    rough = float(np.linalg.norm(np.diff(on_face_mm(camera, np.stack([one, other])), axis=0)))
    height = 0.25 * rough if hold.touching else hold.axis_height_mm
    return trace_piece(photo.pixels, camera, one, other, height_mm=height, jaw_mm=asked.jaw_mm)


def _px_per_mm(lines: JawLines, d: float) -> float:
    along = lines.left_px[1] - lines.left_px[0]
    along = along / np.linalg.norm(along)
    gap = lines.left_px.mean(axis=0) - lines.right_px.mean(axis=0)
    return float(np.linalg.norm(gap - (gap @ along) * along)) / d


def _warnings(asked: Archive, scale: Scale, d: float) -> tuple[Finding, ...]:
    share = 200 * scale.u_px_per_mm / scale.px_per_mm
    said = [replace(finding("archive", share), seen=f"{scale_words(scale)} No card was there.")]
    if asked.lies == "unsaid":
        said.append(finding("height-unsaid", d / 2))
    if not scale.face.lens.known:
        said.append(finding("focal-unknown", 100 * scale.face.covariance.u("log_focal")))
    return tuple(said)


def _marks(asked: Archive, scale: Scale, piece: Piece) -> Marks:
    def pairs(points: Array) -> tuple[PointPx, ...]:
        return tuple((round(float(x), 2), round(float(y), 2)) for x, y in points)

    def thin(points: Array) -> Array:
        return points[:: max(1, len(points) // 160)]

    left, right = pairs(piece.lines.left_px), pairs(piece.lines.right_px)
    middle = np.concatenate([piece.lines.left_px, piece.lines.right_px]).mean(axis=0)
    seen = [row.points_px for row in scale.face.rows]
    points = np.concatenate([np.array(asked.rule_px, float), *seen])
    along = np.subtract(asked.rule_px[1], asked.rule_px[0])
    along = along / np.linalg.norm(along)
    turn = np.stack([along, [-along[1], along[0]]])
    (x0, y0), (x1, y1) = (points @ turn.T).min(axis=0), (points @ turn.T).max(axis=0)
    box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) @ turn
    return Marks(
        pairs(thin(piece.left_px)), pairs(thin(piece.right_px)), (left[0], left[1]),
        (right[0], right[1]), pairs(middle[None])[0], pairs(box),
    )  # fmt: skip
