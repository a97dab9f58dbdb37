"""Uncertainty budget of the diameter: every influence as a named term.

The diameter is a function of camera and card, of the two jaw lines in the photograph and of how
the card was held. Sensitivities are central differences of that same function, so that no formula
has to be derived separately. The terms follow the GUM (JCGM 100:2008, 5.1.2) and are checked
against Monte Carlo (JCGM 101:2008) in the tests.

Not covered: a rope that moved during the exposure in a way that looks sharp, paint or thick grease
over the crowns (it is measured as rope), and a rope bent away from the card.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import FITTED, Camera, camera_centre_mm, gradient
from vision.rope.constants import (
    ROUNDNESS_SHARE,
    U_CROWNS,
    U_GAP_MM,
    U_STAND_OFF_MM,
)
from vision.rope.edge.outline import Outline
from vision.rope.jaw_lines import JawLines, diameter_mm, jaw_lines, tangent_planes
from vision.rope.jaws import Jaws
from vision.rope.tangent_cylinder import Hold, HoldKind, cylinder_mm
from vision.target.blur import Blur
from vision.target.layout import Card
from vision.target.pose import Pose
from vision.uncertainty import Influence, Term

Array = NDArray[np.float64]


def expected_hold(hold: Hold) -> Hold:
    """Return the hold with the expected gap, where nothing is known about the gap.

    A gap can't be negative: its distribution is rectangular from 0, and its expectation is the
    middle of that range.
    """
    if not hold.touching or hold.u_offset_mm is not None or hold.offset_mm:
        return hold
    return replace(hold, offset_mm=math.sqrt(3) * U_GAP_MM, u_offset_mm=U_GAP_MM)


@dataclass(frozen=True, slots=True, eq=False)
class Observation:
    """Everything on which a diameter at one station is based.

    Parameters
    ----------
    pose : Pose
        Camera and card.
    card : Card
        The card with what is known of its print.
    outline, jaws, lines
        The rope's outline, the jaws that bear on it, and the jaw lines in the photograph.
    hold : Hold
        How the card was held, with the uncertainty of its distance.
    blur : Blur
        Blur and sharpening of the photograph.
    photo, camera_id : str
        Identities of this photograph, and of its camera.
    """

    pose: Pose
    card: Card
    outline: Outline
    jaws: Jaws
    lines: JawLines
    hold: Hold
    blur: Blur
    photo: str
    camera_id: str

    @property
    def prints(self) -> str:
        """Identity of the print's scale, which all cards of one set share."""
        return Influence.PRINT.source(self.card.print_set or f"unchecked {self.card.layout.name}")


def diameter_of(pose: Pose, lines: JawLines, hold: Hold) -> float:
    """Return the diameter, mm; the expectation over two hypotheses where both remain.

    Parameters
    ----------
    pose, lines, hold
        As in `Observation`.

    Raises
    ------
    ValueError
        If no cylinder fits the lines.
    """
    diameter = diameter_mm(pose.camera, lines, hold)
    if pose.other is None:
        return diameter
    return diameter + pose.other.weight * (diameter_mm(pose.other.camera, lines, hold) - diameter)


def list_terms(observed: Observation) -> tuple[Term, ...]:
    """Return every term of the budget.

    Parameters
    ----------
    observed : Observation
        The results of the previous steps.
    """
    pose, card = observed.pose, observed.card

    def d_of(moved: Camera) -> float:
        return diameter_mm(moved, observed.lines, observed.hold)

    by_number = gradient(d_of, pose.camera)
    terms = [
        Term(
            f"print scale {word} the rope",
            u,
            "1",
            float(by_number @ pose.scale_shift[:, axis]),
            "B",
            f"{observed.prints}:{'xy'[axis]}",
        )
        for axis, word, u in ((0, "along", card.u_scale_x), (1, "across", card.u_scale_y))
    ]
    terms += _camera_terms(observed, by_number)
    if pose.other is not None:
        apart = d_of(pose.other.camera) - d_of(pose.camera)
        source = Influence.LENS.source(observed.photo, "cropped")
        u = math.sqrt(pose.other.weight * (1 - pose.other.weight))  # of two values 1 apart
        terms.append(Term("picture cropped or whole", u, "1", apart, "B", source))
    terms += _hold_terms(observed, d_of(pose.camera))
    terms += _edge_terms(observed)
    return tuple(terms)


def _camera_terms(observed: Observation, by_number: Array) -> list[Term]:
    """Split the fit's covariance into named, uncorrelated parts.

    The camera's own parameters come first, each including its correlation with later ones and with
    the pose (conditional covariances, in the order of a Cholesky factor); the remaining variance of
    the pose is due to the noise of the corners.
    """
    pose, photo = observed.pose, observed.photo
    own = ("log_focal", "k1", "centre_x_px", "centre_y_px", "curl_mm", "twist_mm", "bow_mm")
    order = [*own, *(name for name in FITTED if name not in own)]
    factor = np.linalg.cholesky(pose.covariance.ordered(order))
    sensitivity = dict(zip(FITTED, by_number, strict=True))
    parts = np.array([sensitivity[name] for name in order]) @ factor  # mm, per independent unit
    sigma = np.diag(factor)
    identity = Influence.LENS.source(observed.camera_id or photo)
    # The share (posterior / prior) of a posterior variance is due to the prior, which all
    # photographs of one camera have in common; the rest is due to this photograph's corners.
    shared = min(1.0, pose.covariance.u("log_focal") ** 2 / pose.lens.u_log_focal**2)
    per_unit = parts[0] / sigma[0]
    terms = [
        Term(
            "focal length, as stated",
            float(sigma[0] * np.sqrt(shared)),
            "1",
            float(per_unit),
            "B",
            f"{identity}:focal",
        ),
        Term(
            "focal length, as the card shows it",
            float(sigma[0] * np.sqrt(1 - shared)),
            "1",
            float(per_unit),
            "A",
            Influence.CORNERS.source(photo, "focal"),
        ),
        Term(
            "lens distortion left in the picture",
            float(sigma[1]),
            "1",
            float(parts[1] / sigma[1]),
            "B",
            f"{identity}:distortion",
        ),
        Term("principal point, sideways", 1.0, "1", float(parts[2]), "B", f"{identity}:centre x"),
        Term("principal point, upwards", 1.0, "1", float(parts[3]), "B", f"{identity}:centre y"),
        Term(
            "flatness of the card",
            1.0,
            "1",
            float(np.linalg.norm(parts[4:7])),
            "B",
            Influence.FLATNESS.source(photo),
        ),
        Term(
            "noise of the card's corners",
            1.0,
            "1",
            float(np.linalg.norm(parts[7:])),
            "A",
            Influence.CORNERS.source(photo, "pose"),
        ),
    ]
    return terms


