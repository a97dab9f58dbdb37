"""How well the diameter is known: every influence as a named term.

The diameter is a function of camera and card, of the two jaw lines in the
photograph and of how the card was held. Its derivatives are central differences of that very
function, so that nothing is derived twice; the terms follow the GUM (JCGM 100:2008, 5.1.2) and
are checked against Monte Carlo (JCGM 101:2008) in the tests.

Not covered, and to be kept in mind: a rope that moved during the exposure in a way that looks
sharp, paint or thick grease over the crowns (it is measured as rope), and a rope bent away from
the card.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import FITTED, Camera, gradient
from vision.findings import limit_of
from vision.rope.jaws import JawLines, Jaws, diameter_mm, jaw_lines, tangent_planes
from vision.rope.outline import Outline
from vision.rope.tangent_cylinder import Hold, HoldKind, cylinder_mm
from vision.target.blur import Blur
from vision.target.layout import Card
from vision.target.pose import Pose
from vision.uncertainty import Term

Array = NDArray[np.float64]

# What is left of the edge's place once its noise is averaged out, as seen on renders whose
# outline is known to a hundredth of a pixel (see DEVELOPERS.md). In px, each side: tone curve and
# sharpening of the camera, halved colour of JPEG.
U_EDGE_PX = 0.14
U_SHARPENED_PX = 12.0  # each side, for each 1 of overshoot beyond the usual
# px and share of the diameter, each side: what is left on rust and paint; band mirrored in grease
# and in the flanks of bright wires; a cast shadow's rim on a band without colour.
SURFACE_TERMS = {
    "rusty": ("shading of dull wires", 0.0, 0.0006),
    "dull": ("band mirrored in a film of grease", 0.20, 0.0006),
    "bright": ("band mirrored in bright wires", 0.20, 0.0020),
    "polished": ("band mirrored in polished wires", 0.40, 0.0020),
    "grey band": ("shadow beside the rope on a band without colour", 0.0, 0.0064),
}
# Two planes from one point touch other crowns and wires than two parallel jaws do: 0.1 %, at
# most 0.15 % over 18 rendered ropes with perfect edges.
U_CROWNS_SHARE = 0.0007
U_MIRROR_SMOOTH_SHARE = 0.0042  # each side: a bar's flank is as wide as the bar is thick
U_GAP_MM = 0.15  # how closely a hand-held or strapped card touches (common practice, no source)
ROUNDNESS_SHARE = 0.01  # half of the usual difference between two directions, over d
U_STAND_OFF_MM = 1.0


def list_terms(
    pose: Pose,
    card: Card,
    outline: Outline,
    jaws: Jaws,
    lines: JawLines,
    *,
    hold: Hold,
    photo: str,
    camera_id: str,
    blur: Blur,
) -> tuple[Term, ...]:
    """Return every term of the budget, in the order of the work.

    Parameters
    ----------
    pose, card, outline, jaws, lines
        What the steps before have found.
    hold : Hold
        How the card was held, and how well its distance is known.
    photo, camera_id : str
        Identities: what only this photograph shares, and what all of one camera share.
    blur : Blur
        Blur of the photograph, and how far its software sharpened it.
    """
    camera = pose.camera

    def d_of(moved: Camera) -> float:
        return diameter_mm(moved, lines, hold)

    by_number = gradient(d_of, camera)
    d = d_of(camera)
    prints = f"print:{card.print_set or 'unchecked ' + card.layout.name}"
    terms = [
        Term(
            f"print scale {word} the rope",
            u,
            "1",
            float(by_number @ pose.scale_shift[:, axis]),
            "B",
            f"{prints}:{'xy'[axis]}",
        )
        for axis, word, u in ((0, "along", card.u_scale_x), (1, "across", card.u_scale_y))
    ]
    terms += _camera_terms(pose, by_number, photo, camera_id)
    terms += _hold_terms(camera, lines, d, hold, photo)
    terms += _edge_terms(camera, outline, jaws, hold, photo, blur)
    return tuple(terms)


def _camera_terms(pose: Pose, by_number: Array, photo: str, camera_id: str) -> list[Term]:
    """Split the fit's covariance into named, uncorrelated parts.

    The camera's own numbers come first, each with what it drags along of the later ones and of
    the pose (conditional covariances, in the order of a Cholesky factor); what is left of the
    pose is the noise of the corners.
    """
    own = ("log_focal", "k1", "centre_x_px", "centre_y_px", "curl_mm", "twist_mm")
    order = [*own, *(name for name in FITTED if name not in own)]
    factor = np.linalg.cholesky(pose.covariance.ordered(order))
    sensitivity = dict(zip(FITTED, by_number, strict=True))
    parts = np.array([sensitivity[name] for name in order]) @ factor  # mm, per independent unit
    sigma = np.diag(factor)
    identity = f"lens:{camera_id or photo}"
    # Of a posterior variance the share (posterior / prior) stems from the prior, which all
    # photographs of one camera have in common; the rest stems from this photograph's corners.
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
            f"corners:{photo}:focal",
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
            float(np.hypot(parts[4], parts[5])),
            "B",
            f"flat:{photo}",
        ),
        Term(
            "noise of the card's corners",
            1.0,
            "1",
            float(np.linalg.norm(parts[6:])),
            "A",
            f"corners:{photo}:pose",
        ),
    ]
    return terms


def _hold_terms(
    camera: Camera,
    lines: JawLines,
    d: float,
    hold: Hold,
    photo: str,
) -> list[Term]:
    eye, left, right = tangent_planes(camera, lines)

    def raised(by_mm: float) -> float:
        station = lines.station_mm
        if hold.touching:  # a gap can't be negative, so the card goes down from the eye
            lifted = eye - np.array([0.0, 0.0, by_mm])
            return cylinder_mm(left, right, lifted, hold=hold, station_mm=station)[0]
        away = Hold(HoldKind.STAND_OFF, hold.axis_height_mm + by_mm)
        return cylinder_mm(left, right, eye, hold=away, station_mm=station)[0]

    per_mm = raised(0.5) - raised(-0.5)
    if hold.touching:
        u = U_GAP_MM if hold.u_offset_mm is None else hold.u_offset_mm
        return [
            Term("gap between rope and card", u, "mm", per_mm, "B", f"gap:{photo}"),
            Term(
                "rope less round than assumed for its height",
                ROUNDNESS_SHARE * d / 2,
                "mm",
                per_mm,
                "B",
                f"height:{photo}",
            ),
        ]
    u = U_STAND_OFF_MM if hold.u_offset_mm is None else hold.u_offset_mm
    level = hold.kind is HoldKind.LEVEL
    word = "level of the card with the axis" if level else "stand-off of the card"
    return [Term(word, u, "mm", per_mm, "B", f"gap:{photo}")]


def _edge_terms(
    camera: Camera,
    outline: Outline,
    jaws: Jaws,
    hold: Hold,
    photo: str,
    blur: Blur,
) -> list[Term]:
    def moved(side: str, by_mm: float) -> float:
        if side == "left":
            wider = replace(jaws, left=replace(jaws.left, offset_mm=jaws.left.offset_mm + by_mm))
        else:
            wider = replace(jaws, right=replace(jaws.right, offset_mm=jaws.right.offset_mm + by_mm))
        lines = jaw_lines(camera, outline, wider)
        return diameter_mm(camera, lines, hold)

    small = 0.02
    per_mm = [(moved(i, small) - moved(i, -small)) / (2 * small) for i in ("left", "right")]
    # A wider blur leaves more room for what the edge's neighbours do to its place: bars drawn
    # with 1.4 to 2.4 px of it were off by 0.3 to 1.2 px a side.
    u_place_px = U_EDGE_PX * max(1.0, blur.light_px) ** 3
    terms = [
        Term(
            f"{side} edge, noise and crowns", jaw.u_mm, "mm", per_mm[i], "A", f"edge:{photo}:{side}"
        )
        for i, (side, jaw) in enumerate((("left", jaws.left), ("right", jaws.right)))
    ]
    both = float(np.hypot(per_mm[0], per_mm[1]))
    u_place = u_place_px / outline.px_per_mm
    terms.append(
        Term("place of the edge in its blur", u_place, "mm", both, "B", f"edge:{photo}:place")
    )
    beyond = blur.overshoot - limit_of("over-sharpened") / 100
    if beyond > 0:
        u_sharp = U_SHARPENED_PX * beyond / outline.px_per_mm
        terms.append(Term("sharpening by software", u_sharp, "mm", both, "B",
                          f"edge:{photo}:sharpening"))  # fmt: skip
    if jaws.crown_pitch_mm is not None:
        terms.append(
            Term(
                "crowns met by the view and by parallel jaws",
                U_CROWNS_SHARE * outline.rough_mm,
                "mm",
                1.0,
                "B",
                f"edge:{photo}:crowns",
            )
        )
    word, px, share = SURFACE_TERMS[outline.surface]
    if outline.surface in ("bright", "polished") and jaws.crown_pitch_mm is None:
        word, px, share = "band mirrored in a smooth, bright flank", 0.0, U_MIRROR_SMOOTH_SHARE
    u_surface = math.hypot(px / outline.px_per_mm, share * outline.rough_mm)
    terms.append(Term(word, u_surface, "mm", both, "B", f"edge:{photo}:surface"))
    lever = 0.25 * (jaws.crown_pitch_mm or 0.0) + 0.1 * jaws.length_mm
    terms.append(
        Term("direction of the jaws", jaws.u_slope, "1", lever, "A", f"edge:{photo}:direction")
    )
    return terms
