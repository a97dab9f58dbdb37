"""A camera, a printed card and a smooth bar in numpy: photographs whose truth is known.

The card's own PDF page is sent into the picture by a homography, and every pixel's ray is cut
with the bar; several samples a pixel are averaged in linear light, so that nothing of the
estimator's own geometry is used. What else lies on the card (a hand, a shadow, a scalloped
strip that stands for strands) is painted on the page, in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import cv2
import numpy as np
import pypdfium2  # type: ignore[import-untyped]
from bars import DARK_GREASE, RUST, STEEL, Bar, Colour, add_bar, silhouette_mm
from numpy.typing import NDArray

from vision.target.layout import Layout
from vision.target.pdf import card_pdf

__all__ = ["DARK_GREASE", "RUST", "STEEL", "Bar", "Colour", "silhouette_mm"]

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Linear = NDArray[np.float32]
Light = Callable[[Array, Array], Array]

GROUND: Colour = (0.20, 0.19, 0.17)
HAND: Colour = (0.45, 0.28, 0.20)
CODE = (255 * np.where(
    (v := np.arange(65536) / 65535) <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055
)).astype(np.float32)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Patch:
    """A flat thing on the card: its outline (N, 2), mm, and its colour (linear)."""

    outline_mm: tuple[tuple[float, float], ...]
    colour: Colour


@dataclass(frozen=True, slots=True)
class Placed:
    """A further card on the same plane, turned and shifted."""

    layout: Layout
    number: int
    shift_mm: tuple[float, float]
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """A photograph and the truth about it."""

    pixels: Image
    R: Array
    t: Array
    focal_px: float

    @property
    def camera_mm(self) -> Array:
        return np.asarray(-self.R.T @ self.t)

    @property
    def grey(self) -> Image:
        return np.asarray(cv2.cvtColor(self.pixels, cv2.COLOR_RGB2GRAY), np.uint8)

    def seen_px(self, points_mm: Array) -> Array:
        """Return where points (N, 3) of the card's frame truly fall, px (N, 2)."""
        height, width = self.pixels.shape[:2]
        return np.asarray(pinhole(points_mm, self.R, self.t, self.focal_px, (width, height)))


def pinhole(points_mm: Array, R: Array, t: Array, focal_px: float, size: tuple[int, int]) -> Array:
    """Return the central projection of points (N, 3), px (N, 2)."""
    p = points_mm @ R.T + t
    middle = (np.array(size) - 1) / 2
    return np.asarray(focal_px * p[:, :2] / p[:, 2:] + middle)


def look(
    tilt_deg: float,
    azimuth_deg: float,
    roll_deg: float,
    distance_mm: float,
    aim_mm: tuple[float, float] = (0.0, 0.0),
) -> tuple[Array, Array]:
    """Return R_cam_card and t of a camera `distance_mm` from the card's point `aim_mm`."""
    tilt, azimuth, roll = np.radians([tilt_deg, azimuth_deg, roll_deg])
    towards = np.array(
        [np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)]
    )
    z = -towards
    up = np.array([-np.sin(roll), np.cos(roll), 0.0])
    x = np.cross(-up, z)
    x /= np.linalg.norm(x)
    R = np.stack([x, np.cross(z, x), z])
    centre = np.array([*aim_mm, 0.0]) + distance_mm * towards
    return R, -R @ centre


