"""World two's printed card: the PDF that users print, as a flat or bent sheet."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import pypdfium2  # type: ignore[import-untyped]
from numpy.typing import NDArray

from second_world.wires import Array, Mesh
from vision.target.layout import layout_named
from vision.target.pdf import card_pdf

PAPER, INK = 0.83, 0.045  # office paper and toner, linear reflectance (common practice, no source)
DOTS_PER_MM = {"A6": 24.0, "A5": 20.0}
LARGE_DOTS_PER_MM = 14.0
ROLLS = ("about the rope", "across the rope", "corner")


@dataclass(frozen=True, slots=True)
class Bend:
    """How the sheet is bent: "" or one of `ROLLS`, and how far its edge rises to the camera."""

    kind: str = ""
    rise_mm: float = 0.0


def lifted_mm(flat_mm: Array, size_mm: tuple[float, float], bend: Bend) -> Array:
    """Return points (N, 3) of the bent sheet for points (N, 2) of the flat one, mm.

    A roll is part of a cylinder, so the paper is not stretched; a lifted corner is a roll about the
    sheet's diagonal.
    """
    x, y = flat_mm.T
    if not bend.kind or bend.rise_mm == 0:
        return np.stack([x, y, 0 * x], axis=1)
    half_x, half_y = size_mm[0] / 2, size_mm[1] / 2
    angle = {
        "about the rope": np.pi / 2,
        "across the rope": 0.0,
        "corner": np.arctan2(half_y, half_x),
    }[bend.kind]
    along = x * np.cos(angle) + y * np.sin(angle)
    beside = -x * np.sin(angle) + y * np.cos(angle)
    reach = half_x * abs(np.cos(angle)) + half_y * abs(np.sin(angle))
    radius = (reach**2 + bend.rise_mm**2) / (2 * bend.rise_mm)  # its sign gives the direction
    turn = along / radius
    along, z = radius * np.sin(turn), radius * (1 - np.cos(turn))
    return np.stack(
        [
            along * np.cos(angle) - beside * np.sin(angle),
            along * np.sin(angle) + beside * np.cos(angle),
            z,
        ],
        axis=1,
    )


def sheet_mesh(size_mm: tuple[float, float], bend: Bend) -> tuple[Mesh, NDArray[np.float64]]:
    """Return the sheet and its texture coordinates (N, 2)."""
    n = 2 if not bend.kind else 121
    u, v = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, n))
    flat = np.stack([(u.ravel() - 0.5) * size_mm[0], (v.ravel() - 0.5) * size_mm[1]], axis=1)
    at = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    corners = np.concatenate(
        [np.stack([at, at + 1, at + n + 1], 1), np.stack([at, at + n + 1, at + n], 1)]
    )
    return Mesh(lifted_mm(flat, size_mm, bend), corners), np.stack([u.ravel(), v.ravel()], axis=1)


@lru_cache(maxsize=2)
def card_reflectance(layout_name: str, number: int) -> NDArray[np.float32]:
    """Return the card's linear grey reflectance (H, W), first row at its upper edge."""
    layout = layout_named(layout_name)
    page = pypdfium2.PdfDocument(card_pdf(layout, stations=[number // 2 + 1]))[number % 2]
    dots = DOTS_PER_MM.get(layout.paper, LARGE_DOTS_PER_MM)
    drawn = page.render(scale=2 * dots * 25.4 / 72.0, grayscale=True).to_numpy()
    drawn = drawn.reshape(drawn.shape[:2])
    code = np.arange(256) / 255.0
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    reflectance = (INK + (PAPER - INK) * light).astype(np.float32)[drawn]
    size = (round(drawn.shape[1] / 2), round(drawn.shape[0] / 2))
    # toner spreads a little into the paper
    return np.asarray(
        cv2.GaussianBlur(cv2.resize(reflectance, size, interpolation=cv2.INTER_AREA), (0, 0), 0.7),
        np.float32,
    )
