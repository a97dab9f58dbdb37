"""The calibrated cameras of this machine, for commands and pages alike."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ui.environment import CAMERAS_FILE, own_file

if TYPE_CHECKING:
    from vision.calibration.library import CalibratedCamera


def cameras_file() -> Path:
    """Return the file of calibrated cameras: the user's own, or the one the environment names."""
    return own_file(CAMERAS_FILE, "cameras.json")


def known_cameras(file: Path | None = None) -> dict[str, CalibratedCamera]:
    """Return the calibrated cameras by their key.

    Raises
    ------
    ValueError
        If the file is damaged.
    """
    from vision.calibration.library import load_cameras

    return load_cameras(file or cameras_file())


def calibrated_or_not(names: set[str], known: dict[str, CalibratedCamera]) -> str:
    """Return a sentence on which of the cameras that took photographs are calibrated.

    Examples
    --------
    >>> calibrated_or_not({"Lantern L4"}, {})
    'Lantern L4 is not calibrated: its focal length counts as known to 4 %.'
    """
    calibrated = {name for name in names if any(key.startswith(f"{name}, ") for key in known)}
    if not names:
        return f"Calibrated phones on this machine: {len(known)}." if known else ""
    parts = []
    if calibrated:
        parts.append(f"{', '.join(sorted(calibrated))} is calibrated.")
    if names - calibrated:
        rest = ", ".join(sorted(names - calibrated))
        parts.append(f"{rest} is not calibrated: its focal length counts as known to 4 %.")
    return " ".join(parts)
