"""How long the windows along the rope are: noise against crowns, and what they hide of them.

A longer window sees less noise and leaves more of the crowns' wave flattened. The wave is that of
parabolas which meet in the valleys, as round strands show them. Of the wires on the crowns, whose
waves are shorter still, no outline tells how deep they are.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.rope.constants import (
    CLOSE_PITCH,
    CROWN_PART,
    HALF,
    PASSES,
    UNEVEN_SHARE,
    WINDOW_PERIODS,
)
from vision.rope.crowns import as_traced, crown_pitch, fill_outliers, smoothed

Array = NDArray[np.float64]

HARMONICS = np.arange(1, 9)  # of the crowns' wave
SCALLOP = 4 / (np.pi * HARMONICS) ** 2  # how much of its swing each has
AT_A_CROWN = np.where(HARMONICS % 2, 1, -1)  # which way each moves it there
HALF_SHOWN = float(np.sqrt(np.log(2) / 2)) / np.pi  # sigma over the wave that a Gaussian halves
# Of the diameter: swing of the closest crowns, 18 round strands that touch: R (1 - cos(pi / 18)),
# R being the radius on which they lie; R (1 + sin(pi / 18)) is half of the diameter.
CLOSE_SWING = float((1 - np.cos(np.pi / 18)) / (1 + np.sin(np.pi / 18))) / 2

# Lay length of a rope in diameters and of a strand's wires in its radii, and the outer wires of a
# strand in ropes of few and of many strands (6x19S to 6x26WS; 18x7: EN 12385-4; lays from memory).
USUAL_LAY, WIRE_LAY = 6.5, 17.0
WIRES_OF_FEW, WIRES_OF_MANY, MOST_OF_FEW = (9, 10, 11, 12), (6,), 11


def windows_mm(
    along_mm: Array, sides: list[Array], noise_mm: list[float], usual_mm: list[float], d: float
) -> list[float]:
    """Return the window (one sigma) in which each side is traced best, mm.

    That one is taken in which noise and flattening together move a crown least. What noise there
    is, and the wave, a first look says.

    Parameters
    ----------
    along_mm : ndarray of shape (N,)
        Places along the rope.
    sides : list of ndarray of shape (N,)
        The outline as first seen, mm outwards; NaN where unsure.
    noise_mm, usual_mm : list of float
        Noise of its points, and the windows it was seen with (`WINDOW_PERIODS`), mm.
    d : float
        The rope's diameter, roughly, mm.
    """
    if any(np.isfinite(side).sum() < len(side) / 2 for side in sides):
        return usual_mm
    step = float(along_mm[1] - along_mm[0])
    smooth = [
        smoothed(
            fill_outliers(along_mm, side, step, d),
            CROWN_PART * CLOSE_PITCH * d / step,
        )
        for side in sides
    ]
    pitch, swing = crown_pitch(smooth, step, d)
    # a window hides crowns that are closer than itself: that none were seen is no proof
    hidden = max(usual_mm) > HALF_SHOWN * CLOSE_PITCH * d
    waves = [(CLOSE_PITCH * d, (CLOSE_SWING if hidden else UNEVEN_SHARE) * d)]
    if pitch:
        waves.append((pitch, swing))
    best = []
    for noise, usual in zip(noise_mm, usual_mm, strict=True):
        longest = max(usual, HALF_SHOWN * waves[-1][0])
        # to a short window a shadow's rim looks like stripes: none is shorter than the closest
        # crowns ask for, nor than half
        shortest = min(usual, max(HALF * usual, HALF_SHOWN * CLOSE_PITCH * d))
        sigma = np.geomspace(shortest, longest, 60)
        # of the stripes' swing a window shorter than a period takes a share for its mean
        told = -np.expm1(-((2 * np.pi * WINDOW_PERIODS * sigma / usual) ** 2))
        missed = noise**2 * usual / (sigma * told)
        for wave, height in waves:
            missed += ((height * SCALLOP * _lost(sigma, wave)) ** 2).sum(axis=1)
        best.append(float(sigma[np.argmin(missed)]))
    return best


def hidden_mm(window_mm: float, d: float) -> float:
    """Return how far the closest crowns would stand over an outline whose window hides them, mm.

    Examples
    --------
    >>> hidden_mm(1.0, 20.0)  # a twentieth of the diameter shows them all
    0.0
    >>> round(hidden_mm(3.0, 20.0), 3)
    0.036
    """
    lost = _lost(np.array([window_mm]), CLOSE_PITCH * d)[0]
    return max(0.0, CLOSE_SWING * d * float((AT_A_CROWN * SCALLOP * lost).sum()))


def hidden_wires_mm(
    window_mm: float, pitch_mm: float, step_mm: float, size: int, d: float
) -> tuple[float, float]:
    """Return how far the highest wires stand over an outline traced in windows, and its u, mm.

    At a crown one outer wire of the strand after the other stands highest: arcs that meet in
    cusps. In ordinary lay the wires run nearly along the rope there, so that each stays long; in
    lang lay they run across it and follow each other two to three times as closely. Both are drawn
    as round wires of the usual constructions make them, and traced. Where strands are compacted or
    worn there are no cusps; of either lay, anything between is as likely. Both sides err alike,
    which two terms of their own carry as though they were one if each is sqrt(2) as large.

    Parameters
    ----------
    window_mm, pitch_mm : float
        The window (one sigma), and the distance of neighbouring crowns, mm.
    step_mm, size : float and int
        Distance of samples, mm, and over how many of them the outline is smoothed for a height.
    d : float
        The rope's diameter, mm.
    """
    strands = float(np.clip(USUAL_LAY * d / pitch_mm, 3, 18))
    ratio = np.sin(np.pi / strands)
    centre = d / 2 / (1 + ratio)
    strand = d / 2 - centre
    # a quarter of a pitch to either side of the top, and all that is blurred into it
    reach = pitch_mm / 4 + 4 * PASSES * window_mm + (size + 1) * step_mm
    x = np.arange(-reach, reach, step_mm)
    crowns = -centre * (1 - np.cos(np.pi / strands)) * (2 * _from_top(x / pitch_mm)) ** 2
    wires = np.array(WIRES_OF_MANY if strands > MOST_OF_FEW else WIRES_OF_FEW)[:, None, None]
    turn = np.linspace(0, 1, 8, endpoint=False)[:, None]
    deep = strand / (1 + np.sin(np.pi / wires)) * (1 - np.cos(np.pi / wires))
    top = np.abs(x) < pitch_mm / 4
    lost = []
    for with_strands in (-1, 1):  # the way the wires turn in the strand: ordinary lay, lang lay
        per_mm = 1 / (WIRE_LAY * strand) + with_strands / (strands * pitch_mm)
        arcs = -deep * (2 * _from_top(wires * x * per_mm + turn)) ** 2
        outlines = (crowns + arcs).reshape(-1, len(x))
        traced = smoothed(as_traced(outlines, window_mm / step_mm), size)
        below = outlines[:, top].max(axis=1) - traced[:, top].max(axis=1)
        lost.append(max(0.0, float(below.mean())))
    most = np.array(lost)
    higher = float(HALF * most.mean())  # of anything from nothing to either
    return higher, float(np.sqrt(2 * ((most**2).mean() / 3 - higher**2)))


def _from_top(turns: Array) -> Array:
    return np.asarray(turns - np.rint(turns))


def _lost(sigma: Array, wave: float) -> Array:
    """Return which share of each harmonic of a wave windows hide (sigma, harmonic)."""
    shown = np.exp(-2 * (np.pi * np.multiply.outer(sigma, HARMONICS) / wave) ** 2)
    return np.asarray((1 - shown) ** PASSES)
