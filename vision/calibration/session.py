"""Calibration of a camera from photographs of the calibration board."""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import cv2
import numpy as np

from vision.calibration.adjustment import (
    LEAST_PHOTOGRAPHS,
    U_STRETCH,
    Calibration,
    CalibrationError,
    NoBoardError,
    calibrate,
)
from vision.calibration.board import COLUMNS, ROWS, FoundBoard, find_board
from vision.calibration.library import CalibratedCamera, calibrated_camera, camera_key, turned
from vision.calibration.opened import opened_once
from vision.photo.photo import Photo
from vision.target.print_scale import U_ENDS_MM, U_MOISTURE

MOST_STRETCH = 0.03  # printers stretch by at most 1 %: more is a slip in the readings


@dataclass(frozen=True, slots=True, eq=False)
class Calibrated:
    """A camera, its calibration, the photographs used, and the others with the reasons."""

    camera: CalibratedCamera
    calibration: Calibration
    used: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    name: str
    key: str
    size: tuple[int, int]
    focal_px: float | None
    board: FoundBoard


def measured_stretch(along_mm: float, across_mm: float, u_mm: float) -> tuple[float, float]:
    """Return by how much a board is printed longer across than along, and its uncertainty, 1.

    Parameters
    ----------
    along_mm, across_mm : float
        Length of the chequered field along its 11 and across its 7 squares, as measured, mm.
    u_mm : float
        Standard uncertainty of one reading, mm.

    Raises
    ------
    ValueError
        If a value is invalid, or no printer stretches paper so much.

    Examples
    --------
    >>> stretch, u = measured_stretch(275.0, 175.7, 0.05)
    >>> round(stretch, 4), round(u, 5)
    (0.004, 0.0005)
    """
    if not (math.isfinite(u_mm) and 0 < u_mm <= 2):
        raise ValueError(
            f"the uncertainty of a reading must be more than 0 and at most 2 mm; got {u_mm:g} mm."
        )
    sound = all(math.isfinite(length) and 50 < length < 1000 for length in (along_mm, across_mm))
    stretch = (across_mm / ROWS) / (along_mm / COLUMNS) - 1 if sound else math.nan
    if not abs(stretch) <= MOST_STRETCH:
        raise ValueError(
            f"{along_mm:g} mm along and {across_mm:g} mm across do not fit a board of {COLUMNS} by "
            f"{ROWS} squares; measure the chequered field from edge to edge, in mm."
        )
    u_end = math.hypot(u_mm, U_ENDS_MM)
    return stretch, math.hypot(u_end / along_mm, u_end / across_mm, U_MOISTURE)


def calibrate_photographs(
    sources: Iterable[str | os.PathLike[str]],
    *,
    stretch: float = 0.0,
    u_stretch: float = U_STRETCH,
    on: date | None = None,
) -> Calibrated:
    """Return the camera that took photographs of the board.

    Parameters
    ----------
    sources : iterable of path
        The photographs: eight or more, original files of one camera and one lens.
    stretch, u_stretch : float, optional
        The print as measured, see `measured_stretch`.
    on : date, optional
        Day of the calibration.

    Raises
    ------
    CalibrationError
        If the calibration fails, see `vision.calibration.adjustment.calibrate`; or if the
        photographs are of several cameras, sizes or lenses, or don't say which camera took them.
    """
    views: list[_View] = []
    left_out: list[str] = []
    for name, photo in opened_once(sources, left_out):
        view = _view(photo)
        if view is None:
            left_out.append(f"{name} does not show the board, or too little of it")
        else:
            views.append(view)
    _refuse_mixed(views)
    stored = Counter(view.size for view in views).most_common(1)
    used = [view for view in views if view.size == stored[0][0]]
    left_out += [f"{v.name} was turned by another program" for v in views if v not in used]
    if len(used) < LEAST_PHOTOGRAPHS:
        why = f" ({'; '.join(left_out)})" if left_out else ""
        raise CalibrationError(
            f"the board was found in {len(used)} photographs; at least {LEAST_PHOTOGRAPHS} are "
            f"needed{why}: take more, sharp and with most of the board in view."
        )
    names = [view.name for view in used]
    calibration = calibrate(
        [view.board for view in used],
        used[0].size,
        names=names,
        focal_px=next((view.focal_px for view in used if view.focal_px), None),
        stretch=stretch,
        u_stretch=u_stretch,
    )
    camera = calibrated_camera(used[0].key, calibration, photographs=len(used), on=on)
    return Calibrated(camera, calibration, tuple(names), tuple(left_out))


def _view(photo: Photo) -> _View | None:
    """Return the board in a photograph, in the frame in which the picture was stored."""
    board = find_board(np.asarray(cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY), np.uint8))
    if board is None:
        return None
    height, width = photo.pixels.shape[:2]
    size = (height, width) if photo.orientation >= 5 else (width, height)
    turn, shift = turned(photo.orientation, *size)
    lying = FoundBoard(board.corners, (board.corners_px - shift) @ turn)
    return _View(photo.name, camera_key(photo), size, photo.focal_px, lying)


def _refuse_mixed(views: Sequence[_View]) -> None:
    by_key = Counter(view.key for view in views)
    if not views:
        raise NoBoardError(
            "none of the photographs shows the calibration board; print it with "
            "`ropephoto card --board`, and photograph it sharply, with most of it in view."
        )
    if "" in by_key:
        nameless = next(view.name for view in views if not view.key)
        raise CalibrationError(
            f"{nameless} does not say which camera took it; send the original files, not copies "
            "from a messenger."
        )
    if len(by_key) > 1:
        listed = "; ".join(f"{key} ({count})" for key, count in by_key.most_common())
        raise CalibrationError(
            f"the photographs are of {len(by_key)} cameras, sizes or lenses: {listed}. Calibrate "
            "each separately, without zoom."
        )
