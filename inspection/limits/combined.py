"""Severities of several criteria at one station, added up as published; no verdict beyond that.

ISO 4309:2017 describes, for information, one method of assessing several kinds of damage at one
place together: each has a severity towards discard, and the severities at that place are added
(from memory, confidence 0.8). The competent person decides what a sum means.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from inspection.limits.standards import BANDS
from inspection.limits.wear import StationSeverity
from inspection.measurement.doubt import doubt_words
from inspection.model.condition import CRITERIA, Condition, Criterion

COMBINED_SOURCE = (
    "severities at one place added up, ISO 4309:2017, combined effect; for information there, "
    "from memory, confidence 0.8"
)


@dataclass(frozen=True, slots=True)
class CombinedSeverity:
    """The combined severity of everything rated at one station.

    Parameters
    ----------
    station : int
        Station number.
    parts : tuple of (str, int)
        Each rated criterion with its severity, %; the decrease in diameter first.
    missing : tuple of str
        Criteria that nobody recorded or rated there.
    doubt : str
        The sentence about the entries that put the decrease in doubt; empty without any.
    """

    station: int
    parts: tuple[tuple[str, int], ...]
    missing: tuple[str, ...]
    doubt: str = ""

    @property
    def severity_pct(self) -> int:
        """The sum, %; it may be more than 100."""
        return sum(pct for _, pct in self.parts)

    @property
    def band(self) -> str:
        """The sum in the table's own words, from "none" and "slight" to "discard"."""
        return next((name for name, pct in BANDS if self.severity_pct <= pct), BANDS[-1][0])

    @property
    def words(self) -> str:
        """The sum with its parts, and what is not in it."""
        added = " + ".join(f"{name} {pct}" for name, pct in self.parts)
        sentence = f"Station {self.station}: {added} = {self.severity_pct} %, {self.band}."
        if self.missing:
            sentence += f" Not rated there: {', '.join(self.missing)}."
        return f"{sentence} {self.doubt}" if self.doubt else sentence


def combined_severities(
    decreases: Iterable[StationSeverity], conditions: Iterable[Condition]
) -> tuple[CombinedSeverity, ...]:
    """Return the sum of severities of every station where anything was rated, by number.

    Parameters
    ----------
    decreases : iterable of StationSeverity
        Uniform decrease of diameter, as in `inspection.assessment.Assessment.severities`.
    conditions : iterable of Condition
        What was recorded besides the diameter.

    Examples
    --------
    >>> seen = [Condition(3, "corrosion", 20), Condition(3, "broken wires", 40)]
    >>> both = combined_severities([], seen)[0]
    >>> both.severity_pct, both.band, both.missing
    (60, 'high', ('decrease in diameter', 'deformation', 'heat'))
    """
    by_diameter = {one.station: one for one in decreases}
    rated: dict[int, dict[Criterion, int]] = {}
    for one in conditions:
        if one.severity_pct is not None:
            rated.setdefault(one.station, {})[one.criterion] = one.severity_pct
    combined = []
    for station in sorted({*by_diameter, *rated}):
        decrease, here = by_diameter.get(station), rated.get(station, {})
        parts: list[tuple[str, int]] = []
        if decrease is not None:
            parts.append(("decrease in diameter", decrease.severity.severity_pct))
        parts += [(name, here[name]) for name in CRITERIA if name in here]
        missing = [] if decrease is not None else ["decrease in diameter"]
        missing += [name for name in CRITERIA if name not in here]
        doubt = "" if decrease is None else doubt_words(decrease.doubts, decrease.source)
        combined.append(CombinedSeverity(station, tuple(parts), tuple(missing), doubt))
    return tuple(combined)
