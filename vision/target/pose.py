"""Where the camera stood: pose, focal length and card shape in one fit, with covariance.

Everything that the corners depend on is one vector of twelve (`vision.camera`), fitted at once
with what is known beforehand as prior knowledge (Bayesian least squares; JCGM 102:2011, and
Triggs et al., Bundle Adjustment, 2000, section 4). What the corners can't tell, the prior holds;
what they can, they improve, and the covariance says which was the case.

With the wide prior of an unknown camera the same fit finds the focal length as far as the tilt
allows (Zhang 2000). A page stretched one way is fitted within its uncertainty, lest it pass for a
tilt or a bend. A curl about the rope's own direction can't be seen by two rows of corners; the
term for the gap covers what it does to the rope's height.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import (
    CURL,
    CX,
    CY,
    K1,
    LOG_F,
    SIZE,
    TWIST,
    U_LOG_UNKNOWN_FOCAL,
    Lens,
    bent_mm,
    rotation,
)
from vision.findings import RefusedError, finding, limit_of, refuse_above
from vision.results import Finding
from vision.target.detect import MIN_CORNERS, FoundCard
from vision.target.layout import Card

Array = NDArray[np.float64]

CORNER_FLOOR_PX = 0.03  # corners are never believed to be better than this
CARD_TELLS = 0.10  # the card is asked for a focal length that it knows at least as well
FEW_STEPS, MOST_STEPS = 30, 200  # to choose a start, to follow it
U_BEND_MM = 0.5  # a card that somebody took care to hold flat


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Camera and card as the corners show them.

    Parameters
    ----------
    theta : ndarray of shape (12,) or (15,)
        The vector of `vision.camera`'s table; 15 where a calibrated lens bends further.
    covariance : ndarray of shape (12, 12)
        Covariance of its first twelve, without what the print scale adds.
    scale_shift : ndarray of shape (12, 2)
        Change of `theta` per unit of print scale along (0) and across (1).
    u_scale : ndarray of shape (2,)
        Standard uncertainty of the print scale along and across, 1.
    lens : Lens
        What was known of the camera beforehand.
    rms_px : float
        Root mean square of the corners' residuals, px.
    corners : int
        Number of corners used.
    findings : tuple of Finding
        Warnings.
    """

    theta: Array
    covariance: Array
    scale_shift: Array
    u_scale: Array
    lens: Lens
    rms_px: float
    corners: int
    findings: tuple[Finding, ...]

    @property
    def focal_px(self) -> float:
        """Focal length, px."""
        return float(np.exp(self.theta[LOG_F]))

    @property
    def u_focal_px(self) -> float:
        """Standard uncertainty of the focal length, px."""
        return self.focal_px * float(np.sqrt(self.whole_covariance[LOG_F, LOG_F]))

    @property
    def whole_covariance(self) -> Array:
        """Covariance of `theta` (12, 12), the print scale with it."""
        by_scale = self.scale_shift * self.u_scale
        return np.asarray(self.covariance + by_scale @ by_scale.T)


def solve_pose(found: FoundCard, card: Card, lens: Lens) -> Pose:
    """Fit camera and card to the corners.

    Parameters
    ----------
    found : FoundCard
        Corners of one card.
    card : Card
        The same card with the scale of its print.
    lens : Lens
        What is known of the camera.

    Raises
    ------
    RefusedError
        If there are too few corners, on one side only, or the card is bent.
    """
    upper = int((found.corners_mm[:, 1] > 0).sum())
    count = len(found.corners_mm)
    if count < MIN_CORNERS or min(upper, count - upper) < 2:
        raise RefusedError(finding("too-few-markers", float(count), limit=MIN_CORNERS))
    pose = _fit(found, card, lens)
    warnings: list[Finding] = []
    if lens.known:
        if _surely_disagrees(pose, lens):
            free = _fit(found, card, replace(lens, u_log_focal=U_LOG_UNKNOWN_FOCAL, known=False))
            percent = 100 * abs(free.focal_px / lens.focal_px - 1)
            if percent > limit_of("focal-disagrees"):
                warnings.append(finding("focal-disagrees", percent))
                pose = free
    else:
        warnings.append(finding("focal-unknown", 100 * pose.u_focal_px / pose.focal_px))
    warnings += _flatness(pose)
    return replace(pose, findings=tuple(warnings))


