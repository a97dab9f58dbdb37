"""Gauges and the readings taken with them: the typed text is kept, the value is in mm.

Lengths as people type them are read by `parse_length` (in `inspection.model.length_text`). The
uncertainty of a reading is in `gauge_terms`: a budget in the same form as a photograph's, so that
what two readings share (the gauge's own error) cancels in their difference.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from vision.results import Place
from vision.uncertainty import Term

# Repeatability: standard deviation of repeated readings of one place by one person, % of the
# diameter. Common practice, no source. With it, two readings 0.13 mm apart on a 35 mm rope, which
# count as acceptable in the field, are within two standard deviations of their difference.
REPEATABILITY_PCT = 0.15
# How far from a crown narrow jaws may stop when the largest reading is sought, as a fraction of
# half the angle between crowns. Common practice, no source.
CROWN_MISS = 0.5

GaugeKind = Literal["wide-jaw caliper", "plain caliper", "micrometer", "diameter tape"]


@dataclass(frozen=True, slots=True)
class Gauge:
    """An instrument for reading diameters.

    Parameters
    ----------
    identity : str
        Number on the instrument; unique in a record.
    kind : str
        One of `GaugeKind`.
    resolution_mm : float
        Smallest step it shows, mm.
    permissible_error_mm : float
        Maximum permissible error, mm, as stated by its maker or its calibration.
    calibration_due : date or None
        Last day on which its calibration is valid.
    calibrated_on : tuple of date
        Days on which it was calibrated, as far as known, in any order. Its error is taken as
        different after each: an adjustment can change it.
    repeatability_mm : float or None
        Standard deviation of repeated readings of one place with it, mm, if determined; None
        lets the readings show it.
    """

    identity: str
    kind: GaugeKind
    resolution_mm: float
    permissible_error_mm: float
    calibration_due: date | None = None
    calibrated_on: tuple[date, ...] = ()
    repeatability_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One manual reading, as it was logged.

    Parameters
    ----------
    typed : str
        The text that was typed, unchanged.
    value_mm : float
        Its value, mm.
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
    blind : bool or None
        True if the photograph's figure was hidden, or did not exist yet, until it was typed; False
        if it was shown; None if not known. Ignored when readings are compared.
    """

    typed: str
    value_mm: float
    station: int
    view_deg: int
    gauge: str
    person: str
    at: datetime | None = None
    blind: bool | None = field(default=None, compare=False)

    @property
    def place(self) -> Place:
        """Station and direction."""
        return Place(self.station, self.view_deg)


def reading_key(reading: Reading, *, inspection: str = "") -> str:
    """Return what distinguishes this reading from every other, for its budget's sources.

    Give the inspection where readings of several inspections are combined: without it, two
    readings of one place without times would count as the same.
    """
    at = "" if reading.at is None else reading.at.isoformat()
    parts = (
        inspection,
        str(reading.station),
        str(reading.view_deg),
        reading.gauge,
        reading.person,
        at,
        reading.typed,
    )
    return ":".join(parts)


def calibrations_between(gauge: Gauge, then: date, now: date) -> int:
    """Return how often a gauge was calibrated after one day, up to another.

    If no calibration is known it is taken as calibrated every year, on the day on which it is due;
    without that day, on the day of `now`. An error taken as shared for too long would pass for
    wear; one taken as shared for too short a time only widens the intervals.

    Examples
    --------
    >>> gauge = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03, date(2026, 12, 31))
    >>> calibrations_between(gauge, date(2025, 11, 1), date(2026, 11, 1))
    1
    >>> known = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03, calibrated_on=(date(2024, 1, 8),))
    >>> calibrations_between(known, date(2025, 11, 1), date(2026, 11, 1))
    0
    """
    if gauge.calibrated_on:
        return sum(then < day <= now for day in gauge.calibrated_on)
    due = gauge.calibration_due or now
    return math.floor((due - then).days / 365.25) - math.floor((due - now).days / 365.25)


def reading_terms(
    reading: Reading,
    gauge: Gauge,
    *,
    outer_strands: int | None = None,
    inspection: str = "",
    calibrations_ago: int = 0,
) -> tuple[Term, ...]:
    """Return the budget of one logged reading; see `gauge_terms`."""
    if reading.gauge != gauge.identity:
        raise ValueError(
            f"the reading was taken with gauge '{reading.gauge}', not '{gauge.identity}': "
            "give that gauge."
        )
    return gauge_terms(
        gauge,
        diameter_mm=reading.value_mm,
        key=reading_key(reading, inspection=inspection),
        outer_strands=outer_strands,
        calibrations_ago=calibrations_ago,
    )


