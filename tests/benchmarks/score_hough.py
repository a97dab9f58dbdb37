"""A plain pipeline of scikit-image's Canny and Hough, for comparison, given the card's scale.

It shares no code with the product. It is given what a person with a ruler could give it: the
nominal diameter within a sixth, and the card's true scale at the station (px per mm in the card's
plane, from the truth, better than any card in the picture could give it). It does not know that a
rope is nearer to the camera than the card, nor what a crown is.

1. Canny on the lightness and on the blue of a small copy; Hough finds the straight edges.
2. Of the pairs of nearly parallel lines whose distance suits the nominal diameter, the one with
   the most votes is taken as the rope.
3. A strip along the pair is straightened at full resolution; in every column the outermost Canny
   edge near each line is taken, and a robust straight line is fitted to them.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from skimage import color, feature, measure, transform

Array = NDArray[np.float64]
SMALL_PX = 1100
NEAR_ENOUGH, USUAL = 0.17, 1.04  # of the nominal diameter: tolerance and perspective
PARALLEL_DEG = 4.0
FAINT, CLEAR = 4.0, 12.0  # Sobel's sums of CIELAB units: a step of 7 units is clear, noise is not


def width_mm(path: Path, truth: dict[str, str]) -> float | None:
    """Return the rope's width by this pipeline, mm; None if it finds no rope."""
    with Image.open(path) as file:
        pixels = np.asarray(file.convert("RGB"))  # as stored, in the frame of the truth
    scale, station = _scale_at_station(truth)
    nominal_px = float(truth["d_nominal_mm"]) * scale
    if nominal_px < 12:
        return None
    shrink = min(1.0, SMALL_PX / max(pixels.shape[:2]), 60.0 / nominal_px * 2)
    small = transform.rescale(pixels, shrink, anti_aliasing=True, channel_axis=2)
    pair = _pair(small, nominal_px * shrink)
    if pair is None:
        return None
    angle, (near, far) = pair
    # Hough's lines: x cos(angle) + y sin(angle) = distance, pixel centres at whole numbers.
    low, high = (((line + 0.5) / shrink - 0.5) for line in sorted((near, far)))
    rope_px = high - low
    # A strip of the full picture along the rope, centred on the station.
    along, across = (
        np.array([-np.sin(angle), np.cos(angle)]),
        np.array([np.cos(angle), np.sin(angle)]),
    )
    middle = (low + high) / 2
    centre = station + (middle - station @ across) * across
    half_long, half_wide = int(1.5 * rope_px), int(0.85 * rope_px)
    u, v = np.meshgrid(np.arange(-half_long, half_long), np.arange(-half_wide, half_wide + 1))
    at = centre + u[..., None] * along + v[..., None] * across
    coordinates = np.stack([at[..., 1], at[..., 0]])
    strip = np.stack(
        [
            transform.warp(pixels[..., channel] / 255.0, coordinates, order=1, mode="edge")
            for channel in range(3)
        ],
        axis=-1,
    )
    lines = [_outer_line(_edges(strip, 2.0), half_wide, side, rope_px / 2) for side in (-1, 1)]
    if lines[0] is None or lines[1] is None:
        return None
    (upper, slope_a), (lower, slope_b) = lines
    tilt = np.arctan((slope_a + slope_b) / 2)
    return float((lower - upper) * np.cos(tilt) / scale)


def _scale_at_station(truth: dict[str, str]) -> tuple[float, Array]:
    """Return the scale across the rope in the card's plane, px per mm, and the station in px."""
    turn = np.array([float(x) for x in truth["rotation_cam_card"].split()]).reshape(3, 3)
    shift = np.array([float(x) for x in truth["t_cam_card_mm"].split()])
    askew = np.radians(float(truth["axis_angle_deg"]))
    place = np.array([float(truth["station_x_mm"]), float(truth["station_y_mm"]), 0.0])
    across = np.array([-np.sin(askew), np.cos(askew), 0.0])
    seen = (place + np.array([[-5.0], [0.0], [5.0]]) * across) @ turn.T + shift
    centre = [float(truth["principal_x_px"]), float(truth["principal_y_px"])]
    px = float(truth["focal_px_true"]) * seen[:, :2] / seen[:, 2:] + centre
    return float(np.linalg.norm(px[2] - px[0]) / 10), px[1]


def _edges(rgb: Array, sigma: float) -> NDArray[np.bool_]:
    lab = color.rgb2lab(rgb)
    found = [
        feature.canny(lab[..., channel], sigma=sigma, low_threshold=FAINT, high_threshold=CLEAR)
        for channel in (0, 2)
    ]
    return np.asarray(found[0] | found[1])


def _pair(small: Array, nominal_px: float) -> tuple[float, tuple[float, float]] | None:
    votes, angles, distances = transform.hough_line(
        _edges(small, 1.5), np.radians(np.arange(-90, 90, 0.5))
    )
    peaks = transform.hough_line_peaks(
        votes, angles, distances, min_distance=3, min_angle=3, num_peaks=120
    )
    # Hough's angles end at +-90 deg, where many ropes are: make them end at -45 and 135 instead.
    found = [
        (many, angle + np.pi, -line) if angle < -np.pi / 4 else (many, angle, line)
        for many, angle, line in zip(*peaks, strict=True)
    ]
    best: tuple[float, float, tuple[float, float]] | None = None
    for (many, a, one), (more, b, two) in itertools.combinations(found, 2):
        if abs(a - b) > np.radians(PARALLEL_DEG):
            continue
        if abs(abs(one - two) / nominal_px - USUAL) > NEAR_ENOUGH:
            continue
        if best is None or many + more > best[0]:
            best = (float(many + more), float(a + b) / 2, (float(one), float(two)))
    return None if best is None else best[1:]


def _outer_line(
    edges: NDArray[np.bool_], half_wide: int, side: int, half_rope: float
) -> tuple[float, float] | None:
    """Return the position, px, at the middle, and the slope of one side's outermost edges."""
    rows, columns = edges.shape
    from_axis = side * (np.arange(rows) - half_wide)
    near = np.abs(from_axis / half_rope - 1.0) <= 0.12
    places = []
    for column in range(0, columns, 2):
        hits = np.flatnonzero(edges[:, column] & near)
        if len(hits):
            places.append((column - columns / 2, hits.max() if side > 0 else hits.min()))
    if len(places) < 30:
        return None
    model, _ = measure.ransac(
        np.array(places, float), measure.LineModelND, min_samples=2,
        residual_threshold=0.03 * half_rope, max_trials=400, rng=1,
    )  # fmt: skip
    if not model:
        return None
    origin, direction = model.origin, model.direction
    if abs(direction[0]) < 0.5:
        return None
    slope = direction[1] / direction[0]
    return float(origin[1] - slope * origin[0]), float(slope)
