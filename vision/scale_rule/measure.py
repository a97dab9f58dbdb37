"""A diameter from a photograph without the card, by a rule, a tape or a known length in it.

>>> from vision.photo.photo import open_photo                                     # doctest: +SKIP
>>> request = ScaleRequest(((120, 900), (1900, 880)), 100.0, across_px=((700, 300), (700, 620)))
...                                                                               # doctest: +SKIP
>>> measure_with_scale(open_photo("old.jpg"), request).result                     # doctest: +SKIP

The result is an `Estimate` as with the card, marked by its `scale_source` and a warning. It has a
budget of its own with terms for the object's height and the camera's tilt and distance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, rotation
from vision.findings import RefusedError, finding, refuse_above, refuse_below
from vision.photo.photo import Photo
from vision.results import Estimate, Finding, Marks, PointPx, Refusal, Result, ScaleSource
from vision.rope.jaw_lines import JawLines, diameter_mm
from vision.rope.tangent_cylinder import TOUCHING, Hold, HoldKind
from vision.scale_rule.budget import edge_terms, height_term, scale_terms
from vision.scale_rule.graduation_rows import on_face_mm
from vision.scale_rule.object_edges import TracedObject, object_of_points, trace_object
from vision.scale_rule.plane import FaceView
from vision.scale_rule.scale import (
    U_POINT_PX,
    Placement,
    Scale,
    ScaleRequest,
    check_request,
    read_scale,
    scale_words,
    tilt_of,
    u_length_of,
)
from vision.target.corners import project
from vision.target.detect import find_cards
from vision.uncertainty import combined_u_mm

Array = NDArray[np.float64]
RULE_THICK_MM, U_RULE_THICK_MM = 1.0, 0.4  # steel rules are 0.5 to 1.5 mm (common practice)
U_TOUCH_MM = 0.3  # how closely an object lies on its support (common practice)
U_LEVEL_MM = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class ScaledResult:
    """A result, and the scale that it is based on.

    Parameters
    ----------
    result : Estimate or Refusal
        The diameter, or why there is none.
    scale : Scale or None
        The scale; None where the scale itself was refused.
    """

    result: Result
    scale: Scale | None


def measure_with_scale(photo: Photo, request: ScaleRequest) -> ScaledResult:
    """Return the diameter of an object beside a rule, or the reasons why there is none.

    Parameters
    ----------
    photo : Photo
        The photograph.
    request : ScaleRequest
        What the user marked on it.

    Raises
    ------
    ValueError
        If the request is impossible: one sentence with the value.
    """
    check_request(request, photo.pixels.shape[1], photo.pixels.shape[0])
    scale: Scale | None = None
    try:
        scale = read_scale(photo, request)
        return ScaledResult(_estimate(photo, request, scale), scale)
    except RefusedError as refused:
        refusal = Refusal(
            findings=refused.findings,
            station=request.station,
            view_deg=request.view_deg,
            photo_name=photo.name,
            photo_sha256=photo.sha256,
            look_hash=photo.look_hash,
            taken_at=photo.taken_at,
            camera=photo.camera,
        )
        return ScaledResult(refusal, scale)


def _hold(request: ScaleRequest) -> Hold:
    """Return the object's position relative to the rule's face lowered by `_lowered_mm`."""
    if request.placement in (Placement.BESIDE, Placement.ON):
        return TOUCHING
    if request.placement is Placement.AT_HEIGHT:
        return Hold(HoldKind.STAND_OFF, request.height_mm)
    return Hold(HoldKind.LEVEL)


def _lowered_mm(request: ScaleRequest) -> float:
    """Return the depth of the object's support below the rule's face, mm."""
    return RULE_THICK_MM if request.placement is Placement.BESIDE else 0.0


def _u_height_mm(request: ScaleRequest, d_mm: float) -> float:
    """Return the standard uncertainty of the object's height over the rule's face, mm."""
    if request.placement is Placement.UNSAID:
        return d_mm / math.sqrt(12)  # anywhere from just under the face to just on it
    if request.u_height_mm is not None:
        return request.u_height_mm
    return {
        Placement.BESIDE: math.hypot(U_RULE_THICK_MM, U_TOUCH_MM),
        Placement.ON: U_TOUCH_MM,
        Placement.LEVEL: U_LEVEL_MM,
        Placement.AT_HEIGHT: max(0.5, 0.1 * abs(request.height_mm)),
    }[request.placement]


def _lowered(camera: Camera, by_mm: float) -> Camera:
    """Return camera and face with the face moved away from the camera, mm."""
    moved = camera.translation_mm - rotation(camera)[:, 2] * by_mm
    return camera.with_values(moved, ("x_mm", "y_mm", "z_mm"))


def _estimate(photo: Photo, request: ScaleRequest, scale: Scale) -> Estimate:
    face = scale.face
    hold, lower = _hold(request), _lowered_mm(request)
    camera = _lowered(face.camera, lower)
    traced = _traced_object(photo, request, camera, hold)

    def d_of(view: FaceView, raised_mm: float = 0.0) -> float:
        moved = _lowered(view.camera(), lower - raised_mm)
        return diameter_mm(moved, _with_station(traced.lines, moved), hold)

    try:
        d = d_of(face.view)
    except ValueError as impossible:
        raise RefusedError(finding("object-not-found")) from impossible
    u_height = _u_height_mm(request, d)
    step = min(0.5, 0.05 * d)
    per_mm = (d_of(face.view, step) - d_of(face.view, -step)) / (2 * step)
    px_per_mm = _px_per_mm(traced.lines, d)
    budget = (
        *scale_terms(
            face, request.length_mm, u_length_of(request), d_of, photo.sha256, photo.camera
        ),
        height_term(per_mm, u_height, photo.sha256),
        *edge_terms(traced, d, px_per_mm, photo.sha256, traced=request.edges_px is None),
    )
    refuse_above("archive-unsure", 200 * combined_u_mm(budget) / d)
    by = f"rule, {scale.used} marks" if scale.used else "two points"
    return Estimate(
        diameter_mm=d,
        budget=tuple(budget),
        findings=_warnings(request, scale, d),
        station=request.station,
        view_deg=request.view_deg,
        scale_source=ScaleSource.RULE if scale.used else ScaleSource.LENGTH,
        hold=f"{by}, object {request.placement}",
        jaw_mm=traced.length_mm,
        crowns=traced.crests,
        crown_pitch_mm=traced.pitch_mm or None,
        spread_mm=traced.spread_mm,
        px_per_mm=px_per_mm,
        tilt_deg=tilt_of(face),
        focal_px=face.camera.focal_px,
        u_focal_px=face.camera.focal_px * face.covariance.u("log_focal"),
        photo_name=photo.name,
        photo_sha256=photo.sha256,
        look_hash=photo.look_hash,
        taken_at=photo.taken_at,
        camera=photo.camera,
        marks=_marks(request, scale, traced),
    )


def _with_station(lines: JawLines, camera: Camera) -> JawLines:
    middle = np.concatenate([lines.left_px, lines.right_px]).mean(axis=0)
    return replace(lines, station_mm=np.array([*on_face_mm(camera, middle[None])[0], 0.0]))


def _traced_object(photo: Photo, request: ScaleRequest, camera: Camera, hold: Hold) -> TracedObject:
    if request.edges_px is not None:
        return object_of_points(camera, np.array(request.edges_px, float), U_POINT_PX)
    assert request.across_px is not None
    begin_px, end_px = (np.array(point, float) for point in request.across_px)
    refuse_below("across-too-short", float(np.linalg.norm(end_px - begin_px)))
    _refuse_stripes(photo, begin_px, end_px)
    rough = float(np.linalg.norm(np.diff(on_face_mm(camera, np.stack([begin_px, end_px])), axis=0)))
    height = 0.25 * rough if hold.touching else hold.axis_height_mm
    return trace_object(
        photo.pixels, camera, begin_px, end_px, height_mm=height, jaw_mm=request.jaw_mm
    )


def _refuse_stripes(photo: Photo, *ends_px: Array) -> None:
    """Refuse a line with an end on a card's stripes: edges are searched for from plain ground."""
    try:
        cards = find_cards(photo.pixels)
    except RefusedError:
        return
    for card in cards:
        x0, y0, x1, y1 = card.layout.band_box_mm
        to_card = np.asarray(np.linalg.inv(card.homography), float)
        drawn = project(to_card, np.stack(ends_px))
        inside = (drawn > [x0, y0]) & (drawn < [x1, y1])
        if card.layout.stripe_mm and inside.all(axis=1).any():
            raise RefusedError(finding("on-stripes"))


