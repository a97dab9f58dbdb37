"""Chart data as plain values, shared by the pages' charts and the report's.

Charts on the pages and in the report are made from the same data, so their figures can't differ.
All lengths are in mm; U is the expanded uncertainty, k = 2.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from inspection.measurement.ellipse import Ellipse
from inspection.measurement.section import Source
from inspection.model.rope import Units
from ui.lengths import in_units, length_text, signed_length

# Okabe and Ito (2008): eight colours distinguishable with any kind of colour vision.
BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, VERMILION, PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
# Each source and each verdict has the same colour and shape everywhere.
SOURCE_COLOURS: dict[Source, str] = {"photographs": BLUE, "gauge": ORANGE}
SOURCE_SHAPES: dict[Source, str] = {"photographs": "circle", "gauge": "square"}
WORD_COLOURS = {"agrees": BLUE, "doubtful": ORANGE, "disagrees": VERMILION, "cannot say": "#7f7f7f"}
WORD_SHAPES = {"agrees": "circle", "doubtful": "triangle-up", "disagrees": "cross",
               "cannot say": "square"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figure:
    """A diameter with its expanded uncertainty at a station, from one source."""

    station: int
    position_m: float | None
    source: Source
    mean_mm: float
    expanded_mm: float


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit: the smallest or largest permitted diameter, mm, and its label."""

    value_mm: float
    side: Literal["least", "most"]
    words: str


@dataclass(frozen=True, slots=True)
class AlongRope:
    """Mean diameters along the rope, with limits and the nominal and reference diameter."""

    figures: tuple[Figure, ...]
    limits: tuple[LimitLine, ...]
    nominal_mm: float
    reference_mm: float | None = None

    @property
    def by_position(self) -> bool:
        """Whether every position along the rope is known."""
        return all(figure.position_m is not None for figure in self.figures)


@dataclass(frozen=True, slots=True)
class Direction:
    """A diameter in one direction across the rope."""

    view_deg: int
    diameter_mm: float
    expanded_mm: float


@dataclass(frozen=True, slots=True)
class Roundness:
    """A cross-section seen along the rope, with its deviations from the mean magnified."""

    station: int
    source: Source
    mean_mm: float
    directions: tuple[Direction, ...]
    exaggeration: float
    ellipse: Ellipse | None = None

    def drawn_mm(self, diameter_mm: float) -> float:
        """Return the radius at which a diameter is drawn, mm."""
        return 0.5 * (self.mean_mm + self.exaggeration * (diameter_mm - self.mean_mm))

    def outline(self, steps: int = 72) -> tuple[tuple[float, float], ...]:
        """Return (angle, drawn radius) of a smooth outline through the measured directions.

        From three directions on it is the fitted ellipse. From two, mean and second harmonic are
        fitted by least squares (the minimum-norm solution, since one parameter is free). Between
        the measured directions the outline is interpolated, not measured.
        """
        if self.ellipse is not None:
            widths_mm = (
                (360 * i / steps, self.ellipse.width_mm(360 * i / steps)) for i in range(steps + 1)
            )
            return tuple((angle, self.drawn_mm(width)) for angle, width in widths_mm)
        angles = np.radians([direction.view_deg for direction in self.directions])
        widths = np.array([direction.diameter_mm - self.mean_mm for direction in self.directions])
        design = np.column_stack([np.ones_like(angles), np.cos(2 * angles), np.sin(2 * angles)])
        fit = np.linalg.lstsq(design, widths, rcond=1e-9)[0]
        turn = np.linspace(0.0, 2.0 * math.pi, steps + 1)
        width = fit[0] + fit[1] * np.cos(2 * turn) + fit[2] * np.sin(2 * turn)
        return tuple(
            (math.degrees(a), self.drawn_mm(self.mean_mm + w))
            for a, w in zip(turn.tolist(), width.tolist(), strict=True)
        )

    @property
    def reach_mm(self) -> float:
        """The largest drawn radius, including the bars of U, mm."""
        bars = [
            self.drawn_mm(direction.diameter_mm + direction.expanded_mm)
            for direction in self.directions
        ]
        rings = self.drawn_mm(self.mean_mm + ring_step_mm(self))
        return max(*bars, rings, *(radius for _, radius in self.outline()))

    def words(self, units: Units = "mm") -> str:
        """Return the largest and smallest diameter, their deviations, and the magnification."""
        most = max(self.directions, key=lambda direction: direction.diameter_mm)
        least = min(self.directions, key=lambda direction: direction.diameter_mm)
        return (
            f"Largest at {most.view_deg}°: {length_text(most.diameter_mm, units=units)} "
            f"({signed_length(most.diameter_mm - self.mean_mm, units)} from the mean); smallest at "
            f"{least.view_deg}°: {length_text(least.diameter_mm, units=units)} "
            f"({signed_length(least.diameter_mm - self.mean_mm, units)}). "
            f"Deviations are magnified {self.exaggeration:g} times."
            + ("" if self.ellipse is None else f" {in_units(self.ellipse.words, units)}")
        )


