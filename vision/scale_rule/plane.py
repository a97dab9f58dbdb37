"""Camera and the plane of a rule's face, from the rule's marks or from two points and a length.

The marks of one row are at x = x0 + n g on the rule's face, whatever the perspective: projected
back onto the face, each mark must lie at its number. Camera and face are fitted together with
priors for focal length, principal point and distortion, and for the camera's tilt, as people hold
a camera roughly square. Parameters that the marks do not determine are held by the priors, and the
covariance shows which they are. Two points and a length are the same fit with only two
observations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, Lens
from vision.least_squares import Covariance, covariance_of, fit, fit_with_scatter
from vision.scale_rule.graduation_rows import LEAST_MARKS, Row, on_face_mm, rows_of
from vision.scale_rule.graduations import SPACINGS_MM, KnownLength, Run, Unrolled

Array = NDArray[np.float64]

U_TILT = 0.21  # rad, 12 degrees: how squarely a camera is held (common practice, no source)
ROUGH_PX, MARK_FLOOR_PX = 0.3, 0.05  # scatter of marks: initial estimate and lower bound
SMALL = 1e-6  # step for numerical derivatives; for the principal point, px:
SMALL_PX = 1e-4
MOST_RUNS = 30
SIDE_PX = 3.0  # standard uncertainty of a marked line's alignment with the rule


class FaceView(NamedTuple):
    """Camera and the rule's face as the parameters that are fitted, chosen to correlate little.

    Parameters
    ----------
    tilt_x, tilt_y : float
        Tilt of the face out of the picture's plane, as a rotation vector, rad.
    spin : float
        Direction of the rule in the picture, rad.
    at_x, at_y : float
        Direction of the face's origin: x / z and y / z in the camera's frame, 1.
    log_far : float
        ln(z / focal length), the logarithm of the scale there in mm per px.
    log_focal, k1, centre_x_px, centre_y_px : float
        As in `vision.camera.Camera`.
    """

    tilt_x: float
    tilt_y: float
    spin: float
    at_x: float
    at_y: float
    log_far: float
    log_focal: float
    k1: float
    centre_x_px: float
    centre_y_px: float

    @classmethod
    def of(cls, values: Array) -> FaceView:
        """Return the view given by a vector (10,), or by the beginning of a longer one."""
        return cls(*values[: len(cls._fields)].tolist())

    def camera(self) -> Camera:
        """Return camera and face in the form of `vision.camera`, with the face as the card."""
        tilt = cv2.Rodrigues(np.array([self.tilt_x, self.tilt_y, 0.0]).reshape(3, 1))[0]
        c, s = np.cos(self.spin), np.sin(self.spin)
        turn = np.array([[c, s, 0.0], [s, -c, 0.0], [0.0, 0.0, -1.0]])  # the face's z faces us
        x, y, z = cv2.Rodrigues(np.asarray(tilt, float) @ turn)[0].ravel().tolist()
        far = float(np.exp(self.log_far + self.log_focal))
        return Camera(
            rotation_x=x,
            rotation_y=y,
            rotation_z=z,
            x_mm=self.at_x * far,
            y_mm=self.at_y * far,
            z_mm=far,
            log_focal=self.log_focal,
            k1=self.k1,
            centre_x_px=self.centre_x_px,
            centre_y_px=self.centre_y_px,
        )


STEPS = np.array([SMALL_PX if name.endswith("_px") else SMALL for name in FaceView._fields])


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """Camera and the rule's face; x runs along the rule from the first marked point, z towards us.

    Parameters
    ----------
    view : FaceView
        The fitted parameters.
    covariance : Covariance
        Their covariance.
    lens : Lens
        Prior knowledge of the camera.
    rows : tuple of Row
        The rows of marks used; empty where only two points were used.
    offsets_mm : ndarray of shape (rows,)
        Position of mark 0 of each row, mm.
    rms_px : float
        Root mean square of the marks' residuals along the rule, px.
    """

    view: FaceView
    covariance: Covariance
    lens: Lens
    rows: tuple[Row, ...]
    offsets_mm: Array
    rms_px: float

    @property
    def camera(self) -> Camera:
        """Camera and face in the form of `vision.camera`."""
        return self.view.camera()


def _start(length: KnownLength, lens: Lens) -> FaceView:
    line = length.end_px - length.begin_px
    at = (length.begin_px - np.array(lens.centre_px)) / lens.focal_px
    return FaceView(
        tilt_x=0.0,
        tilt_y=0.0,
        spin=float(np.arctan2(line[1], line[0])),
        at_x=float(at[0]),
        at_y=float(at[1]),
        log_far=float(-np.log(length.px_per_mm)),
        log_focal=float(np.log(lens.focal_px)),
        k1=lens.k1,
        centre_x_px=lens.centre_px[0],
        centre_y_px=lens.centre_px[1],
    )


def _priors(view: FaceView, lens: Lens) -> Array:
    return np.array(
        [
            view.tilt_x / U_TILT,
            view.tilt_y / U_TILT,
            (view.log_focal - np.log(lens.focal_px)) / lens.u_log_focal,
            (view.k1 - lens.k1) / lens.u_k1,
            (view.centre_x_px - lens.centre_px[0]) / lens.u_centre_px,
            (view.centre_y_px - lens.centre_px[1]) / lens.u_centre_px,
        ]
    )


def face_of_two_points(length: KnownLength, u_point_px: float, lens: Lens) -> Face:
    """Return camera and face where only two points and their distance are known.

    Parameters
    ----------
    length : KnownLength
        The points and their distance.
    u_point_px : float
        Standard uncertainty of a point in x and in y, px.
    lens : Lens
        Prior knowledge of the camera.
    """
    start = _start(length, lens)

    ends_mm = np.array([[0.0, 0.0], [length.length_mm, 0.0]])

    def cost(values: Array) -> Array:
        view = FaceView.of(values)
        off = (on_face_mm(view.camera(), length.points_px) - ends_mm) * length.px_per_mm
        return np.concatenate([off.ravel() / u_point_px, _priors(view, lens)])

    def slopes(values: Array) -> Array:
        # One-sided differences: squarely above the rule (a rotation by pi) OpenCV loses the sign
        # of so small a rotation, and central differences would give no effect of a tilt about
        # the rule.
        here = cost(values)
        return np.stack(
            [(cost(values + step) - here) / step.sum() for step in np.diag(STEPS)], axis=1
        )

    solution = fit(cost, np.array(start), slopes)
    covariance = Covariance(FaceView._fields, solution.covariance)
    return Face(FaceView.of(solution.values), covariance, lens, (), np.zeros(0), 0.0)


def face_of_marks(
    rule: Unrolled, runs: Sequence[Run], length: KnownLength, lens: Lens
) -> Face | None:
    """Return camera and face from the marks of a rule; None where too few of them agree.

    Parameters
    ----------
    rule : Unrolled
        The rule, unrolled along the marked line.
    runs : sequence of Run
        The runs of marks found on it.
    length : KnownLength
        The two marked points and their distance, for the initial parameters.
    lens : Lens
        Prior knowledge of the camera.
    """
    if not runs:
        return None
    start = _start(length, lens)
    points = [rule.to_photo(run.columns, np.full(len(run.columns), run.row)) for run in runs]
    view = _fit_runs(start, *_longest(runs, points), length, lens)
    face = None
    for _ in range(2):  # the second pass knows the face's rotation, which groups bands better
        rows, offsets = rows_of(view.camera(), runs, points, length.px_per_mm / rule.step_px)
        if not rows:
            return None
        face = _fit_rows(view, rows, offsets, length, lens)
        if face is None:
            return None
        view = face.view
    return face


def _longest(runs: Sequence[Run], points: list[Array]) -> tuple[list[Run], list[Array]]:
    """Return the longest runs, enough for initial parameters."""
    order = sorted(range(len(runs)), key=lambda i: -len(runs[i].columns))[:MOST_RUNS]
    return [runs[i] for i in order], [points[i] for i in order]


def _sides(ends_px: Array) -> Array:
    """Return residuals that hold the first marked point at (0, 0) and the second at y = 0."""
    (x, y), (_, far) = ends_px
    return np.array([x, y / 0.5, far / SIDE_PX])


def _fit_runs(
    start: FaceView,
    runs: Sequence[Run],
    points: list[Array],
    length: KnownLength,
    lens: Lens,
) -> FaceView:
    """Fit camera and face to runs, each with a free offset."""
    points_px = np.concatenate([*points, length.points_px])
    ideal = np.concatenate([np.arange(len(run.columns)) * SPACINGS_MM[run.name] for run in runs])
    which = np.repeat(np.arange(len(runs)), [len(run.columns) for run in runs])
    count, scale = np.bincount(which), length.px_per_mm

    def cost(values: Array) -> Array:
        view = FaceView.of(values)
        on_face = on_face_mm(view.camera(), points_px)
        off = on_face[:-2, 0] - ideal
        off = (off - (np.bincount(which, off) / count)[which]) * scale
        return np.concatenate(
            [off / 0.5, _sides(on_face[-2:] * length.px_per_mm), _priors(view, lens)]
        )

    return FaceView.of(fit(cost, np.array(start), STEPS, robust=len(ideal)).values)


def _fit_rows(
    start: FaceView,
    rows: list[Row],
    offsets: list[float],
    length: KnownLength,
    lens: Lens,
) -> Face | None:
    points_px = np.concatenate([*(row.points_px for row in rows), length.points_px])
    ideal = np.concatenate([row.numbers * SPACINGS_MM[row.name] for row in rows])
    which = np.repeat(np.arange(len(rows)), [len(row.numbers) for row in rows])
    fitted = len(FaceView._fields)

    @lru_cache(maxsize=1)
    def seen(view: FaceView) -> Array:
        """Return the points on the face; cached, as most steps move a row and not the camera."""
        return on_face_mm(view.camera(), points_px)

    def placed(full: Array) -> tuple[Array, Array]:
        """Return the marks' distances from their numbers, and the two marked points, px."""
        on_face = seen(FaceView.of(full))
        off = on_face[:-2, 0] - ideal - full[fitted:][which]
        return off * length.px_per_mm, on_face[-2:] * length.px_per_mm

    def cost(full: Array, sigma: float) -> Array:
        off, ends = placed(full)
        return np.concatenate([off / sigma, _sides(ends), _priors(FaceView.of(full), lens)])

    full = np.array([*start, *offsets])
    steps = np.append(STEPS, np.full(len(offsets), SMALL))
    solution, sigma = fit_with_scatter(
        cost, full, steps, robust=len(ideal), sigma=ROUGH_PX, floor=MARK_FLOOR_PX
    )
    full = solution.values
    off, _ = placed(full)
    good = np.abs(off) < 4 * sigma
    sound = [
        i
        for i in range(len(rows))
        if len(np.unique(rows[i].numbers[good[which == i]])) >= max(LEAST_MARKS, rows[i].marks / 2)
    ]
    if not sound:
        return None
    if len(sound) < len(rows):  # a row that does not fit the others is not part of this rule
        return _fit_rows(
            start,
            [rows[i] for i in sound],
            [offsets[i] for i in sound],
            length,
            lens,
        )
    # A mark seen in many bands counts once: they all share its error.
    repeated = len(ideal) / sum(row.marks for row in rows)
    root = solution.root
    root[: len(ideal)] /= np.sqrt(repeated)
    covariance = Covariance(FaceView._fields, covariance_of(root)[:fitted, :fitted])
    rms = float(np.sqrt((off[good] ** 2).mean()))
    used = tuple(
        replace(
            row, points_px=row.points_px[good[which == i]], numbers=row.numbers[good[which == i]]
        )
        for i, row in enumerate(rows)
    )
    return Face(FaceView.of(full), covariance, lens, used, full[fitted:], rms)
