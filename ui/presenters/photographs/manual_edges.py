"""Corrections to a photograph by hand: moving an edge, and choosing where along it to measure."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ui.presenters.photographs.edge_views import edge_places, jaw_scale
from vision.results import BY_HAND, Estimate, Finding, Marks, PointPx
from vision.uncertainty import Influence, Term

# How well a person places a line on a magnified edge: to one pixel of the photograph, and no
# better than 0.1 mm. Common practice, no source. It is added to the existing uncertainty, so a
# figure corrected by hand is never more certain than the automatic one.
U_HAND_MM, U_HAND_PX = 0.10, 1.0
FARTHEST_MM = 2.0


def with_edges_moved(
    estimate: Estimate, left_mm: float, right_mm: float, *, by: str, why: str
) -> Estimate:
    """Return the estimate with its jaws moved by hand, marked as such and less certain.

    Parameters
    ----------
    estimate : Estimate
        The automatic estimate, or one already corrected by hand; it needs its marks.
    left_mm, right_mm : float
        How far each jaw moves outwards, mm at the rope; negative inwards.
    by, why : str
        The person, and the reason: what misled the measurement.

    Returns
    -------
    moved : Estimate
        Diameter changed by the sum of both moves; one more budget term for each moved edge; a
        warning that states the change.

    Raises
    ------
    ValueError
        If nothing was moved, an edge was moved by more than 2 mm, or the reason is missing.

    Notes
    -----
    Millimetres at the rope are scaled by the distance between the jaw lines. This neglects that a
    thicker rope on the card is also nearer to the camera: about 3 % *of the move* for a 22 mm rope
    at 350 mm, or 0.015 mm for a move of 0.5 mm.
    """
    if estimate.marks is None:
        raise ValueError("this figure has no marks to move; measure the photograph again.")
    if not why.strip():
        raise ValueError("moving an edge needs a reason: say what misled the measurement.")
    moves = {"left": left_mm, "right": right_mm}
    for side, move in moves.items():
        if not (math.isfinite(move) and abs(move) <= FARTHEST_MM):
            raise ValueError(
                f"the {side} edge would move by {move:.2f} mm, more than the limit of "
                f"{FARTHEST_MM:g} mm: take a better photograph instead."
            )
    moved = {side: move for side, move in moves.items() if abs(move) >= 0.005}
    if not moved:
        raise ValueError("neither edge was moved: move one, or leave the figure as it is.")
    diameter = estimate.diameter_mm + sum(moved.values())
    if diameter <= 0:
        raise ValueError(f"that leaves a diameter of {diameter:.2f} mm; move the edges less.")
    budget = list(estimate.budget)
    known = {term.source for term in budget}
    u_mm = max(U_HAND_MM, U_HAND_PX / jaw_scale(estimate, estimate.marks))
    for side in moved:
        source = Influence.EDGE.source(estimate.photo_sha256, f"hand-{side}")
        if source not in known:  # a second move of the same edge is as certain as the first
            budget.append(Term(f"{side} edge, set by hand", u_mm, "mm", 1.0, "B", source))
    moves_text = " and ".join(f"the {side} edge by {move:+z.2f} mm" for side, move in moved.items())
    finding = Finding(
        BY_HAND,
        f"{by} moved {moves_text} by hand: {' '.join(why.split()).rstrip('.')}.",
        "Look at both edges before this figure is used.",
        "warn",
    )
    return replace(
        estimate,
        diameter_mm=diameter,
        budget=tuple(budget),
        findings=(*estimate.findings, finding),
        marks=_moved_marks(estimate, estimate.marks, left_mm, right_mm),
    )


def _moved_marks(estimate: Estimate, marks: Marks, left_mm: float, right_mm: float) -> Marks:
    lines = []
    for line, place, move in zip(
        (marks.crown_left_px, marks.crown_right_px),
        edge_places(estimate, marks),
        (left_mm, right_mm),
        strict=True,
    ):
        push = move * place.px_per_mm
        begin, end = (
            (round(x + push * place.out[0], 2), round(y + push * place.out[1], 2)) for x, y in line
        )
        lines.append((begin, end))
    return replace(marks, crown_left_px=lines[0], crown_right_px=lines[1])


def rope_track(marks: Marks) -> tuple[PointPx, PointPx]:
    """Return the ends of the rope's track over the card, from the card's left to its right, px.

    The track runs through the station along the jaws, in the direction in which positions along
    the card are counted.
    """
    station = np.array(marks.station_px)
    along, _ = _along(marks)
    ends = [float((np.array(corner) - station) @ along) for corner in marks.card_px]
    low, high = max(ends[0], ends[3]), min(ends[1], ends[2])
    begin, end = station + low * along, station + high * along
    return (float(begin[0]), float(begin[1])), (float(end[0]), float(end[1]))


def place_on_track(marks: Marks) -> float:
    """Return the position of the station on `rope_track`, 0 to 1."""
    begin, end = (np.array(point) for point in rope_track(marks))
    track = end - begin
    return float((np.array(marks.station_px) - begin) @ track / (track @ track))


def at_mm_of(estimate: Estimate, marks: Marks, at: float) -> float:
    """Return the position along the card that corresponds to a position on `rope_track`, mm.

    On a tilted card it is accurate to about a millimetre. The figure is measured at the returned
    position, whatever the user pointed at.
    """
    begin, end = (np.array(point) for point in rope_track(marks))
    px = (at - place_on_track(marks)) * float(np.linalg.norm(end - begin))
    return round(estimate.at_mm + px / jaw_scale(estimate, marks), 1)


def _along(marks: Marks) -> tuple[NDArray[np.float64], float]:
    jaw = np.subtract(marks.crown_left_px[1], marks.crown_left_px[0])
    card = np.subtract(marks.card_px[1], marks.card_px[0])
    length = float(np.linalg.norm(jaw))
    return jaw / length * (1.0 if jaw @ card > 0 else -1.0), length
