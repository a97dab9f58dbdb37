"""The strands' lines on the rope's face: their direction, spacing and slope.

The visible face is unrolled: every point (place along, angle about the axis) of the rope's
cylinder is looked up in the photograph, with perspective taken into account. A strand's line is
then straight, and all lines together form a plane wave with `turns` periods per full circle around
the rope and `1 / pitch` periods per millimetre along it. Its strength is that of the Fourier sum in
both directions, with the first three harmonics, because strands have sharp valleys.

The direction in which the lines lean is the sign of the structure tensor's mixed element (Bigun and
Granlund 1987) over the whole face. If a wave in the opposite direction is nearly as strong, the
evidence is contradictory, and no result is given.

Limitation: highlights appear where a wire's surface faces the light, not at the strand's middle, so
`turns` is too large by a tenth to a half, and the pitch is wrong by up to one or two per cent
(`U_PITCH_SHARE`). The direction of the strands is reliable all the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, uniform_filter1d

from vision.camera import Camera, camera_centre_mm, pictured, rotation
from vision.medians import median_of
from vision.rope.edge.windows import USUAL_LAY, WIRE_LAY
from vision.rope.rectify import Image
from vision.rope.tangent_cylinder import Cylinder

Array = NDArray[np.float64]

FACE_DEG = 60.0  # extent around the rope, to each side of the line of sight
ROWS, PER_DIAMETER = 41, 48  # samples around the face, and per diameter along it
EVEN_OUT = 4.0  # diameters: slower variations of light along the rope are not strands
MULTIPLES = (1, 2, 3)  # harmonics
OVERSAMPLED = 8  # spectral samples per line width, so that a parabola fits a line's peak
TURNS = np.arange(2.5, 22.01, 0.25)  # possible numbers of periods per full circle
U_PITCH_SHARE = 0.012  # highlights and valleys are below the crowns: from renders (bench_lay.py)
STRENGTH = 0.06  # least share of the face's variance that a reliable wave must explain
ONE_WAY = 4.0  # least ratio of its strength to that of the strongest wave the other way
WIRES_DEG = 40.0  # extent of the face to each side of the line of sight on which wires are examined
WIRE_SAMPLES = 0.7  # of the face, over which light is averaged: a wire is two to three wide
ONE_DIRECTION = 0.5  # least share of the light's changes that must be in one direction
TENSOR_SAMPLES = 2.0  # samples of the face over which the structure tensor is averaged


@dataclass(frozen=True, slots=True)
class Wave:
    """The wave of the strands on the unrolled face.

    Parameters
    ----------
    pitch_mm : float
        Its period along the rope, mm.
    turns : float
        Its periods per full circle: the number of strands, or up to a half more.
    hand : {"right", "left"}
        Direction of the strands: right-hand lay runs like the middle stroke of a Z.
    strength : float
        Share of the face's variance that it explains.
    other : float
        The same for the strongest wave of that pitch in the other direction.
    """

    pitch_mm: float
    turns: float
    hand: str
    strength: float
    other: float

    @property
    def sure(self) -> bool:
        """Whether the wave is strong enough, and its direction clear enough, to be reliable."""
        return self.strength > STRENGTH and self.strength > ONE_WAY * self.other


def unrolled(pixels: Image, camera: Camera, rope: Cylinder, along_mm: Array) -> tuple[Array, Array]:
    """Return the rope's face (ROWS, columns), with even lighting, and its angles (ROWS,), rad.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    camera : Camera
        Camera and card.
    rope : Cylinder
        The rope; its direction points right on the card.
    along_mm : ndarray of shape (columns,)
        Places along the axis, mm from the cylinder's point of it, evenly spaced.

    Returns
    -------
    face : ndarray
        Logarithm of the light, without slow variations along the rope, normalised to unit scatter.
    angles : ndarray
        0 towards the camera, increasing towards the card's upper side, rad.
    """
    angles = np.radians(np.linspace(-FACE_DEG, FACE_DEG, ROWS))
    direction = rope.direction
    sight = camera_centre_mm(camera) - rope.axis_mm
    front = sight - (sight @ direction) * direction
    front /= np.linalg.norm(front)
    up = np.cross(front, direction)
    fine = 3  # samples to average, to avoid aliasing by wires much finer than a strand
    step = (along_mm[1] - along_mm[0]) / fine
    places = along_mm[0] + step * (np.arange(fine * len(along_mm)) - (fine - 1) / 2)
    round_it = np.multiply.outer(np.cos(angles), front) + np.multiply.outer(np.sin(angles), up)
    round_it = rope.diameter_mm / 2 * round_it
    # in the camera's frame, with x, y and z separate: numpy is slow along an axis of length three
    turned = rotation(camera)
    begin = (rope.axis_mm + round_it) @ turned.T + camera.translation_mm
    x, y, z = (
        one[:, None] + ahead * places
        for one, ahead in zip(begin.T, turned @ direction, strict=True)
    )
    seen_x, seen_y = (one.astype(np.float32) for one in pictured(camera, x / z, y / z))
    cut = cv2.remap(pixels, seen_x, seen_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = np.log(cv2.cvtColor(cut, cv2.COLOR_RGB2GRAY).astype(float) + 8.0)
    light = light.reshape(ROWS, len(along_mm), fine).mean(axis=2)
    broad = int(EVEN_OUT * rope.diameter_mm / (along_mm[1] - along_mm[0]))
    light -= uniform_filter1d(light, broad, axis=1)
    # the filter is a running sum, which may fall below zero by rounding
    scatter = np.sqrt(np.maximum(uniform_filter1d(light**2, broad, axis=1), 0))
    light /= np.maximum(scatter, 0.2 * float(median_of(scatter)) + 1e-6)
    return np.clip(light, -3.0, 3.0), angles


def pitch_by_texture(
    face: Array, angles: Array, along_mm: Array, shortest_mm: float, longest_mm: float
) -> float:
    """Return the pitch, mm, of the strongest wave between two pitches.

    Parameters
    ----------
    face, angles : ndarray
        From `unrolled`.
    along_mm : ndarray of shape (columns,)
        Its places along the rope, mm.
    shortest_mm, longest_mm : float
        Range of pitches to search, mm.
    """
    size = 1 << (OVERSAMPLED * len(along_mm)).bit_length()
    reach_mm = size * float(along_mm[1] - along_mm[0])
    waves = np.arange(np.ceil(reach_mm / longest_mm), reach_mm / shortest_mm).astype(int)
    spectrum = np.fft.rfft(face * _taper(len(along_mm)), size)
    rows = spectrum[:, np.multiply.outer(MULTIPLES, waves)]
    strength = _strength(np.moveaxis(rows, 1, 0), angles)[0 if _lean(face) > 0 else 1].max(axis=0)
    best = int(strength[1:-1].argmax()) + 1
    before, here, after = strength[best - 1 : best + 2]
    bow = 2 * here - before - after
    between = (after - before) / (2 * bow) if bow > 0 else 0.0
    return reach_mm / (float(waves[best]) + float(np.clip(between, -1, 1)))


def strand_wave(face: Array, angles: Array, along_mm: Array, pitch_mm: float) -> Wave:
    """Return the strongest wave with a given pitch.

    Parameters
    ----------
    face, angles : ndarray
        From `unrolled`.
    along_mm : ndarray of shape (columns,)
        Its places along the rope, mm.
    pitch_mm : float
        The pitch, mm.
    """
    turned = -2j * np.pi / pitch_mm * np.multiply.outer(MULTIPLES, along_mm)
    rows = np.einsum("rc,mc->mr", face * _taper(len(along_mm)), np.exp(turned))[..., None]
    strength = _strength(rows, angles)[..., 0]
    which = 0 if _lean(face) > 0 else 1
    turns = int(strength[which].argmax())
    return Wave(
        pitch_mm,
        float(TURNS[turns]),
        ("right", "left")[which],
        float(strength[which, turns]),
        float(strength[1 - which].max()),
    )


def wires_lay(face: Array, angles: Array, step_mm: float, d: float) -> str:
    """Return whether the wires run against their strands or with them; empty where unclear.

    In ordinary lay the wires are laid against the strands, so on the crowns they run nearly along
    the rope; in lang lay they run across it. The lines of wires and of the valleys between the
    strands are seen together, half-way between the directions of both.

    Parameters
    ----------
    face, angles : ndarray
        From `unrolled`.
    step_mm, d : float
        Spacing of the face's columns, and the rope's diameter, mm.

    Returns
    -------
    lay : {"ordinary", "lang", ""}
        The lay.
    """
    middle = face[np.abs(angles) <= np.radians(WIRES_DEG)]
    row_mm = d / 2 * float(angles[1] - angles[0])
    even = gaussian_filter(middle, (WIRE_SAMPLES * step_mm / row_mm, WIRE_SAMPLES))
    around, ahead = np.gradient(even, row_mm, step_mm)
    apart, mixed = float((ahead**2 - around**2).mean()), 2 * float((ahead * around).mean())
    if math.hypot(apart, mixed) < ONE_DIRECTION * float((ahead**2 + around**2).mean()):
        return ""
    # the lines run square to the steepest change of light (the structure tensor's first axis)
    slant = abs(math.pi / 2 - abs(math.atan2(mixed, apart) / 2))
    strand, wire = math.atan(math.pi / USUAL_LAY), math.atan(2 * math.pi / WIRE_LAY)
    if slant < strand - wire / 4:
        return "ordinary"
    return "lang" if slant > strand + wire / 4 else ""


def _taper(columns: int) -> Array:
    taper = np.hanning(columns + 2)[1:-1]
    return np.asarray(taper / taper.sum())


def _strength(rows: NDArray[np.complex128], angles: Array) -> Array:
    """Return the strengths of right-hand and left-hand waves (2, TURNS, pitches).

    `rows` is the Fourier sum of each row of the face along the rope (MULTIPLES, ROWS, pitches).
    """
    strength = np.zeros((2, len(TURNS), rows.shape[-1]))
    for multiple, row in zip(MULTIPLES, rows, strict=True):
        turning = multiple * np.multiply.outer(TURNS, angles)
        cosine, sine = np.cos(turning) / len(angles), np.sin(turning) / len(angles)
        # in real numbers: a complex matrix product starts threads and takes ten times as long
        real, imaginary = row.real.copy(), row.imag.copy()
        in_phase, ahead = cosine @ real, cosine @ imaginary
        across, behind = sine @ imaginary, sine @ real
        # right-hand lay: along +x a strand goes from the card's upper side towards the camera
        strength[0] += (in_phase + across) ** 2 + (ahead - behind) ** 2
        strength[1] += (in_phase - across) ** 2 + (ahead + behind) ** 2
    return strength


def _lean(face: Array) -> float:
    """Return the mean mixed element of the structure tensor: above 0 for right-hand lay."""
    from skimage.feature import structure_tensor  # half a second that only ropes are worth

    _, mixed, _ = structure_tensor(face, sigma=TENSOR_SAMPLES, order="rc")  # type: ignore[no-untyped-call]
    rim = int(2 * TENSOR_SAMPLES)
    return float(mixed[rim:-rim, rim:-rim].mean())
