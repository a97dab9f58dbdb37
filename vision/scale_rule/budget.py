"""Uncertainty budget of a diameter without the card: every influence as a named term.

The diameter is a function of camera and rule's face (`vision.scale_rule.plane.FaceView`), of the
two edge lines, and of the object's height over the face. Its sensitivities are central differences
of that same function. Where an influence has a quadratic effect (a tilt that nothing in the picture
shows), its curvature is included: for normal x of standard uncertainty u, the root mean square of
a x² is sqrt(3) |a| u².
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vision.scale_rule.object_edges import TracedObject
from vision.scale_rule.plane import Face, FaceView
from vision.uncertainty import Influence, Term

Array = NDArray[np.float64]

# Of a length: accuracy of a plain steel rule's division (EEC class II: 0.3 mm + 0.2 mm per metre,
# so about 0.05 % over a few decimetres; from memory, confidence 0.7).
U_DIVIDED = 0.0005
# Position of an edge within its blur: the sharpening and rescaling of old photographs are not known
# (common practice, no source).
U_EDGE_PX = 0.3
# Each side, of the diameter: a shadow beside the object, or the ground mirrored in it. Observed on
# renders of ropes on a plain ground.
U_GROUND_SHARE = 0.0064
# Order of the terms: each parameter includes its correlation with the later ones.
ORDER = (
    "log_focal", "k1", "centre_x_px", "centre_y_px", "tilt_x", "tilt_y",
    "log_far", "spin", "at_x", "at_y",
)  # fmt: skip


def scale_terms(
    face: Face,
    length_mm: float,
    u_length_mm: float,
    d: Callable[[FaceView], float],
    photo: str,
    camera_id: str,
) -> list[Term]:
    """Return the terms for camera, face and known length.

    Parameters
    ----------
    face : Face
        Camera and the rule's face.
    length_mm, u_length_mm : float
        The known length, mm, and its standard uncertainty where no graduations were used.
    d : callable
        Diameter, mm, for a view of the face.
    photo, camera_id : str
        Identities of this photograph, and of its camera.
    """
    factor = np.linalg.cholesky(face.covariance.ordered(ORDER))
    ordered = np.array([getattr(face.view, name) for name in ORDER])
    diameter = d(face.view)
    parts, bends = np.zeros(len(ORDER)), np.zeros(len(ORDER))
    for i in range(len(ORDER)):
        more, less = (
            d(face.view._replace(**dict(zip(ORDER, moved.tolist(), strict=True))))
            for moved in (ordered + factor[:, i], ordered - factor[:, i])
        )
        parts[i], bends[i] = (more - less) / 2, (more + less) / 2 - diameter
    lens = Influence.LENS.source(camera_id if camera_id and face.lens.known else photo)
    noise = "noise of the rule's marks" if face.rows else "marking of the two points"
    terms = [
        Term(
            "focal length, hence the camera's distance",
            1.0,
            "1",
            float(parts[0]),
            "B",
            f"{lens}:focal",
        ),
        Term(
            "lens distortion left in the picture",
            1.0,
            "1",
            float(parts[1]),
            "B",
            f"{lens}:distortion",
        ),
        Term("principal point, sideways", 1.0, "1", float(parts[2]), "B", f"{lens}:centre x"),
        Term("principal point, upwards", 1.0, "1", float(parts[3]), "B", f"{lens}:centre y"),
        Term(
            "tilt of the camera relative to the rule",
            1.0,
            "1",
            float(np.hypot(*parts[4:6])),
            "A" if face.rows else "B",
            Influence.FACE.source(photo, "tilt"),
        ),
        Term(
            "quadratic effect of tilt and distance",
            float(np.sqrt(3 * (bends**2).sum())),
            "mm",
            1.0,
            "B",
            Influence.FACE.source(photo, "squared"),
        ),
        Term(
            noise,
            1.0,
            "1",
            float(np.linalg.norm(parts[6:])),
            "A" if face.rows else "B",
            Influence.FACE.source(photo, "marks"),
        ),
    ]
    if face.rows:
        terms.append(
            Term(
                "division of the rule", U_DIVIDED, "1", diameter, "B", Influence.RULE.source(photo)
            )
        )
    else:
        terms.append(
            Term(
                "length between the two points",
                u_length_mm,
                "mm",
                diameter / length_mm,
                "B",
                Influence.RULE.source(photo),
            )
        )
    return terms


def height_term(per_mm: float, u_mm: float, photo: str) -> Term:
    """Return the term for the object's height over the rule's face (parallax).

    Parameters
    ----------
    per_mm : float
        Change of the diameter with the height, 1.
    u_mm : float
        Standard uncertainty of the height, mm.
    photo : str
        Identity of the photograph.
    """
    return Term(
        "height of the object over the rule's face",
        u_mm,
        "mm",
        per_mm,
        "B",
        Influence.HEIGHT.source(photo),
    )


def edge_terms(
    piece: TracedObject, d_mm: float, px_per_mm: float, photo: str, *, traced: bool
) -> list[Term]:
    """Return the terms for the two edges.

    Parameters
    ----------
    piece : TracedObject
        The object's edges.
    d_mm, px_per_mm : float
        Diameter and scale there.
    photo : str
        Identity of the photograph.
    traced : bool
        Whether the edges were traced; otherwise the user marked them.
    """
    per_px = 1 / px_per_mm
    word = "noise and crests" if traced else "marked by hand"
    terms = [
        Term(
            f"{side} edge, {word}",
            u,
            "px",
            per_px,
            "A" if traced else "B",
            Influence.EDGE.source(photo, side),
        )
        for side, u in zip(("left", "right"), piece.u_px, strict=True)
    ]
    if not traced:
        return terms
    u_place = U_EDGE_PX * max(1.0, piece.blur_px)
    terms.append(
        Term(
            "position of the edge within its blur",
            u_place,
            "px",
            per_px * float(np.sqrt(2)),
            "B",
            Influence.EDGE.source(photo, "place"),
        )
    )
    if piece.crests:
        terms.append(
            Term(
                "crests rounded by blur",
                piece.lost_mm,
                "mm",
                1.0,
                "B",
                Influence.EDGE.source(photo, "rounded"),
            )
        )
    share = float(np.sqrt(2)) * U_GROUND_SHARE  # of both sides together
    terms.append(
        Term(
            "ground beside the object: shadow or mirror image",
            share * d_mm,
            "mm",
            1.0,
            "B",
            Influence.EDGE.source(photo, "surface"),
        )
    )
    lever = 0.25 * piece.pitch_mm + 0.1 * piece.length_mm if piece.crests else 0.0
    terms.append(
        Term(
            "direction of the jaws",
            piece.u_slope,
            "1",
            lever,
            "A",
            Influence.EDGE.source(photo, "direction"),
        )
    )
    return terms
