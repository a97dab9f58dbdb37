"""Gauges and the readings taken with them: the typed text is kept, the value is in mm."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

GaugeKind = Literal["wide-jaw caliper", "plain caliper", "micrometer", "diameter tape"]


@dataclass(frozen=True, slots=True)
class Gauge:
    """An instrument that diameters are read from.

    Parameters
    ----------
    identity : str
        Number on the instrument; unique in a record.
    kind : str
        One of `GaugeKind`.
    resolution_mm : float
        Smallest step it shows, mm.
    permissible_error_mm : float
        Largest permissible error, mm, as its maker or its calibration states.
    calibration_due : date or None
        Last day on which its calibration holds.
    """

    identity: str
    kind: GaugeKind
    resolution_mm: float
    permissible_error_mm: float
    calibration_due: date | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One manual reading, as it was logged.

    Parameters
    ----------
    typed : str
        The text that was typed, kept as it was.
    value_mm : float
        What it means, mm.
    station : int
        Station number.
    view_deg : int
        Direction across the rope, degrees; 0 and 90 in the standard's method.
    gauge : str
        `Gauge.identity`.
    person : str
        Who read it.
    at : datetime or None
        When it was logged.
    """

    typed: str
    value_mm: float
    station: int
    view_deg: int
    gauge: str
    person: str
    at: datetime | None = None
