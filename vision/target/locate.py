"""A card checked for use as a reference: sharp, seen squarely enough, and not stretched."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import Camera, Lens, tilt_deg
from vision.findings import RefusedError, finding, limit_of, refuse_above
from vision.results import Finding
from vision.target.blur import Blur, read_blur
from vision.target.detect import FoundCard
from vision.target.layout import Card
from vision.target.pose import Pose, StripePoints, solve_pose
from vision.target.print_scale import refuse_stretched


@dataclass(frozen=True, slots=True, eq=False)
class LocatedCard:
    """A card and the pose of the camera relative to it.

    Parameters
    ----------
    found : FoundCard
        Its corners.
    card : Card
        The card with what is known of its print.
    pose : Pose
        Camera and card.
    blur : Blur
        Blur of the photograph at the card.
    lens : Lens
        Prior knowledge of the camera.
    open_mm : ndarray of shape (N, 2)
        Uncovered places on the stripes, as drawn, mm; empty before the stripes were read.
    """

    found: FoundCard
    card: Card
    pose: Pose
    blur: Blur
    lens: Lens
    open_mm: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 2)))

    def with_stripes(self, points: StripePoints, start: Camera | None = None) -> LocatedCard:
        """Return the card with its pose also fitted to stripes, starting here or from `start`."""
        start = start or self.pose.camera
        pose = solve_pose(self.found, self.card, self.lens, points, start)
        return replace(self, pose=pose, open_mm=points.drawn_mm)

    @property
    def printed(self) -> Card:
        """The card with the scale of its print; for an unchecked print, the scale from the fit.

        An unchecked print may be 1 % longer one way, which is several stripes at a card's end.
        """
        if self.card.print_set:
            return self.card
        along, across = 1 + self.pose.scales
        card = self.card
        return replace(card, scale_x=card.scale_x * along, scale_y=card.scale_y * across)

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """Warnings about the print and the photograph, for any figure that rests on this card."""
        card, warnings = self.card, []
        if not card.print_set:
            warnings.append(finding("print-unchecked", 100 * max(card.u_scale_x, card.u_scale_y)))
        if card.number is None:
            warnings.append(finding("number-unread"))
        if 100 * self.blur.overshoot > limit_of("over-sharpened"):
            warnings.append(finding("over-sharpened", 100 * self.blur.overshoot))
        if self.blur.uneven > limit_of("blurred-unevenly"):
            warnings.append(finding("blurred-unevenly", self.blur.uneven))
        return tuple(warnings)


def locate_card(grey: NDArray[np.uint8], found: FoundCard, card: Card, lens: Lens) -> LocatedCard:
    """Return the position of a card, determined from its corners.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The upright photograph in grey.
    found : FoundCard
        A card in it.
    card : Card
        The same card with what is known of its print.
    lens : Lens
        Prior knowledge of the camera.

    Raises
    ------
    RefusedError
        If the card has no stripes, is blurred, seen at too steep an angle, or printed stretched.
    """
    if not found.layout.stripe_mm:
        raise RefusedError(finding("plain-card"))
    blur = read_blur(grey, found)
    refuse_above("too-blurred", blur.light_px)
    pose = solve_pose(found, card, lens)
    refuse_above("too-tilted", tilt_deg(pose.camera, np.zeros(3)))
    refuse_stretched(found, card, pose)  # after the tilt, which is easier to put right
    return LocatedCard(found, card, pose, blur, lens)
