"""A camera's numbers from photographs of the calibration board, with their covariance.

One bundle adjustment (Triggs et al., Bundle Adjustment, 2000; camera model of Brown 1971): focal
length, principal point, distortion (k1, k2 radial; p1, p2 tangential), what the printer and a
plate that is not quite flat did to the board, and where each photograph was taken from, fitted
at once to all corners. As in `vision.pose` every number has wide knowledge beforehand in place
of a choice of model: what the photographs can't tell, the prior holds, and the covariance says
which was the case. So k2, p1 and p2 are always in, and harmless where nothing supports them.

Pixels are taken as square: those of phones are, to far better than the board's print, whose
unequal stretch looks just the same and is fitted instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.board import FoundBoard
from vision.bundle import (
    LENS,
    SHARED,
    U_STRETCH,
    covariance_of,
    first_poses,
    fitted,
    knowledge,
    seen_px,
    spread_px,
)

Array = NDArray[np.float64]

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
        ln(focal length / px), principal point in px, k1, k2, p1, p2 (`vision.bundle.NAMES`).
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
        One for each photograph, all in one frame (`vision.lenses` turns them).
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
