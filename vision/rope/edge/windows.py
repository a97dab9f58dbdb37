"""The length of the windows along the rope, and how much of crowns and wires they hide.

A longer window has less noise but flattens the crowns' wave more. The wave is modelled as parabolas
that meet in the valleys, as for round strands. The wires on the crowns have even shorter waves,
whose depth the outline does not show.
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
SCALLOP = 4 / (np.pi * HARMONICS) ** 2  # amplitude of each harmonic over the wave's swing
AT_A_CROWN = np.where(HARMONICS % 2, 1, -1)  # sign of each harmonic at a crown
HALF_SHOWN = float(np.sqrt(np.log(2) / 2)) / np.pi  # sigma over the wavelength that it halves
# Share of the diameter: swing of the closest crowns, those of 18 round strands that touch:
# R (1 - cos(pi / 18)), where R is the radius of the circle of their centres and
# R (1 + sin(pi / 18)) is half of the diameter.
CLOSE_SWING = float((1 - np.cos(np.pi / 18)) / (1 + np.sin(np.pi / 18))) / 2

# Lay length of a rope in diameters and of a strand's wires in strand radii, and the outer wires per
# strand in ropes with few and with many strands (6x19S to 6x26WS; 18x7: EN 12385-4; lay lengths
# from memory).
USUAL_LAY, WIRE_LAY = 6.5, 17.0
WIRES_OF_FEW, WIRES_OF_MANY, MOST_OF_FEW = (9, 10, 11, 12), (6,), 11


def windows_mm(
    along_mm: Array, sides: list[Array], noise_mm: list[float], usual_mm: list[float], d: float
) -> list[float]:
    """Return the best window (one sigma) for tracing each side, mm.

    This is the window for which noise and flattening together displace a crown least. The noise
    and the wave are taken from a first outline.

    Parameters
    ----------
    along_mm : ndarray of shape (N,)
        Places along the rope.
    sides : list of ndarray of shape (N,)
        The first outline, mm outwards; NaN where it was not found.
    noise_mm, usual_mm : list of float
        Noise of its points, and the windows used for it (`WINDOW_PERIODS`), mm.
    d : float
        The rope's approximate diameter, mm.
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
    # a window hides crowns closer than itself, so not seeing any does not prove their absence
    hidden = max(usual_mm) > HALF_SHOWN * CLOSE_PITCH * d
    waves = [(CLOSE_PITCH * d, (CLOSE_SWING if hidden else UNEVEN_SHARE) * d)]
    if pitch:
        waves.append((pitch, swing))
    best = []
    for noise, usual in zip(noise_mm, usual_mm, strict=True):
        longest = max(usual, HALF_SHOWN * waves[-1][0])
        # in a short window a shadow's edge looks like stripes, so none is shorter than needed for
        # the closest crowns, or than half of the usual one
        shortest = min(usual, max(HALF * usual, HALF_SHOWN * CLOSE_PITCH * d))
        sigma = np.geomspace(shortest, longest, 60)
        # a window shorter than a period attributes a share of the stripes' swing to the mean
        detected = -np.expm1(-((2 * np.pi * WINDOW_PERIODS * sigma / usual) ** 2))
        variance = noise**2 * usual / (sigma * detected)
        for wave, height in waves:
            variance += ((height * SCALLOP * _lost(sigma, wave)) ** 2).sum(axis=1)
        best.append(float(sigma[np.argmin(variance)]))
    return best


def hidden_mm(window_mm: float, d: float) -> float:
    """Return the height of the closest crowns over an outline whose window hides them, mm.

    Examples
    --------
    >>> hidden_mm(1.0, 20.0)  # a twentieth of the diameter hides nothing
    0.0
    >>> round(hidden_mm(3.0, 20.0), 3)
    0.036
    """
    lost = _lost(np.array([window_mm]), CLOSE_PITCH * d)[0]
    return max(0.0, CLOSE_SWING * d * float((AT_A_CROWN * SCALLOP * lost).sum()))


def hidden_wires_mm(
    window_mm: float, pitch_mm: float, step_mm: float, size: int, d: float
) -> tuple[float, float]:
    """Return the height of the highest wires over an outline traced in windows, mm.

    At a crown, one outer wire of the strand after another is highest, which gives arcs that meet in
    cusps. In ordinary lay the wires run nearly along the rope there, so each stays highest for
    longer; in lang lay they run across it and follow each other two to three times as closely. Both
    are modelled with round wires of the usual constructions, and traced.

    Parameters
    ----------
    window_mm, pitch_mm : float
        The window (one sigma), and the distance between neighbouring crowns, mm.
    step_mm, size : float and int
        Spacing of samples, mm, and number of samples smoothed for a height.
    d : float
        The rope's diameter, mm.

    Returns
    -------
    ordinary_mm, lang_mm : float
        The height in ordinary and in lang lay.
    """
    strands = float(np.clip(USUAL_LAY * d / pitch_mm, 3, 18))
    ratio = np.sin(np.pi / strands)
    centre = d / 2 / (1 + ratio)
    strand = d / 2 - centre
    # a quarter of a pitch to either side of the top, and everything blurred into that
    reach = pitch_mm / 4 + 4 * PASSES * window_mm + (size + 1) * step_mm
    x = np.arange(-reach, reach, step_mm)
    crowns = -centre * (1 - np.cos(np.pi / strands)) * (2 * _from_top(x / pitch_mm)) ** 2
    wires = np.array(WIRES_OF_MANY if strands > MOST_OF_FEW else WIRES_OF_FEW)[:, None, None]
    turn = np.linspace(0, 1, 8, endpoint=False)[:, None]
    deep = strand / (1 + np.sin(np.pi / wires)) * (1 - np.cos(np.pi / wires))
    top = np.abs(x) < pitch_mm / 4

    def lost_mm(with_strands: int) -> float:
        per_mm = 1 / (WIRE_LAY * strand) + with_strands / (strands * pitch_mm)
        arcs = -deep * (2 * _from_top(wires * x * per_mm + turn)) ** 2
        outlines = (crowns + arcs).reshape(-1, len(x))
        traced = smoothed(as_traced(outlines, window_mm / step_mm), size)
        below = outlines[:, top].max(axis=1) - traced[:, top].max(axis=1)
        return max(0.0, float(below.mean()))

    return lost_mm(-1), lost_mm(1)  # wires against the strands' direction, and with it


def _from_top(turns: Array) -> Array:
    return np.asarray(turns - np.rint(turns))


def _lost(sigma: Array, wave: float) -> Array:
    """Return the share of each harmonic of a wave that windows hide (sigma, harmonic)."""
    shown = np.exp(-2 * (np.pi * np.multiply.outer(sigma, HARMONICS) / wave) ** 2)
    return np.asarray((1 - shown) ** PASSES)
