"""Lay length: the distance along the rope for one turn of a strand, from crowns and texture.

Crowns on one side of the outline are *lay length / strands* apart. This pitch is fitted to both
sides together by least squares, as a period with its first three harmonics on a slow bow. The
deviation of the crowns of each single pitch from the regular row is then measured. Its scatter
gives the uncertainty of the pitch, with Student's t because there are few (GUM, JCGM 100:2008,
G.3.2). Where the outline shows no crowns, or too few, the strands' lines on the rope's face give
the pitch with more uncertainty (`vision.rope.strand_texture`); they always give the hand of the
lay.

Scale along the rope: the outline was traced in the plane of the rope's axis, but the camera sees
it where the line of sight touches the rope, sin(a)^2 closer to the camera (a: half the angle
subtended by the rope). The uncertainty due to the camera's pose, the print and the rope's height
is in the budget.

Number of strands: from one outline to the other a strand turns by 180 degrees less 2a, so the
crowns of the two sides are opposite each other for an even number and offset by half a pitch for
an odd one. With lay lengths of 5.5 to 8 diameters, and lines no steeper than gloss makes them,
usually one number remains; otherwise none is given. The rope's certificate takes precedence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtrit

from vision.camera import Camera, camera_centre_mm, gradient, project_mm, rays
from vision.least_squares import scatter_of
from vision.medians import median_of
from vision.rope.budget import Observation
from vision.rope.constants import ROUNDNESS_SHARE, U_GAP_MM
from vision.rope.crowns import fill_outliers
from vision.rope.edge.outline import Outline
from vision.rope.jaw_lines import tangent_planes
from vision.rope.rectify import Image, points_mm
from vision.rope.strand_texture import (
    PER_DIAMETER,
    U_PITCH_SHARE,
    Wave,
    pitch_by_texture,
    strand_wave,
    unrolled,
    wires_lay,
)
from vision.rope.tangent_cylinder import cylinder_mm
from vision.uncertainty import Influence, Term

Array = NDArray[np.float64]

MULTIPLES = 3  # harmonics of the crowns' frequency: a crown is round, its valley sharp
NEAR, TRIES, ENOUGH = 0.06, 9, 250  # search around the jaws' pitch: range; steps; samples used
STEPS, LONGEST, SHORTEST = 8, 0.01, 1e-5  # refinement: steps; their longest and shortest, relative
LEAST_PLACES = 5  # fewest single pitches, both sides together, whose scatter is meaningful
# A crown contributes to two neighbouring single pitches, whose shifts are therefore correlated
# (0.3 to 0.5 for independent crowns): the slope's variance is 1 + 2 r times its apparent value.
NEIGHBOURS = 1.35
STRAY = 4.0  # robust standard deviations: a sample farther off is a loose wire or grease
U_FLOOR_SHARE = 0.0007  # view of crowns from one point, edges' position: beyond noise on renders
# RR-W-410G, 3.4.4.5: not below 5.5 d; 6x7 class to 8 d (the latter from memory, confidence 0.7).
LEAST_LAY, MOST_LAY = 5.5, 8.0  # over the nominal diameter
WORN = 0.03  # relative deviation of a rope's diameter from its nominal diameter
PARITY = 0.20  # pitches: largest deviation of the two sides' offset from that for a number
GLOSS = (1.08, 1.65)  # turns of the texture over strands; renders show 1.18 to 1.55


@dataclass(frozen=True, slots=True)
class Lay:
    """The lay as determined from a photograph.

    Parameters
    ----------
    pitch_mm : float
        Distance along the rope from strand to strand, mm: lay length over strands.
    budget : tuple of Term
        The pitch's uncertainty budget.
    crowns : int
        Single pitches of the outline used, both sides together; 0 where only the texture was
        used.
    strands : int or None
        Outer strands, where they could be determined.
    hand : str
        "right" or "left" lay; empty where it could not be determined.
    """

    pitch_mm: float
    budget: tuple[Term, ...]
    crowns: int
    strands: int | None
    hand: str


@dataclass(frozen=True, slots=True, eq=False)
class Crowns:
    """The row of crowns on both sides of the outline, in its plane.

    Parameters
    ----------
    pitch_mm, u_mm : float
        Period and its standard uncertainty from the crowns' scatter, mm; 2 u covers 95 %.
    places : int
        Number of single pitches examined, both sides together.
    apart : float
        Offset of the left side's crowns ahead of the right side's, in pitches, 0 to 1.
    """

    pitch_mm: float
    u_mm: float
    places: int
    apart: float


@dataclass(frozen=True, slots=True, eq=False)
class RopeFace:
    """The side of the rope that the camera sees, unrolled.

    Parameters
    ----------
    light : ndarray of shape (rows, columns)
        Logarithm of the light, normalised (`vision.rope.strand_texture.unrolled`).
    angles : ndarray of shape (rows,)
        0 towards the camera, rad.
    along_mm : ndarray of shape (columns,)
        Places along the rope, mm from the station.
    diameter_mm : float
        Diameter of the cylinder used for unrolling, mm.
    sin_a : float
        Sine of half the angle subtended by the rope.
    wires_lay : {"ordinary", "lang", ""}
        Direction of the wires in the strands; empty where it is unclear.
    """

    light: Array
    angles: Array
    along_mm: Array
    diameter_mm: float
    sin_a: float
    wires_lay: str


def face_of(pixels: Image, observed: Observation) -> RopeFace | None:
    """Return the rope's face; None where less than two diameters of it are visible.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    observed : Observation
        The results of the previous steps.
    """
    pose, outline, lines = observed.pose, observed.outline, observed.lines
    eye, left, right = tangent_planes(pose.camera, lines)
    rope = cylinder_mm(left, right, eye, hold=observed.hold, station_mm=lines.station_mm)
    if rope.direction[0] < 0:  # to the right on the card
        rope = replace(rope, direction=-rope.direction)
    d = rope.diameter_mm
    sin_a = 0.5 * d / float(np.linalg.norm(np.cross(eye - rope.axis_mm, rope.direction)))
    step = d / PER_DIAMETER
    along = np.arange(outline.left.along_mm[0], outline.left.along_mm[-1], step)
    if len(along) < 2 * PER_DIAMETER:
        return None
    light, angles = unrolled(pixels, pose.camera, rope, along)
    return RopeFace(light, angles, along, d, sin_a, wires_lay(light, angles, step, d))


def lay_of(seen: RopeFace, observed: Observation) -> Lay | None:
    """Return the pitch of the strands, their number and hand; None where nothing is reliable.

    Parameters
    ----------
    seen : RopeFace
        The rope's face.
    observed : Observation
        The results of the previous steps.
    """
    outline, jaws = observed.outline, observed.jaws
    face, angles, along = seen.light, seen.angles, seen.along_mm
    d, sin_a = seen.diameter_mm, seen.sin_a
    crowns = None if jaws.crown_pitch_mm is None else crown_row(outline, jaws.crown_pitch_mm)
    if crowns is not None:
        wave = strand_wave(face, angles, along, crowns.pitch_mm)
        pitch, places = crowns.pitch_mm * (1 - sin_a**2), crowns.places
        noise = math.hypot(crowns.u_mm, U_FLOOR_SHARE * pitch)
    else:
        longest = min(2.2 * d, float(along[-1] - along[0]) / 2.5)
        pitch = pitch_by_texture(face, angles, along, 0.3 * d, longest)
        wave = strand_wave(face, angles, along, pitch)
        if not wave.sure:
            return None
        places, noise = 0, U_PITCH_SHARE * pitch
    own = Influence.CROWNS.source(observed.photo)
    strands = None if crowns is None else _strands(crowns, wave, pitch / d, sin_a)
    by_crowns = Term("places of the crowns", noise, "mm", 1.0, "A", own)
    by_lines = Term("strands' lines on the rope's face", noise, "mm", 1.0, "B", own)
    budget = _budget(observed, pitch, d, by_crowns if places else by_lines)
    return Lay(pitch, budget, places, strands, wave.hand if wave.sure else "")


def crown_row(outline: Outline, guess_mm: float) -> Crowns | None:
    """Return the row of crowns; None where there are too few.

    Parameters
    ----------
    outline : Outline
        Traced edges.
    guess_mm : float
        Approximate distance between crowns, mm, from `vision.rope.jaws`.
    """
    d = outline.rough_mm
    sides = [
        _samples(
            edge.along_mm,
            fill_outliers(edge.along_mm, edge.outward_mm, edge.step_mm, d),
            edge.outward_mm,
        )
        for edge in (outline.left, outline.right)
    ]
    if any(len(s) < 30 or s[-1] - s[0] < 2 * guess_mm for s, _ in sides):
        return None
    thin = [(s[:: 1 + len(s) // ENOUGH], height[:: 1 + len(s) // ENOUGH]) for s, height in sides]
    tried = guess_mm * np.linspace(1 - NEAR, 1 + NEAR, TRIES)
    left = [sum(float((_fitted(*one, pitch)[2] ** 2).sum()) for one in thin) for pitch in tried]
    pitch = _best_pitch(sides, float(tried[np.argmin(left)]))
    kept = []
    for s, height in sides:  # a loose wire must not affect the row
        off = _fitted(s, height, pitch)[2]
        scatter = scatter_of(off)
        good = np.abs(off - median_of(off)) < STRAY * scatter + 1e-6
        kept.append((s[good], height[good]))
    pitch = _best_pitch(kept, pitch)
    weight, spread, places, phases = 0.0, 0.0, 0, []
    for s, height in kept:
        basis, coefficients, off = _fitted(s, height, pitch)
        at, shift = _shifts(s, off, _derivative(basis, coefficients), pitch)
        places += len(at)
        weight += float(((at - at.mean()) ** 2).sum())
        slope = float((at - at.mean()) @ shift) / max(float(((at - at.mean()) ** 2).sum()), 1e-9)
        spread += float(((shift - shift.mean() - slope * (at - at.mean())) ** 2).sum())
        phases.append(math.atan2(coefficients[4], coefficients[3]) / (2 * math.pi))
    if places < LEAST_PLACES or weight <= 0:
        return None
    freedom = places - 4  # two lines were fitted to the shifts
    factor = float(stdtrit(freedom, ndtr(2.0))) / 2
    u = NEIGHBOURS * factor * pitch * math.sqrt(spread / freedom / weight)
    return Crowns(pitch, u, places, (phases[1] - phases[0]) % 1.0)


def _samples(along: Array, height: Array, raw: Array) -> tuple[Array, Array]:
    seen = np.isfinite(raw)
    return along[seen], height[seen]


def _fitted(along: Array, height: Array, pitch: float) -> tuple[Array, Array, Array]:
    """Return the basis functions (3 + 2 MULTIPLES, N), their fitted coefficients, and residuals.

    The functions are a slow bow, then the cosine and sine of each harmonic.
    """
    x = along / max(float(np.abs(along).max()), 1e-9)
    basis = np.empty((3 + 2 * MULTIPLES, len(x)))
    basis[0], basis[1], basis[2] = 1.0, x, x * x
    turn = np.exp(2j * np.pi * along / pitch)
    wave = np.ones_like(turn)
    for k in range(MULTIPLES):
        wave = wave * turn
        basis[3 + 2 * k], basis[4 + 2 * k] = wave.real, wave.imag
    coefficients = _coefficients(basis, height)
    return basis, coefficients, height - coefficients @ basis


def _coefficients(basis: Array, values: Array) -> Array:
    """Return the least-squares coefficients of the basis functions for values."""
    # the functions are nearly orthogonal, so the normal equations are well conditioned
    return np.asarray(np.linalg.solve(basis @ basis.T, basis @ values))


def _derivative(basis: Array, coefficients: Array) -> Array:
    """Return the derivative of the fitted wave with respect to place, per pitch."""
    by_place = 2 * np.pi * np.repeat(np.arange(1, MULTIPLES + 1), 2) * coefficients[3:]
    by_place[1::2], by_place[::2] = -by_place[::2], by_place[1::2].copy()
    return np.asarray(by_place @ basis[3:])


def _best_pitch(sides: list[tuple[Array, Array]], pitch: float) -> float:
    """Return the best-fitting pitch, starting nearby (variable projection, Kaufman 1975)."""
    for _ in range(STEPS):
        along, against = 0.0, 1e-12
        for s, height in sides:
            basis, coefficients, off = _fitted(s, height, pitch)
            by_pitch = -_derivative(basis, coefficients) * s / pitch  # with respect to ln(pitch)
            by_pitch -= _coefficients(basis, by_pitch) @ basis
            along += float(by_pitch @ off)
            against += float(by_pitch @ by_pitch)
        step = min(max(along / against, -LONGEST), LONGEST)
        pitch *= 1 + step
        if abs(step) < SHORTEST:
            break
    return pitch


def _shifts(along: Array, off: Array, derivative: Array, pitch: float) -> tuple[Array, Array]:
    """Return the middle of each single pitch, and the shift of its crown, in pitches, (N,)."""
    count = int((along[-1] - along[0]) // pitch)
    ends = np.linspace(along[0], along[-1], count + 1)
    at, shift = [], []
    for low, high in pairwise(ends):
        here = (along > low - 1e-9) & (along < high + 1e-9)  # tolerance for rounding
        if here.sum() < 8:
            continue
        one = np.stack([np.ones(int(here.sum())), -derivative[here]], axis=1)
        at.append((low + high) / 2 / pitch)
        shift.append(float(np.linalg.lstsq(one, off[here], rcond=None)[0][1]))
    return np.array(at), np.array(shift)


def _strands(crowns: Crowns, wave: Wave, pitch_over_d: float, sin_a: float) -> int | None:
    """Return the number of strands if crowns, texture and usual lay lengths allow only one."""
    if not wave.sure:
        return None
    sign = 1.0 if wave.hand == "right" else -1.0
    fits = []
    for n in range(3, 25):
        expected = sign * n * (0.5 - math.asin(sin_a) / math.pi)
        apart = abs((crowns.apart - expected + 0.5) % 1.0 - 0.5)
        usual = LEAST_LAY * (1 - WORN) <= n * pitch_over_d <= MOST_LAY * (1 + WORN)
        if apart < PARITY and usual and GLOSS[0] < wave.turns / n < GLOSS[1]:
            fits.append(n)
    return fits[0] if len(fits) == 1 else None


def _budget(observed: Observation, pitch: float, d: float, own: Term) -> tuple[Term, ...]:
    """Return the pitch's budget; the scale is that of the outline's plane."""
    pose, outline, photo = observed.pose, observed.outline, observed.photo
    half = float(outline.left.along_mm[-1] - outline.left.along_mm[0]) / 4
    ends = points_mm(
        np.array([-half, half]),
        np.zeros(2),
        outline.origin_mm,
        outline.direction,
        outline.height_mm,
    )
    seen = project_mm(pose.camera, ends)

    def length(camera: Camera, height_mm: float) -> float:
        eye = camera_centre_mm(camera)
        sight = rays(camera, seen)
        at = eye + sight * ((height_mm - eye[2]) / sight[:, 2])[:, None]
        return float(np.linalg.norm(at[1] - at[0])) * pitch / (2 * half)

    by_number = gradient(lambda moved: length(moved, outline.height_mm), pose.camera)
    per_mm = length(pose.camera, outline.height_mm + 0.5) - length(
        pose.camera, outline.height_mm - 0.5
    )
    u_height = math.hypot(U_GAP_MM, ROUNDNESS_SHARE * d / 2)
    u_pose = math.sqrt(max(pose.covariance.variance(by_number), 0.0))
    return (
        own,
        *(
            Term(
                f"print scale {name} the rope",
                float(pose.u_scale[i]),
                "1",
                float(by_number @ pose.scale_shift[:, i]),
                "B",
                f"{observed.prints}:{'xy'[i]}",
            )
            for i, name in ((0, "along"), (1, "across"))
        ),
        Term(
            "camera and its place", u_pose, "mm", 1.0, "A", Influence.CORNERS.source(photo, "along")
        ),
        Term(
            "height of the rope over the card",
            u_height,
            "mm",
            per_mm,
            "B",
            Influence.GAP.source(photo),
        ),
    )