@lru_cache(maxsize=6)
def page(layout: Layout, number: int, dots_per_mm: int = 20) -> Linear:
    """Return the PDF page of a card in linear light (H, W, 3), paper 0.85, ink 0.035."""
    pdf = pypdfium2.PdfDocument(_printed(layout, number // 2 + 1))
    sheet = pdf[number % 2].render(scale=dots_per_mm * 25.4 / 72, rev_byteorder=True).to_numpy()
    v = np.arange(256) / 255
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return np.asarray(cv2.LUT(np.ascontiguousarray(sheet[..., :3]), 0.035 + 0.815 * linear))


@cache  # a page is drawn at several sizes
def _printed(layout: Layout, station: int) -> bytes:
    return card_pdf(layout, stations=[station])


def photograph(
    layout: Layout,
    number: int,
    *,
    tilt_deg: float = 0.0,
    azimuth_deg: float = 0.0,
    roll_deg: float = 0.0,
    distance_mm: float = 350.0,
    size: tuple[int, int] = (1600, 1200),
    focal_px: float = 1250.0,
    bar: Bar | None = None,
    aim_mm: tuple[float, float] = (0.0, 0.0),
    scale: tuple[float, float] = (1.0, 1.0),
    light: Light | None = None,
    patches: Sequence[Patch] = (),
    others: Sequence[Placed] = (),
    bend_mm: float = 0.0,
    bow_mm: float = 0.0,
    exposure: float = 1.0,
    blur_px: float = 0.7,
    noise: float = 1.5,
    seed: int = 1,
    fine: int = 2,
) -> Shot:
    """Return a photograph of a card, with a bar on it or without.

    `scale` is the true over the drawn length of the print; `light` gives the illumination at
    points (x, y) of the card, 1 by default; `bend_mm` is how far the ends of the card's strips
    stand up over its middle, `bow_mm` how far the
    card's middle line lies over its long sides; `fine` squared is the number of samples a pixel.
    """
    R, t = look(tilt_deg, azimuth_deg, roll_deg, distance_mm, aim_mm)
    cards = Placed(layout, number, (0.0, 0.0)), *others
    stood = tilt_deg, azimuth_deg, roll_deg, distance_mm, aim_mm
    picture = _laid(
        cards, stood, (*size, fine), focal_px, scale, light, tuple(patches), (bend_mm, bow_mm)
    ).copy()
    if bar is not None:
        add_bar(picture, bar, R, t, fine * focal_px)
    if fine > 1:
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)
    if blur_px:
        picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), blur_px), np.float32)
    if exposure != 1.0:
        picture *= exposure
    picture *= 65535
    code = cv2.LUT(np.clip(picture, 0, 65535, out=picture).astype(np.uint16), CODE)
    grain = _drawn(seed, noise, code.shape) if noise else 0.0
    # rounded and kept within a byte in one go
    return Shot(np.asarray(cv2.add(code, grain, dtype=cv2.CV_8U), np.uint8), R, t, focal_px)


@lru_cache(maxsize=1)  # of several bars on one card
def _laid(
    cards: tuple[Placed, ...],
    stood: tuple[float, float, float, float, tuple[float, float]],
    size: tuple[int, int, int],
    focal_px: float,
    scale: tuple[float, float],
    light: Light | None,
    patches: tuple[Patch, ...],
    curled_mm: tuple[float, float],
) -> Linear:
    """Return the samples of cards without a bar; nobody may write to them."""
    R, t = look(*stood)
    fine = size[2]
    big = size[0] * fine, size[1] * fine
    # samples lie evenly in the pixel: fine pixel j is at (j + 0.5) / fine - 0.5
    K = np.array(
        [
            [fine * focal_px, 0, (big[0] - 1) / 2],
            [0, fine * focal_px, (big[1] - 1) / 2],
            [0, 0, 1],
        ]
    )
    per_mm = fine * focal_px / stood[3]
    # the page is never finer than the samples: its own averaging keeps edges where they are
    dots = max(n for n in (2, 4, 6, 8, 10, 12, 16, 20, 30) if n <= max(per_mm, 2))
    picture = np.empty((big[1], big[0], 3), np.float32)
    picture.reshape(big[1], -1)[:] = np.tile(GROUND, big[0])  # a row at a time
    for one in cards:
        sheet = page(one.layout, one.number, dots)
        if light is not None or patches:
            sheet = _painted(sheet, one.layout, patches, light)
        if any(curled_mm):
            _lay_bent(picture, sheet, one.layout, K, R, t, *curled_mm)
        else:
            _lay(picture, sheet, one, K @ np.column_stack([R[:, :2], t]), scale)
    return picture


@lru_cache(maxsize=2)
def _drawn(seed: int, noise: float, shape: tuple[int, ...]) -> Linear:
    """Return normal noise; most photographs have the same."""
    return noise * np.random.default_rng(seed).standard_normal(shape, np.float32)


