"""What the values of a picture mean as light, and what the card's own black says of that.

Values are read as sRGB has them (IEC 61966-2-1). Phones bend their tones further, each in its way.
How far shows where the card is black: no print sends back less than a fortieth of what its paper
does, so that a picture in which it seems to was bent, and is bent back as far as that tells.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Light = NDArray[np.float32]

# Optical density of solid black over its paper: 1.6 on gloss-coated sheets, the blackest, black
# on black (ISO 12647-2:2004, table 5: L* 16 against 93; from memory, confidence good). Matt paper
# from an office printer has 1.0 to 1.3, and light in the lens makes any of them less.
DENSEST = 1.6
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


def pressed(black: Array, white: Array) -> float:
    """Return by which power the light was bent, at the least: 1 where any print looks so.

    Parameters
    ----------
    black, white : ndarray of shape (N,)
        Values, 0 to 1, of printed black and of the paper beside it, at several places.

    Examples
    --------
    >>> usual = pressed(np.array([0.20]), np.array([0.88]))
    >>> bent = pressed(np.array([0.20]) ** 2, np.array([0.88]) ** 2)
    >>> round(usual, 2), round(bent, 2)
    (1.0, 1.69)
    """
    if not len(black):
        return 1.0
    density = np.log10(light_of(white) / light_of(black + HALF_A_CODE))
    return max(1.0, float(np.median(density)) / DENSEST)


def light_table(power: float) -> Light:
    """Return the light, 0 to 1, that each value of a picture stands for (256,).

    Parameters
    ----------
    power : float
        By which power it was bent, see `pressed`.
    """
    return np.asarray(LIGHT_OF ** (1 / power), np.float32)
