"""All comparisons together: who or what differs, and how many flags chance alone gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import get_args

from inspection.agreement import Agreement, Flags, Group, agreement_by, flags
from inspection.crosscheck import Comparison
from inspection.lines import Line, line_with_error_in_both

WIDEST = 0.5  # a slope known worse than +-0.25 says nothing worth a line; our choice


@dataclass(frozen=True, slots=True)
class Across:
    """What the comparisons say together.

    Parameters
    ----------
    groups : mapping
        Limits of agreement by "gauge", "person", "print_set" and "camera", then by name; None
        for a name with fewer than 3 comparisons.
    flags : Flags
        Which comparisons stand out, and how many would by chance.
    line : Line or None
        Photograph against gauge, with error in both; None for fewer than 4 comparisons, or
        where the gauge said the same everywhere.
    """

    groups: Mapping[Group, Mapping[str, Agreement | None]]
    flags: Flags
    line: Line | None

    @property
    def line_words(self) -> str:
        """The line in one sentence; empty where there is none."""
        if self.line is None:
            return ""
        low, high = self.line.slope_interval
        if high - low > WIDEST:
            return "Photograph against gauge: diameters too alike, or too few, for a slope."
        said = f"Photograph against gauge, error in both: slope {self.line.slope:.3f}"
        return f"{said} (95 % interval {low:.3f} to {high:.3f}; 1 where they agree)."


def across_stations(comparisons: Sequence[Comparison]) -> Across:
    """Return what an inspection's comparisons say together.

    Parameters
    ----------
    comparisons : sequence of Comparison
        From `inspection.crosscheck.crosscheck`.
    """
    return Across(
        groups={group: agreement_by(comparisons, group) for group in get_args(Group)},
        flags=flags([one.p_value for one in comparisons]),
        line=_line(comparisons),
    )


def _line(comparisons: Sequence[Comparison]) -> Line | None:
    u2_photo = sum(one.u_photo_mm**2 for one in comparisons)
    u2_gauge = sum(one.u_gauge_mm**2 for one in comparisons)
    try:
        return line_with_error_in_both(
            [one.gauge_mm for one in comparisons],
            [one.photo_mm for one in comparisons],
            variance_ratio=u2_photo / u2_gauge,
        )
    except (ValueError, ZeroDivisionError):
        return None  # too few pairs, or no spread along the rope: nothing to draw a line through
