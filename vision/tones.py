"""What the values of a picture mean as light, and what the card's own black says of that.

Values are read as sRGB has them (IEC 61966-2-1). Phones bend their tones further, each in its way.
How far shows where the card is black: hardly a print sends back less than a fortieth of what its
paper does, so that a picture in which it seems to was bent, and is bent back as far as that tells.
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
# confidence good), 1.0 from an office printer that saves toner, or through a little haze (common
# practice, no source). Taken as the middle 95 % of what there is, of its logarithm.
PALEST, DENSEST = 1.0, 1.6
# How likely it is beforehand that a phone or its owner bent the tones further than sRGB has them,
# by a power of 1 to 3, each as likely of its logarithm (common practice, no source).
BENT, MOST_BENT = 0.1, 3.0
NOTHING = 0.02  # of ln(power): less moves no edge
# Of the paper's light: what printed black sends back (an optical density of 1.2, what office
# printers reach; common practice, no source).
PRINTED_BLACK = 0.06
BURNT = 250 / 255  # a value above may stand for any light
HALF_A_CODE = 0.5 / 255  # what is dark is rounded to whole values


def light_of(code: Array) -> Light:
    """Return what the values of a picture, 0 to 1, mean as light (IEC 61966-2-1)."""
    v = np.clip(code, 0, 1)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def code_of(light: Array) -> Array:
    """Return the values of a picture, 0 to 1, that stand for linear light (IEC 61966-2-1)."""
    v = np.maximum(light, 1e-5)
    return np.asarray(np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055))


LIGHT_OF = light_of(np.arange(256) / 255)


@dataclass(frozen=True, slots=True)
class Tones:
    """What was done to a picture's light, as far as the card's black tells.

    Parameters
    ----------
    power : float
        By which power it was bent; 1 where prints look so.
    u_log_power : float
        Standard uncertainty of that power's logarithm.
    veil : float
        Light that was laid over all of it, of the brightest that a picture holds.
    """

    power: float = 1.0
    u_log_power: float = 0.0
    veil: float = 0.0

    @property
    def table(self) -> Light:
        """The light, 0 to 1, that each value of the picture stands for (256,)."""
        return np.asarray(np.maximum(LIGHT_OF ** (1 / self.power) - self.veil, 0), np.float32)


AS_SRGB = Tones()  # nothing was done to it


def tones_of(black: Array, white: Array, darkest: float) -> Tones:
    """Return what was done to a picture's light.

    Blacker than any print, it was bent. Lighter black is a pale print, or a veil: a misted lens,
    the sun on it, or software that lifts what is dark. A veil lies over everything, so that nothing
    in the picture is darker.

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
    # of what is seen: v + r (w - v) = b, for a print whose black sends back r
    veil = (light_of(black) - PRINTED_BLACK * bright) / (1 - PRINTED_BLACK)
    whole = white < BURNT  # white that is burnt out says nothing of what black sends back of it
    if not whole.any():
        return Tones(power, u_log_power)
    most = float(light_of(np.array(darkest)))
    return Tones(power, u_log_power, min(max(float(median_of(veil[whole])), 0.0), most))


def _bent(density: float) -> tuple[float, float]:
    """Return by which power light was bent where black seems so dense, and its u in ln.

    A print as it is and one that was bent compete (Bayes' theorem); u is that of both together.
    """
    middle, spread = math.sqrt(PALEST * DENSEST), math.log(DENSEST / PALEST) / 4
    log_power = np.linspace(0.0, math.log(MOST_BENT), 200)
    off = (math.log(max(density, 0.1) / middle) - log_power) / spread
    weight = np.exp(-0.5 * off**2)
    share = BENT * weight / weight.size
    share[0] += (1 - BENT) * weight[0]
    if not share.sum() > 0:  # blacker still
        return MOST_BENT, spread
    share /= share.sum()
    log = float(share @ log_power)
    if log < NOTHING:
        return 1.0, 0.0
    return math.exp(log), math.sqrt(float(share @ (log_power - log) ** 2))
