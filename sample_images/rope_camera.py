"""The camera: its position, and the file that it writes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import IFD, Base

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)  # the 35-mm equivalent compares diagonals (CIPA)


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """A pinhole camera in the card's frame (x right, y up, z towards the camera, mm).

    Camera frame: x right, y down, z forward. Pixel (0, 0) is the centre of the first pixel.
    """

    R_cam_card: Array
    centre_mm: Array
    focal_px: float
    principal_px: tuple[float, float]
    width_px: int
    height_px: int

    @property
    def t_cam_card_mm(self) -> Array:
        """The card's origin in the camera's frame, mm."""
        return np.asarray(-self.R_cam_card @ self.centre_mm)

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the card's normal, degrees."""
        return math.degrees(math.acos(min(1.0, -self.R_cam_card[2, 2])))

    def project(self, points_mm: Array) -> Array:
        """Project points of the card's frame (N, 3), mm, into the picture (N, 2), px."""
        in_camera = (points_mm - self.centre_mm) @ self.R_cam_card.T
        return np.asarray(self.focal_px * in_camera[:, :2] / in_camera[:, 2:] + self.principal_px)


def focal_px_of(f35_mm: float, width_px: int, height_px: int) -> float:
    """Return the focal length in px from its 35-mm equivalent.

    Examples
    --------
    >>> round(focal_px_of(26.0, 4000, 3000), 1)
    3004.6
    """
    return f35_mm / FULL_FRAME_DIAGONAL_MM * math.hypot(width_px, height_px)


def camera_looking_at(
    aim_mm: Array,
    *,
    distance_mm: float,
    tilt_deg: float,
    azimuth_deg: float,
    roll_deg: float,
    focal_px: float,
    principal_offset_px: tuple[float, float] = (0.0, 0.0),
    size_px: tuple[int, int] = (4000, 3000),
) -> Camera:
    """Return a camera `distance_mm` from `aim_mm` that looks at it.

    `tilt_deg` tilts it away from the card's normal towards `azimuth_deg` (from x towards y).
    At roll 0 the picture's right is the card's right.
    """
    tilt, azimuth, roll = np.radians([tilt_deg, azimuth_deg, roll_deg])
    away = np.array(
        [math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)]
    )
    forward = -away
    right = np.cross(forward, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    turned_right = math.cos(roll) * right + math.sin(roll) * down
    turned_down = -math.sin(roll) * right + math.cos(roll) * down
    width, height = size_px
    return Camera(
        R_cam_card=np.stack([turned_right, turned_down, forward]),
        centre_mm=aim_mm + distance_mm * away,
        focal_px=focal_px,
        principal_px=(
            (width - 1) / 2 + principal_offset_px[0],
            (height - 1) / 2 + principal_offset_px[1],
        ),
        width_px=width,
        height_px=height,
    )


@dataclass(frozen=True, slots=True)
class Exif:
    """The metadata that the invented phone writes into the file."""

    model: str
    f35_mm: float
    focal_mm: float
    taken_at: datetime
    orientation: int = 1


def save_jpeg(pixels: NDArray[np.uint8], path: Path, exif: Exif, *, quality: int) -> None:
    """Write the picture as a phone would, EXIF included."""
    picture = Image.fromarray(pixels)
    tags = Image.Exif()
    tags[Base.Make] = "Demo"
    tags[Base.Model] = exif.model
    tags[Base.Orientation] = exif.orientation
    tags[Base.Software] = "rendered sample"
    when = exif.taken_at.strftime("%Y:%m:%d %H:%M:%S")
    tags[Base.DateTime] = when
    inner = tags.get_ifd(IFD.Exif)
    inner[Base.DateTimeOriginal] = when
    inner[Base.FocalLength] = round(exif.focal_mm, 2)
    inner[Base.FocalLengthIn35mmFilm] = round(exif.f35_mm)
    inner[Base.ExifImageWidth] = picture.width
    inner[Base.ExifImageHeight] = picture.height
    picture.save(path, quality=quality, subsampling="4:2:0", exif=tags)