@dataclass(frozen=True, slots=True)
class Difference:
    """A photograph and a reading of one place: their mean, and photograph minus gauge."""

    place: str
    mean_mm: float
    difference_mm: float
    expanded_mm: float
    word: str


@dataclass(frozen=True, slots=True)
class Differences:
    """Differences, with mean difference and limits of agreement."""

    points: tuple[Difference, ...]
    bias_mm: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Share:
    """A share of the variance: its source, %, and the u it gives alone, mm."""

    quantity: str
    share_pct: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class DatedDiameter:
    """A station's mean diameter on a date."""

    on: date
    mean_mm: float
    expanded_mm: float


@dataclass(frozen=True, slots=True)
class History:
    """A station's inspection history: figures, and a line with its prediction band if fitted.

    `band` holds (date, low, line, high) in mm; `photographs` are photograph figures shown in
    addition to the fitted ones. `by_photographs` says that the fitted ones are photographs', too.
    """

    station: int
    figures: tuple[DatedDiameter, ...]
    band: tuple[tuple[date, float, float, float], ...] = ()
    limits: tuple[LimitLine, ...] = ()
    photographs: tuple[DatedDiameter, ...] = ()
    by_photographs: bool = False


@dataclass(frozen=True, slots=True)
class Digits:
    """How often each possible last digit was typed; all should be about equally common."""

    labels: tuple[str, ...]
    counts: tuple[int, ...]
    step_mm: float

    @property
    def expected(self) -> float:
        """How often each digit is expected."""
        return sum(self.counts) / len(self.counts)


def spread(values: Iterable[float]) -> tuple[float, float]:
    """Return the smallest and largest value with a margin of 10 % on both sides."""
    flat = [*values]
    low, high = min(flat), max(flat)
    room = 0.1 * (high - low) or 0.01 * abs(high) or 1.0
    return low - room, high + room


def wider(domain: tuple[float, float]) -> tuple[float, float]:
    """Return a domain with room for labels at its right end."""
    return domain[0], domain[1] + 0.35 * (domain[1] - domain[0])


def ring_step_mm(data: Roundness) -> float:
    """Return the deviation, mm, between the rings of a roundness chart."""
    most = max(
        abs(direction.diameter_mm - data.mean_mm) + direction.expanded_mm
        for direction in data.directions
    )
    return round_down(max(most, 1e-3))


def round_down(value: float) -> float:
    """Return the next lower 1, 2 or 5 times a power of ten.

    Examples
    --------
    >>> round_down(37.0), round_down(0.19)
    (20.0, 0.1)
    """
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in (1, 2, 5) if step * power <= value * (1 + 1e-9))


def share_words(share_pct: float) -> str:
    """Return a share of the variance as written on its bar.

    Examples
    --------
    >>> share_words(65.2), share_words(0.2)
    ('65 %', '< 1 %')
    """
    return f"{share_pct:.0f} %" if share_pct >= 0.5 else "< 1 %"
