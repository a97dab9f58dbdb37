"""Calibrated cameras: kept by name in a small JSON file, and turned to each photograph.

A calibration belongs to one camera, one picture size and one lens (`camera_key`). It is kept in
the frame in which the sensor is read, since a phone is held upright or sideways; `lens_for` turns
it as the photograph was turned. Where a file no longer says how (some programs store pictures
already turned), the lens's middle is put in the picture's and is uncertain by as much.

What a calibration can't know is added: refocusing and image stabilisation move the lens.
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
UNUSUAL = 0.5  # |k1| of a lens that no phone's picture shows: the file is damaged


@dataclass(frozen=True, slots=True)
class CalibratedCamera:
    """One camera's calibration as it is kept.

    Parameters
    ----------
    key : str
        Which camera, size and lens, see `camera_key`.
    size : tuple of int
        Width and height as the sensor is read, px.
    focal_px, centre_px, k1, k2, p1, p2
        The camera's numbers, see `vision.calibration.adjustment`.
    covariance : tuple of tuple of float
        Covariance of these numbers, the focal length as its logarithm, in the order of
        `vision.calibration.adjustment.Intrinsics`.
    photographs : int
        How many it came from.
    rms_px, coverage : float
        Residuals of the corners, px; share of the picture that the board covered.
    on : date or None
        Day of the calibration.
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
    """Return which camera, picture size and lens took a photograph; empty if it does not say.

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
    """Return a calibration as it is kept.

    Parameters
    ----------
    key : str
        Which camera, size and lens, see `camera_key`.
    calibration : Calibration
        What the photographs of the board gave.
    photographs : int
        How many they were.
    on : date or None
        Day of the calibration.
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
    """Return what is known of the lens that took a photograph, turned as that is.

    Of a camera that is not calibrated this is its focal length, where it wrote one.

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
    # That focal length and principal point go together stays in the file and is not used here.
    # Nine photographs with the card leave a correlation of 0.8; refocusing and stabilisation leave
    # 0.4 to 0.6 of it, which moves U by 2 % of itself and figures by 0.01 %. And it holds for this
    # lens as calibrated, not for a zoomed picture, whose account is weighed beside this one.
    known = Covariance(Intrinsics._fields, np.array(camera.covariance))
    stored = (height, width) if photo.orientation >= 5 else (width, height)
    x, y = camera.centre_px
    aside = np.array([camera.p2, camera.p1])  # a vector: it turns with the picture
    u_centre = max(known.u("centre_x_px"), known.u("centre_y_px"))
    u_centre = math.hypot(u_centre, U_SHIFT_SHARE * max(camera.size))
    off = math.hypot(x - (camera.size[0] - 1) / 2, y - (camera.size[1] - 1) / 2)
    if stored == camera.size:
        turn, shift = turned(photo.orientation, *stored)
        centre = turn @ np.array([x, y]) + shift
        aside = turn @ aside
    else:  # turned by somebody else, to the left or to the right
        middle = np.array([width - 1, height - 1]) / 2
        centre, aside, u_centre = middle, np.zeros(2), math.hypot(u_centre, off)
    return Lens(
        camera.focal_px,
        math.hypot(known.u("log_focal"), U_REFOCUS),
        (float(centre[0]), float(centre[1])),
        u_centre,
        k1=camera.k1,
        u_k1=max(_u_bend(known.ordered(["k1", "k2", "p1", "p2"]), camera), 1e-4),
        k2=camera.k2,
        p1=float(aside[1]),
        p2=float(aside[0]),
        rivals=(Rival(1 / MOST_WRONG, MOST_ZOOMED, WRONG_IF_CALIBRATED, off),),
    )


def turned(orientation: int, width: int, height: int) -> tuple[Array, Array]:
    """Return turn (2, 2) and shift (2,), px, from a stored picture to the upright one.

    Parameters
    ----------
    orientation : int
        Exif orientation, 1 to 8.
    width, height : int
        Size of the stored picture, px.

    Examples
    --------
    >>> turn, shift = turned(6, 8, 6)  # stored lying, seen upright: its top left goes top right
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
    """Return the uncertainty of k1 that moves the picture's points as much as that of all four.

    k1 and k2 stand in for each other, so that each by itself is known worse than the bend they
    give together: the displacement by all four, with their covariance, is projected on k1's.
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
    """Return the calibrated cameras of a file by their key; none if there is no such file.

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
        If the file is damaged, or holds something that is no calibration.
    """
    file = Path(path)
    return {key: _from_dict(key, entry, file) for key, entry in read_json(file).items()}


def save_camera(
    path: str | os.PathLike[str], camera: CalibratedCamera, *, unless_surer: bool = False
) -> None:
    """Keep a camera in a file, whole or not at all; an earlier calibration of it is replaced.

    Parameters
    ----------
    path : path
        The file; made if it is not there.
    camera : CalibratedCamera
        What to keep.
    unless_surer : bool, optional
        Refuse to replace one whose focal length is known better.

    Raises
    ------
    ValueError
        If the file is damaged (it is then left as it is) or cannot be written; or a surer
        calibration is there.
    """
    file = Path(path)

    def with_camera(kept: dict[str, Any]) -> dict[str, Any]:
        if unless_surer and camera.key in kept:
            known = _from_dict(camera.key, kept[camera.key], file).covariance[0][0]
            if known < camera.covariance[0][0]:
                raise ValueError(
                    f"{camera.key} is calibrated already, its focal length known to "
                    f"{100 * math.sqrt(known):.1f} %, and that is kept; remove it first to replace "
                    "it."
                )
        return {**kept, camera.key: _to_dict(camera)}

    update_json(file, "the calibration", with_camera)


def forget_camera(path: str | os.PathLike[str], key: str) -> None:
    """Take a camera out of a file.

    Parameters
    ----------
    path : path
        The file.
    key : str
        Which camera.

    Raises
    ------
    ValueError
        If it is not in it, or the file is damaged or cannot be written.
    """

    def without(kept: dict[str, Any]) -> dict[str, Any]:
        if key not in kept:
            listed = "; ".join(sorted(kept)) or "none"
            raise ValueError(f"no camera called {key!r} is kept (there are: {listed}).")
        return {name: entry for name, entry in kept.items() if name != key}

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
            f"{file.name}, camera {key!r}: this is no calibration; mend the file or move it away."
        ) from None