def _fit(found: FoundCard, card: Card, lens: Lens) -> Pose:
    drawn, seen = found.corners_mm, found.corners_px
    half = card.layout.length_mm / 2, card.layout.half_height_mm
    prior = np.array([np.log(lens.focal_px), lens.k1, *lens.centre_px, 0, 0, 0, 0], float)
    u_scale = np.maximum([card.u_scale_x, card.u_scale_y], 1e-6)
    u_prior = np.array([lens.u_log_focal, lens.u_k1, lens.u_centre_px, lens.u_centre_px,
                        U_BEND_MM, U_BEND_MM, *u_scale], float)  # fmt: skip
    flat = drawn * [card.scale_x, card.scale_y]
    further = np.array([lens.k2, lens.p1, lens.p2])

    def model(t: Array) -> tuple[Array, Array]:
        return _corners(t, flat, half, further)

    def fitted(start: Array, steps: int) -> tuple[Array, Array, Array]:
        return _least_squares(start, seen, prior, u_prior, model, steps)

    rough = [fitted(start, FEW_STEPS) for start in _starts(flat, seen, prior)]
    best = min(rough, key=lambda fit: float((fit[2] * fit[1] ** 2).sum()))
    theta, residuals, weights = fitted(best[0], MOST_STEPS)
    jacobian = model(theta)[1]
    dof = max(4, 2 * len(seen) - 8)  # that the fit left: a Type A figure from the residuals
    rms = float(np.sqrt((weights * residuals**2).sum() / dof))
    sigma = max(rms, CORNER_FLOOR_PX)
    known = np.eye(len(theta))[6:] / u_prior[:, None]
    root = np.vstack([jacobian * np.sqrt(weights)[:, None] / sigma, known])
    size = np.linalg.norm(root, axis=0)  # as a unit: the numbers differ by many powers of ten
    triangle = np.linalg.inv(np.linalg.qr(root / size, mode="r"))
    whole = triangle @ triangle.T / np.outer(size, size)
    # the answer is linear in all that was put in: how it follows the print's scale, and the rest
    scale_shift = whole[:SIZE, SIZE:] / u_scale**2
    rest = whole[:SIZE] @ root[:-2].T
    theta = np.append(theta[:SIZE], further if further.any() else [])
    cov = np.asarray(rest @ rest.T)
    return Pose(theta, cov, np.asarray(scale_shift), u_scale, lens, rms, len(seen), ())


def _starts(flat_mm: Array, seen: Array, prior: Array) -> list[Array]:
    """Return both poses that a plane seen from afar allows (Collins and Bartoli 2014)."""
    f = np.exp(prior[0])
    K = np.array([[f, 0, prior[2]], [0, f, prior[3]], [0, 0, 1]])
    points = np.column_stack([flat_mm, np.zeros(len(flat_mm))]).reshape(-1, 1, 3)
    _, turns, shifts, _ = cv2.solvePnPGeneric(
        points, seen.reshape(-1, 1, 2), K, np.zeros((4, 1)), flags=cv2.SOLVEPNP_IPPE
    )
    starts = [
        np.concatenate([np.asarray(r).ravel(), np.asarray(t).ravel(), prior])
        for r, t in zip(turns, shifts, strict=True)
    ]
    finite = [start for start in starts if np.isfinite(start).all()]
    if finite:
        return finite
    # a scan seen exactly from the front has no second pose, and the closed form divides by zero
    _, turn, shift = cv2.solvePnP(points, seen.reshape(-1, 1, 2), K, np.zeros((4, 1)))
    return [np.concatenate([np.asarray(turn).ravel(), np.asarray(shift).ravel(), prior])]


def _corners(
    theta: Array, flat_mm: Array, half: tuple[float, float], further: Array
) -> tuple[Array, Array]:
    """Return corners of the bent card in the photograph (2 N,), px, and their Jacobian (2 N, 14).

    Curl and twist are a point's own shift in z, sent the way of OpenCV's translation.
    """
    flat_mm = flat_mm * (1 + theta[SIZE:])
    points = bent_mm(theta, flat_mm, *half)
    f = float(np.exp(theta[LOG_F]))
    K = np.array([[f, 0, theta[CX]], [0, f, theta[CY]], [0, 0, 1]])
    lens = np.array([theta[K1], *further, 0])
    turn, shift = theta[:3].reshape(3, 1), theta[3:6].reshape(3, 1)
    seen, J = cv2.projectPoints(points.reshape(-1, 1, 3), turn, shift, K, lens)
    jacobian = np.empty((2 * len(points), SIZE + 2))
    jacobian[:, :6] = J[:, :6]
    jacobian[:, LOG_F] = f * (J[:, 6] + J[:, 7])
    jacobian[:, CX], jacobian[:, CY], jacobian[:, K1] = J[:, 8], J[:, 9], J[:, 10]
    per_mm = J[:, 3:6] @ rotation(theta)  # a point's shift is the frame's by R times that
    x, y = np.repeat(flat_mm[:, 0] / half[0], 2), np.repeat(flat_mm[:, 1] / half[1], 2)
    jacobian[:, CURL], jacobian[:, TWIST] = per_mm[:, 2] * x * x, per_mm[:, 2] * x * y
    jacobian[:, SIZE] = per_mm[:, 0] * x * half[0]
    jacobian[:, SIZE + 1] = per_mm[:, 1] * y * half[1]
    return np.asarray(seen, float).ravel(), jacobian


