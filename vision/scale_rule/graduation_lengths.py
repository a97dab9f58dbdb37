"""The lengths of a row's marks, and which of them are longer: cm, 5 mm, inch.

On a metric rule every fifth and tenth mark is longer, on an inch rule every second, fourth and
eighth. So the lengths show whether a row was identified correctly: otherwise, rows of mm and of
1/32 inch would look alike if the given length were wrong by a fifth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.stats import mannwhitneyu, siegelslopes

from vision.camera import project_mm
from vision.scale_rule.graduation_rows import Row
from vision.scale_rule.graduations import SPACINGS_MM, Unrolled
from vision.scale_rule.plane import Face

Array = NDArray[np.float64]

LONGEST_MM = 14.0
FADED = 0.4  # of a row's usual contrast: below this a mark has ended
TENS, HALVES = (5, 10, 20), (4, 8, 16)
CLEAR = 0.15  # share of the variance of lengths by which one division must explain more
BY_CHANCE = 1e-3  # probability that marks are wrongly called longer
LEAST_FOR_PATTERN = 20  # marks: fewer show no pattern
LONGER = {"half mm": (("mm", 2), ("5 mm", 10), ("cm", 20)), "mm": (("5 mm", 5), ("cm", 10)),
          "1/64 in": (("1/32 in", 2), ("1/16 in", 4), ("1/8 in", 8), ("1/4 in", 16)),
          "1/32 in": (("1/16 in", 2), ("1/8 in", 4), ("1/4 in", 8), ("1/2 in", 16)),
          "1/16 in": (("1/8 in", 2), ("1/4 in", 4), ("1/2 in", 8), ("inch", 16)),
          "5 mm": (("cm", 2),)}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pattern:
    """The pattern in the lengths of a row's marks.

    Parameters
    ----------
    tens, halves : float
        Share of the variance of lengths explained by a division into fives and tens, or halves.
    marks : tuple of (str, int)
        Kinds of longer marks identified, and how many of each, e.g. ``("cm", 10)``.
    """

    tens: float
    halves: float
    marks: tuple[tuple[str, int], ...]

    def contradicts(self, name: str) -> bool:
        """Return whether the marks follow a division that a row of this name does not have."""
        inch = name.endswith("in")
        expected, other = (self.halves, self.tens) if inch else (self.tens, self.halves)
        return other > 0.3 and other > expected + CLEAR


def pattern_of(rule: Unrolled, face: Face, row: Row, offset_mm: float, *, dark: bool) -> Pattern:
    """Return the pattern in the lengths of a row's marks.

    Parameters
    ----------
    rule, face, row, offset_mm
        The unrolled rule, its face, a row on it, and the position of the row's mark 0.
    dark : bool
        Whether the marks are darker than the rule.
    """
    numbers = np.unique(row.numbers)
    if len(numbers) < LEAST_FOR_PATTERN:
        return Pattern(0.0, 0.0, ())
    lengths = _lengths_mm(rule, face, row, numbers, offset_mm, dark=dark)
    tens = max(_explained(lengths, numbers, m) for m in TENS)
    halves = max(_explained(lengths, numbers, m) for m in HALVES)
    return Pattern(tens, halves, _longer(row.name, lengths, numbers))


def _lengths_mm(
    rule: Unrolled,
    face: Face,
    row: Row,
    numbers: NDArray[np.int64],
    offset_mm: float,
    *,
    dark: bool,
) -> Array:
    x = offset_mm + numbers * SPACINGS_MM[row.name]
    (c0, r0), (c1, r1) = (
        rule.from_photo(
            project_mm(face.camera, np.column_stack([x, np.full(len(x), y), np.zeros(len(x))]))
        )
        for y in (-5.0, 5.0)
    )
    # the user's line may not follow the row: each mark is traced from the middle of the row itself
    slope, upper, lower = _alignment(rule, row)
    half = max(2, int(1.5 * (lower - upper)))  # the whole mark and a little more, not its best part
    centre = slope * c0 + (upper + lower) / 2
    centre += slope * (centre - r0) * (c1 - c0) / (r1 - r0)
    scale = float(np.exp(-face.view.log_far)) / rule.step_px
    beside = min(0.42 * SPACINGS_MM[row.name] * scale, 5.0)
    grey = rule.grey if dark else -rule.grey
    last_row, last = (size - 1 for size in grey.shape)
    most = int(LONGEST_MM * scale)
    lines = np.round(centre).astype(int) + np.arange(-most, most)[:, None]
    columns = c0 + (lines - r0) * (c1 - c0) / (r1 - r0)
    inside = (lines >= 0) & (lines <= last_row)

    def at(shift: float) -> Array:
        place = np.clip(np.round(columns + shift), 0, last).astype(int)
        return np.asarray(grey[np.clip(lines, 0, last_row), place], float)

    ground = (at(-beside) + at(beside)) / 2
    contrast = ground - np.minimum(np.minimum(at(-1), at(0)), at(1))
    contrast = np.where(inside, np.nan_to_num(contrast, nan=-1e3), -1e3)
    smooth = median_filter(contrast, (5, 1))
    usual = np.median(contrast[most - half : most + half + 1], axis=0)
    shown = smooth > FADED * np.maximum(usual, np.median(usual) / 2)
    length = np.zeros(len(numbers))
    for side in (shown[most:], shown[:most][::-1]):
        gone = ~side & np.roll(~side, -1, axis=0) & np.roll(~side, -2, axis=0)
        gone[-3:] = True
        length += np.argmax(gone, axis=0)
    return length / scale


def _alignment(rule: Unrolled, row: Row) -> tuple[float, float, float]:
    """Return a row's slope relative to the user's line, and its upper and lower limits there.

    Marks of all lengths start on one line, which gives the slope; their other ends, with the
    numerals there, do not.
    """
    along, across = rule.from_photo(row.points_px)
    _, first, count = np.unique(row.numbers, return_index=True, return_counts=True)
    ends = [(along[part], across[part]) for part in (first, first + count - 1)]
    fits = [siegelslopes(across_at, at) for at, across_at in ends]
    scatter = [
        float(np.median(np.abs(across_at - fit.slope * at - fit.intercept)))
        for (at, across_at), fit in zip(ends, fits, strict=True)
    ]
    slope = float(fits[int(np.argmin(scatter))].slope)
    upper, lower = (float(np.median(across_at - slope * at)) for at, across_at in ends)
    return slope, upper, lower


def _explained(lengths: Array, numbers: NDArray[np.int64], modulus: int) -> float:
    """Return the share of the variance explained by classes of the number modulo `modulus`."""
    dof = len(lengths) - modulus
    total = float(((lengths - lengths.mean()) ** 2).sum())
    if dof < 4 or total == 0:
        return 0.0
    within = 0.0
    for rest in range(modulus):
        members = lengths[numbers % modulus == rest]
        within += float(((members - members.mean()) ** 2).sum()) if len(members) else 0.0
    return 1 - (within / dof) / (total / (len(lengths) - 1))


def _longer(name: str, lengths: Array, numbers: NDArray[np.int64]) -> tuple[tuple[str, int], ...]:
    """Count the marks of longer kinds; a kind counts where its marks are significantly longer."""
    counts = []
    for longer, modulus in LONGER.get(name, ()):
        middles = [
            float(np.median(lengths[numbers % modulus == rest]))
            if (numbers % modulus == rest).sum() >= 3
            else -1.0
            for rest in range(modulus)
        ]
        best = int(np.argmax(middles))
        longest, rest = lengths[numbers % modulus == best], lengths[numbers % modulus != best]
        if len(longest) < 3 or np.median(longest) < np.median(rest) + 0.3:
            continue
        distinct = np.percentile(longest, 30) > np.percentile(rest, 80) + 0.3
        # or by ranks (Mann and Whitney 1947), corrected for choosing the best of `modulus` classes
        by_chance = float(mannwhitneyu(longest, rest, alternative="greater").pvalue)
        if distinct or by_chance < BY_CHANCE / modulus:
            counts.append((longer, len(longest)))
    return tuple(counts)
