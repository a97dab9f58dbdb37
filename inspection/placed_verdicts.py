"""Verdicts with their place: what was judged, where, and what the figure came from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from inspection.limits import Limit, NotApplicable, Quantity
from inspection.measured import measured_diameter
from inspection.section import Section
from inspection.verdict import GUARD_2017, DecisionRule, Verdict, judge

Source = Literal["photographs", "gauge"]
STATION_FIGURES: tuple[Quantity, ...] = ("mean diameter", "ovality")


@dataclass(frozen=True, slots=True)
class PlacedVerdict:
    """A verdict and what it is about.

    Parameters
    ----------
    station : int or None
        Station number; None for a figure of the whole rope.
    source : {"photographs", "gauge"}
        What the figure came from.
    verdict : Verdict
        The figure against its limit.
    """

    station: int | None
    source: Source
    verdict: Verdict

    @property
    def words(self) -> str:
        """The verdict with its place, in a few sentences."""
        where = "Whole rope" if self.station is None else f"Station {self.station}"
        return f"{where}, by {'the ' if self.source == 'gauge' else ''}{self.source}: " + (
            self.verdict.words
        )


def station_verdicts(
    sections: Sequence[Section],
    limits: Sequence[Limit | NotApplicable],
    source: Source,
    *,
    decision: DecisionRule = GUARD_2017,
) -> list[PlacedVerdict]:
    """Return the verdicts on mean diameter and ovality of every station."""
    found = []
    for section in sections:
        figures = section.figures
        for limit in limits:
            if isinstance(limit, Limit) and limit.rule.quantity in figures:
                value, u = figures[limit.rule.quantity]
                verdict = judge(limit, value, u, decision=decision)
                found.append(PlacedVerdict(section.station, source, verdict))
    return found


def whole_rope_verdicts(
    sections: Sequence[Section],
    limits: Sequence[Limit | NotApplicable],
    source: Source,
    *,
    nominal_mm: float,
    decision: DecisionRule = GUARD_2017,
) -> tuple[list[PlacedVerdict], list[str]]:
    """Return verdicts on the figures of a whole new rope, or why there are none."""
    wanted = [
        limit for limit in limits
        if isinstance(limit, Limit) and limit.rule.quantity not in STATION_FIGURES
    ]  # fmt: skip
    if not wanted:
        return [], []
    try:
        whole = measured_diameter(sections, nominal_mm=nominal_mm)
    except ValueError as reason:
        return [], [f"By {source}: {reason}"]
    figures = whole.figures
    verdicts = [
        PlacedVerdict(None, source, judge(limit, *figures[limit.rule.quantity], decision=decision))
        for limit in wanted
        if limit.rule.quantity in figures
    ]
    return verdicts, []
