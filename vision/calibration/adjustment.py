"""A camera's parameters from photographs of the calibration board, with their covariance.

This is a bundle adjustment (Triggs et al., Bundle Adjustment, 2000; camera model of Brown 1971).
Focal length, principal point, distortion (k1, k2 radial; p1, p2 tangential), deformation of the
board by the printer and by a plate that is not quite flat, and the pose of each photograph are
fitted together to all corners. As in `vision.target.pose`, every parameter has a wide prior instead
of a choice of model: parameters that the photographs do not determine are held by the prior, and
the covariance shows which they are. So k2, p1 and p2 are always included, and do no harm where the
data do not support them.

Pixels are assumed square. Those of phones are, far more accurately than the board's print, whose
unequal stretch has the same effect and is fitted instead. Lengths are in squares of the board.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.calibration.board import COLUMNS, ROWS, FoundBoard
from vision.least_squares import HUBER, Covariance, fit, scatter_of

Array = NDArray[np.float64]

# Priors for any camera (common practice, no source): principal point within a few percent of the
# long side, distortion as strong as in an uncorrected phone picture, a plate flat to half a
# millimetre at a square of 25 mm.
U_LOG_FOCAL, U_CENTRE_SHARE = 0.5, 0.03
U_K1, U_K2, U_P = 0.3, 0.5, 0.003
U_BOW = 0.02
U_STRETCH = 0.014  # an unchecked print: 1 % along and 1 % across, independently
FLOOR_PX = 0.03  # least standard deviation assumed for a corner


class Intrinsics(NamedTuple):
    """A lens as the parameters that are fitted.

    Parameters
    ----------
    log_focal : float
        ln(focal length / px).
    centre_x_px, centre_y_px : float
        Principal point, px.
    k1, k2, p1, p2 : float
        Distortion, radial and tangential (Brown 1971), 1.
    """

    log_focal: float
    centre_x_px: float
    centre_y_px: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0


class BoardShape(NamedTuple):
    """Deformation of the board by the printer and the plate.

    Parameters
    ----------
    stretch : float
        By how much it is longer across than along, 1.
    bow_along, twist, bow_across : float
        Heights of its ends and corners over its middle, squares.
    """

    stretch: float
    bow_along: float = 0.0
    twist: float = 0.0
    bow_across: float = 0.0


# The fit's vector: the parameters shared by all photographs, then six for the pose of each.
LENS, SHARED = len(Intrinsics._fields), len(Intrinsics._fields + BoardShape._fields)


def _priors(
    size: tuple[int, int], focal_px: float | None, stretch: float, u_stretch: float
) -> tuple[Array, Array]:
    """Return the priors of the shared parameters, and their standard uncertainties."""
    width, height = size
    log_focal = float(np.log(focal_px or 0.8 * max(size)))
    lens = Intrinsics(log_focal, (width - 1) / 2, (height - 1) / 2)
    centre = U_CENTRE_SHARE * max(size)
    u_lens = Intrinsics(U_LOG_FOCAL, centre, centre, U_K1, U_K2, U_P, U_P)
    u_shape = BoardShape(u_stretch, U_BOW, U_BOW, U_BOW)
    return np.array([*lens, *BoardShape(stretch)]), np.array([*u_lens, *u_shape])


def _first_poses(boards: Sequence[FoundBoard], lens: Intrinsics) -> list[Array]:
    """Return an initial pose for each photograph, from OpenCV's calibration without distortion."""
    flat = [
        np.column_stack([board.corners, np.zeros(len(board.corners))]).astype(np.float32)
        for board in boards
    ]
    corners_px = [board.corners_px.astype(np.float32) for board in boards]
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K2
        | cv2.CALIB_FIX_K3
    )
    size = (int(2 * lens.centre_x_px + 1), int(2 * lens.centre_y_px + 1))
    _, _, _, turns, shifts = cv2.calibrateCamera(
        flat, corners_px, size, _matrix(lens), np.zeros(5), flags=flags
    )
    return [
        np.concatenate([np.ravel(turn), np.ravel(shift)]).astype(float)
        for turn, shift in zip(turns, shifts, strict=True)
    ]


