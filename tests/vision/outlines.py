"""Outlines for the jaws made from numbers, without a picture to trace."""

from __future__ import annotations

import numpy as np
from studio import Array

from vision.rope.edge.outline import Edge, Outline


def outline_of(
    left: tuple[Array, Array],
    right: tuple[Array, Array],
    *,
    d_mm: float,
    px_mm: float,
    window_mm: float,
    noise_px: float = 0.0,
) -> Outline:
    """Return an outline; a side is its places along the rope and its distance outwards, mm."""
    edges = [
        Edge(
            side="right" if which else "left",
            along_mm=along,
            outward_mm=outward,
            step_mm=px_mm,
            window_mm=window_mm,
            noise_px=noise_px,
            reference_px=0.0,
            tone_px=0.0,
            own_light_px=0.0,
            dark_beside=False,
            burnt=0.0,
        )
        for which, (along, outward) in enumerate((left, right))
    ]
    ahead = np.array([1.0, 0.0])
    return Outline(*edges, np.zeros(2), ahead, d_mm / 2, d_mm, 1 / px_mm, (90.0, 57.0))