def gauge_terms(
    gauge: Gauge,
    *,
    diameter_mm: float,
    key: str,
    outer_strands: int | None = None,
    repeatability_mm: float | None = None,
    calibrations_ago: int = 0,
) -> tuple[Term, ...]:
    """Return the budget of one reading of a rope's diameter.

    Parameters
    ----------
    gauge : Gauge
        The instrument.
    diameter_mm : float
        The reading, mm.
    key : str
        Distinguishes this reading from every other (`reading_key`).
    outer_strands : int or None, optional
        Strands in the outer layer; only narrow jaws and tapes need it. None or fewer than 3
        is taken as 6, the usual number.
    repeatability_mm : float or None, optional
        Standard deviation of one person's repeated readings of one place, mm; by default the
        gauge's own, or `REPEATABILITY_PCT` of the diameter.
    calibrations_ago : int, optional
        Number of calibrations between this reading and the last inspection: readings before
        and after one do not share the gauge's error (`calibrations_between`).

    Returns
    -------
    budget : tuple of Term
        Permissible error (rectangular, shared by all readings of this gauge), resolution
        (rectangular), repeatability, and for narrow jaws and tapes the shortfall.

    Raises
    ------
    ValueError
        If a figure of the gauge, the diameter or the repeatability is out of range.

    Notes
    -----
    A rectangular distribution of half-width a has u = a / sqrt(3) [1]_. Wide jaws, and a
    micrometer with jaw plates, bear on several crowns and read the enclosing diameter. Narrow
    jaws touch one cross-section only: they can read *low* by up to the shortfall at `CROWN_MISS`,
    never high.
    A tape that does not bridge the crowns reads the circumference of one section over pi, which is
    its mean width (Cauchy's theorem). The shortfall is not corrected, because the position of the
    jaws is not logged: its midpoint is one term shared by the gauge's readings (a bias), its
    half-width over sqrt(3) a term of each reading. The budget is symmetrical nevertheless: it
    can't express that only one side is possible. Tension, bends in the rope and bent jaws are not
    included.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1.
    """
    if repeatability_mm is None:
        repeatability_mm = gauge.repeatability_mm
    if repeatability_mm is None:
        repeatability_mm = diameter_mm * REPEATABILITY_PCT / 100.0
    _check(gauge, diameter_mm, repeatability_mm)
    own = f"gauge:{gauge.identity}"
    if calibrations_ago:
        own = f"{own}:{calibrations_ago} calibrations ago"
    root3 = math.sqrt(3.0)
    terms = [
        Term(
            "permissible error of the gauge",
            gauge.permissible_error_mm / root3,
            "mm",
            1.0,
            "B",
            own,
        ),
        Term(
            "resolution of the gauge",
            gauge.resolution_mm / (2.0 * root3),
            "mm",
            1.0,
            "B",
            f"reading:{key}:step",
        ),
        Term(
            "repeatability of the reading",
            repeatability_mm,
            "mm",
            1.0,
            "B",
            f"reading:{key}",
        ),
    ]
    strands = outer_strands if outer_strands is not None and outer_strands >= 3 else 6
    least, mean, _ = one_section_shortfall_pct(strands)
    if gauge.kind == "plain caliper":
        most = shortfall_pct(strands, CROWN_MISS)
    elif gauge.kind == "diameter tape":
        least, most = 0.0, mean  # from a band that bridges the crowns to one that doesn't
    else:
        return tuple(terms)
    middle_mm = diameter_mm * (least + most) / 200.0
    half_mm = diameter_mm * abs(most - least) / 200.0
    terms += [
        Term("narrow jaws: mean shortfall", middle_mm, "mm", -1.0, "B", f"jaw:{gauge.identity}"),
        Term("narrow jaws: their position", half_mm / root3, "mm", 1.0, "B", f"reading:{key}:jaw"),
    ]
    return tuple(terms)


def one_section_shortfall_pct(outer_strands: int) -> tuple[float, float, float]:
    """Return how much one cross-section reads below the enclosing circle: least, mean, most, %.

    For equal round strands that touch, between straight parallel jaws. Real strands have gaps
    and are not round, so real figures are slightly smaller or larger.

    Notes
    -----
    Strand radius r, centres on a circle of radius R, r = R sin(pi / n). An even number of strands
    has crowns opposite each other, an odd number never has, so no single section reaches the full
    circle then. The mean is the hull's perimeter over pi (Cauchy). Own derivation.

    Examples
    --------
    >>> [round(value, 2) for value in one_section_shortfall_pct(6)]
    [0.0, 3.0, 8.93]
    """
    if outer_strands < 3:
        raise ValueError(f"a rope has at least 3 outer strands; got {outer_strands}.")
    sine = math.sin(math.pi / outer_strands)
    mean = 1.0 - (sine + outer_strands * sine / math.pi) / (1.0 + sine)
    return shortfall_pct(outer_strands, 0.0), 100.0 * mean, shortfall_pct(outer_strands, 1.0)


def shortfall_pct(strands: int, miss: float) -> float:
    """Return the shortfall, %, at `miss` (0 to 1) of the way from largest to least width."""
    half = math.pi / strands
    lost = 2.0 * (1.0 - math.cos(miss * half))
    if strands % 2:  # one jaw nears its crown while the other leaves its own
        near, far = 0.5 * half * (1.0 - miss), 0.5 * half * (1.0 + miss)
        lost = 2.0 - math.cos(near) - math.cos(far)
    return 100.0 * lost / (2.0 * (1.0 + math.sin(half)))


def _check(gauge: Gauge, diameter_mm: float, repeatability_mm: float) -> None:
    if not (math.isfinite(diameter_mm) and diameter_mm > 0):
        raise ValueError(f"`diameter_mm` must be more than 0; got {diameter_mm}.")
    if not (math.isfinite(gauge.resolution_mm) and gauge.resolution_mm > 0):
        raise ValueError(
            f"gauge '{gauge.identity}' has a resolution of {gauge.resolution_mm} mm: it must be "
            "more than 0."
        )
    if not (math.isfinite(gauge.permissible_error_mm) and gauge.permissible_error_mm >= 0):
        raise ValueError(
            f"gauge '{gauge.identity}' has a permissible error of {gauge.permissible_error_mm} "
            "mm: it must be 0 or more."
        )
    if not (math.isfinite(repeatability_mm) and repeatability_mm >= 0):
        raise ValueError(f"`repeatability_mm` must be 0 or more; got {repeatability_mm}.")
