"""The card as it lies: flat or bent, whole or torn."""

from __future__ import annotations

from typing import Any

import numpy as np
from rope_mesh import Array

BENDS = ("", "ends down", "curled up", "curled down", "belly", "twist")
ACROSS = (0.0, 1.0)  # the whole card: shares of its height, from the lower edge


def bent_points_mm(
    flat_mm: Array,
    size_mm: tuple[float, float],
    bend: str,
    bend_mm: float,
    axis_angle_deg: float = 0.0,
) -> Array:
    """Map points of the flat card (N, 2), mm, to the bent card (N, 3), mm.

    Parameters
    ----------
    flat_mm : ndarray of shape (N, 2)
        Points on the paper before it was bent.
    size_mm : (width, height)
        Of the card.
    bend : str
        "ends down": both ends hang and the rope rests on the middle. "curled up", "curled down":
        the card is curled about the rope's direction, its sides up or down. "belly": the middle
        hangs between two straps at the ends. "twist": two corners up, two down. "": flat.
    bend_mm : float
        How far the ends, sides, middle or corners are from the plane of the flat card, mm.
    axis_angle_deg : float
        Direction of the rope, about which a card is curled, degrees from x towards y.

    Raises
    ------
    ValueError
        If `bend` is not one of `BENDS`.

    Notes
    -----
    Paper does not stretch: the arc of a parabola keeps the paper's length. A twist or a belly of
    a few mm would stretch it by less than 0.3 %; this is not corrected for.
    """
    if bend not in BENDS:
        raise ValueError(f"`bend` must be one of {', '.join(BENDS)}; got {bend!r}.")
    x, y = flat_mm.T
    half = np.array(size_mm) / 2
    if bend == "twist":
        return np.column_stack([x, y, bend_mm * x * y / (half[0] * half[1])])
    if bend == "belly":
        return np.column_stack([x, y, -bend_mm * (1 + np.cos(np.pi * x / half[0])) / 2])
    if bend == "ends down":
        x, z = _on_parabola(x, half[0], -bend_mm)
    elif bend:
        angle = np.radians(axis_angle_deg)
        along, across = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
        across, z = _on_parabola(across, half[1], bend_mm if bend == "curled up" else -bend_mm)
        x, y = (
            along * np.cos(angle) - across * np.sin(angle),
            (along * np.sin(angle) + across * np.cos(angle)),
        )
    else:
        z = 0 * x
    return np.column_stack([x, y, z])


def _on_parabola(arc_mm: Array, half_mm: float, height_mm: float) -> tuple[Array, Array]:
    """Return t and z, mm, of points given by their arc lengths along z = a t^2."""
    a = height_mm / half_mm**2
    t = np.linspace(-2.0, 2.0, 4001) * half_mm
    rise = np.sqrt(1 + (2 * a * t) ** 2)
    arc = np.concatenate([[0.0], np.cumsum((rise[1:] + rise[:-1]) / 2 * np.diff(t))])
    place = np.interp(arc_mm, arc - arc[2000], t)
    return place, a * place**2


def card_shape(
    mi: Any,
    bsdf: dict[str, Any],
    size_mm: tuple[float, float],
    *,
    bend: str = "",
    bend_mm: float = 0.0,
    axis_angle_deg: float = 0.0,
    rows: tuple[float, float] = ACROSS,
) -> Any:
    """Return the card for the renderer; a flat, whole card is an exact rectangle."""
    width, height = size_mm
    if not bend and rows == ACROSS:
        T = mi.ScalarTransform4f
        flat = T().scale([width / 2, height / 2, 1.0])
        return {"type": "rectangle", "to_world": flat, "bsdf": bsdf}
    u, v = np.meshgrid(np.linspace(0, 1, 161), np.linspace(*rows, 161))
    flat_mm = np.column_stack([(u.ravel() - 0.5) * width, (v.ravel() - 0.5) * height])
    points = bent_points_mm(flat_mm, size_mm, bend, bend_mm, axis_angle_deg)
    index = np.arange(u.size).reshape(u.shape)
    here, right = index[:-1, :-1].ravel(), index[:-1, 1:].ravel()
    above, both = index[1:, :-1].ravel(), index[1:, 1:].ravel()
    faces = np.concatenate(
        [np.column_stack([here, right, both]), np.column_stack([here, both, above])]
    )
    properties = mi.Properties()
    properties["mesh_bsdf"] = mi.load_dict(bsdf)
    made = mi.Mesh(
        "card",
        vertex_count=len(points),
        face_count=len(faces),
        has_vertex_normals=False,
        has_vertex_texcoords=True,
        props=properties,
    )
    params = mi.traverse(made)
    params["vertex_positions"] = points.astype(np.float32).ravel()
    params["vertex_texcoords"] = np.column_stack([u.ravel(), v.ravel()]).astype(np.float32).ravel()
    params["faces"] = faces.astype(np.uint32).ravel()
    params.update()
    return made
