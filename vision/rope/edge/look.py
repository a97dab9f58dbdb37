"""One look at a side of the rope, in windows that are laid along an outline, and where next.

In each window the half-way point is found, and the outline moved there; once the windows follow
the outline, they flatten its crowns no more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d, median_filter, minimum_filter1d

from vision.findings import limit_of
from vision.medians import median_of
from vision.rope.constants import CLEAR_SIGMAS, HALF, REFERENCE_PX
from vision.rope.edge.light import EVERY_PX
from vision.rope.edge.lock_in import Profiles, Scene
from vision.rope.edge.profiles import half_way, in_step
from vision.target.blur import Blur
from vision.tones import Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class SideLook:
    """What windows of `sigma` columns see that are laid along an outline, one in `every` columns.

    Profiles and amplitudes are (windows, samples), at `t` px outwards of `base`, mm, (columns,).
    Where the amplitude falls to `half`, and to its own half within a shadow (`farther`), is in px.
    """

    scene: Scene
    px_mm: float
    blur: Blur
    base: Array
    sigma: float
    every: int
    t: Array
    profiles: Profiles
    amplitude: Light
    noise: Light
    reference: Light
    shade: float
    half: Array
    farther: Array
    shaded: Mask
    sure: Mask

    def place(self, through: bool) -> Array:
        """Return where the edge is thought to be, px: through the shade, or not."""
        return np.where(self.shaded, self.farther, self.half) if through else self.half


def look_along(
    scene: Scene, px_mm: float, blur: Blur, base: Array, sigma: float, every: int = 1
) -> SideLook:
    """Return what windows of `sigma` columns see that are laid along `base`.

    Parameters
    ----------
    scene : Scene
        The side.
    px_mm : float
        A pixel, mm.
    blur : Blur
        Blur of the photograph beside the rope.
    base : ndarray of shape (columns,)
        The outline so far, mm outwards.
    sigma : float
        The windows, one sigma, in columns.
    every : int, optional
        At which columns there is one.
    """
    reach = CLEAR_SIGMAS * blur.light_px
    # inwards as far as the widest shadow that is taken off, and a blur's reach beyond
    inside = limit_of("hard-shadow") + reach
    t = EVERY_PX * np.arange(-np.ceil(inside / EVERY_PX), (reach + REFERENCE_PX) / EVERY_PX + 0.5)
    first = int(np.argmax(t >= reach))
    profiles = scene.profiles(base, t * px_mm, sigma, every)
    amplitude, noise, reference, shade = in_step(profiles.stripes, t, first, sigma / every)
    contrast = amplitude / (profiles.mean + 1e-3)
    contrast /= median_of(contrast[:, first:])
    half, sure, farther = half_way(amplitude / reference[:, None], contrast, t, first, reach)
    shaded = sure & np.isfinite(farther)
    # windows reach over the band's end: what lies within them there is no band
    whole = minimum_filter1d(profiles.on_band.all(axis=1), 2 * int(np.ceil(2 * sigma)) + 1)
    sure &= _paper_beside(profiles, reference, first) & whole[::every]
    return SideLook(
        scene, px_mm, blur, base, sigma, every, t, profiles, amplitude, noise, reference, shade,
        half, farther, shaded, sure,
    )  # fmt: skip


def begun(rough: Array, sigma: float) -> Array:
    """Return the rough outline, smoothed over a whole window.

    So a twelfth at most of its own ripple gets through four passes; over half of one, two fifths
    did.
    """
    return np.asarray(
        gaussian_filter1d(median_filter(rough, 5, mode="nearest"), sigma, mode="nearest")
    )


def steady(look: SideLook, through: bool) -> Array:
    """Return by how much to move the outline, px; unsure places follow their neighbours."""
    if not look.sure.any():
        return np.zeros(len(look.base))
    at, columns = look.every * np.arange(len(look.sure)), np.arange(len(look.base))
    filled = np.interp(at, at[look.sure], look.place(through)[look.sure])
    if look.every > 1:
        filled = CubicSpline(at, filled)(np.minimum(columns, at[-1]))
    return np.asarray(np.clip(median_filter(filled, 5, mode="nearest"), -3.0, 2.0))


def _paper_beside(profiles: Profiles, reference: Light, first: int) -> Mask:
    """Return where the stripes stand out beside the outline as they do on open paper (columns,)."""
    contrast = reference / (profiles.mean[:, first:].mean(axis=1) + 1e-3)
    return np.asarray(contrast > HALF * np.sort(contrast)[9 * len(contrast) // 10])
