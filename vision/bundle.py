"""The bundle adjustment behind a calibration: all corners of all photographs, in one fit.

One vector: ln(focal length), principal point, distortion, shape of the board (`SHARED` numbers),
then six for each photograph's pose. Lengths are squares of the board. Each number has knowledge
beforehand, see `vision.calibrate`.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.board import COLUMNS, ROWS, FoundBoard

Array = NDArray[np.float64]

NAMES = ("log focal", "centre x", "centre y", "k1", "k2", "p1", "p2")
LENS, SHARED = len(NAMES), len(NAMES) + 4  # then: stretch across, bow along, twist, bow across
# Known beforehand, of no particular camera (common practice, no source): principal point within
# some percent of the long side, distortion as strong as an unstraightened phone picture's, a
# plate flat to half a millimetre at a square of 25 mm.
U_LOG_FOCAL, U_CENTRE_SHARE = 0.5, 0.03
U_K1, U_K2, U_P = 0.3, 0.5, 0.003
U_BOW = 0.02
U_STRETCH = 0.014  # an unchecked print: 1 % along and 1 % across, independently
FLOOR_PX = 0.03  # corners are never believed to be better than this
HUBER = 2.5


def knowledge(
    size: tuple[int, int], focal_px: float | None, stretch: float, u_stretch: float
) -> tuple[Array, Array]:
    """Return what is known of the shared numbers beforehand, and its standard uncertainties."""
    width, height = size
    log_focal = np.log(focal_px or 0.8 * max(size))
    prior = np.array([log_focal, (width - 1) / 2, (height - 1) / 2, 0, 0, 0, 0, stretch, 0, 0, 0])
    centre = U_CENTRE_SHARE * max(size)
    u = [U_LOG_FOCAL, centre, centre, U_K1, U_K2, U_P, U_P, u_stretch, U_BOW, U_BOW, U_BOW]
    return prior.astype(float), np.array(u)


def first_poses(boards: Sequence[FoundBoard], prior: Array) -> list[Array]:
    """Return a pose to start from for each photograph: OpenCV's calibration without distortion."""
    flat = [np.column_stack([b.corners, np.zeros(len(b.corners))]).astype(np.float32)
            for b in boards]  # fmt: skip
    seen = [b.corners_px.astype(np.float32) for b in boards]
    K = np.array([[np.exp(prior[0]), 0, prior[1]], [0, np.exp(prior[0]), prior[2]], [0, 0, 1]])
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K2
        | cv2.CALIB_FIX_K3
    )
    size = (int(2 * prior[1] + 1), int(2 * prior[2] + 1))
    _, _, _, turns, shifts = cv2.calibrateCamera(flat, seen, size, K, np.zeros(5), flags=flags)
    return [np.concatenate([np.ravel(r), np.ravel(t)]).astype(float)
            for r, t in zip(turns, shifts, strict=True)]  # fmt: skip


def seen_px(x: Array, i: int, board: FoundBoard) -> tuple[Array, Array]:
    """Return where photograph i shows the board's corners, px (N, 2), and the Jacobian.

    The Jacobian (2 N, SHARED + 6) is by the shared numbers, then by the photograph's pose.
    """
    stretch, bow_along, twist, bow_across = x[LENS:SHARED]
    across = board.corners[:, 1]
    u, v = board.corners[:, 0] / (COLUMNS / 2), across / (ROWS / 2)
    height = bow_along * u * u + twist * u * v + bow_across * v * v
    solid = np.column_stack([board.corners[:, 0], across * (1 + stretch), height])
    f = float(np.exp(x[0]))
    K = np.array([[f, 0, x[1]], [0, f, x[2]], [0, 0, 1]])
    pose = x[SHARED + 6 * i : SHARED + 6 * i + 6]
    lens = np.array([*x[3:LENS], 0.0])
    seen, J = cv2.projectPoints(solid.reshape(-1, 1, 3), pose[:3], pose[3:], K, lens)
    jacobian = np.empty((2 * len(u), SHARED + 6))
    jacobian[:, 0] = f * (J[:, 6] + J[:, 7])
    jacobian[:, 1:3], jacobian[:, 3:LENS] = J[:, 8:10], J[:, 10:14]
    # moving a point by (dx, dy, dz) is moving the camera's frame by R times that
    per = J[:, 3:6] @ np.asarray(cv2.Rodrigues(pose[:3])[0], float)
    u2, v2 = np.repeat(u, 2), np.repeat(v, 2)
    jacobian[:, LENS] = per[:, 1] * np.repeat(across, 2)
    for at, shape in enumerate((u2 * u2, u2 * v2, v2 * v2), start=LENS + 1):
        jacobian[:, at] = per[:, 2] * shape
    jacobian[:, SHARED:] = J[:, :6]
    return np.asarray(seen, float).reshape(-1, 2), jacobian