def _matrix(lens: Intrinsics) -> Array:
    """Return the camera matrix K (3, 3), px."""
    f = float(np.exp(lens.log_focal))
    return np.array([[f, 0, lens.centre_x_px], [0, f, lens.centre_y_px], [0, 0, 1]])


def _project_board(x: Array, i: int, board: FoundBoard) -> tuple[Array, Array]:
    """Return where photograph i shows the board's corners, px (N, 2), and the Jacobian.

    The Jacobian (2 N, SHARED + 6) has columns for the shared parameters, then for the
    photograph's pose.
    """
    lens, form = Intrinsics(*x[:LENS]), BoardShape(*x[LENS:SHARED])
    across = board.corners[:, 1]
    u, v = board.corners[:, 0] / (COLUMNS / 2), across / (ROWS / 2)
    height = form.bow_along * u * u + form.twist * u * v + form.bow_across * v * v
    solid = np.column_stack([board.corners[:, 0], across * (1 + form.stretch), height])
    pose = x[SHARED + 6 * i : SHARED + 6 * i + 6]
    bend = np.array([lens.k1, lens.k2, lens.p1, lens.p2, 0.0])
    points_px, J = cv2.projectPoints(
        solid.reshape(-1, 1, 3), pose[:3], pose[3:], _matrix(lens), bend
    )
    jacobian = np.empty((2 * len(u), SHARED + 6))
    jacobian[:, 0] = np.exp(lens.log_focal) * (J[:, 6] + J[:, 7])
    jacobian[:, 1:3], jacobian[:, 3:LENS] = J[:, 8:10], J[:, 10:14]  # in the same order in OpenCV
    # moving a point by (dx, dy, dz) is equivalent to moving the camera's frame by R times that
    per = J[:, 3:6] @ np.asarray(cv2.Rodrigues(pose[:3])[0], float)
    u2, v2 = np.repeat(u, 2), np.repeat(v, 2)
    jacobian[:, LENS] = per[:, 1] * np.repeat(across, 2)
    for at, shape in enumerate((u2 * u2, u2 * v2, v2 * v2), start=LENS + 1):
        jacobian[:, at] = per[:, 2] * shape
    jacobian[:, SHARED:] = J[:, :6]
    return np.asarray(points_px, float).reshape(-1, 2), jacobian


def _misfit(
    x: Array, boards: Sequence[FoundBoard], sigma: Array, prior: Array, u_prior: Array
) -> tuple[Array, Array]:
    """Return all residuals over their standard uncertainty, priors last, and the Jacobian."""
    residuals, blocks = [], []
    for i, board in enumerate(boards):
        points_px, J = _project_board(x, i, board)
        residuals.append((points_px - board.corners_px).ravel() / sigma[i])
        block = np.zeros((len(J), len(x)))
        block[:, :SHARED] = J[:, :SHARED] / sigma[i]
        block[:, SHARED + 6 * i : SHARED + 6 * i + 6] = J[:, SHARED:] / sigma[i]
        blocks.append(block)
    priors = np.zeros((SHARED, len(x)))
    priors[:, :SHARED] = np.diag(1 / u_prior)
    residuals.append((x[:SHARED] - prior) / u_prior)
    return np.concatenate(residuals), np.vstack([*blocks, priors])


def _spread_px(off: Array, photographs: int) -> float:
    """Return the standard deviation of a photograph's corners, px, with outliers weighted down."""
    rough = max(scatter_of(off), FLOOR_PX)
    weights = np.minimum(1.0, HUBER * rough / np.maximum(np.abs(off), 1e-12))
    dof = max(4.0, off.size - 6 - SHARED / photographs)  # degrees of freedom left by the fit
    return max(float(np.sqrt((weights * off**2).sum() / dof)), FLOOR_PX)


