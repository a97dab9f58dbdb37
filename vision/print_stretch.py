"""What one photograph tells about its card's print: whether it is longer one way than the other.

A print at one wrong scale both ways can't be seen: card, rope and distance shrink together. A
print that is stretched one way can. It looks tilted, but a tilt brings one end of the card nearer
to the camera, and that end is not larger. The fit of the pose (`vision.pose`) lets the print's
scale go both ways by what is known of it, and takes the stretch up; here it is read back.

A card that is bent across the rope looks shorter across, and is refused as well.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.camera import CURL, SIZE, TWIST, camera_centre_mm, rays
from vision.card import Card
from vision.findings import RefusedError, finding, limit_of
from vision.markers import FoundCard
from vision.pose import Pose

Array = NDArray[np.float64]
Used = NDArray[np.bool_]

FAR_OFF = 4.0  # robust standard deviations: such a corner is none


def refuse_stretched(found: FoundCard, card: Card, pose: Pose) -> None:
    """Refuse a card whose print nobody checked and that is surely stretched one way.

    A checked print's scales are known, and the fit holds them: there is nothing to be seen then.

    Parameters
    ----------
    found : FoundCard
        The card's corners.
    card : Card
        The card as its print is known.
    pose : Pose
        Camera and card, fitted with that card.

    Raises
    ------
    RefusedError
        If it is, by more than the printers that the uncertainty of an unchecked print stands for.
    """
    if card.print_set:
        return
    stretch, used = print_stretch(found, pose)
    most = limit_of("print-stretched")
    # its uncertainty costs more than the stretch itself: asked for only where it could matter
    if 100 * abs(stretch) <= most:
        return
    if 100 * (abs(stretch) - 2 * u_print_stretch(found, pose, used)) > most:
        raise RefusedError(finding("print-stretched", 100 * abs(stretch)))


def print_stretch(found: FoundCard, pose: Pose) -> tuple[float, Used]:
    """Return by how much a print is longer along than across, 1, and which corners say so (N,).

    Parameters
    ----------
    found : FoundCard
        The card's corners.
    pose : Pose
        Camera and card, fitted to these corners; in the fit the print's scale has a prior.
    """
    off = _stretch(found, pose.theta, np.ones(len(found.corners_px), np.bool_))[1]
    used: Used = np.asarray(off < max(FAR_OFF * 1.4826 * float(np.median(off)), 1e-6))
    return _stretch(found, pose.theta, used)[0], used


def u_print_stretch(found: FoundCard, pose: Pose, used: Used) -> float:
    """Return the standard uncertainty of `print_stretch`, 1, from the pose's covariance."""
    gradient = np.zeros(SIZE)
    for i, u in enumerate(np.sqrt(np.diag(pose.whole_covariance))):
        step = np.zeros(len(pose.theta))
        step[i] = 0.01 * u
        ahead, behind = (_stretch(found, pose.theta + way * step, used)[0] for way in (1, -1))
        gradient[i] = (ahead - behind) / (0.02 * u)
    return float(np.sqrt(gradient @ pose.whole_covariance @ gradient))


def _stretch(found: FoundCard, theta: Array, used: Used) -> tuple[float, Array]:
    """Return the stretch that some corners show, and how far each corner lies off, mm (N,)."""
    half = found.layout.length_mm / 2, found.layout.half_height_mm
    there = _on_card_mm(theta, found.corners_px, half)
    plane = np.column_stack([found.corners_mm, np.ones(len(there))])
    turn = np.linalg.lstsq(plane[used], there[used], rcond=None)[0]
    return float(turn[0, 0] / turn[1, 1] - 1), np.hypot(*(there - plane @ turn).T)


def _on_card_mm(theta: Array, points_px: Array, half_mm: tuple[float, float]) -> Array:
    """Return where lines of sight meet the curled and twisted card, mm (N, 2)."""
    eye, sight = camera_centre_mm(theta), rays(theta, points_px)
    height = np.zeros(len(sight))
    for _ in range(4):  # a bend of a few mm, hundreds of mm away: each step leaves a hundredth
        reach = (height - eye[2]) / sight[:, 2]
        x, y = (eye[:2] + reach[:, None] * sight[:, :2]).T
        along, across = x / half_mm[0], y / half_mm[1]
        height = theta[CURL] * along**2 + theta[TWIST] * along * across
    return np.column_stack([x, y])
