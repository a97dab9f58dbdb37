"""Calibrated cameras: stored by name in a small JSON file, and rotated for each photograph.

A calibration belongs to one camera, one picture size and one lens (`camera_key`). It is stored in
the frame in which the sensor is read, since a phone may be held upright or sideways; `lens_for`
rotates it as the photograph was rotated. Where the file no longer records the orientation (some
programs store pictures already rotated), the principal point is taken as the picture's middle,
with its offset from there as uncertainty.

Uncertainty that a calibration can't include is added: refocusing and image stabilisation move the
lens.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.calibration.adjustment import Calibration, Intrinsics
from vision.camera import Lens, Rival
from vision.json_files import read_json, update_json
from vision.least_squares import Covariance
from vision.photo.photo import Photo
from vision.target.stated_lens import (
    MOST_WRONG,
    MOST_ZOOMED,
    WRONG_IF_CALIBRATED,
    stated_lens,
)

Array = NDArray[np.float64]

# A lens of 5 mm focused from 200 to 700 mm moves out by 5 (1/200 - 1/700) = 1.8 % (thin lens);
# half of it, as a rectangular distribution: 0.5 %.
U_REFOCUS = 0.005
# Stabilisation shifts the lens by some tens of px of 4,000 at most (common practice, no source).
U_SHIFT_SHARE = 0.003
UNUSUAL = 0.5  # |k1| larger than in any phone's picture: the file is damaged


@dataclass(frozen=True, slots=True)
class CalibratedCamera:
    """One camera's calibration as it is stored.

    Parameters
    ----------
    key : str
        Camera, size and lens, see `camera_key`.
    size : tuple of int
        Width and height as the sensor is read, px.
    focal_px, centre_px, k1, k2, p1, p2
        The camera's parameters, see `vision.calibration.adjustment`.
    covariance : tuple of tuple of float
        Covariance of these parameters, with the logarithm of the focal length, in the order of
        `vision.calibration.adjustment.Intrinsics`.
    photographs : int
        Number of photographs used.
    rms_px, coverage : float
        Residuals of the corners, px; share of the picture that the board covered.
    on : date or None
        Date of the calibration.
    """

    key: str
    size: tuple[int, int]
    focal_px: float
    centre_px: tuple[float, float]
    k1: float
    k2: float
    p1: float
    p2: float
    covariance: tuple[tuple[float, ...], ...]
    photographs: int
    rms_px: float
    coverage: float
    on: date | None = None


def camera_key(photo: Photo) -> str:
    """Return the camera, picture size and lens of a photograph; empty if not recorded.

    Parameters
    ----------
    photo : Photo
        A photograph.

    Examples
    --------
    >>> from dataclasses import replace
    >>> photo = Photo(np.zeros((6, 8, 3), np.uint8), "dark", "", "")
    >>> camera_key(replace(photo, camera="Lantern L4", lens="26 mm")), camera_key(photo)
    ('Lantern L4, 8 x 6, 26 mm', '')
    """
    if not photo.camera:
        return ""
    height, width = photo.pixels.shape[:2]
    size = f"{max(width, height)} x {min(width, height)}"
    return ", ".join(part for part in (photo.camera, size, photo.lens) if part)


def calibrated_camera(
    key: str, calibration: Calibration, *, photographs: int, on: date | None
) -> CalibratedCamera:
    """Return a calibration in the form in which it is stored.

    Parameters
    ----------
    key : str
        Camera, size and lens, see `camera_key`.
    calibration : Calibration
        The result from the photographs of the board.
    photographs : int
        Number of these photographs.
    on : date or None
        Date of the calibration.
    """
    lens = calibration.lens
    return CalibratedCamera(
        key=key,
        size=calibration.size,
        focal_px=math.exp(lens.log_focal),
        centre_px=(lens.centre_x_px, lens.centre_y_px),
        k1=lens.k1,
        k2=lens.k2,
        p1=lens.p1,
        p2=lens.p2,
        covariance=tuple(tuple(row) for row in calibration.covariance.matrix.tolist()),
        photographs=photographs,
        rms_px=float(np.median(calibration.rms_px)),
        coverage=calibration.coverage,
        on=on,
    )


def lens_for(photo: Photo, cameras: Mapping[str, CalibratedCamera]) -> Lens:
    """Return the prior knowledge of the lens that took a photograph, in the photograph's frame.

    For a camera that is not calibrated this is the recorded focal length, if there is one.

    Parameters
    ----------
    photo : Photo
        A photograph.
    cameras : mapping of str to CalibratedCamera
        Calibrated cameras by their key.
    """
    camera = cameras.get(camera_key(photo))
    if camera is None:
        return stated_lens(photo)
    height, width = photo.pixels.shape[:2]
    # The correlation of focal length and principal point is stored but not used here. With nine
    # photographs of the card it is 0.8; refocusing and stabilisation reduce it to 0.4 to 0.6, and
    # using it would change U by 2 % of itself and figures by 0.01 %. It also applies only to this
    # lens as calibrated, not to a zoomed picture, which is a rival hypothesis.
    known = Covariance(Intrinsics._fields, np.array(camera.covariance))
    stored = (height, width) if photo.orientation >= 5 else (width, height)
    x, y = camera.centre_px
    tangential = np.array([camera.p2, camera.p1])  # a vector: it rotates with the picture
    u_centre = max(known.u("centre_x_px"), known.u("centre_y_px"))
    u_centre = math.hypot(u_centre, U_SHIFT_SHARE * max(camera.size))
    off = math.hypot(x - (camera.size[0] - 1) / 2, y - (camera.size[1] - 1) / 2)
    if stored == camera.size:
        turn, shift = turned(photo.orientation, *stored)
        centre = turn @ np.array([x, y]) + shift
        tangential = turn @ tangential
    else:  # rotated by another program, to the left or to the right
        middle = np.array([width - 1, height - 1]) / 2
        centre, tangential, u_centre = middle, np.zeros(2), math.hypot(u_centre, off)
    return Lens(
        camera.focal_px,
        math.hypot(known.u("log_focal"), U_REFOCUS),
        (float(centre[0]), float(centre[1])),
        u_centre,
        k1=camera.k1,
        u_k1=max(_u_bend(known.ordered(["k1", "k2", "p1", "p2"]), camera), 1e-4),
        k2=camera.k2,
        p1=float(tangential[1]),
        p2=float(tangential[0]),
        rivals=(Rival(1 / MOST_WRONG, MOST_ZOOMED, WRONG_IF_CALIBRATED, off),),
    )


def turned(orientation: int, width: int, height: int) -> tuple[Array, Array]:
    """Return the rotation (2, 2) and shift (2,), px, from a stored picture to the upright one.

    Parameters
    ----------
    orientation : int
        Exif orientation, 1 to 8.
    width, height : int
        Size of the stored picture, px.

    Examples
    --------
    >>> turn, shift = turned(6, 8, 6)  # landscape to portrait: its top left becomes the top right
    >>> (turn @ [0, 0] + shift).tolist()
    [5.0, 0.0]
    """
    right, down = width - 1.0, height - 1.0
    turns: dict[int, tuple[list[list[int]], list[float]]] = {
        1: ([[1, 0], [0, 1]], [0, 0]),
        2: ([[-1, 0], [0, 1]], [right, 0]),
        3: ([[-1, 0], [0, -1]], [right, down]),
        4: ([[1, 0], [0, -1]], [0, down]),
        5: ([[0, 1], [1, 0]], [0, 0]),
        6: ([[0, -1], [1, 0]], [down, 0]),
        7: ([[0, -1], [-1, 0]], [down, right]),
        8: ([[0, 1], [-1, 0]], [0, right]),
    }
    turn, shift = turns[orientation]
    return np.array(turn, float), np.array(shift, float)


def _u_bend(covariance: Array, camera: CalibratedCamera) -> float:
    """Return the u of k1 that displaces the picture's points as much as the u of all four terms.

    k1 and k2 are correlated: each alone is less certain than the distortion that they give
    together. So the displacement by all four terms, with their covariance, is expressed in terms
    of k1's.
    """
    share = np.array(camera.size) / 2 / camera.focal_px
    x, y = (v.ravel() for v in np.meshgrid(*(np.linspace(-s, s, 15) for s in share)))
    r2 = x * x + y * y
    by = np.array(
        [
            [r2 * x, r2 * y],
            [r2 * r2 * x, r2 * r2 * y],
            [2 * x * y, r2 + 2 * y * y],
            [r2 + 2 * x * x, 2 * x * y],
        ]
    ).reshape(4, -1)
    spread = float(np.einsum("in,ij,jn->", by, covariance, by))
    return math.sqrt(spread / float(by[0] @ by[0]))


def load_cameras(path: str | os.PathLike[str]) -> dict[str, CalibratedCamera]:
    """Return the calibrated cameras in a file by key; empty if there is no such file.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    dict of str to CalibratedCamera
        As `Settings.cameras` takes them.

    Raises
    ------
    ValueError
        If the file is damaged, or an entry is not a calibration.
    """
    file = Path(path)
    return {
        key: _from_dict(key, entry, file) for key, entry in read_json(file, "calibrations").items()
    }


def save_camera(
    path: str | os.PathLike[str], camera: CalibratedCamera, *, unless_surer: bool = False
) -> None:
    """Save a camera in a file atomically, replacing any earlier calibration of it.

    Parameters
    ----------
    path : path
        The file; created if it does not exist.
    camera : CalibratedCamera
        The camera to save.
    unless_surer : bool, optional
        Refuse to replace a calibration with a less uncertain focal length.

    Raises
    ------
    ValueError
        If the file is damaged (it is then left unchanged) or cannot be written; or if it has a
        less uncertain calibration.
    """
    file = Path(path)

    def with_camera(saved: dict[str, Any]) -> dict[str, Any]:
        if unless_surer and camera.key in saved:
            known = _from_dict(camera.key, saved[camera.key], file).covariance[0][0]
            if known < camera.covariance[0][0]:
                raise ValueError(
                    f"{camera.key} is calibrated already, with its focal length known to "
                    f"{100 * math.sqrt(known):.1f} %, and was not replaced; remove it first to "
                    "replace it."
                )
        return {**saved, camera.key: _to_dict(camera)}

    update_json(file, "the calibration", with_camera)


def forget_camera(path: str | os.PathLike[str], key: str) -> None:
    """Remove a camera from a file.

    Parameters
    ----------
    path : path
        The file.
    key : str
        The camera's key.

    Raises
    ------
    ValueError
        If the camera is not in the file, or the file is damaged or cannot be written.
    """

    def without(saved: dict[str, Any]) -> dict[str, Any]:
        if key not in saved:
            listed = "; ".join(sorted(saved)) or "none"
            raise ValueError(f"no camera called {key!r} is saved (saved: {listed}).")
        return {name: entry for name, entry in saved.items() if name != key}

    update_json(Path(path), "the list of cameras", without)


def _to_dict(camera: CalibratedCamera) -> dict[str, Any]:
    return {
        "size_px": list(camera.size),
        "focal_px": camera.focal_px,
        "centre_px": list(camera.centre_px),
        "k1": camera.k1,
        "k2": camera.k2,
        "p1": camera.p1,
        "p2": camera.p2,
        "covariance": [list(row) for row in camera.covariance],
        "photographs": camera.photographs,
        "rms_px": camera.rms_px,
        "coverage": camera.coverage,
        "on": None if camera.on is None else camera.on.isoformat(),
    }


def _from_dict(key: str, entry: Any, file: Path) -> CalibratedCamera:
    try:
        covariance = np.array(entry["covariance"], float)
        width, height = entry["size_px"]
        x, y = entry["centre_px"]
        numbers = {
            name: float(entry[name])
            for name in ("focal_px", "k1", "k2", "p1", "p2", "rms_px", "coverage")
        }
        sound = (
            covariance.shape == (7, 7)
            and bool(np.isfinite(covariance).all() and (np.diag(covariance) > 0).all())
            and all(math.isfinite(value) for value in (*numbers.values(), float(x), float(y)))
            and numbers["focal_px"] > 0
            and abs(numbers["k1"]) < UNUSUAL
        )
        if not sound:
            raise ValueError
        return CalibratedCamera(
            key=key,
            size=(int(width), int(height)),
            centre_px=(float(x), float(y)),
            covariance=tuple(tuple(row) for row in covariance.tolist()),
            photographs=int(entry["photographs"]),
            on=None if entry.get("on") is None else date.fromisoformat(entry["on"]),
            **numbers,
        )
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        raise ValueError(
            f"{file.name}, camera {key!r}: not a calibration; mend the file or move it away."
        ) from None
