"""A rope on a located card: found once, then measured at each station requested."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.camera import project_mm, tilt_deg
from vision.findings import RefusedError, finding, limit_of, refuse_above, refuse_below
from vision.photo.photo import Photo
from vision.results import Estimate, Finding, PointPx
from vision.rope.axis import Axis, find_axis, to_height
from vision.rope.budget import Observation, diameter_of, expected_hold, list_terms
from vision.rope.constants import HALF_LENGTH
from vision.rope.edge.outline import Outline, band_limits_mm, trace_edges
from vision.rope.face_look import rope_look
from vision.rope.hidden import why_hidden
from vision.rope.jaw_lines import jaw_lines
from vision.rope.jaws import Jaws, fit_jaws, on_wires
from vision.rope.lay import face_of, lay_of
from vision.rope.marks import marks_of, spot_of
from vision.rope.paper import flatness, lay_paper, read_band
from vision.rope.rectify import light_within, points_mm
from vision.rope.tangent_cylinder import Hold
from vision.target.blur import Blur, beside_the_rope
from vision.target.locate import LocatedCard
from vision.tones import Light
from vision.uncertainty import Influence, Term, combined_u_mm

Array = NDArray[np.float64]


SQUARE = np.array([[-1.0, -1.0, 1.0, 1.0], [-1.0, 1.0, -1.0, 1.0]])  # corners, along and across
NEAREST = 16  # places around a station where the stripes' blur is read: about three diameters


@dataclass(frozen=True, slots=True, eq=False)
class RopeInView:
    """A rope on a card, before it is measured at any station.

    Parameters
    ----------
    photo : Photo
        The photograph.
    located : LocatedCard
        The card, located by corners and stripes.
    axis : Axis
        The rope's approximate axis.
    grey : ndarray of shape (H, W), uint8
        The photograph in grey.
    findings : tuple of Finding
        Warnings about the paper under the rope.
    """

    photo: Photo
    located: LocatedCard
    axis: Axis
    grey: NDArray[np.uint8]
    findings: tuple[Finding, ...]


def look_for_rope(photo: Photo, grey: NDArray[np.uint8], located: LocatedCard) -> RopeInView:
    """Return the rope on a card.

    Parameters
    ----------
    photo : Photo
        The photograph.
    grey : ndarray of shape (H, W), uint8
        The same in grey.
    located : LocatedCard
        The card, located by its corners.

    Raises
    ------
    RefusedError
        If there is no rope on the card's band, or the card is bent.
    """
    x, y = project_mm(located.pose.camera, np.zeros((1, 3)))[0]
    table = located.blur.tones.table
    band = None
    try:
        band = read_band(grey, located.pose.camera, located.printed, table)
        axis = find_axis(band, located.pose.camera, located.printed)
        located = lay_paper(located, band)
        findings = flatness(located.pose, located.card, axis.direction)
    except RefusedError as refused:
        reason = why_hidden(refused, band, located, grey)
        raise _pointing(reason, lambda code: (float(x), float(y))) from refused
    return RopeInView(photo, located, axis, grey, findings)


def _blur_beside(rope: RopeInView, at_mm: float) -> Blur:
    """Return the blur at a station, from the stripes next to it."""
    located = rope.located
    station = rope.axis.at_mm + rope.axis.direction * (at_mm - rope.axis.at_mm[0])
    apart_mm = np.linalg.norm(located.open_mm - station, axis=1)
    places = located.open_mm[np.argsort(apart_mm)[:NEAREST]]
    camera, most = located.pose.camera, limit_of("blurred-unevenly")
    return beside_the_rope(located.blur, rope.grey, camera, located.printed, places, most)


def _about_the_rope(rope: RopeInView, at_mm: float, hold: Hold) -> Array:
    """Return the corners (N, 3), mm, of the region of rope and band that is examined."""
    axis, camera = rope.axis, rope.located.pose.camera
    seen = []
    for height in (0.0, rope.axis.width_mm if hold.touching else hold.axis_height_mm):
        point, width = to_height(axis, camera, height)
        origin = point + axis.direction * (at_mm - point[0]) / axis.direction[0]
        along, across = HALF_LENGTH * width * SQUARE[0], width * SQUARE[1]
        seen.append(points_mm(along, across, origin, axis.direction, height))
    return np.concatenate(seen)


def measure_station(
    rope: RopeInView, *, at_mm: float, hold: Hold, jaw_diameters: float
) -> Estimate:
    """Return the diameter at one place.

    Parameters
    ----------
    rope : RopeInView
        The rope.
    at_mm : float
        Place along the card, mm from its middle.
    hold : Hold
        How the card was held.
    jaw_diameters : float
        Length of the virtual jaws over the rope's diameter.

    Raises
    ------
    RefusedError
        If no diameter can be given; each reason refers to its place in the photograph.
    """
    located = replace(rope.located, blur=_blur_beside(rope, at_mm))
    rope = replace(rope, located=located)
    table = located.blur.tones.table
    estimate = _traced(rope, table, at_mm, hold, jaw_diameters)
    u = located.blur.tones.u_log_power
    if not u:
        return estimate
    other = np.asarray(table ** np.float32(np.exp(-u)), np.float32)
    moved_mm = _traced(rope, other, at_mm, hold, jaw_diameters).diameter_mm - estimate.diameter_mm
    source = Influence.EDGE.source(rope.photo.sha256, "tones")
    term = Term("tones bent, by the card's black", u, "1", moved_mm / u, "B", source)
    return replace(estimate, budget=(*estimate.budget, term))


def _traced(
    rope: RopeInView, table: Light, at_mm: float, hold: Hold, jaw_diameters: float
) -> Estimate:
    located = rope.located
    seen_px = project_mm(located.pose.camera, _about_the_rope(rope, at_mm, hold))
    light, corner_px = light_within(rope.grey, seen_px, table)
    outline = trace_edges(
        light,
        located,
        rope.axis,
        at_mm=at_mm,
        height_mm=None if hold.touching else hold.axis_height_mm,
        corner_px=corner_px,
    )
    crooked = 100 * rope.axis.unlike_share(at_mm)
    try:
        _check_outline(outline, located)
        jaws = fit_jaws(outline, jaw_diameters=jaw_diameters)
        estimate = _estimate(rope, outline, jaws, expected_hold(hold))
        refuse_above("no-straight-rope", crooked)
    except RefusedError as refused:
        reason = refused
        if crooked > limit_of("no-straight-rope"):
            reason = RefusedError(finding("no-straight-rope", crooked))
        raise _pointing(
            reason, lambda code: spot_of(code, located.pose.camera, outline, located.printed)
        ) from refused
    return replace(estimate, at_mm=at_mm)


def _check_outline(outline: Outline, located: LocatedCard) -> None:
    """Refuse an outline that is too small, burnt out, or runs off the card's band."""
    refuse_below("too-far", outline.rough_mm * outline.px_per_mm)
    for edge in (outline.left, outline.right):
        refuse_above("hard-shadow", edge.shadow_px)
        refuse_above("burnt-out", edge.times_over)
    low, high = band_limits_mm(outline, located.pose.camera, located.printed)
    half = outline.rough_mm / 2
    refuse_below("band-too-narrow", float(min(high, -low) / half))


