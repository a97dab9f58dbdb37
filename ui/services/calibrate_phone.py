"""Calibrate a phone from uploaded photographs of the board or cards, in a limited process."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from inspection.record.record import Record
from inspection.record.views import OpenInspection
from ui.services.cameras import cameras_file
from ui.services.measuring_queue import PhotoFile, manner_of
from vision.apart import apart
from vision.calibration.adjustment import U_STRETCH, CalibrationError, NoBoardError
from vision.calibration.from_cards import LEAST_PHOTOGRAPHS, calibrate_from_cards
from vision.calibration.library import CalibratedCamera, save_camera
from vision.calibration.session import calibrate_photographs, measured_stretch
from vision.results import Estimate
from vision.target.print_scale import PrintCheck, check_from_dict

# A camera's values, the standard uncertainty of its focal length (px), and what was left out.
Adjusted = tuple[dict[str, Any], float, tuple[str, ...]]

MOST_PHOTOGRAPHS = 24  # solved together: more add little, and the time for one call is limited
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

    @property
    def words(self) -> str:
        """What was calibrated, how well, and what was left out."""
        left_out = f" Left out: {'; '.join(self.left_out)}." if self.left_out else ""
        return (
            f"{self.camera.key} is calibrated: focal length {self.camera.focal_px:.1f} px, u "
            f"{self.u_focal_px:.1f} px, from {self.camera.photographs} photographs.{left_out}"
        )


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
    with _written(files) as paths:
        found = apart("the photographs of the board", adjusted, paths, *stretch, on)
    return _saved(found, place)


def phones_to_calibrate(
    opened: OpenInspection, known: Mapping[str, CalibratedCamera]
) -> dict[str, tuple[str, ...]]:
    """Return the phones that an inspection's photographs may calibrate, with the photographs.

    Parameters
    ----------
    opened : OpenInspection
        The inspection.
    known : mapping of str to CalibratedCamera
        The calibrated cameras by their key.

    Returns
    -------
    phones : dict of str to tuple of str
        Hashes of the photographs measured with the card, by the key of the camera that took
        them; only cameras without a calibration and with enough photographs for one.
    """
    with_card = {
        one.photo_sha256
        for one in opened.results
        if isinstance(one, Estimate) and not one.without_card
    }
    mine: dict[str, list[str]] = {}
    for request in opened.requests:
        if request.camera_key and request.sha256 in with_card:
            mine.setdefault(request.camera_key, []).append(request.sha256)
    return {
        key: tuple(hashes)
        for key, hashes in mine.items()
        if key not in known and len(hashes) >= LEAST_PHOTOGRAPHS
    }


def calibrate_from_inspection(
    record: Record, opened: OpenInspection, hashes: Sequence[str], *, on: date
) -> PhoneCalibration:
    """Calibrate a phone from an inspection's photographs with the card, and keep it.

    Parameters
    ----------
    record : Record
        The record that holds them.
    opened : OpenInspection
        The inspection.
    hashes : sequence of str
        The photographs, of one phone.
    on : date
        Date of the calibration.

    Raises
    ------
    ValueError
        As `calibrate_phone` does.
    """
    hashes = hashes[:: math.ceil(len(hashes) / MOST_PHOTOGRAPHS)]  # spread over the inspection
    names = {one.sha256: one.name for one in opened.photographs}
    files = [PhotoFile(names[one], record.photographs.get(one)) for one in hashes]
    prints = {manner_of(opened, one).print_set for one in hashes}
    checks = record.print_checks()
    card_set = prints.pop() if len(prints) == 1 else ""  # several: each print's scale is solved for
    check = check_from_dict(card_set, checks[card_set]) if card_set in checks else None
    with _written(files) as paths:
        found = apart("the photographs of the phone", adjusted_by_cards, paths, check, on)
    return _saved(found)


@contextmanager
def _written(files: Sequence[PhotoFile]) -> Iterator[list[str]]:
    """Write files to a temporary folder, for the child process to read."""
    with tempfile.TemporaryDirectory(prefix="calibration-") as folder:
        paths = []
        for number, file in enumerate(files):
            name = f"{number:02d}-{Path(file.name).name[-60:]}"
            (Path(folder) / name).write_bytes(file.data)
            paths.append(str(Path(folder) / name))
        yield paths


def _saved(found: Adjusted, place: Path | None = None) -> PhoneCalibration:
    values, u_focal_px, left_out = found
    camera = CalibratedCamera(**values)
    save_camera(place or cameras_file(), camera, unless_surer=not camera.coverage)
    return PhoneCalibration(camera, u_focal_px, left_out)


def adjusted(paths: Sequence[str], stretch: float, u_stretch: float, on: date) -> Adjusted:
    """Return a camera's values, its focal length's uncertainty, px, and what was left out."""
    try:
        done = calibrate_photographs(paths, stretch=stretch, u_stretch=u_stretch, on=on)
    except NoBoardError as no_board:
        try:
            return adjusted_by_cards(paths, None, on)
        except CalibrationError as refused:
            raise CalibrationError(f"{str(no_board).rstrip('.')}; and {refused}") from None
    u_focal = done.camera.focal_px * done.calibration.covariance.u("log_focal")
    return asdict(done.camera), float(u_focal) if math.isfinite(u_focal) else 0.0, done.left_out


def adjusted_by_cards(paths: Sequence[str], check: PrintCheck | None, on: date) -> Adjusted:
    """Return the same from photographs of ropes with the card."""
    done = calibrate_from_cards(paths, check, on=on)
    return asdict(done.camera), done.camera.focal_px * done.u_log_focal, done.left_out
