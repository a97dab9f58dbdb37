"""Photographs of the calibration board through a lens that bends, in numpy: truth is known.

Lens model after Brown (1971) as its formula stands in OpenCV's documentation, written out here
and not taken from the code under test. The board's own PDF is what is photographed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pypdfium2  # type: ignore[import-untyped]
from numpy.typing import NDArray
from PIL import Image

from vision.calibration.board import COLUMNS, ROWS, FoundBoard, board_pdf, square_side_mm

Array = NDArray[np.float64]
DRAWN = np.array(
    [(x + 1 - COLUMNS / 2, ROWS / 2 - y - 1) for y in range(ROWS - 1) for x in range(COLUMNS - 1)]
)


@dataclass(frozen=True, slots=True)
class Truth:
    """A camera: picture size and focal length, px, principal point, distortion."""

    size: tuple[int, int]
    focal_px: float
    centre_px: tuple[float, float]
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0

    @property
    def values(self) -> Array:
        return np.array(
            [np.log(self.focal_px), *self.centre_px, self.k1, self.k2, self.p1, self.p2]
        )


def bend(truth: Truth, x: Array, y: Array) -> tuple[Array, Array]:
    """Return where a lens of focal length 1 puts the directions (x, y, 1)."""
    r2 = x * x + y * y
    radial = 1 + truth.k1 * r2 + truth.k2 * r2 * r2
    return (
        x * radial + 2 * truth.p1 * x * y + truth.p2 * (r2 + 2 * x * x),
        y * radial + truth.p1 * (r2 + 2 * y * y) + 2 * truth.p2 * x * y,
    )


def seen_px(truth: Truth, solid: Array, R: Array, t: Array) -> Array:
    p = solid @ R.T + t
    x, y = bend(truth, p[:, 0] / p[:, 2], p[:, 1] / p[:, 2])
    return np.column_stack([x, y]) * truth.focal_px + np.array(truth.centre_px)


EVERY = 4  # samples: between these rays a lens bends so evenly that 0.001 px is lost


@lru_cache(maxsize=2)
def straight_of(truth: Truth, width: int, height: int, fine: int = 1) -> tuple[Array, Array]:
    """Return the direction of each fourth sample's ray, (x, y, 1), by fixed-point steps."""
    u, v = np.meshgrid(
        *((np.arange(0, size * fine + EVERY, EVERY) + 0.5) / fine - 0.5 for size in (width, height))
    )
    aim_x, aim_y = (
        (u - truth.centre_px[0]) / truth.focal_px,
        (v - truth.centre_px[1]) / truth.focal_px,
    )
    x, y = aim_x.copy(), aim_y.copy()
    for _ in range(8):  # the bend is a few percent: each step leaves a twentieth
        bent_x, bent_y = bend(truth, x, y)
        x, y = x + aim_x - bent_x, y + aim_y - bent_y
    return x, y


def stand(tilt: float, azimuth: float, roll: float, at: tuple[float, float, float]) -> Array:
    """Return R and t, side by side (3, 4): a board seen at a tilt, its middle at `at`."""
    tilt, azimuth, roll = np.radians([tilt, azimuth, roll])
    axis = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
    lean, turn = cv2.Rodrigues(axis * tilt)[0], cv2.Rodrigues(np.array([0.0, 0.0, roll]))[0]
    return np.column_stack([np.diag([1.0, -1.0, -1.0]) @ lean @ turn, at])


def stands(count: int, rng: np.random.Generator, most_tilt: float = 38.0) -> list[Array]:
    """Return ways to hold a camera of normal angle over the board, sideways and upright."""
    made = []
    for i in range(count):
        far = rng.uniform(9, 14)
        aside = ((-1, -1), (1, -1), (-1, 1), (1, 1), (0, 0))[i % 5] * rng.uniform(0.1, 0.28, 2)
        roll = 90.0 * (i % 3 == 2) + rng.uniform(-10, 10)
        tilt = most_tilt * (0.15 + 0.85 * (i % 4) / 3)
        where = (aside[0] * far, 0.75 * aside[1] * far, far)
        made.append(stand(tilt, rng.uniform(0, 360), roll, where))
    return made


def cast(
    truth: Truth, pose: Array, noise_px: float, rng: np.random.Generator, *,
    stretch: float = 0.0, bow: float = 0.0,
) -> FoundBoard:  # fmt: skip
    """Return the corners of a board that a printer stretched and a plate bowed, with noise."""
    solid = np.column_stack(
        [DRAWN[:, 0], DRAWN[:, 1] * (1 + stretch), bow * (DRAWN[:, 0] / (COLUMNS / 2)) ** 2]
    )
    seen = seen_px(truth, solid, pose[:, :3], pose[:, 3])
    seen = seen + rng.normal(0, noise_px, seen.shape)
    within = ((seen > 10) & (seen < np.array(truth.size) - 11)).all(axis=1)
    return FoundBoard(DRAWN[within], seen[within])


@lru_cache(maxsize=1)
def _page() -> NDArray[np.float32]:
    sheet = pypdfium2.PdfDocument(board_pdf("A4"))[0].render(scale=4).to_numpy()
    return np.asarray(20 + 0.8 * cv2.cvtColor(sheet, cv2.COLOR_BGR2GRAY), np.float32)


def photograph_board(truth: Truth, pose: Array, *, seed: int, fine: int = 2) -> NDArray[np.uint8]:
    """Return a photograph (H, W, 3) of the board's page, blurred and noisy."""
    x, y = straight_of(truth, *truth.size, fine)
    R, t = pose[:, :3], pose[:, 3]
    # the ray meets the board's plane: R (X, Y, 0) + t = s (x, y, 1)
    plane = np.linalg.inv(np.column_stack([R[:, :2], t]))
    w = plane[2, 0] * x + plane[2, 1] * y + plane[2, 2]
    X = (plane[0, 0] * x + plane[0, 1] * y + plane[0, 2]) / w
    Y = (plane[1, 0] * x + plane[1, 1] * y + plane[1, 2]) / w
    page = _page()
    per_x, per_y = page.shape[1] / 297.0, page.shape[0] / 210.0  # whole px: not quite alike
    side = square_side_mm("A4")
    column = page.shape[1] / 2 + X * side * per_x - 0.5
    row = page.shape[0] - (18.0 + (210.0 - 26.0) / 2 + Y * side) * per_y - 0.5
    between = np.array([[1 / EVERY, 0, 0], [0, 1 / EVERY, 0]])
    size, flags = (truth.size[0] * fine, truth.size[1] * fine), cv2.INTER_LINEAR
    column, row = (
        cv2.warpAffine(one.astype(np.float32), between, size, flags=flags | cv2.WARP_INVERSE_MAP)
        for one in (column, row)
    )
    picture = cv2.remap(page, column, row, flags, borderValue=90.0)
    small = cv2.resize(picture, truth.size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 0.7)
    noisy = small + 2.0 * np.random.default_rng(seed).standard_normal(small.shape, np.float32)
    grey = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def save(path: Path, pixels: NDArray[np.uint8], *, model: str = "Lantern L4",
         equivalent: int = 26, orientation: int = 1) -> None:  # fmt: skip
    """Write a photograph with what a camera says beside it."""
    exif = Image.Exif()
    exif[0x0110], exif[0x0112] = model, orientation
    exif.get_ifd(0x8769)[0xA405] = equivalent
    Image.fromarray(pixels).save(path, quality=95, exif=exif)