def _hold_terms(observed: Observation, d: float) -> list[Term]:
    hold, lines = observed.hold, observed.lines
    eye, left, right = tangent_planes(observed.pose.camera, lines)
    gap = Influence.GAP.source(observed.photo)

    def raised(by_mm: float) -> float:
        station = lines.station_mm
        if hold.touching:  # a gap can't be negative, so the card is lowered from the eye
            lifted = eye - np.array([0.0, 0.0, by_mm])
            return cylinder_mm(left, right, lifted, hold=hold, station_mm=station).diameter_mm
        away = Hold(HoldKind.STAND_OFF, hold.axis_height_mm + by_mm)
        return cylinder_mm(left, right, eye, hold=away, station_mm=station).diameter_mm

    per_mm = raised(0.5) - raised(-0.5)
    if hold.touching:
        u = U_GAP_MM if hold.u_offset_mm is None else hold.u_offset_mm
        return [
            Term("gap between rope and card", u, "mm", per_mm, "B", gap),
            Term(
                "rope less round than assumed for its height",
                ROUNDNESS_SHARE * d / 2,
                "mm",
                per_mm,
                "B",
                Influence.HEIGHT.source(observed.photo),
            ),
        ]
    u = U_STAND_OFF_MM if hold.u_offset_mm is None else hold.u_offset_mm
    level = hold.kind is HoldKind.LEVEL
    word = "level of the card with the axis" if level else "stand-off of the card"
    return [Term(word, u, "mm", per_mm, "B", gap)]


def _edge_terms(observed: Observation) -> list[Term]:
    outline, jaws, photo = observed.outline, observed.jaws, observed.photo

    def moved(side: str, by_mm: float) -> float:
        if side == "left":
            wider = replace(jaws, left=replace(jaws.left, offset_mm=jaws.left.offset_mm + by_mm))
        else:
            wider = replace(jaws, right=replace(jaws.right, offset_mm=jaws.right.offset_mm + by_mm))
        camera = observed.pose.camera
        return diameter_mm(camera, jaw_lines(camera, outline, wider), observed.hold)

    small = 0.02
    per_mm = [(moved(i, small) - moved(i, -small)) / (2 * small) for i in ("left", "right")]
    terms = [
        Term(
            f"{side} edge, noise and crowns",
            jaw.u_mm,
            "mm",
            per_mm[i],
            "A",
            Influence.EDGE.source(photo, side),
        )
        for i, (side, jaw) in enumerate((("left", jaws.left), ("right", jaws.right)))
    ]
    for i, edge in enumerate((outline.left, outline.right)):
        for word, px in (
            ("shade beside the rope", edge.reference_px / math.sqrt(12)),
            ("blur before or after the tone curve", edge.tone_px / math.sqrt(12)),
            ("hard shadow beside it", edge.u_shadow_px),
        ):
            if not px:
                continue
            u = px / outline.px_per_mm
            source = Influence.EDGE.source(photo, edge.side, word)
            terms.append(Term(f"{edge.side} edge, {word}", u, "mm", per_mm[i], "B", source))
    # Both effects are between zero and this value, and of the same sign on both sides: burnt-out
    # light at the edges, and crowns too close together for the windows to show them.
    sides = (outline.left, outline.right)
    closed = jaws.crown_pitch_mm is None
    for words, word, lost_px in (
        ("light burnt out at the edges", "burnt", [edge.clipped_px for edge in sides]),
        (
            "crowns too close together to be seen",
            "hidden",
            [edge.hidden_px if closed else 0.0 for edge in sides],
        ),
    ):
        if any(lost_px):
            lost = sum(px / outline.px_per_mm * by for px, by in zip(lost_px, per_mm, strict=True))
            source = Influence.EDGE.source(photo, word)
            terms.append(Term(words, 1 / math.sqrt(3), "1", lost, "B", source))
    if jaws.crown_pitch_mm is not None:
        away_mm = camera_centre_mm(observed.pose.camera) - observed.lines.station_mm
        near = outline.rough_mm / float(np.linalg.norm(away_mm))
        terms.append(
            Term(
                "crowns met by the view and by parallel jaws",
                U_CROWNS[jaws.lay] * jaws.crown_pitch_mm * math.sqrt(near),
                "mm",
                1.0,
                "B",
                Influence.EDGE.source(photo, "crowns"),
            )
        )
    terms.append(
        Term(
            "direction of the jaws",
            jaws.u_slope,
            "1",
            jaws.lever_mm,
            "A",
            Influence.EDGE.source(photo, "direction"),
        )
    )
    return terms
