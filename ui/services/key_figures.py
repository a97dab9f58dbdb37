"""The worst station of an inspection in a few figures: what the rope register shows of it."""

from __future__ import annotations

from inspection.assessment import Assessment
from inspection.limits.remaining_life import StationHistory
from inspection.record.examinations import KeyFigures
from vision.results import Estimate


def key_figures(assessment: Assessment) -> KeyFigures | None:
    """Return the worst station's figures; None where nothing was measured at any station.

    It is the station with the largest decrease from the reference diameter, or the thinnest one
    where no reference is known. Stations measured in one direction only count where no station has
    two.
    """
    thinnest = min(assessment.best, key=lambda section: section.mean_mm, default=None)
    if thinnest is None:
        return _one_direction(assessment)
    severities = {one.station: one.severity for one in assessment.severities}
    rated = severities.get(thinnest.station)
    rate, loses = _fastest(assessment.station_histories)
    return KeyFigures(
        station=thinnest.station,
        diameter_mm=thinnest.mean_mm,
        u_mm=thinnest.u_mean_mm,
        directions=len(thinnest.views),
        decrease_pct=None if rated is None else rated.decrease_pct,
        band="" if rated is None else rated.band,
        severity_pct=None if rated is None else rated.severity_pct,
        rate_mm_per_year=rate,
        loses=loses,
        doubted=thinnest.station in assessment.doubted,
    )


def _one_direction(assessment: Assessment) -> KeyFigures | None:
    estimates = [
        one
        for one in assessment.log.results
        if isinstance(one, Estimate) and one.station is not None
    ]
    thinnest = min(estimates, key=lambda one: one.diameter_mm, default=None)
    if thinnest is None or thinnest.station is None:
        return None
    return KeyFigures(
        thinnest.station,
        thinnest.diameter_mm,
        thinnest.u_mm,
        1,
        doubted=thinnest.station in assessment.doubted,
    )


def _fastest(histories: tuple[StationHistory, ...]) -> tuple[float | None, bool]:
    lines = [one.line for one in histories if one.line is not None]
    fastest = min(lines, key=lambda line: line.rate_mm_per_year, default=None)
    return (None, False) if fastest is None else (fastest.rate_mm_per_year, fastest.loses)
