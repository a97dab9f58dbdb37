"""What is drawn over a photograph: lines and handles, as plain values."""

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
        How it looks; lines differ by dash as well as by colour.
    points : sequence of (x, y)
        Corners of a line, or single dots for "outline" and "spot", px of the picture.
    label : str
        Words beside its first point.
    below : bool
        Whether the words stand below the point; else above.
    """

    look: Look
    points: tuple[PointPx, ...]
    label: str = ""
    below: bool = False


@dataclass(frozen=True, slots=True)
class Handle:
    """Something that a person may move along a straight track.

    Parameters
    ----------
    label : str
        What it is, said to a screen reader and shown while it is held.
    begin, end : (x, y)
        The track, px of the picture.
    at : float
        Where it stands, 0 (begin) to 1 (end).
    step : float
        What one arrow key moves it; ten times that with Shift.
    bar : bool
        Draw a line across the track through the handle.
    """

    label: str
    begin: PointPx
    end: PointPx
    at: float
    step: float = 0.005
    bar: bool = False