def _painted(
    sheet: Linear, layout: Layout, patches: Sequence[Patch], light: Light | None
) -> Linear:
    rows, columns = sheet.shape[:2]
    painted = sheet.copy()
    per_x, per_y = columns / layout.width_mm, rows / layout.height_mm
    for patch in patches:
        outline = np.array(patch.outline_mm)
        x = (outline[:, 0] + layout.width_mm / 2) * per_x - 0.5
        y = (layout.height_mm / 2 - outline[:, 1]) * per_y - 0.5
        corners = np.rint(np.stack([x, y], axis=1) * 256).astype(np.int32)
        cv2.fillPoly(painted, [corners], patch.colour, cv2.LINE_8, 8)
    if light is not None:
        x = (np.arange(columns) + 0.5) / per_x - layout.width_mm / 2
        y = layout.height_mm / 2 - (np.arange(rows) + 0.5) / per_y
        painted *= light(*np.meshgrid(x, y, sparse=True))[..., None].astype(np.float32)
    return painted


def _lay(
    picture: Linear, sheet: Linear, placed: Placed, plane: Array, scale: tuple[float, float]
) -> None:
    """Send a page into the picture; `plane` takes points of the card's plane, mm, to px."""
    rows, columns = sheet.shape[:2]
    layout = placed.layout
    a, b = layout.width_mm / columns * scale[0], layout.height_mm / rows * scale[1]
    to_mm = np.array(
        [
            [a, 0, a * 0.5 - layout.width_mm * scale[0] / 2],
            [0, -b, layout.height_mm * scale[1] / 2 - b * 0.5],
            [0, 0, 1],
        ]
    )
    turn = np.radians(placed.turn_deg)
    place = np.array(
        [
            [np.cos(turn), -np.sin(turn), placed.shift_mm[0]],
            [np.sin(turn), np.cos(turn), placed.shift_mm[1]],
            [0, 0, 1],
        ]
    )
    cv2.warpPerspective(
        sheet,
        plane @ place @ to_mm,
        (picture.shape[1], picture.shape[0]),
        dst=picture,
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_TRANSPARENT,
    )


def _lay_bent(
    picture: Linear,
    sheet: Linear,
    layout: Layout,
    K: Array,
    R: Array,
    t: Array,
    bend_mm: float,
    bow_mm: float,
) -> None:
    """Cut the ray of each sample with a page that is bent, by fixed-point steps.

    Along the rope the page curls up; about the rope it bows, its middle line staying at height 0,
    and keeps its length there: a point's y as drawn is its arc along the parabola.
    """
    height, width = picture.shape[:2]
    every = 8  # samples: between these rays the sheet is so smooth that 0.0001 mm is lost
    u, v = np.meshgrid(np.arange(0, width + every, every), np.arange(0, height + every, every))
    d = np.stack([(u - K[0, 2]) / K[0, 0], (v - K[1, 2]) / K[1, 1], np.ones(u.shape)], -1) @ R
    eye = -R.T @ t
    steep = bow_mm / layout.half_height_mm**2
    z = np.zeros(u.shape)
    for _ in range(8):
        reach = (z - eye[2]) / d[..., 2]
        x, y = eye[0] + reach * d[..., 0], eye[1] + reach * d[..., 1]
        z = bend_mm * np.clip(x / (layout.length_mm / 2), -1.2, 1.2) ** 2 - steep * y * y
    if bow_mm:
        slope = 2 * steep * y
        y = (y * np.sqrt(1 + slope**2) + np.arcsinh(slope) / (2 * steep)) / 2
    column = (x / layout.width_mm + 0.5) * sheet.shape[1] - 0.5
    row = (0.5 - y / layout.height_mm) * sheet.shape[0] - 0.5
    between = np.array([[1 / every, 0, 0], [0, 1 / every, 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    column, row = (
        cv2.warpAffine(one.astype(np.float32), between, (width, height), flags=flags)
        for one in (column, row)
    )
    cv2.remap(
        sheet,
        column,
        row,
        cv2.INTER_LINEAR,
        dst=picture,
        borderMode=cv2.BORDER_TRANSPARENT,
    )