def _estimate(rope: RopeInView, outline: Outline, jaws: Jaws, hold: Hold) -> Estimate:
    photo, located = rope.photo, rope.located
    card, pose = located.card, located.pose

    def observed_by(jaws: Jaws) -> Observation:
        lines = jaw_lines(pose.camera, outline, jaws)
        known = photo.sha256, photo.camera
        return Observation(pose, card, outline, jaws, lines, hold, located.blur, *known)

    observed = observed_by(jaws)
    try:
        face = face_of(photo.pixels, observed)
        jaws = on_wires(jaws, face.wires_lay if face else "")
        observed = observed_by(jaws)
        diameter = diameter_of(pose, observed.lines, hold)
    except ValueError as impossible:
        raise RefusedError(finding("rope-not-found")) from impossible
    lines = observed.lines
    budget = list_terms(observed)
    edges = combined_u_mm(term for term in budget if term.influence is Influence.EDGE)
    refuse_above("edges-unsure", 100 * edges / diameter)
    lay = None if face is None else lay_of(face, observed)
    return Estimate(
        diameter_mm=diameter,
        budget=budget,
        findings=(
            *located.warnings,
            *_warnings(located, outline, jaws),
            *pose.findings,
            *rope.findings,
        ),
        station=card.station,
        view_deg=card.view_deg,
        hold=hold.kind.value,
        jaw_mm=jaws.length_mm,
        crowns=jaws.left.crowns + jaws.right.crowns,
        crown_pitch_mm=lay.pitch_mm if lay else jaws.crown_pitch_mm,
        pitch_budget=lay.budget if lay else (),
        pitches=lay.crowns if lay else 0,
        strands=lay.strands if lay else None,
        hand=lay.hand if lay else "",
        spread_mm=max(jaws.left.spread_mm, jaws.right.spread_mm),
        px_per_mm=outline.px_per_mm,
        tilt_deg=tilt_deg(pose.camera, lines.station_mm),
        focal_px=pose.focal_px,
        u_focal_px=pose.u_focal_px,
        print_set=card.print_set,
        rope_look="" if face is None else rope_look(face.light, face.along_mm, face.diameter_mm),
        marks=marks_of(pose.camera, located.printed, outline, lines),
    )


def _warnings(located: LocatedCard, outline: Outline, jaws: Jaws) -> tuple[Finding, ...]:
    warnings = []
    burnt = 100 * max(outline.left.burnt, outline.right.burnt)
    if burnt > limit_of("overexposed"):
        spot = spot_of("overexposed", located.pose.camera, outline, located.printed)
        warnings.append(finding("overexposed", burnt, spot_px=spot))
    if jaws.crown_pitch_mm is None and jaws.left.crowns + jaws.right.crowns:
        warnings.append(finding("crowns-unclear"))
    strays = jaws.left.strays + jaws.right.strays
    if strays:
        warnings.append(finding("stray-crown", float(strays)))
    return tuple(warnings)


def _pointing(refused: RefusedError, spot: Callable[[str], PointPx]) -> RefusedError:
    """Add to each reason its place in the photograph, according to its code."""
    return RefusedError(
        *(
            item if item.spot_px is not None else replace(item, spot_px=spot(item.code))
            for item in refused.findings
        )
    )