def misfit(
    x: Array, boards: Sequence[FoundBoard], sigma: Array, prior: Array, u_prior: Array
) -> tuple[Array, Array]:
    """Return all residuals over their standard uncertainty, priors last, and their Jacobian."""
    residuals, blocks = [], []
    for i, board in enumerate(boards):
        seen, J = seen_px(x, i, board)
        residuals.append((seen - board.corners_px).ravel() / sigma[i])
        block = np.zeros((len(J), len(x)))
        block[:, :SHARED] = J[:, :SHARED] / sigma[i]
        block[:, SHARED + 6 * i : SHARED + 6 * i + 6] = J[:, SHARED:] / sigma[i]
        blocks.append(block)
    held = np.zeros((SHARED, len(x)))
    held[:, :SHARED] = np.diag(1 / u_prior)
    residuals.append((x[:SHARED] - prior) / u_prior)
    return np.concatenate(residuals), np.vstack([*blocks, held])


def fitted(
    x: Array, boards: Sequence[FoundBoard], sigma: Array, prior: Array, u_prior: Array, steps: int
) -> Array:
    """Levenberg and Marquardt with Huber's weights, so that one false corner pulls little."""
    damping = 1e-4
    residuals, J = misfit(x, boards, sigma, prior, u_prior)
    for _ in range(steps):
        weights = np.minimum(1.0, HUBER / np.maximum(np.abs(residuals), 1e-12))
        normal, pull = (J.T * weights) @ J, -(J.T * weights) @ residuals
        move = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), pull)
        tried, ahead = misfit(x + move, boards, sigma, prior, u_prior)
        if (weights * tried**2).sum() <= (weights * residuals**2).sum():
            x, residuals, J, damping = x + move, tried, ahead, max(damping / 10, 1e-12)
            if pull @ move < 1e-4:  # what was left to gain, in units of chi squared
                break
        else:
            damping *= 10
    return np.asarray(x, float)


def spread_px(off: Array, photographs: int) -> float:
    """Return the standard deviation of a photograph's corners, px, false ones left out."""
    rough = max(1.4826 * float(np.median(np.abs(off))), FLOOR_PX)
    weights = np.minimum(1.0, HUBER * rough / np.maximum(np.abs(off), 1e-12))
    dof = max(4.0, off.size - 6 - SHARED / photographs)  # that the fit left
    return max(float(np.sqrt((weights * off**2).sum() / dof)), FLOOR_PX)


def covariance_of(
    x: Array, boards: Sequence[FoundBoard], sigma: Array, prior: Array, u_prior: Array
) -> Array:
    """Return the covariance of the shared numbers: the inverse of the normal matrix."""
    residuals, J = misfit(x, boards, sigma, prior, u_prior)
    weights = np.sqrt(np.minimum(1.0, HUBER / np.maximum(np.abs(residuals), 1e-12)))
    root = J * weights[:, None]
    scale = np.linalg.norm(root, axis=0)  # as a unit: the numbers differ by many powers of ten
    triangle = np.linalg.inv(np.linalg.qr(root / scale, mode="r"))
    whole = triangle @ triangle.T / np.outer(scale, scale)
    return np.asarray(whole[:SHARED, :SHARED])
