"""A phone of world two: colour mosaic, burst, local tone mapping, sharpening halos, files.

Its processing differs from world one's: light falls on a colour mosaic, a burst of frames is
averaged, the mosaic is interpolated along edges, tones are mapped locally, noise is smoothed by a
bilateral filter, halos of two radii are added, and the file is saved as JPEG once or twice.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import IFD, Base

Light = NDArray[np.float32]
LONG_MESSENGER_PX = 1600


@dataclass(frozen=True, slots=True)
class Phone:
    """How light becomes a file.

    Parameters
    ----------
    white : float
        Linear level of the lit paper, full scale = 1.
    blur_px, colour_px : float
        Standard deviation of the lens's blur; lateral colour of red and of blue at the picture's
        corner.
    electrons, frames : float, int
        Electrons at full scale; frames of the burst.
    smooth : float
        Strength of the noise filter, 0 to 1.
    local, lift : float
        Share of local tone mapping, and exponent of the shadows' curve (1: unchanged).
    halos : tuple of (share, radius_px)
        Sharpening.
    motion_px, veil : float
        Length of a uniform movement; share of the picture's mean light spread all over it.
    balance : (red, green, blue)
        Errors of the white balance.
    quality, messenger : int, bool
        JPEG quality; True if sent through a messenger (1,600 px, saved again, no EXIF).
    """

    white: float = 0.75
    blur_px: float = 0.6
    colour_px: float = 0.2
    electrons: float = 6000.0
    frames: int = 4
    smooth: float = 0.3
    local: float = 0.2
    lift: float = 1.0
    halos: tuple[tuple[float, float], ...] = ((0.3, 0.8), (0.1, 3.0))
    motion_px: float = 0.0
    motion_deg: float = 0.0
    veil: float = 0.0
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    quality: int = 90
    messenger: bool = False


def good_phone(rng: np.random.Generator) -> Phone:
    """Return a phone in normal condition."""
    return Phone(
        white=float(rng.uniform(0.45, 0.85)),
        blur_px=float(rng.uniform(0.45, 0.9)),
        colour_px=float(rng.uniform(0.0, 0.4)),
        electrons=float(rng.uniform(3000, 12000)),
        frames=int(rng.integers(1, 7)),
        smooth=float(rng.uniform(0.0, 0.6)),
        local=float(rng.uniform(0.0, 0.4)),
        lift=float(rng.uniform(0.85, 1.1)),
        halos=(
            (float(rng.uniform(0.0, 0.5)), float(rng.uniform(0.6, 1.1))),
            (float(rng.uniform(0.0, 0.15)), float(rng.uniform(2.0, 4.0))),
        ),
        balance=tuple(1 + rng.normal(0, 0.04, 3)),
        quality=int(rng.integers(85, 97)),
    )


def poor_phone(rng: np.random.Generator, stress: str) -> Phone:
    """Return a phone with the fault that the stress names; a good one if it names none."""
    phone = good_phone(rng)
    changes: dict[str, dict[str, object]] = {
        "lifted shadows": {"lift": float(rng.uniform(0.45, 0.7)), "local": 0.6},
        "veil": {"veil": float(rng.uniform(0.05, 0.3))},
        "messenger": {"messenger": True},
        "motion": {
            "motion_px": float(rng.uniform(1.5, 4.0)), "motion_deg": float(rng.uniform(0, 180))
        },
        "soft focus": {"blur_px": float(rng.uniform(1.3, 2.2))},
        "over-sharpened": {"halos": ((0.9, 1.0), (0.5, float(rng.uniform(2, 4))))},
        "denoised": {"smooth": 1.0, "frames": 8, "electrons": 900.0},
    }  # fmt: skip
    return replace(phone, **changes.get(stress, {}))  # type: ignore[arg-type]


def picture_of(
    light: Light, white: NDArray[np.float64], phone: Phone, seed: int
) -> NDArray[np.uint8]:
    """Return the 8-bit picture of linear light (H, W, 3), exposed for `white` (3,)."""
    rng = np.random.default_rng([seed, 2])
    seen = light * (phone.white / white * np.array(phone.balance)).astype(np.float32)
    seen = np.minimum(seen, 8.0)
    if phone.veil:
        seen = (1 - phone.veil) * seen + phone.veil * np.minimum(seen, 1).mean((0, 1))
    if phone.motion_px:
        seen = cv2.filter2D(seen, -1, _movement(phone.motion_px, phone.motion_deg))
    seen = cv2.GaussianBlur(seen, (0, 0), phone.blur_px)
    seen = _coloured_fringes(seen, phone.colour_px)
    mosaic = _burst(seen, phone, rng)
    tone = _tone(_filled(mosaic), phone)
    if phone.smooth:
        strength = phone.smooth
        tone = cv2.bilateralFilter(tone, 5, 0.015 + 0.05 * strength, 0.8 + 1.2 * strength)
    for share, radius in phone.halos:
        grey = cv2.cvtColor(tone, cv2.COLOR_RGB2GRAY)
        tone += share * (grey - cv2.GaussianBlur(grey, (0, 0), radius))[..., None]
    return np.asarray(np.clip(np.rint(255 * tone), 0, 255), np.uint8)


def _movement(length_px: float, direction_deg: float) -> Light:
    half = int(np.ceil(length_px / 2)) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    kernel = np.zeros(x.shape)
    c, s = np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg))
    for step in np.linspace(-length_px / 2, length_px / 2, 101):
        kernel += np.maximum(1 - np.abs(x - c * step), 0) * np.maximum(1 - np.abs(y - s * step), 0)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _coloured_fringes(seen: Light, corner_px: float) -> Light:
    """Return the picture with red magnified and blue reduced by `corner_px` at the corners."""
    if not corner_px:
        return seen
    height, width = seen.shape[:2]
    out = seen.copy()
    for channel, sign in ((0, 1), (2, -1)):
        grow = 1 + sign * corner_px / np.hypot(width / 2, height / 2)
        centre = np.array([(width - 1) / 2, (height - 1) / 2])
        turn = np.array([[grow, 0, (1 - grow) * centre[0]], [0, grow, (1 - grow) * centre[1]]])
        out[..., channel] = cv2.warpAffine(
            seen[..., channel], turn, (width, height), flags=cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
    return out


def _burst(seen: Light, phone: Phone, rng: np.random.Generator) -> Light:
    """Return the mean mosaic (H, W) of a burst, in the order red, green; green, blue."""
    height, width = seen.shape[:2]
    total = np.zeros((height, width), np.float32)
    for frame in range(phone.frames):
        # the frames are aligned, which leaves a fraction of a pixel
        dx, dy = rng.uniform(-0.25, 0.25, 2) if frame else (0.0, 0.0)
        turn = np.array([[1, 0, dx], [0, 1, dy]])
        moved = cv2.warpAffine(
            seen, turn, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        raw = np.empty((height, width), np.float32)
        raw[0::2, 0::2] = moved[0::2, 0::2, 0]
        raw[0::2, 1::2] = moved[0::2, 1::2, 1]
        raw[1::2, 0::2] = moved[1::2, 0::2, 1]
        raw[1::2, 1::2] = moved[1::2, 1::2, 2]
        count = np.maximum(raw, 0) * phone.electrons
        noise = rng.standard_normal(raw.shape, dtype=np.float32)
        total += np.minimum(count + noise * np.sqrt(count + 16.0), phone.electrons)
    return np.asarray(total / (phone.frames * phone.electrons), np.float32)


def _filled(mosaic: Light) -> Light:
    """Return all three colours at every pixel, interpolated along edges, not across them."""
    code = np.asarray(np.clip(np.sqrt(np.maximum(mosaic, 0)) * 65535, 0, 65535), np.uint16)
    filled = cv2.cvtColor(code, cv2.COLOR_BayerRGGB2RGB_EA)
    return np.asarray((filled.astype(np.float32) / 65535) ** 2, np.float32)


def _tone(light: Light, phone: Phone) -> Light:
    """Return the stored tones, 0 to 1: local tone mapping, lifted shadows, sRGB's curve."""
    light = np.maximum(light, 0)
    grey = cv2.cvtColor(light, cv2.COLOR_RGB2GRAY) + 1e-4
    if phone.local:  # brightens large dark areas and keeps small contrasts
        small = cv2.resize(np.log(grey), None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
        base = cv2.resize(cv2.bilateralFilter(small, 9, 0.8, 12.0), grey.shape[::-1])
        light = (
            light
            * np.exp(phone.local * (np.log(0.4) - np.minimum(base, np.log(0.4))) * 0.6)[..., None]
        )
    light = np.clip(light, 0, 1) ** np.float32(phone.lift)
    tone = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** np.float32(1 / 2.4) - 0.055)
    # a gentle S-curve, as phones apply
    return np.asarray(
        tone + 0.06 * np.sin(2 * np.pi * (tone - 0.5)) * tone * (1 - tone), np.float32
    )


def save(
    pixels: NDArray[np.uint8],
    path: Path,
    phone: Phone,
    *,
    f35_exif: int,
    model: str,
    taken: datetime,
) -> None:
    """Write the file as the phone or the messenger would."""
    picture = Image.fromarray(pixels)
    if phone.messenger:
        first = io.BytesIO()
        picture.save(first, "JPEG", quality=phone.quality, subsampling="4:2:0")
        picture = Image.open(io.BytesIO(first.getvalue()))
        picture.thumbnail((LONG_MESSENGER_PX, LONG_MESSENGER_PX), Image.Resampling.BICUBIC)
        picture.save(path, quality=72, subsampling="4:2:0")
        return
    tags = Image.Exif()
    tags[Base.Make] = "Invented"
    tags[Base.Model] = model
    tags[Base.Orientation] = 1
    inner = tags.get_ifd(IFD.Exif)
    inner[Base.DateTimeOriginal] = taken.strftime("%Y:%m:%d %H:%M:%S")
    inner[Base.FocalLengthIn35mmFilm] = f35_exif
    inner[Base.ExifImageWidth], inner[Base.ExifImageHeight] = picture.size
    picture.save(path, quality=phone.quality, subsampling="4:2:0", exif=tags)