def _px_per_mm(lines: JawLines, d: float) -> float:
    along = lines.left_px[1] - lines.left_px[0]
    along = along / np.linalg.norm(along)
    gap = lines.left_px.mean(axis=0) - lines.right_px.mean(axis=0)
    return float(np.linalg.norm(gap - (gap @ along) * along)) / d


def _warnings(request: ScaleRequest, scale: Scale, d: float) -> tuple[Finding, ...]:
    share = 200 * scale.u_px_per_mm / scale.px_per_mm
    scaled = finding("archive", share)
    warnings = [replace(scaled, seen=f"{scale_words(scale)} There was no card.")]
    if request.placement is Placement.UNSAID:
        warnings.append(finding("height-unsaid", d / 2))
    if not scale.face.lens.known:
        warnings.append(finding("focal-unknown", 100 * scale.face.covariance.u("log_focal")))
    return tuple(warnings)


def _marks(request: ScaleRequest, scale: Scale, traced: TracedObject) -> Marks:
    def pairs(points: Array) -> tuple[PointPx, ...]:
        return tuple((round(float(x), 2), round(float(y), 2)) for x, y in points)

    def thin(points: Array) -> Array:
        return points[:: max(1, len(points) // 160)]

    left, right = pairs(traced.lines.left_px), pairs(traced.lines.right_px)
    middle = np.concatenate([traced.lines.left_px, traced.lines.right_px]).mean(axis=0)
    points = np.concatenate(
        [np.array(request.rule_px, float), *(row.points_px for row in scale.face.rows)]
    )
    along = np.subtract(request.rule_px[1], request.rule_px[0])
    along = along / np.linalg.norm(along)
    turn = np.stack([along, [-along[1], along[0]]])
    (x0, y0), (x1, y1) = (points @ turn.T).min(axis=0), (points @ turn.T).max(axis=0)
    box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) @ turn
    return Marks(
        left_px=pairs(thin(traced.left_px)),
        right_px=pairs(thin(traced.right_px)),
        crown_left_px=(left[0], left[1]),
        crown_right_px=(right[0], right[1]),
        station_px=pairs(middle[None])[0],
        card_px=pairs(box),
    )
