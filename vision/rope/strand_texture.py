"""The strands' lines on the rope's face: which way they turn, how often they come, how steep.

The face that the camera sees is unrolled: every point (place along, angle about the axis) of the
rope's cylinder is looked up in the photograph, perspective and all. A strand's line is then
straight, and all of them together are one wave of two directions: `turns` to the full circle
round the rope, `1 / pitch` to the millimetre along it. Its strength is that of the Fourier sum
over both directions, with the first three multiples, because strands have sharp valleys.

Which way the lines lean is the sign of the structure tensor's mixed element (Bigun and Granlund
1987) over the whole face. A wave that turns the other way nearly as strongly contradicts it, and
then nothing is said.

What this can't do: gloss stands where a wire's face looks towards the light, not at the strand's
middle, so `turns` comes out too large by a tenth to a half, and the pitch by up to a percent or
two (`U_PITCH_SHARE`). Which way the strands turn is beyond doubt all the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from skimage.feature import structure_tensor

from vision.camera import Camera, camera_centre_mm, project_mm
from vision.medians import median_of
from vision.rope.rectify import Image
from vision.rope.tangent_cylinder import Cylinder

Array = NDArray[np.float64]

FACE_DEG = 60.0  # how far round the rope, to each side of the line of sight
ROWS, PER_DIAMETER = 41, 48  # samples round the face, and along it to one diameter
EVEN_OUT = 4.0  # diameters: slower changes of light along the rope are no strands
MULTIPLES = (1, 2, 3)
TURNS = np.arange(2.5, 22.01, 0.25)  # strands that a full circle could hold
U_PITCH_SHARE = 0.012  # gloss and valleys lie below the crowns: seen on renders (bench_lay.py)
STRENGTH = 0.06  # least share of the face's variation that the wave must hold to be believed
ONE_WAY = 4.0  # how much stronger it must be than the strongest wave that turns the other way
TENSOR_SAMPLES = 2.0  # of the face over which the structure tensor is averaged


@dataclass(frozen=True, slots=True)
class Wave:
    """The wave of the strands on the unrolled face.

    Parameters
    ----------
    pitch_mm : float
        Its period along the rope, mm.
    turns : float
        Its periods to the full circle; the number of strands or up to a half more.
    hand : {"right", "left"}
        Which way the strands turn: right-hand lay goes like the middle stroke of a Z.
    strength : float
        Share of the face's variation that it holds.
    other : float
        The same of the strongest wave of that pitch which turns the other way.
    """

    pitch_mm: float
    turns: float
    hand: str
    strength: float
    other: float

    @property
    def sure(self) -> bool:
        """Whether the wave is strong enough, and its direction plain enough, to be believed."""
        return self.strength > STRENGTH and self.strength > ONE_WAY * self.other


def unrolled(pixels: Image, camera: Camera, rope: Cylinder, along_mm: Array) -> tuple[Array, Array]:
    """Return the face (ROWS, columns) of the rope, evenly lit, and its angles (ROWS,), rad.

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
        Logarithm of the light, its slow changes along the rope taken out, one scatter all over.
    angles : ndarray
        0 towards the camera, growing towards the card's upper side, rad.
    """
    angles = np.radians(np.linspace(-FACE_DEG, FACE_DEG, ROWS))
    direction = rope.direction
    sight = camera_centre_mm(camera) - rope.axis_mm
    front = sight - (sight @ direction) * direction
    front /= np.linalg.norm(front)
    up = np.cross(front, direction)
    fine = 3  # samples are averaged, lest wires much finer than a strand alias
    step = (along_mm[1] - along_mm[0]) / fine
    places = along_mm[0] + step * (np.arange(fine * len(along_mm)) - (fine - 1) / 2)
    round_it = np.multiply.outer(np.cos(angles), front) + np.multiply.outer(np.sin(angles), up)
    round_it = rope.diameter_mm / 2 * round_it
    points = rope.axis_mm + round_it[:, None] + np.multiply.outer(places, direction)
    seen = project_mm(camera, points.reshape(-1, 3)).astype(np.float32)
    seen = seen.reshape(ROWS, len(places), 2)
    cut = cv2.remap(
        pixels,
        np.ascontiguousarray(seen[..., 0]),
        np.ascontiguousarray(seen[..., 1]),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    light = np.log(cv2.cvtColor(cut, cv2.COLOR_RGB2GRAY).astype(float) + 8.0)
    light = light.reshape(ROWS, len(along_mm), fine).mean(axis=2)
    broad = int(EVEN_OUT * rope.diameter_mm / (along_mm[1] - along_mm[0]))
    light -= uniform_filter1d(light, broad, axis=1)
    scatter = np.sqrt(np.maximum(uniform_filter1d(light**2, broad, axis=1), 0))  # a running sum
    light /= np.maximum(scatter, 0.2 * float(median_of(scatter)) + 1e-6)
    return np.clip(light, -3.0, 3.0), angles


def strand_wave(face: Array, angles: Array, along_mm: Array, pitches_mm: Array) -> Wave:
    """Return the strongest wave among the given pitches.

    Parameters
    ----------
    face, angles : ndarray
        From `unrolled`.
    along_mm : ndarray of shape (columns,)
        Its places along the rope, mm.
    pitches_mm : ndarray
        Pitches to try, mm.
    """
    taper = np.hanning(len(along_mm) + 2)[1:-1]
    taper /= taper.sum()
    strength = np.zeros((2, len(pitches_mm), len(TURNS)))
    for multiple in MULTIPLES:
        waves = np.exp(-2j * np.pi * multiple * np.multiply.outer(along_mm, 1 / pitches_mm))
        # (ROWS, pitches); as a matrix product it wakes threads that cost ten times as much
        rows = np.einsum("rc,cp->rp", face, taper[:, None] * waves)
        turning = np.exp(1j * multiple * np.multiply.outer(TURNS, angles)) / len(angles)
        # right-hand lay, along +x: a strand comes from the card's upper side to the camera's
        strength[0] += (np.abs(turning.conj() @ rows) ** 2).T
        strength[1] += (np.abs(turning @ rows) ** 2).T
    which = 0 if _lean(face) > 0 else 1
    at, turns = np.unravel_index(int(strength[which].argmax()), strength[which].shape)
    return Wave(
        float(pitches_mm[at]),
        float(TURNS[turns]),
        ("right", "left")[which],
        float(strength[which, at, turns]),
        float(strength[1 - which, at].max()),
    )


def _lean(face: Array) -> float:
    """Return the mean mixed element of the structure tensor: above 0 for right-hand lay."""
    _, mixed, _ = structure_tensor(face, sigma=TENSOR_SAMPLES, order="rc")  # type: ignore[no-untyped-call]
    rim = int(2 * TENSOR_SAMPLES)
    return float(mixed[rim:-rim, rim:-rim].mean())
