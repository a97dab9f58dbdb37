"""What the user marks on a photograph without the card, and the scale that follows from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.findings import RefusedError, finding, refuse_above, refuse_below
from vision.least_squares import derivatives
from vision.photo.photo import Photo
from vision.results import PointPx
from vision.rope.rectify import scale_at
from vision.scale_rule.budget import U_DIVIDED
from vision.scale_rule.graduation_lengths import pattern_of
from vision.scale_rule.graduation_rows import on_face_mm
from vision.scale_rule.graduations import (
    INCH_MM,
    SPACINGS_MM,
    GraduatedRule,
    KnownLength,
    read_rule,
)
from vision.scale_rule.plane import Face, FaceView, face_of_marks, face_of_two_points
from vision.target.stated_lens import stated_lens, unsettled

Array = NDArray[np.float64]

U_POINT_PX = 1.5  # standard uncertainty of a point marked by hand (common practice, no source)
U_LENGTH_SHARE = 0.002  # relative standard uncertainty of a length stated by the user
AGREE_PX, AGREE_SHARE = 6.0, 0.01  # largest difference between marked points and stated length
# Graduations, mm, that rows are likely to have if the stated length identified them wrongly.
MISTAKEN_MM = {"1/64 in": 0.5, "1/32 in": 1.0, "1/16 in": 1.0, "1/8 in": 5.0, "1/4 in": 5.0,
               "half mm": INCH_MM / 64, "mm": INCH_MM / 32, "5 mm": INCH_MM / 4,
               "cm": INCH_MM / 4}  # fmt: skip


class Placement(StrEnum):
    """The position of an object relative to the rule."""

    UNSAID = "unsaid"
    BESIDE = "beside"  # on the surface that the rule lies on
    ON = "on"  # on the rule's face
    LEVEL = "level"  # with its middle level with the face
    AT_HEIGHT = "at a height"  # with its middle at a stated height over the face


@dataclass(frozen=True, slots=True)
class ScaleRequest:
    """What the user marks on a photograph without the card.

    Parameters
    ----------
    rule_px : pair of (x, y)
        Two points of known distance, px of the upright photograph.
    length_mm : float
        The distance between them, mm.
    u_length_mm : float or None
        Its standard uncertainty; None for 0.2 % of it. Not used with graduations.
    graduations : bool
        Whether the points are on a rule whose marks are to be found.
    across_px : pair of (x, y) or None
        A line over the object, from plain ground to plain ground.
    edges_px : four of (x, y) or None
        Instead of the line: two points on one edge, then two on the other.
    placement : Placement
        Position of the object relative to the rule.
    height_mm, u_height_mm : float
        Height of the object's middle over the rule's face and its standard uncertainty, mm.
    jaw_mm : float or None
        Length of the object to bear on; None for as much as is visible, at most two diameters.
    station, view_deg : int or None
        Station and view to which the result belongs.
    """

    rule_px: tuple[PointPx, PointPx]
    length_mm: float
    u_length_mm: float | None = None
    graduations: bool = True
    across_px: tuple[PointPx, PointPx] | None = None
    edges_px: tuple[PointPx, PointPx, PointPx, PointPx] | None = None
    placement: Placement = Placement.UNSAID
    height_mm: float = 0.0
    u_height_mm: float | None = None
    jaw_mm: float | None = None
    station: int | None = None
    view_deg: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """The scale from the rule, or the known length, in the photograph.

    Parameters
    ----------
    face : Face
        Camera and the rule's face.
    px_per_mm, u_px_per_mm : float
        Scale along the rule, midway between the points, and its standard uncertainty.
    marks : tuple of (str, int)
        Graduations identified, and how many of each, e.g. ``(("mm", 99), ("cm", 10))``.
    used : int
        Number of marks used for the scale; 0 where only two points were used.
    """

    face: Face
    px_per_mm: float
    u_px_per_mm: float
    marks: tuple[tuple[str, int], ...]
    used: int


def check_request(request: ScaleRequest, width: int, height: int) -> None:
    """Raise ValueError if a request is impossible.

    Parameters
    ----------
    request : ScaleRequest
        The request.
    width, height : int
        Size of the upright photograph, px.
    """
    points = [*request.rule_px, *(request.across_px or ()), *(request.edges_px or ())]
    for x, y in points:
        if not (math.isfinite(x) and math.isfinite(y) and 0 <= x < width and 0 <= y < height):
            raise ValueError(
                f"the point {x:g}, {y:g} is not in the photograph ({width} x {height} px)."
            )
    numbers = {
        "length": request.length_mm,
        "length of the object to bear on": request.jaw_mm,
        "uncertainty of the length": request.u_length_mm,
        "uncertainty of the height": request.u_height_mm,
    }
    for name, value in numbers.items():
        if value is not None and not (math.isfinite(value) and 0 < value < 1e5):
            raise ValueError(f"the {name} must be above 0 mm and below 100 m; got {value:g} mm.")
    if not (math.isfinite(request.height_mm) and abs(request.height_mm) < 1e4):
        raise ValueError(
            f"the height must be between -10 m and 10 m; got {request.height_mm:g} mm."
        )
    if (request.across_px is None) == (request.edges_px is None):
        raise ValueError("give either a line across the object or four points on its edges.")


def read_scale(photo: Photo, request: ScaleRequest) -> Scale:
    """Return the scale from the rule or the known length.

    Parameters
    ----------
    photo : Photo
        The photograph.
    request : ScaleRequest
        What the user marked on it.

    Raises
    ------
    RefusedError
        If the points are too close together, no marks are found, or they contradict the length.
    """
    begin_px, end_px = (np.array(point, float) for point in request.rule_px)
    length = KnownLength(begin_px, end_px, request.length_mm)
    refuse_below("points-too-near", length.length_px)
    lens = unsettled(stated_lens(photo))
    if not request.graduations:
        return _scale(face_of_two_points(length, U_POINT_PX, lens), request, (), 0)
    grey = np.asarray(cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    rule = read_rule(grey, length)
    face = face_of_marks(rule.unrolled, rule.runs, length, lens)
    if face is None:
        most = max((len(run.columns) for run in rule.runs), default=0)
        if not most:
            raise RefusedError(finding("no-graduations"))
        raise RefusedError(finding("too-few-graduations", float(most)))
    _check_length(face, length)
    marks = _count_marks(rule, face, request)
    refuse_above("face-tilted", tilt_of(face))
    return _scale(face, request, marks, sum(row.marks for row in face.rows))


def _check_length(face: Face, length: KnownLength) -> None:
    """Refuse a length that the marks contradict."""
    difference = np.diff(on_face_mm(face.camera, length.points_px), axis=0)[0]
    read_mm = float(np.hypot(*difference))
    if abs(read_mm - length.length_mm) > max(
        AGREE_PX / length.px_per_mm, AGREE_SHARE * length.length_mm
    ):
        raise RefusedError(finding("length-contradicts", read_mm, limit=length.length_mm))


def _count_marks(
    rule: GraduatedRule, face: Face, request: ScaleRequest
) -> tuple[tuple[str, int], ...]:
    counts: dict[str, int] = {}
    for row, offset in zip(face.rows, face.offsets_mm, strict=True):
        pattern = pattern_of(rule.unrolled, face, row, float(offset), dark=rule.dark)
        if pattern.contradicts(row.name):
            by = MISTAKEN_MM[row.name] / SPACINGS_MM[row.name]
            raise RefusedError(
                finding("length-contradicts", request.length_mm * by, limit=request.length_mm)
            )
        counts[row.name] = max(counts.get(row.name, 0), row.marks)
        for name, count in pattern.marks:
            counts[name] = max(counts.get(name, 0), count)
    return tuple(counts.items())


def _scale(
    face: Face, request: ScaleRequest, marks: tuple[tuple[str, int], ...], used: int
) -> Scale:
    middle = np.array([request.length_mm / 2, 0.0, 0.0])

    def along(values: Array) -> float:
        return scale_at(FaceView.of(values).camera(), middle, np.array([0.0, 1.0]))

    values = np.array(face.view)
    px_per_mm = along(values)
    by_number = derivatives(along, values, 0.01 * face.covariance.u_all())
    variance = face.covariance.variance(by_number)
    stated = U_DIVIDED if used else u_length_of(request) / request.length_mm
    return Scale(face, px_per_mm, math.hypot(math.sqrt(variance), stated * px_per_mm), marks, used)


def u_length_of(request: ScaleRequest) -> float:
    """Return the standard uncertainty of the known length, mm.

    Parameters
    ----------
    request : ScaleRequest
        What the user marked.
    """
    stated = request.u_length_mm
    return U_LENGTH_SHARE * request.length_mm if stated is None else stated


def tilt_of(face: Face) -> float:
    """Return the angle between the camera's axis and the normal of the rule's face, deg.

    Parameters
    ----------
    face : Face
        Camera and the rule's face.
    """
    return float(np.degrees(np.hypot(face.view.tilt_x, face.view.tilt_y)))


def scale_words(scale: Scale) -> str:
    """Return the scale in one sentence: figure, uncertainty, marks and their scatter.

    Parameters
    ----------
    scale : Scale
        The scale.
    """
    share = 200 * scale.u_px_per_mm / scale.px_per_mm
    figure = f"{scale.px_per_mm:.3f} px/mm, U {share:.2f} %"
    if not scale.used:
        return f"Scale from two points and the length between them: {figure}."
    counts = ", ".join(f"{count} of {name}" for name, count in scale.marks)
    return (
        f"Scale from {scale.used} marks of a rule ({counts}; scatter {scale.face.rms_px:.2f} px): "
        f"{figure}."
    )
