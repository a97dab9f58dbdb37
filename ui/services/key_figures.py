"""The key figures of an inspection's worst station, for the rope register."""

from __future__ import annotations

from inspection.assessment import Assessment
from inspection.limits.remaining_life import StationHistory
from inspection.record.overview.examinations import KeyFigures
from inspection.worst_station import worst_station


def key_figures(assessment: Assessment) -> KeyFigures | None:
    """Return the worst station's figures; None if no station was measured.

    It is the station that the sheet and the report name first (`inspection.worst_station`).
    """
    worst = worst_station(assessment)
    if worst is None:
        return None
    rated = None if worst.severity is None else worst.severity.severity
    rate, loses = _fastest(assessment.station_histories)
    return KeyFigures(
        station=worst.station,
        diameter_mm=worst.diameter_mm,
        u_mm=worst.u_mm,
        directions=worst.directions,
        decrease_pct=None if rated is None else rated.decrease_pct,
        band="" if rated is None else rated.band,
        severity_pct=None if rated is None else rated.severity_pct,
        rate_mm_per_year=rate,
        loses=loses,
        doubted=worst.doubted,
    )


def _fastest(histories: tuple[StationHistory, ...]) -> tuple[float | None, bool]:
    lines = [one.line for one in histories if one.line is not None]
    fastest = min(lines, key=lambda line: line.rate_mm_per_year, default=None)
    return (None, False) if fastest is None else (fastest.rate_mm_per_year, fastest.loses)
