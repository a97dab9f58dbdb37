"""The station to look at first: the most serious kind of concern, then the largest decrease."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from inspection.assessment import assess
from inspection.model.rope import Rope
from inspection.worst_station import Concern, worst_station
from tests.inspection.danger_logs import SOUND, THIN, Texts, log_of
from vision.findings import finding
from vision.results import Refusal

Figures = dict[tuple[int, int], float]


@pytest.mark.parametrize(
    ("texts", "station", "why"),
    [
        # means of two directions by hand: 22.075 mm at station 7 is the least
        (SOUND, 7, "thinnest"),
        (THIN, 5, "possible loss of section"),
        # 22.4 mm less 7.5 % of 22 mm is 20.75 mm
        (SOUND | {(5, 0): "20.14", (5, 90): "20.10"}, 5, "beyond a limit"),
        # before a possible loss at another station
        (THIN | {(2, 0): "20.14", (2, 90): "20.10"}, 2, "beyond a limit"),
        # 22.4 mm and 5 % of 22 mm are 23.5 mm: a cause to be found, nothing to discard
        (SOUND | {(5, 0): "23.84", (5, 90): "23.82"}, 7, "thinnest"),
    ],
)
def test_the_most_serious_concern_comes_first(texts: Texts, station: int, why: Concern) -> None:
    found = assess(log_of(texts))
    worst = worst_station(found)
    assert worst is not None
    assert (worst.station, worst.why, worst.directions) == (station, why, 2)
    assert worst.diameter_mm == pytest.approx(
        (float(texts[station, 0]) + float(texts[station, 90])) / 2
    )
    assert worst.is_thinnest
    assert worst.doubted is (station in found.doubted)
    assert worst.is_local_decrease is (why != "thinnest")
    assert {one.station for one in worst.beyond} <= {station}
    assert bool(worst.beyond) is (why == "beyond a limit")
    assert worst.severity is not None
    assert worst.severity.severity.decrease_mm == pytest.approx(22.4 - worst.diameter_mm)


def test_without_a_reference_the_thinnest_station_comes_first() -> None:
    worst = worst_station(assess(log_of(SOUND, rope=Rope("R-1", 22.0))))
    assert worst is not None
    assert (worst.station, worst.why, worst.severity) == (7, "thinnest", None)


@pytest.mark.parametrize(
    ("texts", "photographs", "station", "thinnest_mm"),
    [
        ({(1, 0): "22.12", (2, 0): "22.15"}, {(1, 0): 21.97}, 1, 21.97),
        ({(1, 0): "22.02", (2, 0): "22.15"}, {(1, 0): 22.10}, 1, 22.02),
        ({(1, 0): "22.12", (2, 0): "21.95"}, {(1, 0): 22.10}, 2, 21.95),
        # a decimal point in the wrong place is no diameter, with and without a photograph
        ({(1, 0): "2.212", (2, 0): "2.195", (3, 0): "22.15"}, {(1, 0): 22.20}, 3, 22.15),
        ({}, {(1, 0): 22.10, (2, 0): 22.05}, 2, 22.05),
    ],
)
def test_where_no_station_has_two_directions_the_thinnest_figure_comes_first(
    texts: Texts, photographs: Figures, station: int, thinnest_mm: float
) -> None:
    log = log_of(texts, stations=3, photographs=photographs)
    refused = Refusal((finding("no-card"),), station=3, view_deg=0, photo_name="3.jpg")
    found = assess(replace(log, results=(refused, *log.results)))
    worst = worst_station(found)
    assert worst is not None
    assert (worst.station, worst.diameter_mm) == (station, thinnest_mm)
    assert (worst.directions, worst.why, worst.section) == (1, "thinnest", None)
    assert worst.doubted is (station in found.doubted)
    assert not worst.is_local_decrease
    assert worst.u_mm > 0


def test_a_reading_without_a_photograph_has_its_gauges_uncertainty() -> None:
    worst = worst_station(assess(log_of({(2, 0): "21.95"})))
    assert worst is not None
    # rectangular error and step of the gauge, and 0.15 % for repeating it
    assert worst.u_mm == pytest.approx(
        math.hypot(0.03 / math.sqrt(3), 0.01 / math.sqrt(12), 0.0015 * 21.95)
    )


def test_where_nothing_was_measured_there_is_none() -> None:
    assert worst_station(assess(log_of({}))) is None
