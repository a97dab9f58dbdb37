"""What the lens, the sensor and the phone's software do to the light, for each photograph."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from rope_camera import Array, Camera, Picture

DISC_STEP_PX = 1.5  # blur discs are made at these steps of diameter and blended in between
WIDEST_DISC_PX = 60.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """How light becomes a file. Lengths in px are those of the rendered picture unless stated.

    Parameters
    ----------
    paper_level : float
        Linear level of well-lit white paper, full scale = 1.
    psf_px : float
        Standard deviation of the lens's blur, px of the finished picture.
    full_well : float
        Electrons at full scale: sets the photon noise.
    read_noise : float
        Standard deviation of the read noise, electrons.
    sharpening, sharpening_px : float
        Share of the unsharp mask that is added, and the mask's radius, px of the finished picture.
    quality : int
        JPEG quality; colour is stored at half resolution (4:2:0).
    balance : (red, green, blue)
        White balance: factors on the three colours.
    k1 : float
        Radial distortion left in the picture: x' = x (1 + k1 r^2), lengths in focal lengths.
    aperture_mm, focus_mm : float
        Diameter of the entrance pupil (0: a pinhole), and the focus distance along the axis. A
        point at depth z becomes a disc of diameter focal_px aperture |1/z - 1/focus|.
    motion_px, motion_deg : float
        Length and direction of a uniform movement while the shutter was open.
    megapixels : float
        Size of the finished picture, 10^6 px; 0 keeps the rendered size. Enlarged pictures
        represent sensors with more pixels than their lens resolves.
    mirrored : bool
        Left and right swapped, as by front cameras.
    """

    paper_level: float = 0.78
    psf_px: float = 0.7
    full_well: float = 6000.0
    read_noise: float = 4.0
    sharpening: float = 0.35
    quality: int = 90
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    sharpening_px: float = 1.2
    k1: float = 0.0
    aperture_mm: float = 0.0
    focus_mm: float = 400.0
    motion_px: float = 0.0
    motion_deg: float = 0.0
    megapixels: float = 0.0
    mirrored: bool = False

    def scale(self, camera: Camera) -> float:
        """Return the ratio of the finished picture's width to the rendered one's."""
        if not self.megapixels:
            return 1.0
        return float(np.sqrt(self.megapixels * 1e6 / (camera.width_px * camera.height_px)))


def develop(
    light: Picture,
    depth_mm: Picture,
    camera: Camera,
    white: Array,
    sensor: Sensor,
    rng: np.random.Generator,
) -> NDArray[np.uint8]:
    """Develop a linear picture to 8 bits, exposed for `white` (3,), the colour of lit paper."""
    gain = (sensor.paper_level / white * np.array(sensor.balance)).astype(np.float32)
    raw = np.minimum(light * gain, 20.0)
    if sensor.aperture_mm:
        raw = _out_of_focus(raw, depth_mm, camera, sensor)
    if sensor.motion_px:
        raw = cv2.filter2D(raw, -1, _line(sensor.motion_px, sensor.motion_deg))
    if sensor.k1:
        raw = _distorted(raw, camera, sensor.k1)
    scale = sensor.scale(camera)
    if scale != 1.0:
        size = (round(camera.width_px * scale), round(camera.height_px * scale))
        interpolation = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        raw = cv2.resize(raw, size, interpolation=interpolation)
    raw = cv2.GaussianBlur(raw, (0, 0), sensor.psf_px)
    electrons = np.maximum(raw, 0.0) * np.float32(sensor.full_well)
    noise = rng.standard_normal(electrons.shape, dtype=np.float32)
    electrons += noise * np.sqrt(electrons + np.float32(sensor.read_noise**2))
    # A phone smooths the noise a little before it stores the picture.
    linear = cv2.GaussianBlur(electrons / np.float32(sensor.full_well), (0, 0), 0.45)
    linear = np.clip(linear, 0.0, 1.0)
    tone = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** np.float32(1 / 2.4) - 0.055
    )
    mask = tone - cv2.GaussianBlur(tone, (0, 0), sensor.sharpening_px)
    tone += np.float32(sensor.sharpening) * mask
    pixels = np.asarray(np.clip(np.rint(255.0 * tone), 0, 255), dtype=np.uint8)
    return np.ascontiguousarray(pixels[:, ::-1]) if sensor.mirrored else pixels


def _out_of_focus(raw: Picture, depth_mm: Picture, camera: Camera, sensor: Sensor) -> Picture:
    """Return the picture with every point spread over its blur disc.

    The rope's outline is spread by the rope's own disc, since the nearer object hides the farther.
    Behind it is the band, whose stripes right beside the edge get the wrong disc.
    """
    nearest = cv2.erode(depth_mm, np.ones((9, 9), np.uint8))
    defocus = np.abs(1 / np.maximum(nearest, 1.0) - 1 / sensor.focus_mm)
    disc = np.minimum(camera.focal_px * sensor.aperture_mm * defocus, WIDEST_DISC_PX)
    level = np.asarray(cv2.GaussianBlur(disc, (0, 0), 2.0) / DISC_STEP_PX, np.float32)
    spread = np.zeros_like(raw)
    for number in range(int(level.min()), int(level.max()) + 2):
        share = np.maximum(0, 1 - np.abs(level - number))[..., None]
        if share.any():
            spread += share * cv2.filter2D(raw, -1, _disc(number * DISC_STEP_PX))
    return spread


def _disc(diameter_px: float) -> Picture:
    half = int(diameter_px / 2 + 1.5)
    fine = 8  # cells along a pixel: the disc's edge is resolved to an eighth
    place = (np.arange((2 * half + 1) * fine) + 0.5) / fine - half - 0.5
    radius = max(diameter_px / 2, 1 / fine)  # at least four cells: a point in focus
    inside = (place[:, None] ** 2 + place[None] ** 2 <= radius**2).astype(np.float32)
    kernel = inside.reshape(2 * half + 1, fine, 2 * half + 1, fine).mean(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), np.float32)


def _line(length_px: float, direction_deg: float) -> Picture:
    """Return the kernel of a uniform movement, centred so that it shifts no edge."""
    half = int(length_px / 2 + 2)
    kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
    along = np.radians(direction_deg)
    for step in np.linspace(-0.5, 0.5, 200):
        x = half + step * length_px * np.cos(along)
        y = half + step * length_px * np.sin(along)
        column, row = int(x), int(y)
        right, below = x - column, y - row
        kernel[row, column] += (1 - right) * (1 - below)
        kernel[row, column + 1] += right * (1 - below)
        kernel[row + 1, column] += (1 - right) * below
        kernel[row + 1, column + 1] += right * below
    return np.asarray(kernel / kernel.sum(), np.float32)


def _distorted(raw: Picture, camera: Camera, k1: float) -> Picture:
    x = ((np.arange(camera.width_px) - camera.principal_px[0]) / camera.focal_px)[None]
    y = ((np.arange(camera.height_px) - camera.principal_px[1]) / camera.focal_px)[:, None]
    distorted = np.sqrt(x * x + y * y)
    undistorted = distorted
    for _ in range(8):
        undistorted = distorted / (1 + k1 * undistorted**2)
    ratio = np.where(distorted > 0, undistorted / np.maximum(distorted, 1e-9), 1.0)
    from_x = (x * ratio * camera.focal_px + camera.principal_px[0]).astype(np.float32)
    from_y = (y * ratio * camera.focal_px + camera.principal_px[1]).astype(np.float32)
    return cv2.remap(raw, from_x, from_y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
