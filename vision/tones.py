"""Conversion of a picture's values to light, corrected by means of the card's printed black.

Values are interpreted as sRGB (IEC 61966-2-1). Phones apply additional tone curves, each its own.
The card's black shows how much: hardly any print reflects less than a fortieth of what its paper
does, so if it seems to, the picture's tones were altered; they are corrected by that much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.medians import median_of

Array = NDArray[np.float64]
Light = NDArray[np.float32]

# Optical density of solid black over its paper: 1.6 on gloss-coated sheets and 1.1 on uncoated ones
# (ISO 12647-2:2004, tables 4 and 5: L* 16 over 93 and 31 over 92, black backing; from memory,
# confidence good), 1.0 from an office printer that saves toner, or through slight haze (common
# practice, no source). Taken as the central 95 % of a distribution of the density's logarithm.
PALEST, DENSEST = 1.0, 1.6
# Prior probability that a phone or its owner altered the tones beyond sRGB by a power of 1 to 3,
# whose logarithm has a rectangular distribution (common practice, no source).
BENT, MOST_BENT = 0.1, 3.0
NOTHING = 0.02  # of ln(power): less moves no edge
# Reflectance of printed black over that of the paper (an optical density of 1.2, typical of office
# printers; common practice, no source).
PRINTED_BLACK = 0.06
BURNT = 250 / 255  # a higher value may stand for any amount of light
HALF_A_CODE = 0.5 / 255  # least value of a dark pixel, as values are rounded to whole codes


def light_of(code: Array) -> Light:
    """Return the linear light for a picture's values, 0 to 1 (IEC 61966-2-1)."""
    v = np.clip(code, 0, 1)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def code_of(light: Array) -> Array:
    """Return a picture's values, 0 to 1, for linear light (IEC 61966-2-1)."""
    v = np.maximum(light, 1e-5)
    return np.asarray(np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055))


LIGHT_OF = light_of(np.arange(256) / 255)


@dataclass(frozen=True, slots=True)
class Tones:
    """Changes to a picture's light, as far as the card's black shows them.

    Parameters
    ----------
    power : float
        Power that was applied to the light; 1 where black looks like that of usual prints.
    u_log_power : float
        Standard uncertainty of that power's logarithm.
    veil : float
        Veiling light added everywhere, as a share of the picture's maximum.
    """

    power: float = 1.0
    u_log_power: float = 0.0
    veil: float = 0.0

    @property
    def table(self) -> Light:
        """The corrected light, 0 to 1, for each value of the picture (256,)."""
        return np.asarray(np.maximum(LIGHT_OF ** (1 / self.power) - self.veil, 0), np.float32)


AS_SRGB = Tones()  # unaltered


def tones_of(black: Array, white: Array, darkest: float) -> Tones:
    """Return the changes to a picture's light.

    If black is blacker than in any print, the tones were altered. If it is lighter than usual, the
    print is pale or there is veiling light: from a misted lens, from sunlight on it, or from
    software that lifts dark tones. A veil covers everything, so nothing in the picture is darker.

    Parameters
    ----------
    black, white : ndarray of shape (N,)
        Values, 0 to 1, of printed black and of the paper beside it, at several places.
    darkest : float
        The lowest value, 0 to 1, on and beside the card.

    Examples
    --------
    >>> usual = tones_of(np.array([0.20]), np.array([0.88]), 0.1)
    >>> bent = tones_of(np.array([0.20]) ** 2, np.array([0.88]) ** 2, 0.01)
    >>> veiled = tones_of(np.array([0.55]), np.array([0.92]), 0.50)
    >>> pale = tones_of(np.array([0.55]), np.array([0.92]), 0.10)
    >>> [round(one.power, 2) for one in (usual, bent)]
    [1.0, 1.79]
    >>> [round(one.veil, 2) for one in (usual, veiled, pale)]
    [0.0, 0.21, 0.01]
    """
    if not len(black):
        return AS_SRGB
    bright = light_of(white)
    density = np.log10(bright / light_of(np.maximum(black, HALF_A_CODE)))
    power, u_log_power = _bent(float(median_of(density)))
    # veil v from observed black b and white w, for black of reflectance r: v + r (w - v) = b
    veil = (light_of(black) - PRINTED_BLACK * bright) / (1 - PRINTED_BLACK)
    unclipped = white < BURNT  # burnt-out white is no reference for black
    if not unclipped.any():
        return Tones(power, u_log_power)
    most = float(light_of(np.array(darkest)))
    return Tones(power, u_log_power, min(max(float(median_of(veil[unclipped])), 0.0), most))


def _bent(density: float) -> tuple[float, float]:
    """Return the power applied to the light, from the apparent density of black, and u(ln(power)).

    The hypotheses of unaltered and altered tones are weighted by Bayes' theorem; u is that of the
    mixture.
    """
    middle, spread = math.sqrt(PALEST * DENSEST), math.log(DENSEST / PALEST) / 4
    log_power = np.linspace(0.0, math.log(MOST_BENT), 200)
    off = (math.log(max(density, 0.1) / middle) - log_power) / spread
    weight = np.exp(-0.5 * off**2)
    share = BENT * weight / weight.size
    share[0] += (1 - BENT) * weight[0]
    if not share.sum() > 0:  # denser than any power explains
        return MOST_BENT, spread
    share /= share.sum()
    log = float(share @ log_power)
    if log < NOTHING:
        return 1.0, 0.0
    return math.exp(log), math.sqrt(float(share @ (log_power - log) ** 2))
