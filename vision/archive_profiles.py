"""One edge of an object against plain ground: which pixels are object, and where it begins."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vision.edges import best_path
from vision.findings import refuse_below
from vision.strip import Light

Array = NDArray[np.float64]

ENDS = 0.12  # of the line at each end: surely ground
HEART = 0.12  # of the line about its middle: surely object
SHADOW_STOPS = 0.5  # how much darker a shadow may make the ground, standard deviation


def find_side(light: Light, along: Array, outward: Array) -> tuple[Array, float]:
    """Return the edge's distance from the middle at each place along, mm, and its blur, px.

    Parameters
    ----------
    light : ndarray of shape (rows, columns, 3)
        Linear light; rows run from the ground beside the object to its middle.
    along : ndarray of shape (columns,)
        Places along the object, mm from the line.
    outward : ndarray of shape (rows,)
        Distance of each row from the middle, mm, falling.

    Raises
    ------
    RefusedError
        If the object does not stand out, or what was found may be a shadow's rim.
    """
    rows, columns = len(outward), np.arange(light.shape[1])
    near = np.abs(along) < HEART * 2 * outward[0]
    score, apart = _likeness(light, near)
    refuse_below("object-unclear", apart)
    path = best_path(np.asarray(3 * np.tanh((0.5 - np.abs(score)) / 0.25), np.float32))
    smooth = gaussian_filter1d(light, 0.6, axis=1, mode="nearest").astype(float)

    def level(begin: int, end: int, of: Array) -> Array:
        picked = [of[np.clip(path + k, 0, rows - 1), columns] for k in range(begin, end)]
        return np.asarray(np.median(picked, axis=0), float)

    behind = 100 * float(np.median(np.abs(level(3, 6, score))[near]))
    refuse_below("object-soft", behind)
    outer, inner = level(-7, -3, smooth), level(3, 6, smooth)
    step = inner - outer
    size = np.maximum((step**2).sum(axis=1), 1e-9)
    offsets = np.arange(-4, 5)
    values = np.stack([smooth[np.clip(path + k, 0, rows - 1), columns] for k in offsets])
    part = ((values - outer) * step).sum(axis=2) / size - 0.5  # of the way, in light
    place = np.full(len(columns), np.nan)
    best = np.full(len(columns), np.inf)
    for k in range(len(offsets) - 1):
        low, high = part[k], part[k + 1]
        crossed = (low < 0) & (high >= 0)
        at = offsets[k] + low / np.where(crossed, low - high, 1.0)
        better = crossed & (np.abs(at) < best)
        place[better], best[better] = at[better], np.abs(at[better])
    rise = np.abs(np.diff(part, axis=0)).max(axis=0)
    blur = 1 / (np.sqrt(2 * np.pi) * max(float(np.median(rise[near])), 0.05))
    place[(path < 3) | (path > rows - 3)] = np.nan
    return outward[0] - (path + place) * (outward[0] - outward[1]), blur


def _likeness(light: Light, near: NDArray[np.bool_]) -> tuple[Array, float]:
    """Return how each pixel stands between ground (0) and object (1), and how far apart they are.

    Fisher's discriminant between both, in the logarithm of light, with a shadow's effect (all
    colours darker by one factor) counted as scatter: where colours differ, shadows drop out.
    """
    rows = len(light)
    stops = np.log2(light + 0.01)
    ground = stops[: max(3, int(ENDS * 2 * rows)), near].reshape(-1, 3)
    heart = stops[-max(3, int(HEART * 2 * rows)) :, near].reshape(-1, 3)
    plain, typical = np.median(ground, axis=0), np.median(heart, axis=0)
    scatter = np.cov(ground.T) + np.cov(heart.T) + 0.08**2 * np.eye(3) + SHADOW_STOPS**2
    way = np.linalg.solve(scatter, typical - plain)
    reach = float(way @ (typical - plain))
    score = (stops - plain) @ way / max(reach, 1e-9)
    # from neighbour to neighbour: a shadow beside the object is no noise
    steps = np.diff(score[: max(3, rows // 6), near], axis=1)
    noise = 1.4826 / np.sqrt(2) * float(np.median(np.abs(steps)))
    return np.asarray(score, float), 1 / max(noise, 0.01)
