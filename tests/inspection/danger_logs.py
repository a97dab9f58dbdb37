"""Small invented logs in which a wrong message could hurt somebody; figures are not random."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from inspection.model.log import Log
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from vision.results import Estimate
from vision.uncertainty import Term

GAUGE = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03, date(2027, 1, 31))
ON = date(2026, 11, 3)
Texts = Mapping[tuple[int, int], str]

# a sound rope of 22 mm at eight stations: both directions about 22.1
SOUND: Texts = {
    (1, 0): "22.12", (1, 90): "22.08", (2, 0): "22.15", (2, 90): "22.07", (3, 0): "22.09",
    (3, 90): "22.13", (4, 0): "22.11", (4, 90): "22.06", (5, 0): "22.14", (5, 90): "22.10",
    (6, 0): "22.08", (6, 90): "22.12", (7, 0): "22.10", (7, 90): "22.05", (8, 0): "22.13",
    (8, 90): "22.09",
}  # fmt: skip
THIN: Texts = SOUND | {(5, 0): "21.11", (5, 90): "21.07"}  # a true loss of 1 mm at station 5


def readings_of(texts: Texts) -> tuple[Reading, ...]:
    """Return the texts as readings, two minutes apart."""
    at = datetime(2026, 11, 3, 9, 0, 12)
    return tuple(
        Reading(text, float(text), station, view, "C-1", "A. Berg", at + timedelta(seconds=121 * n))
        for n, ((station, view), text) in enumerate(texts.items())
    )


def log_of(
    texts: Texts,
    *,
    rope: Rope | None = None,
    stations: int = 8,
    photographs: Mapping[tuple[int, int], float] | None = None,
    u_photo_mm: float = 0.02,
    apart_m: float = 12.0,
) -> Log:
    """Return a log of the readings, with photographs' figures where they are given."""
    inspection = Inspection(
        "I-1", "R-1", ON, stations=tuple(Station(n, apart_m * n) for n in range(1, stations + 1))
    )
    results = tuple(
        Estimate(
            mm,
            (Term("edges", u_photo_mm, "mm", 1.0, "A", f"edge:{station}:{view}"),),
            station=station,
            view_deg=view,
            photo_name=f"s{station}-{view}.jpg",
            photo_sha256=f"{station:032x}{view:032x}",
        )
        for (station, view), mm in (photographs or {}).items()
    )
    return Log(
        rope or Rope("R-1", 22.0, reference_mm=22.4),
        inspection,
        readings_of(texts),
        {"C-1": GAUGE},
        results,
    )
