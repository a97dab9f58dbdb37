"""A compact hash of the appearance of the rope's face, stored with every photograph.

The face is unrolled in the rope's own frame (`vision.rope.strand_texture.unrolled`), so the hash
does not depend on the camera's position, on cropping or on repeated saving. It covers 120 degrees
around the rope and three diameters along it around the card's middle. Each bit says whether one of
20 x 96 fields is brighter than its surroundings. Two photographs of one place on a rope agree in
most bits; those of different places share only the strands' regular pattern.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from vision.results import ROPE_LOOK_FIELDS

Array = NDArray[np.float64]

LENGTH = 3.0  # diameters along the rope
SMOOTH = (0.7, 0.5)  # rows of the face and fields along it over which light is averaged
SURROUNDINGS = (3.0, 6.0)  # extent of a field's surroundings around and along the rope, in fields


def rope_look(face: Array, along_mm: Array, diameter_mm: float) -> str:
    """Return the hash of a rope's face as hex digits; empty where too little of it is visible.

    Parameters
    ----------
    face : ndarray of shape (rows, columns)
        The unrolled face, with even lighting.
    along_mm : ndarray of shape (columns,)
        Its places along the rope, mm, evenly spaced about the station.
    diameter_mm : float
        Diameter of the rope, mm.
    """
    rows, columns = ROPE_LOOK_FIELDS
    field_mm = LENGTH * diameter_mm / columns
    places = (np.arange(columns) - (columns - 1) / 2) * field_mm
    if along_mm[0] > places[0] or along_mm[-1] < places[-1]:
        return ""
    step = along_mm[1] - along_mm[0]
    even = gaussian_filter(face, (SMOOTH[0], SMOOTH[1] * field_mm / step))
    grid = np.meshgrid(
        np.linspace(0, len(face) - 1, rows), (places - along_mm[0]) / step, indexing="ij"
    )
    fields = map_coordinates(even, np.array(grid), order=1, mode="nearest")
    return np.packbits(fields > gaussian_filter(fields, SURROUNDINGS)).tobytes().hex()
