"""Graduations of a plain rule or tape: rows of evenly spaced marks along a line in a photograph.

The user marks two points along the rule and states the length between them. The rule is unrolled
along that line and divided into narrow bands. In each band the marks are lines darker (or lighter)
than their surroundings; runs of neighbours one graduation apart (mm, half mm, inch / 16 ...) are
kept. The spacing and the stated length give the graduation. Perspective is not fitted here but in
`vision.scale_rule.plane`, so the spacing may drift within a run.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from vision.least_squares import scatter_of
from vision.runs import runs_of

Array = NDArray[np.float64]

INCH_MM = 25.4  # exact (ISO 80000-3)
SPACINGS_MM = {
    "half mm": 0.5,
    "mm": 1.0,
    "5 mm": 5.0,
    "cm": 10.0,
    "1/64 in": INCH_MM / 64,
    "1/32 in": INCH_MM / 32,
    "1/16 in": INCH_MM / 16,
    "1/8 in": INCH_MM / 8,
    "1/4 in": INCH_MM / 4,
}
LEAST_PERIOD_PX = 3.6  # marks closer than this merge
REACH_MM = 32.0  # to each side of the marked line: a rule is 13 to 60 mm wide
BAND_MM = 0.4
FINE_ENOUGH = 14.0  # samples per mm: more only takes longer
ALIKE = 0.11  # of the spacing: largest deviation of the distance between neighbours
LEAST_RUN = 6
LOOK = 4  # one band in this many is examined to decide whether the marks are dark or light
LOOSE_PX, LOOSE_SHARE = 0.35, 0.07  # largest scatter about a run's curve: px, and of its spacing


@dataclass(frozen=True, slots=True, eq=False)
class Unrolled:
    """The photograph along a marked line.

    Parameters
    ----------
    grey : ndarray of shape (rows, columns), float32
        Columns run along the line, rows across it.
    begin_px : ndarray of shape (2,)
        Position of row 0, column 0 in the photograph.
    along, across : ndarray of shape (2,)
        Step of a column and of a row, px of the photograph.
    step_px : float
        Length of a step, px: 1, or more where the photograph's resolution is higher than needed.
    """

    grey: NDArray[np.float32]
    begin_px: Array
    along: Array
    across: Array
    step_px: float

    def to_photo(self, columns: Array, rows: Array) -> Array:
        """Return points of the photograph (N, 2), px."""
        return (
            self.begin_px
            + np.multiply.outer(columns, self.along)
            + np.multiply.outer(rows, self.across)
        )

    def from_photo(self, points_px: Array) -> tuple[Array, Array]:
        """Return columns and rows (N,) of points of the photograph (N, 2), px."""
        away = (points_px - self.begin_px) / self.step_px**2
        return away @ self.along, away @ self.across


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """Neighbouring marks of one graduation in one band.

    Parameters
    ----------
    name : str
        Key of `SPACINGS_MM`.
    columns : ndarray of shape (N,)
        Positions of the marks, columns of the unrolled rule, ascending; one spacing apart.
    row : float
        Middle of the band.
    """

    name: str
    columns: Array
    row: float


@dataclass(frozen=True, slots=True, eq=False)
class KnownLength:
    """Two points of the photograph whose distance is known.

    Parameters
    ----------
    begin_px, end_px : ndarray of shape (2,)
        The points, px.
    length_mm : float
        Distance between them, mm.
    """

    begin_px: Array
    end_px: Array
    length_mm: float

    @property
    def length_px(self) -> float:
        """Distance between the points in the photograph, px."""
        return float(np.linalg.norm(self.end_px - self.begin_px))

    @property
    def px_per_mm(self) -> float:
        """Scale between the points."""
        return self.length_px / self.length_mm

    @property
    def points_px(self) -> Array:
        """Both points (2, 2), px."""
        return np.stack([self.begin_px, self.end_px])


@dataclass(frozen=True, slots=True, eq=False)
class _Band:
    """A narrow band along the rule: its middle, and its profile smoothed for marks of each size.

    A trace consists of the finest graduation, mm, the period for which the profile was smoothed,
    the smoothed profile, and its height above the background.
    """

    row: float
    traces: list[tuple[float, float, Array, Array]]


@dataclass(frozen=True, slots=True, eq=False)
class GraduatedRule:
    """The evenly spaced marks along a marked line.

    Parameters
    ----------
    unrolled : Unrolled
        The photograph along it.
    runs : tuple of Run
        Evenly spaced marks.
    dark : bool
        Whether the marks are darker than the rule.
    """

    unrolled: Unrolled
    runs: tuple[Run, ...]
    dark: bool


def read_rule(grey: NDArray[np.uint8], length: KnownLength) -> GraduatedRule:
    """Return the evenly spaced marks along the line through two points.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The upright photograph in grey.
    length : KnownLength
        Two points on the rule and their distance.
    """
    scale = length.px_per_mm
    step = max(1.0, scale / FINE_ENOUGH)
    unrolled = _unroll(grey, length, min(REACH_MM * scale, max(grey.shape)), step)
    bands = _bands(unrolled.grey, scale / step)
    few = {
        dark: [_runs_in(band, scale / step, dark) for band in bands[::LOOK]]
        for dark in (True, False)
    }
    dark = _marks_in(few[True]) >= _marks_in(few[False])
    runs = [
        few[dark][at // LOOK] if at % LOOK == 0 else _runs_in(band, scale / step, dark)
        for at, band in enumerate(bands)
    ]
    return GraduatedRule(unrolled, tuple(run for group in runs for run in group), dark)


def _marks_in(runs: list[list[Run]]) -> int:
    return sum(len(run.columns) for group in runs for run in group)


def _unroll(
    grey: NDArray[np.uint8], length: KnownLength, reach_px: float, step_px: float = 1.0
) -> Unrolled:
    """Return the photograph along the line through two points, from edge to edge.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The upright photograph in grey.
    length : KnownLength
        Two points on the line.
    reach_px : float
        Distance covered to each side of it.
    step_px : float, optional
        Size of a sample.
    """
    size = np.array([grey.shape[1], grey.shape[0]], float) - 1
    along = (length.end_px - length.begin_px) / length.length_px
    across = np.array([-along[1], along[0]])
    with np.errstate(divide="ignore"):
        bounds = np.stack([-length.begin_px, size - length.begin_px]) / np.where(
            along == 0, 1e-12, along
        )
    low, high = np.sort(bounds, axis=0)
    first, last = float(low.max()), float(high.min())
    columns, reach = int((last - first) / step_px) + 1, int(reach_px / step_px)
    begin = length.begin_px + first * along - reach * step_px * across
    along, across = along * step_px, across * step_px
    light = grey.astype(np.float32)
    if step_px > 1.2:  # avoid aliasing
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), 0.45 * step_px), np.float32)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    cut = cv2.warpAffine(
        light,
        np.column_stack([along, across, begin]),
        (columns, 2 * reach + 1),
        flags=flags,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=float("nan"),
    )
    return Unrolled(np.asarray(cut, np.float32), begin, along, across, step_px)


def _bands(grey: NDArray[np.float32], px_per_mm: float) -> list[_Band]:
    """Return the unrolled rule divided into bands, each smoothed for marks of several sizes."""
    high = max(3, round(BAND_MM * px_per_mm))
    rows = range(0, grey.shape[0] - high + 1, high)
    if not rows:
        return []
    profiles = np.array([grey[row : row + high].mean(axis=0) for row in rows])
    known = np.isfinite(profiles)
    for profile, inside in zip(profiles, known, strict=True):
        profile[~inside] = np.median(profile[inside]) if inside.any() else 0.0
    enough = known.sum(axis=1) >= 0.3 * profiles.shape[1]
    bands = [_Band(row + (high - 1) / 2, []) for row in rows]
    for finest_mm in (0.4, 1.0, 5.0):  # smoothing that suits the marks reduces noise between them
        period_px = finest_mm * px_per_mm
        if period_px < 0.9 * LEAST_PERIOD_PX:
            period_px = LEAST_PERIOD_PX
        wide = max(0.7, min(0.12 * period_px, 2.0))
        smooth = gaussian_filter1d(profiles, wide, mode="nearest")
        ground = gaussian_filter1d(profiles, 0.8 * period_px, mode="nearest")
        for at in np.flatnonzero(enough):
            bands[at].traces.append((finest_mm, period_px, smooth[at], smooth[at] - ground[at]))
    return bands


def _runs_in(band: _Band, px_per_mm: float, dark: bool) -> list[Run]:
    """Return all runs of evenly spaced marks in one band."""
    sign = -1.0 if dark else 1.0
    runs = []
    for finest_mm, period_px, smooth, raised in band.traces:
        peaks = _peaks(sign * smooth, sign * raised, period_px)
        runs += _runs_among(peaks, px_per_mm, band.row, finest_mm)
    return runs


def _peaks(smooth: Array, raised: Array, period_px: float) -> Array:
    """Return the positions of marks, to a fraction of a column."""
    typical = float(np.percentile(raised, 95))
    peaks, _ = find_peaks(
        raised, distance=max(2, 0.6 * period_px), prominence=max(0.35 * typical, 0.4)
    )
    peaks = peaks[(peaks > 0) & (peaks < len(raised) - 1)]
    before, at, after = smooth[peaks - 1], smooth[peaks], smooth[peaks + 1]
    bow = before - 2 * at + after
    return np.asarray(peaks + np.where(bow < 0, 0.5 * (before - after) / np.minimum(bow, -1e-9), 0))


def _runs_among(peaks: Array, px_per_mm: float, row: float, finest_mm: float) -> list[Run]:
    if len(peaks) < LEAST_RUN:
        return []
    gaps_mm = np.diff(peaks) / px_per_mm
    runs = []
    for name, spacing in SPACINGS_MM.items():
        if not 0.9 * finest_mm <= spacing < 4.5 * finest_mm:
            continue
        if spacing * px_per_mm < LEAST_PERIOD_PX:
            continue
        near = np.abs(gaps_mm / spacing - 1) < ALIKE
        for begin, end in runs_of(near):
            columns = peaks[begin : end + 1]
            if len(columns) >= LEAST_RUN and _is_even(columns):
                runs.append(Run(name, columns, row))
    return runs


def _is_even(columns: Array) -> bool:
    """Return whether positions are a smooth function of the mark's number, as in perspective."""
    n = np.arange(len(columns)) - (len(columns) - 1) / 2
    off = columns - np.polyval(np.polyfit(n, columns, 2), n)
    scatter = scatter_of(off)
    spacing = float(np.ptp(columns)) / (len(columns) - 1)
    return scatter < max(LOOSE_PX, LOOSE_SHARE * spacing)