def _least_squares(
    start: Array,
    seen: Array,
    prior: Array,
    u_prior: Array,
    model: Callable[[Array], tuple[Array, Array]],
    steps: int,
) -> tuple[Array, Array, Array]:
    """Levenberg and Marquardt with Huber's weights, so that one false corner pulls little."""
    target = seen.ravel()
    theta, damping, sigma = start.copy(), 1e-6, 0.1
    weights = np.ones(seen.size)

    def cost(t: Array, r: Array) -> float:
        return float((weights * r * r).sum() / sigma**2 + (((t[6:] - prior) / u_prior) ** 2).sum())

    predicted, jacobian = model(theta)
    residuals = predicted - target
    settled = 0
    for _ in range(steps):
        along = jacobian @ _valley(theta)
        normal = (along.T * weights) @ along / sigma**2
        pull = -(along.T * weights) @ residuals / sigma**2
        normal[6:, 6:] += np.diag(1 / u_prior**2)
        pull[6:] -= (theta[6:] - prior) / u_prior**2
        move = np.asarray(np.linalg.solve(normal + damping * np.diag(np.diag(normal)), pull), float)
        tried = _moved(theta, move)
        predicted, ahead = model(tried)
        small = bool(pull @ move < 1e-5)  # what is left to gain, in units of chi squared
        if cost(tried, predicted - target) <= cost(theta, residuals):
            theta, residuals, jacobian = tried, predicted - target, ahead
            damping = max(damping / 10, 1e-9)
        else:
            damping *= 10
        if small or damping > 1e6:
            settled += 1
            if settled > 3:
                break
            spread = 1.4826 * float(np.median(np.abs(residuals)))
            sigma, damping = max(spread, CORNER_FLOOR_PX), 1e-6
            weights = np.minimum(1.0, 2.5 * sigma / np.maximum(np.abs(residuals), 1e-12))
    return theta, residuals, weights


def _valley(theta: Array) -> Array:
    """Return the derivative of `theta` by the numbers that the fit steps in (14, 14).

    A longer focal length from farther away looks much the same; steps in x / z, y / z and
    ln(z / focal length) in place of x, y, z run along that valley.
    """
    (x, y, z), turned = theta[3:6], np.eye(len(theta))
    turned[3:6, 3:6] = [[z, 0, x], [0, z, y], [0, 0, z]]
    turned[3:6, LOG_F] = x, y, z
    return turned


def _moved(theta: Array, move: Array) -> Array:
    """Return `theta` after a step in the numbers of `_valley`."""
    move = move.copy()
    move[[5, LOG_F]] = np.clip(move[[5, LOG_F]], -0.5, 0.5)  # no step to infinity
    moved = theta + move
    z = theta[5] * np.exp(move[5] + move[LOG_F])
    moved[3:6] = *((theta[3:5] / theta[5] + move[3:5]) * z), z
    return np.asarray(moved, float)


def _surely_disagrees(pose: Pose, lens: Lens) -> bool:
    """Tell whether the card's own focal length is surely not the stated one."""
    variance = pose.whole_covariance[LOG_F, LOG_F]
    own = 1 / variance - 1 / lens.u_log_focal**2
    if own < 1 / CARD_TELLS**2:  # nearly square on, a card says next to nothing
        return False
    logged = np.log(lens.focal_px)
    seen = (pose.theta[LOG_F] / variance - logged / lens.u_log_focal**2) / own
    return bool(abs(seen - logged) > 3 * np.hypot(1 / np.sqrt(own), lens.u_log_focal))


def _flatness(pose: Pose) -> list[Finding]:
    bend = abs(pose.theta[CURL]) + abs(pose.theta[TWIST])
    variances = np.diag(pose.whole_covariance)
    u_bend = float(np.sqrt(variances[CURL] + variances[TWIST]))
    surely = bend - 2 * u_bend
    refuse_above("card-bent", surely)
    return [finding("card-slightly-bent", bend)] if surely > limit_of("card-slightly-bent") else []
