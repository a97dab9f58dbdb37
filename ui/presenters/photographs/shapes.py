"""Lines and handles drawn over a photograph, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.results import PointPx

Look = Literal["photograph", "logged", "by hand", "outline", "card", "scale", "spot"]


@dataclass(frozen=True, slots=True)
class Shape:
    """Something drawn on a picture.

    Parameters
    ----------
    look : str
        Its appearance; lines differ in dash pattern as well as in colour.
    points : sequence of (x, y)
        Corners of a line, or single dots for "outline" and "spot", px of the picture.
    label : str
        Text beside its first point.
    below : bool
        Whether the text is below the point; otherwise above.
    """

    look: Look
    points: tuple[PointPx, ...]
    label: str = ""
    below: bool = False


@dataclass(frozen=True, slots=True)
class Handle:
    """A handle that the user can move along a straight track.

    Parameters
    ----------
    label : str
        Its name for screen readers.
    begin, end : (x, y)
        The track, px of the picture.
    at : float
        Its position, 0 (begin) to 1 (end).
    step : float
        How far one press of an arrow key moves it; ten times as far with Shift.
    bar : bool
        Draw a line across the track through the handle.
    """

    label: str
    begin: PointPx
    end: PointPx
    at: float
    step: float = 0.005
    bar: bool = False
