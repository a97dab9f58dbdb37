"""What was seen at a station besides its diameter: broken wires, corrosion, deformation, heat.

These are recorded facts. The severity comes from the person's own tables: nothing here judges it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

Criterion = Literal["broken wires", "corrosion", "deformation", "heat"]
CRITERIA: tuple[Criterion, ...] = get_args(Criterion)
RATINGS_PCT = (0, 20, 40, 60, 80, 100)  # ISO 4309:2017's steps towards discard, from memory (0.9)
MOST_WIRES = 10_000


@dataclass(frozen=True, slots=True)
class Condition:
    """One criterion at one station, as a person saw and rated it.

    Parameters
    ----------
    station : int
        Station number.
    criterion : {"broken wires", "corrosion", "deformation", "heat"}
        What was looked for.
    severity_pct : int or None
        Severity towards discard, %, as the person rates it: 0 (none), 20, 40, 60, 80 or 100; None
        if not rated.
    seen : str
        What was seen, in words, e.g. "outside, surface pitted"; may be empty.
    count : int or None
        Broken wires counted; None if not counted.
    length_mm : float or None
        Length of rope over which they were counted, mm.
    """

    station: int
    criterion: Criterion
    severity_pct: int | None
    seen: str = ""
    count: int | None = None
    length_mm: float | None = None

    @property
    def words(self) -> str:
        """What was seen, and how it was rated, in one line.

        Examples
        --------
        >>> Condition(3, "broken wires", 20, count=3, length_mm=132.0).words
        'broken wires: 3 on 132 mm; 20 % towards discard'
        >>> Condition(3, "corrosion", 0).words
        'corrosion: none'
        """
        parts = [self.seen] if self.seen else []
        if self.count is not None:
            over = "" if self.length_mm is None else f" on {self.length_mm:g} mm"
            parts.insert(0, f"{self.count}{over}")
        if self.severity_pct is None:
            parts.append("not rated")
        elif self.severity_pct or not parts:
            parts.append(f"{self.severity_pct} % towards discard" if self.severity_pct else "none")
        return f"{self.criterion}: {'; '.join(parts)}"


def check_condition(seen: Condition) -> None:
    """Raise ValueError if a condition's figures are impossible."""
    if seen.station < 1:
        raise ValueError(f"stations are numbered from 1; got {seen.station}.")
    if seen.criterion not in CRITERIA:
        raise ValueError(
            f"a criterion must be one of {', '.join(CRITERIA)}; got {seen.criterion!r}."
        )
    if seen.severity_pct is not None and seen.severity_pct not in RATINGS_PCT:
        listed = ", ".join(str(one) for one in RATINGS_PCT)
        raise ValueError(f"a severity must be one of {listed} %; got {seen.severity_pct!r}.")
    if seen.count is not None and not 0 <= seen.count <= MOST_WIRES:
        raise ValueError(f"broken wires are counted from 0 to {MOST_WIRES}; got {seen.count}.")
    length = seen.length_mm
    if length is not None and not (math.isfinite(length) and 0 < length <= 100_000):
        raise ValueError(
            f"the length over which wires were counted must be more than 0 mm and at most 100 m; "
            f"got {length} mm."
        )
    if seen.severity_pct is None and seen.count is None and not seen.seen.strip():
        raise ValueError(
            f"{seen.criterion} at station {seen.station}: describe it, count it or rate it; rate "
            "'none' as 0 %."
        )
