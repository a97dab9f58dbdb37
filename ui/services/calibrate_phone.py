"""Calibrate a phone from uploaded photographs of the board or cards, in a limited process."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from ui.services.cameras import cameras_file
from ui.services.measuring_queue import PhotoFile
from vision.apart import apart
from vision.calibration.adjustment import U_STRETCH, CalibrationError, NoBoardError
from vision.calibration.from_cards import calibrate_from_cards
from vision.calibration.library import CalibratedCamera, save_camera
from vision.calibration.session import calibrate_photographs, measured_stretch

U_READ_MM = 0.2  # of one reading of the chequered field with a rule, mm


@dataclass(frozen=True, slots=True)
class PhoneCalibration:
    """A saved calibration and its quality.

    Parameters
    ----------
    camera : CalibratedCamera
        The saved camera.
    u_focal_px : float
        Standard uncertainty of its focal length, px.
    left_out : tuple of str
        Photographs that were not used, and why.
    """

    camera: CalibratedCamera
    u_focal_px: float
    left_out: tuple[str, ...]


def calibrate_phone(
    files: Sequence[PhotoFile],
    printed: tuple[float, float] | None,
    *,
    on: date,
    place: Path | None = None,
) -> PhoneCalibration:
    """Calibrate a phone and save it for all later measurements.

    Parameters
    ----------
    files : sequence of PhotoFile
        Photographs of the board, eight or more; or of ropes with the card, four or more.
    printed : (float, float) or None
        Measured length of the chequered field along and across, mm; None if not measured.
    on : date
        Date of the calibration.
    place : Path, optional
        File of the calibrated cameras; this machine's own by default.

    Raises
    ------
    ValueError
        If the photographs give no calibration, with the reason; or it can't be saved.
    """
    stretch = (0.0, U_STRETCH) if printed is None else measured_stretch(*printed, U_READ_MM)
    with tempfile.TemporaryDirectory(prefix="board-") as folder:
        paths = []
        for number, file in enumerate(files):
            name = f"{number:02d}-{Path(file.name).name[-60:]}"
            (Path(folder) / name).write_bytes(file.data)
            paths.append(str(Path(folder) / name))
        values, u_focal_px, left_out = apart(
            "the photographs of the board", adjusted, paths, *stretch, on
        )
    camera = CalibratedCamera(**values)
    save_camera(place or cameras_file(), camera, unless_surer=not camera.coverage)
    return PhoneCalibration(camera, u_focal_px, left_out)


def adjusted(
    paths: Sequence[str], stretch: float, u_stretch: float, on: date
) -> tuple[dict[str, Any], float, tuple[str, ...]]:
    """Return a camera's values, its focal length's uncertainty in px, and what was left out."""
    try:
        done = calibrate_photographs(paths, stretch=stretch, u_stretch=u_stretch, on=on)
    except NoBoardError as no_board:
        try:
            by_cards = calibrate_from_cards(paths, on=on)
        except CalibrationError as refused:
            raise CalibrationError(f"{str(no_board).rstrip('.')}; and {refused}") from None
        u_focal = by_cards.camera.focal_px * by_cards.u_log_focal
        return asdict(by_cards.camera), u_focal, by_cards.left_out
    u_focal = done.camera.focal_px * done.calibration.covariance.u("log_focal")
    return asdict(done.camera), float(u_focal) if math.isfinite(u_focal) else 0.0, done.left_out