LEAST_PHOTOGRAPHS = 8
MOST_U_FOCAL = 0.004  # above this, the photographs' directions were too similar
LEAST_COVERAGE = 0.60  # of the picture's fields that contain a corner
FIELDS = (8, 6)
MOST_RMS_SHARE = 4e-4  # of the long side: 1.6 px of 4,000; above this, the lens model does not fit
ZOOM_OFF = 0.03  # a photograph with a focal length this far off was zoomed or cropped


class CalibrationError(ValueError):
    """Photographs from which calibration fails; the message is a sentence for users."""


class NoBoardError(CalibrationError):
    """None of the photographs shows the board."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """A camera's parameters, in the frame of the photographs given.

    Parameters
    ----------
    lens : Intrinsics
        The camera's parameters.
    covariance : Covariance
        Their covariance.
    size : tuple of int
        Width and height of the photographs, px.
    stretch, u_stretch : float
        By how much the board was printed longer across than along, and its uncertainty, 1.
    rms_px : tuple of float
        Root mean square of the residuals of each photograph, px.
    corners : int
        Number of corners used.
    coverage : float
        Share of the picture's fields that contain a corner, 0 to 1.
    tilts_deg : tuple of float
        Angle between the line of sight and the board's normal in each photograph, deg.
    """

    lens: Intrinsics
    covariance: Covariance
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
        return float(np.exp(self.lens.log_focal))


def calibrate(
    boards: Sequence[FoundBoard],
    size: tuple[int, int],
    *,
    names: Sequence[str] = (),
    focal_px: float | None = None,
    stretch: float = 0.0,
    u_stretch: float = U_STRETCH,
) -> Calibration:
    """Return a camera's parameters from boards found in its photographs.

    Parameters
    ----------
    boards : sequence of FoundBoard
        One for each photograph, all in one frame (`vision.calibration.library` turns them).
    size : tuple of int
        Width and height of the photographs, px.
    names : sequence of str, optional
        Names of the photographs for error messages.
    focal_px : float, optional
        Initial focal length, px.
    stretch, u_stretch : float, optional
        By how much the print is longer across than along, as measured, and its uncertainty, 1.

    Raises
    ------
    CalibrationError
        If there are too few photographs, their directions are too similar, they cover too little
        of the picture, one was zoomed or cropped, or the lens does not fit the distortion model.
    """
    if len(boards) < LEAST_PHOTOGRAPHS:
        raise CalibrationError(
            f"the board was found in {len(boards)} photographs; at least {LEAST_PHOTOGRAPHS} are "
            "needed: take more, sharp and with most of the board in view."
        )
    titles = list(names) or [f"photograph {i}" for i in range(1, len(boards) + 1)]
    prior, u_prior = _priors(size, focal_px, stretch, u_stretch)
    fitted = np.concatenate([prior, *_first_poses(boards, Intrinsics(*prior[:LENS]))])
    sigma = np.full(len(boards), max(size) / 4000)
    corners = sum(len(board.corners) for board in boards)

    def residuals(x: Array) -> Array:
        return _misfit(x, boards, sigma, prior, u_prior)[0]

    def jacobian(x: Array) -> Array:
        return _misfit(x, boards, sigma, prior, u_prior)[1]

    for _ in range(
        4
    ):  # from the second pass on, photographs are weighted by their corners' scatter
        solution = fit(residuals, fitted, jacobian, robust=2 * corners)
        fitted = solution.values
        off = [
            _project_board(fitted, i, board)[0] - board.corners_px for i, board in enumerate(boards)
        ]
        sigma = np.array([_spread_px(apart_px, len(boards)) for apart_px in off])
    rms = tuple(float(np.sqrt((apart_px**2).sum(axis=1).mean())) for apart_px in off)
    _refuse_zoomed(fitted, boards, sigma, titles)
    worst = int(np.argmax(rms))
    if float(np.median(rms)) > MOST_RMS_SHARE * max(size):
        raise CalibrationError(
            f"the corners are {np.median(rms):.1f} px away from where the lens model puts them "
            f"(worst {titles[worst]}, {rms[worst]:.1f} px): make sure that the board is flat and "
            "the lens is not a fisheye."
        )
    shared = Covariance(
        Intrinsics._fields + BoardShape._fields, solution.covariance[:SHARED, :SHARED]
    )
    u_log_focal = shared.u("log_focal")
    tilts = tuple(_tilt_deg(fitted[SHARED + 6 * i :][:6]) for i in range(len(boards)))
    if u_log_focal > MOST_U_FOCAL:
        raise CalibrationError(
            f"the photographs were all taken from much the same direction (tilts {min(tilts):.0f} "
            f"to {max(tilts):.0f} degrees), so the focal length is known to "
            f"{100 * u_log_focal:.1f} % only (the limit is {100 * MOST_U_FOCAL:.1f} %): tilt the "
            "phone by 20 to 40 degrees to each side, upwards and downwards."
        )
    coverage = _coverage(boards, size)
    if coverage < LEAST_COVERAGE:
        raise CalibrationError(
            f"the board covers {100 * coverage:.0f} % of the picture in all photographs together; "
            f"at least {100 * LEAST_COVERAGE:.0f} % is needed: also show it in every corner."
        )
    return Calibration(
        Intrinsics(*fitted[:LENS].tolist()),
        Covariance(Intrinsics._fields, shared.ordered(Intrinsics._fields)),
        size,
        BoardShape(*fitted[LENS:SHARED].tolist()).stretch,
        shared.u("stretch"),
        rms,
        corners,
        coverage,
        tilts,
    )


def _refuse_zoomed(
    x: Array, boards: Sequence[FoundBoard], sigma: Array, names: Sequence[str]
) -> None:
    """Refuse a photograph whose own focal length, with the rest as fitted, clearly differs."""
    own = np.array([_own_focal(x, i, board, sigma[i]) for i, board in enumerate(boards)])
    usual = float(np.median(own[:, 0]))
    for i, (log_focal, u) in enumerate(own):
        if abs(log_focal - usual) > max(ZOOM_OFF, 5 * u):
            raise CalibrationError(
                f"{names[i]} was taken with a different focal length from the others "
                f"({100 * np.expm1(log_focal - usual):+z.0f} %): leave out photographs that were "
                "zoomed, cropped or taken with another lens."
            )


def _own_focal(x: Array, i: int, board: FoundBoard, sigma: float) -> tuple[float, float]:
    """Return ln(focal length) from photograph i alone, with the rest as fitted, and its u."""
    focal = Intrinsics._fields.index("log_focal")
    free = [focal, *range(SHARED + 6 * i, SHARED + 6 * i + 6)]  # it, and the photograph's pose

    def moved(part: Array) -> Array:
        whole = x.copy()
        whole[free] = part
        return whole

    def residuals(part: Array) -> Array:
        return (_project_board(moved(part), i, board)[0] - board.corners_px).ravel() / sigma

    def jacobian(part: Array) -> Array:
        return (
            _project_board(moved(part), i, board)[1][:, [focal, *range(SHARED, SHARED + 6)]] / sigma
        )

    solution = fit(residuals, x[free], jacobian)
    return float(solution.values[0]), float(np.sqrt(solution.covariance[0, 0]))


def _tilt_deg(pose: Array) -> float:
    turn = np.asarray(cv2.Rodrigues(pose[:3])[0], float)
    sight = -turn.T @ pose[3:6]
    return float(np.degrees(np.arccos(np.clip(abs(sight[2]) / np.linalg.norm(sight), 0, 1))))


def _coverage(boards: Sequence[FoundBoard], size: tuple[int, int]) -> float:
    corners_px = np.concatenate([board.corners_px for board in boards])
    at = np.clip((corners_px + 0.5) / np.array(size) * FIELDS, 0, np.array(FIELDS) - 1e-9).astype(
        int
    )
    return len({tuple(field) for field in at.tolist()}) / (FIELDS[0] * FIELDS[1])
