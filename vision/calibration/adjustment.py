"""The bundle adjustment behind a calibration: all corners of all photographs, in one fit.

One vector: ln(focal length), principal point, distortion, shape of the board (`SHARED` numbers),
then six for each photograph's pose. Lengths are squares of the board. Each number has knowledge
beforehand, see `vision.calibration.adjustment`.

A camera's numbers from photographs of the calibration board, with their covariance.

One bundle adjustment (Triggs et al., Bundle Adjustment, 2000; camera model of Brown 1971): focal
length, principal point, distortion (k1, k2 radial; p1, p2 tangential), what the printer and a
plate that is not quite flat did to the board, and where each photograph was taken from, fitted
at once to all corners. As in `vision.target.pose` every number has wide knowledge beforehand in
place of a choice of model: what the photographs can't tell, the prior holds, and the covariance
says which was the case. So k2, p1 and p2 are always in, and harmless where nothing supports them.

Pixels are taken as square: those of phones are, to far better than the board's print, whose
unequal stretch looks just the same and is fitted instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.calibration.board import COLUMNS, ROWS, FoundBoard

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


LEAST_PHOTOGRAPHS = 8
MOST_U_FOCAL = 0.004  # above, the photographs were taken from too much the same direction
LEAST_COVERAGE = 0.60  # of the picture's fields that hold a corner
FIELDS = (8, 6)
MOST_RMS_SHARE = 4e-4  # of the long side: 1.6 px of 4,000; above, this lens bends otherwise
ZOOM_OFF = 0.03  # a photograph whose own focal length is surely so far off was zoomed or cropped


class CalibrationError(ValueError):
    """Photographs that give no calibration; the message is one sentence for people."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A camera's numbers, in the frame of the photographs that were given.

    Parameters
    ----------
    values : ndarray of shape (7,)
        ln(focal length / px), principal point in px, k1, k2, p1, p2
        (`vision.calibration.adjustment.NAMES`).
    covariance : ndarray of shape (7, 7)
        Its covariance.
    size : tuple of int
        Width and height of the photographs, px.
    stretch, u_stretch : float
        By how much the board was printed longer across than along, and its uncertainty, 1.
    rms_px : tuple of float
        Root mean square of the residuals of each photograph, px.
    corners : int
        Number of corners used.
    coverage : float
        Share of the picture's fields that hold a corner, 0 to 1.
    tilts_deg : tuple of float
        Angle between the line of sight and the board's normal in each photograph, deg.
    """

    values: Array
    covariance: Array
    size: tuple[int, int]
    stretch: float
    u_stretch: float
    rms_px: tuple[float, ...]
    corners: int
    coverage: float
    tilts_deg: tuple[float, ...]

    @property
    def focal_px(self) -> float:
        """Focal length, px."""
        return float(np.exp(self.values[0]))

    @property
    def u(self) -> Array:
        """Standard uncertainties of `values` (7,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def calibrate(
    boards: Sequence[FoundBoard],
    size: tuple[int, int],
    *,
    names: Sequence[str] = (),
    focal_px: float | None = None,
    stretch: float = 0.0,
    u_stretch: float = U_STRETCH,
) -> Calibration:
    """Return a camera's numbers from boards found in its photographs.

    Parameters
    ----------
    boards : sequence of FoundBoard
        One for each photograph, all in one frame (`vision.calibration.library` turns them).
    size : tuple of int
        Width and height of the photographs, px.
    names : sequence of str, optional
        What to call the photographs in a refusal.
    focal_px : float, optional
        Focal length to start from, px.
    stretch, u_stretch : float, optional
        By how much the print is longer across than along, as measured, and its uncertainty, 1.

    Raises
    ------
    CalibrationError
        If there are too few photographs, they are too much alike, leave too much of the picture
        out, one was zoomed or cropped, or the lens bends in ways that the model can't follow.
    """
    if len(boards) < LEAST_PHOTOGRAPHS:
        raise CalibrationError(
            f"the board was found in {len(boards)} photographs; {LEAST_PHOTOGRAPHS} are the least: "
            "take more, sharp and with most of the board in view."
        )
    called = list(names) or [f"photograph {i}" for i in range(1, len(boards) + 1)]
    prior, u_prior = knowledge(size, focal_px, stretch, u_stretch)
    start = np.concatenate([prior, *first_poses(boards, prior)])
    sigma = np.full(len(boards), max(size) / 4000)
    for steps in (40, 20, 20):  # then each photograph counts by how sharp its corners are
        start = fitted(start, boards, sigma, prior, u_prior, steps)
        off = [seen_px(start, i, board)[0] - board.corners_px for i, board in enumerate(boards)]
        sigma = np.array([spread_px(one, len(boards)) for one in off])
    rms = tuple(float(np.sqrt((one**2).sum(axis=1).mean())) for one in off)
    _refuse_zoomed(start, boards, sigma, called)
    worst = int(np.argmax(rms))
    if float(np.median(rms)) > MOST_RMS_SHARE * max(size):
        raise CalibrationError(
            f"the corners lie {np.median(rms):.1f} px off what such a lens can show (worst "
            f"{called[worst]}, {rms[worst]:.1f} px): is the board flat, and is the lens no fisheye?"
        )
    covariance = covariance_of(start, boards, sigma, prior, u_prior)
    u = np.sqrt(np.diag(covariance))
    tilts = tuple(_tilt_deg(start[SHARED + 6 * i :][:6]) for i in range(len(boards)))
    if u[0] > MOST_U_FOCAL:
        raise CalibrationError(
            f"the photographs were all taken from much the same direction (tilts {min(tilts):.0f} "
            f"to {max(tilts):.0f} degrees), so that the focal length is known to {100 * u[0]:.1f} "
            f"% only ({100 * MOST_U_FOCAL:.1f} % is the most): tilt the phone by 20 to 40 degrees "
            "to each side, upwards and downwards."
        )
    coverage = _coverage(boards, size)
    if coverage < LEAST_COVERAGE:
        raise CalibrationError(
            f"the board covers {100 * coverage:.0f} % of the picture, all photographs together; "
            f"{100 * LEAST_COVERAGE:.0f} % is the least: show it in every corner, too."
        )
    return Calibration(
        start[:LENS], covariance[:LENS, :LENS], size, float(start[LENS]), float(u[LENS]), rms,
        sum(len(board.corners) for board in boards), coverage, tilts,
    )  # fmt: skip


def _refuse_zoomed(
    x: Array, boards: Sequence[FoundBoard], sigma: Array, names: Sequence[str]
) -> None:
    """Refuse a photograph whose own focal length, all else as fitted, is surely another."""
    own = np.empty((len(boards), 2))
    for i, board in enumerate(boards):
        mine, free = x.copy(), [0, *range(SHARED + 6 * i, SHARED + 6 * i + 6)]
        for _ in range(8):
            seen, J = seen_px(mine, i, board)
            J = J[:, [0, *range(SHARED, SHARED + 6)]] / sigma[i]
            off = (seen - board.corners_px).ravel() / sigma[i]
            step = np.linalg.lstsq(J, -off, rcond=None)[0]
            mine[free] += step * min(1.0, 0.2 / max(abs(step[0]), 1e-12))
        own[i] = mine[0], np.sqrt(np.linalg.pinv(J.T @ J)[0, 0])
    usual = float(np.median(own[:, 0]))
    for i, (log_focal, u) in enumerate(own):
        if abs(log_focal - usual) > max(ZOOM_OFF, 5 * u):
            raise CalibrationError(
                f"{names[i]} was taken with another focal length than the rest "
                f"({100 * np.expm1(log_focal - usual):+z.0f} %): leave out photographs that were "
                "zoomed, cropped or taken with another lens."
            )


def _tilt_deg(pose: Array) -> float:
    turn = np.asarray(cv2.Rodrigues(pose[:3])[0], float)
    sight = -turn.T @ pose[3:6]
    return float(np.degrees(np.arccos(np.clip(abs(sight[2]) / np.linalg.norm(sight), 0, 1))))


def _coverage(boards: Sequence[FoundBoard], size: tuple[int, int]) -> float:
    seen = np.concatenate([board.corners_px for board in boards])
    at = np.clip((seen + 0.5) / np.array(size) * FIELDS, 0, np.array(FIELDS) - 1e-9).astype(int)
    return len({tuple(one) for one in at.tolist()}) / (FIELDS[0] * FIELDS[1])
