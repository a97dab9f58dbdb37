"""One pass along a side of the rope, in windows that follow an outline, and the corrected outline.

In each window the half-way point is found, and the outline is moved there. Once the windows follow
the outline, they no longer flatten its crowns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d, median_filter, minimum_filter1d

from vision.findings import limit_of
from vision.medians import median_of
from vision.rope.constants import CLEAR_SIGMAS, HALF, OPEN_CONTRAST, REFERENCE_PX
from vision.rope.edge.light import EVERY_PX
from vision.rope.edge.lock_in import Profiles, Scene
from vision.rope.edge.profiles import half_way, in_step
from vision.runs import runs_of
from vision.target.blur import Blur
from vision.tones import Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class SideLook:
    """Result of one pass with windows of `sigma` columns, one in `every` columns, along `base`.

    Profiles and amplitudes are (windows, samples), at `t` px outwards of `base`, mm, (columns,).
    `half` and `farther` are where the amplitude falls to half, and to its own half within a shadow,
    px; `shaded` and `sure` say where there is such a shadow, and where the half was found.
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
        """Return the position of the edge, px, followed through shadows or not."""
        return np.where(self.shaded, self.farther, self.half) if through else self.half


def look_along(
    scene: Scene, px_mm: float, blur: Blur, base: Array, sigma: float, every: int = 1
) -> SideLook:
    """Return the result of one pass with windows of `sigma` columns along `base`.

    Parameters
    ----------
    scene : Scene
        The side.
    px_mm : float
        Size of a pixel, mm.
    blur : Blur
        Blur of the photograph beside the rope.
    base : ndarray of shape (columns,)
        The outline so far, mm outwards.
    sigma : float
        Size of the windows, one sigma, in columns.
    every : int, optional
        Spacing of the windows, in columns.
    """
    reach = CLEAR_SIGMAS * blur.light_px
    # inwards to the width of the widest shadow that can be removed, plus the extent of the blur
    inside = limit_of("hard-shadow") + reach
    t = EVERY_PX * np.arange(-np.ceil(inside / EVERY_PX), (reach + REFERENCE_PX) / EVERY_PX + 0.5)
    first = int(np.argmax(t >= reach))
    profiles = scene.profiles(base, t * px_mm, sigma, every)
    amplitude, noise, reference, shade = in_step(profiles.stripes, t, first, sigma / every)
    contrast = amplitude / (profiles.mean + 1e-3)
    contrast /= median_of(contrast[:, first:])
    half, sure, farther = half_way(amplitude / reference[:, None], contrast, t, first, reach)
    shaded = sure & np.isfinite(farther)
    sure &= _paper_beside(profiles, reference, first) & _whole(profiles, sigma)[::every]
    return SideLook(
        scene, px_mm, blur, base, sigma, every, t, profiles, amplitude, noise, reference, shade,
        half, farther, shaded, sure,
    )  # fmt: skip


def initial_outline(rough: Array, sigma: float) -> Array:
    """Return the rough outline, smoothed over a whole window.

    With this smoothing at most a twelfth of its own ripple remains after four passes; with half as
    long a window it was two fifths.
    """
    return np.asarray(
        gaussian_filter1d(median_filter(rough, 5, mode="nearest"), sigma, mode="nearest")
    )


def correction_px(look: SideLook, through: bool) -> Array:
    """Return the correction of the outline, px; places without an edge follow their neighbours."""
    if not look.sure.any():
        return np.zeros(len(look.base))
    at, columns = look.every * np.arange(len(look.sure)), np.arange(len(look.base))
    filled = np.interp(at, at[look.sure], look.place(through)[look.sure])
    if look.every > 1:
        filled = CubicSpline(at, filled)(np.minimum(columns, at[-1]))
    return np.asarray(np.clip(median_filter(filled, 5, mode="nearest"), -3.0, 2.0))


def covered_mm(look: SideLook) -> tuple[tuple[float, float], ...]:
    """Return the first and last place of each stretch where something covers the paper, mm.

    A loose wire that crosses the paper beside the outline takes the stripes' contrast away, which a
    shadow does not. In valleys, a shadow may be too dark for the contrast to be known, so only the
    outline's upper half counts; a stretch of less than half a window is noise or a shadow's rim, as
    the window widens a wire. The last pass has a window in every column.
    """
    usable = _whole(look.profiles, look.sigma)
    if usable.sum() < 3:  # too few for a line
        return ()
    outside = look.t >= CLEAR_SIGMAS * look.blur.light_px
    stripes, mean = (of[:, outside].mean(axis=1) for of in (look.amplitude, look.profiles.mean))
    contrast, along = stripes / (mean + 1e-3), look.scene.along_mm
    height = look.base - np.polyval(np.polyfit(along[usable], look.base[usable], 1), along)
    covered = usable & (contrast < OPEN_CONTRAST * median_of(contrast[usable]))
    covered &= height > median_of(height[usable])
    return tuple(
        (float(along[begin]), float(along[end - 1]))
        for begin, end in runs_of(covered)
        if end - 1 - begin >= HALF * look.sigma
    )


def _whole(profiles: Profiles, sigma: float) -> Mask:
    """Return the windows that do not extend beyond the end of the band."""
    on_band = profiles.on_band.all(axis=1)
    return np.asarray(minimum_filter1d(on_band, 2 * int(np.ceil(2 * sigma)) + 1))


def _paper_beside(profiles: Profiles, reference: Light, first: int) -> Mask:
    """Return where the stripes beside the outline have the contrast of open paper (columns,)."""
    contrast = reference / (profiles.mean[:, first:].mean(axis=1) + 1e-3)
    return np.asarray(contrast > HALF * np.sort(contrast)[9 * len(contrast) // 10])
