"""Camera and card as one vector, and how points and rays go between card and photograph.

=====  ==================  ==========================================================
index  name                meaning
=====  ==================  ==========================================================
0-2    rotation            rotation vector of R_cam_card (card to camera), rad
3-5    translation         t_cam_card, mm
6      log focal length    ln(focal length in px)
7      lens distortion     k1: radial, x' = x (1 + k1 r^2), 1
8-9    principal point     (x, y), px
10     curl                height of the card's ends over its middle, mm
11     twist               height of one corner over the middle, mm
12-14  further distortion  k2, p1, p2 of a calibrated lens (Brown 1971), 1; left out where 0
=====  ==================  ==========================================================

The last three are known beforehand and never fitted: what is uncertain about them is in k1's
uncertainty, which moves the picture's points as much (`vision.calibration.library`).

Frames: the card's (x along the rope, y across it, z towards the camera, mm) and the photograph's
(pixel (0, 0) is the centre of the top left pixel, x right, y down).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SIZE = 12
LOG_F, K1, CX, CY, CURL, TWIST = 6, 7, 8, 9, 10, 11
UNKNOWN_FOCAL_RATIO = 0.85  # over the long side: between wide (0.7) and portrait (1.4) lenses
U_LOG_UNKNOWN_FOCAL = 0.30
U_K1 = 0.01  # phones straighten their pictures; what is left (common practice, no source)
U_CENTRE_SHARE = 0.01  # principal point off the middle, over the long side (as above)


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """What is known of the camera before the photograph is looked at.

    Parameters
    ----------
    focal_px : float
        Focal length, px.
    u_log_focal : float
        Relative standard uncertainty of it.
    k1, u_k1 : float
        Radial distortion and its standard uncertainty, 1.
    centre_px : tuple of float
        Principal point (x, y), px.
    u_centre_px : float
        Its standard uncertainty in x and in y, px.
    known : bool
        False where nothing was known and a wide guess stands in.
    k2, p1, p2 : float
        Further distortion of a calibrated lens: radial and tangential, 1.
    """

    focal_px: float
    u_log_focal: float
    centre_px: tuple[float, float]
    u_centre_px: float
    k1: float = 0.0
    u_k1: float = U_K1
    known: bool = True
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0


def lens_of(width: int, height: int, focal_px: float | None, u_focal_px: float | None) -> Lens:
    """Return what is known of a camera from a stated focal length, or the wide guess.

    Parameters
    ----------
    width, height : int
        Size of the upright photograph, px.
    focal_px, u_focal_px : float or None
        Focal length and standard uncertainty, px; None where unknown.
    """
    long_side = max(width, height)
    centre = ((width - 1) / 2, (height - 1) / 2)
    u_centre = U_CENTRE_SHARE * long_side
    if focal_px is None or u_focal_px is None:
        guess = UNKNOWN_FOCAL_RATIO * long_side
        return Lens(guess, U_LOG_UNKNOWN_FOCAL, centre, u_centre, known=False)
    return Lens(focal_px, u_focal_px / focal_px, centre, u_centre)


def straightened(lens: Lens, points_px: Array) -> Array:
    """Return points (N, 2), px, where a lens without distortion would have put them."""
    sight = rays(_lens_only(lens), points_px)
    return np.asarray(lens.focal_px * sight[:, :2] / sight[:, 2:] + np.array(lens.centre_px))


def bent(lens: Lens, points_px: Array) -> Array:
    """Return where a lens puts points (N, 2), px, of a picture without distortion."""
    sight = (points_px - np.array(lens.centre_px)) / lens.focal_px
    return project_mm(_lens_only(lens), np.column_stack([sight, np.ones(len(sight))]))


def _lens_only(lens: Lens) -> Array:
    turn = np.zeros(LOG_F)
    own = [np.log(lens.focal_px), lens.k1, *lens.centre_px, 0, 0, lens.k2, lens.p1, lens.p2]
    return np.concatenate([turn, own])


def rotation(theta: Array) -> Array:
    """Return R_cam_card (3, 3)."""
    return np.asarray(cv2.Rodrigues(theta[:3].reshape(3, 1))[0], float)


def camera_centre_mm(theta: Array) -> Array:
    """Return the camera centre in the card's frame, mm (3,)."""
    return np.asarray(-rotation(theta).T @ theta[3:6])


def project_mm(theta: Array, points_mm: Array) -> Array:
    """Return where points of the card's frame (N, 3), mm, fall in the photograph, px (N, 2)."""
    x, y, z = (points_mm @ rotation(theta).T + theta[3:6]).T
    x, y = x / z, y / z
    swell = np.exp(theta[LOG_F]) * (1 + theta[K1] * (x * x + y * y))
    seen = np.stack([swell * x + theta[CX], swell * y + theta[CY]], axis=1)
    if len(theta) > SIZE:
        seen += np.exp(theta[LOG_F]) * _further(theta, np.stack([x, y], axis=1))
    return seen


def _further(theta: Array, straight: Array) -> Array:
    """Return by how much k2, p1 and p2 move points (N, 2) of a picture of focal length 1."""
    k2, across = theta[SIZE], theta[[SIZE + 2, SIZE + 1]]  # (p2, p1) turns as a vector does
    r2 = (straight**2).sum(axis=1, keepdims=True)
    pull = (straight @ across)[:, None]
    return np.asarray(k2 * r2**2 * straight + r2 * across + 2 * pull * straight)


def rays(theta: Array, points_px: Array) -> Array:
    """Return unit directions (N, 3), in the card's frame, that end in points (N, 2), px."""
    bent = (points_px - theta[[CX, CY]]) / np.exp(theta[LOG_F])
    straight = bent
    more = len(theta) > SIZE
    for _ in range(12 if more else 4):  # k1 r^2 is a few percent: four steps leave under 1e-7
        aimed = bent - _further(theta, straight) if more else bent
        straight = aimed / (1 + theta[K1] * (straight**2).sum(axis=1, keepdims=True))
    seen = np.column_stack([straight, np.ones(len(straight))]) @ rotation(theta)
    return np.asarray(seen / np.linalg.norm(seen, axis=1, keepdims=True))


def bent_mm(theta: Array, flat_mm: Array, half_length_mm: float, half_height_mm: float) -> Array:
    """Return points of the flat card (N, 2), mm, on the card as it curls and twists (N, 3)."""
    x, y = flat_mm[:, 0] / half_length_mm, flat_mm[:, 1] / half_height_mm
    height = theta[CURL] * x * x + theta[TWIST] * x * y
    return np.column_stack([flat_mm, height])
