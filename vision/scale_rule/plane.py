"""Camera and the plane of a rule's face, from the rule's marks or from two points and a length.

The marks of one row stand at x = x0 + n g on the rule's face, whatever the perspective: seen
back on the face, each mark must lie on its number. Camera and face are one vector (see
`vision.camera`), fitted with what is known beforehand: focal length, principal point, lens, and
that people hold a camera roughly square. What the marks can't tell, that knowledge holds, and
the covariance says which was the case. Two points and a length are the same fit with only two
observations.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import CX, CY, K1, LOG_F, SIZE, Lens
from vision.scale_rule.graduation_rows import LEAST_MARKS, Row, on_face_mm, rows_of
from vision.scale_rule.graduations import SPACINGS_MM, Run, Unrolled

Array = NDArray[np.float64]

# Numbers that are fitted: two tilts, turn, place (x / z, y / z, ln(z / f)), ln f, k1, centre.
TILT_X, TILT_Y, SPIN, AT_X, AT_Y, LOG_FAR, FOCAL, LENS_K1, CENTRE_X, CENTRE_Y = range(10)
KNOWN = 10
U_TILT = 0.21  # rad, 12 degrees: how square a camera is held (common practice, no source)
MARK_FLOOR_PX = 0.05
HUBER, STEPS = 2.5, 12
MOST_RUNS = 30
SIDE_PX = 3.0  # how well a marked line runs along the rule


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """Camera and the rule's face.

    Parameters
    ----------
    theta : ndarray of shape (12,)
        Camera and face as in `vision.camera`; x runs along the rule from the first marked point,
        z towards the camera.
    fitted : ndarray of shape (10,)
        The same as it was fitted, see this module.
    covariance : ndarray of shape (10, 10)
        Its covariance.
    lens : Lens
        What was known of the camera.
    rows : tuple of Row
        The rows of marks that were used; none where two points had to do.
    offsets_mm : ndarray of shape (rows,)
        Where mark 0 of each row lies, mm.
    rms_px : float
        Root mean square of the marks' residuals along the rule, px.
    """

    theta: Array
    fitted: Array
    covariance: Array
    lens: Lens
    rows: tuple[Row, ...]
    offsets_mm: Array
    rms_px: float


def theta_of(fitted: Array) -> Array:
    """Return the vector of `vision.camera` from the numbers that are fitted."""
    tilt = cv2.Rodrigues(np.array([fitted[TILT_X], fitted[TILT_Y], 0.0]).reshape(3, 1))[0]
    c, s = np.cos(fitted[SPIN]), np.sin(fitted[SPIN])
    turn = np.array([[c, s, 0.0], [s, -c, 0.0], [0.0, 0.0, -1.0]])  # z of the face is ours
    theta = np.zeros(SIZE)
    theta[:3] = cv2.Rodrigues(np.asarray(tilt, float) @ turn)[0].ravel()
    far = float(np.exp(fitted[LOG_FAR] + fitted[FOCAL]))
    theta[3:6] = fitted[AT_X] * far, fitted[AT_Y] * far, far
    theta[LOG_F], theta[K1] = fitted[FOCAL], fitted[LENS_K1]
    theta[CX], theta[CY] = fitted[CENTRE_X], fitted[CENTRE_Y]
    return theta


def _start(one: Array, other: Array, length_mm: float, lens: Lens) -> Array:
    line = other - one
    fitted = np.zeros(KNOWN)
    f, centre = lens.focal_px, np.array(lens.centre_px)
    fitted[SPIN] = np.arctan2(line[1], line[0])
    fitted[[AT_X, AT_Y]] = (one - centre) / f
    fitted[LOG_FAR] = np.log(length_mm / float(np.linalg.norm(line)))
    fitted[FOCAL], fitted[LENS_K1] = np.log(f), lens.k1
    fitted[[CENTRE_X, CENTRE_Y]] = centre
    return fitted


def _priors(fitted: Array, lens: Lens) -> Array:
    known = [np.log(lens.focal_px), lens.k1, *lens.centre_px]
    u = [lens.u_log_focal, lens.u_k1, lens.u_centre_px, lens.u_centre_px]
    return np.concatenate(
        [fitted[[TILT_X, TILT_Y]] / U_TILT, (fitted[FOCAL:KNOWN] - known) / np.array(u)]
    )


def face_of_two_points(
    one: Array, other: Array, length_mm: float, u_point_px: float, lens: Lens
) -> Face:
    """Return camera and face where only two points and their distance are known.

    Parameters
    ----------
    one, other : ndarray of shape (2,)
        The points, px.
    length_mm : float
        Distance between them, mm.
    u_point_px : float
        Standard uncertainty of a point in x and in y, px.
    lens : Lens
        What is known of the camera.
    """
    start = _start(one, other, length_mm, lens)
    points = np.stack([one, other])
    scale = float(np.linalg.norm(other - one)) / length_mm

    def cost(fitted: Array) -> Array:
        off = (on_face_mm(theta_of(fitted), points) - [[0, 0], [length_mm, 0]]) * scale
        return np.concatenate([off.ravel() / u_point_px, _priors(fitted, lens)])

    fitted, root = _settle(cost, start, 0)
    return Face(theta_of(fitted), fitted, _inverse(root), lens, (), np.zeros(0), 0.0)


def face_of_marks(
    rule: Unrolled, runs: Sequence[Run], one: Array, other: Array, length_mm: float, lens: Lens
) -> Face | None:
    """Return camera and face from the marks of a rule; None where too few of them agree.

    Parameters
    ----------
    rule : Unrolled
        The rule, unrolled along the marked line.
    runs : sequence of Run
        What was found on it.
    one, other, length_mm
        The two marked points, px, and their distance: where to start.
    lens : Lens
        What is known of the camera.
    """
    if not runs:
        return None
    start = _start(one, other, length_mm, lens)
    scale = float(np.exp(-start[LOG_FAR]))
    points = [rule.to_photo(run.columns, np.full(len(run.columns), run.row)) for run in runs]
    fitted = _fit_runs(start, *_longest(runs, points), one, other, scale, lens)
    face = None
    for _ in range(2):  # the second time with the face's own turn, that gathers bands better
        rows, offsets = rows_of(theta_of(fitted), runs, points, scale / rule.step_px)
        if not rows:
            return None
        face = _fit_rows(fitted, rows, offsets, one, other, scale, lens)
        if face is None:
            return None
        fitted = face.fitted
    return face


def _longest(runs: Sequence[Run], points: list[Array]) -> tuple[list[Run], list[Array]]:
    """Return the longest runs: enough to begin with."""
    order = sorted(range(len(runs)), key=lambda i: -len(runs[i].columns))[:MOST_RUNS]
    return [runs[i] for i in order], [points[i] for i in order]


def _sides(ends_px: Array) -> Array:
    """Hold the first point at (0, 0) and the second at y = 0, as well as people mark them."""
    (x, y), (_, far) = ends_px
    return np.array([x, y / 0.5, far / SIDE_PX])


def _fit_runs(
    start: Array, runs: Sequence[Run], points: list[Array], one: Array, other: Array,
    scale: float, lens: Lens,
) -> Array:  # fmt: skip
    """Fit camera and face to runs that may each begin anywhere."""
    every = np.concatenate([*points, [one, other]])
    ideal = np.concatenate([np.arange(len(run.columns)) * SPACINGS_MM[run.name] for run in runs])
    which = np.repeat(np.arange(len(runs)), [len(run.columns) for run in runs])
    count = np.bincount(which)

    def cost(fitted: Array) -> Array:
        there = on_face_mm(theta_of(fitted), every)
        off = there[:-2, 0] - ideal
        off = (off - (np.bincount(which, off) / count)[which]) * scale
        return np.concatenate([off / 0.5, _sides(there[-2:] * scale), _priors(fitted, lens)])

    return _settle(cost, start, len(ideal))[0]


def _fit_rows(
    start: Array, rows: list[Row], offsets: list[float], one: Array, other: Array,
    scale: float, lens: Lens,
) -> Face | None:  # fmt: skip
    every = np.concatenate([*(row.points_px for row in rows), [one, other]])
    ideal = np.concatenate([row.numbers * SPACINGS_MM[row.name] for row in rows])
    which = np.repeat(np.arange(len(rows)), [len(row.numbers) for row in rows])
    sigma = 0.3

    def placed(full: Array) -> tuple[Array, Array]:
        """Return how far marks lie off their numbers, and where the two ends lie, px."""
        there = on_face_mm(theta_of(full[:KNOWN]), every)
        return (there[:-2, 0] - ideal - full[KNOWN:][which]) * scale, there[-2:] * scale

    def cost(full: Array) -> Array:
        off, ends = placed(full)
        return np.concatenate([off / sigma, _sides(ends), _priors(full[:KNOWN], lens)])

    full = np.concatenate([start, offsets])
    for _ in range(3):
        full, root = _settle(cost, full, len(ideal))
        off, _ = placed(full)
        sigma = max(1.4826 * float(np.median(np.abs(off))), MARK_FLOOR_PX)
    good = np.abs(off) < 4 * sigma
    sound = [
        i for i in range(len(rows))
        if len(np.unique(rows[i].numbers[good[which == i]])) >= max(LEAST_MARKS, rows[i].marks / 2)
    ]  # fmt: skip
    if not sound:
        return None
    if len(sound) < len(rows):  # a row that does not fit the others is no row of this rule
        return _fit_rows(
            start, [rows[i] for i in sound], [offsets[i] for i in sound], one, other, scale, lens
        )
    # One mark seen in many bands is one mark: its own fault is in all of them.
    repeated = len(ideal) / sum(row.marks for row in rows)
    root[: len(ideal)] /= np.sqrt(repeated)
    cov = _inverse(root)[:KNOWN, :KNOWN]
    rms = float(np.sqrt((off[good] ** 2).mean()))
    kept = tuple(
        replace(
            row, points_px=row.points_px[good[which == i]], numbers=row.numbers[good[which == i]]
        )
        for i, row in enumerate(rows)
    )
    return Face(
        theta_of(full[:KNOWN]), full[:KNOWN], np.asarray(cov), lens, kept, full[KNOWN:], rms
    )


def _settle(cost: Callable[[Array], Array], start: Array, marks: int) -> tuple[Array, Array]:
    """Gauss and Newton's steps, the first `marks` residuals with Huber's weights.

    Returns the answer and the weighted Jacobian there.
    """
    at = start.copy()
    size = np.ones(len(at))
    size[[CENTRE_X, CENTRE_Y]] = 100.0
    weights = np.ones(len(cost(at)))
    root = np.zeros((len(weights), len(at)))
    for _ in range(STEPS):
        here = cost(at)
        weights[:marks] = np.sqrt(np.minimum(1.0, HUBER / np.maximum(np.abs(here[:marks]), 1e-12)))
        for i in range(len(at)):
            nudged = at.copy()
            nudged[i] += 1e-6 * size[i]
            root[:, i] = (cost(nudged) - here) / (1e-6 * size[i]) * weights
        unit = np.maximum(np.linalg.norm(root, axis=0), 1e-12)
        scaled = root / unit
        normal = scaled.T @ scaled + 1e-12 * np.eye(len(at))
        move = np.linalg.solve(normal, -scaled.T @ (here * weights)) / unit
        worth = float(((here * weights) ** 2).sum())
        part = 1.0
        while part > 0.05 and float(((cost(at + part * move) * weights) ** 2).sum()) > worth:
            part /= 2
        at = at + part * move
        if np.abs(root @ move).max() < 1e-3:
            break
    return at, root


def _inverse(root: Array) -> Array:
    """Return the covariance that a weighted Jacobian stands for."""
    unit = np.linalg.norm(root, axis=0)  # the numbers differ by many powers of ten
    triangle = np.linalg.inv(np.linalg.qr(root / unit, mode="r"))
    return np.asarray(triangle @ triangle.T / np.outer(unit, unit))
