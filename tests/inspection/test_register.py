"""The rope register: last diameter, decrease, severity, trend, next due, open entries."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from inspection.assessment import assess
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.overview.examinations import register
from inspection.record.record import Record, open_record
from ui.services.assess_record import screen_inspection
from ui.services.key_figures import key_figures

pytestmark = pytest.mark.usefixtures("new_records_are_copies")

ROPE = Rope("hoist", 40.0, reference_mm=41.2, u_reference_mm=0.02, site="quay 4")
GAUGE = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03)


def visit(record: Record, day: date, means: dict[int, float], due: date | None = None) -> str:
    name = f"{day}"
    stations = tuple(Station(number, 10.0 * number) for number in means)
    record.add_inspection(
        Inspection(name, "hoist", day, stations=stations, next_due=due), by="A. Berg"
    )
    readings = [
        Reading(f"{mean:.2f}", mean, station, view, "C-1", "A. Berg")
        for station, mean in means.items()
        for view in (0, 90)
    ]
    record.add_readings(name, readings, by="A. Berg")
    return name


@pytest.fixture
def record(tmp_path: Path) -> Record:
    opened = open_record(tmp_path / "record.db")
    opened.add_rope(ROPE, by="A. Berg")
    opened.add_rope(Rope("another", 12.7, units="inch"), by="A. Berg")
    opened.add_gauge(GAUGE, by="A. Berg")
    return opened


def test_a_rope_stands_there_with_its_worst_station(record: Record) -> None:
    visit(record, date(2024, 11, 2), {1: 41.0, 2: 41.1, 3: 40.9})
    visit(record, date(2025, 11, 2), {1: 40.9, 2: 40.3, 3: 40.8})
    last = visit(record, date(2026, 11, 2), {1: 40.9, 2: 39.5, 3: 40.8}, due=date(2027, 5, 2))
    (plain, hoist) = register(record)
    assert (plain.identity, plain.inspections, plain.last, plain.figures) == (
        "another",
        0,
        "",
        None,
    )
    assert (hoist.last, hoist.examined, hoist.figures) == (last, False, None)  # nobody looked yet
    for one in record.ranked():
        screen_inspection(record, one.identity, by="B. Lind")
    hoist = register(record)[1]
    assert (hoist.on, hoist.state, hoist.next_due) == (date(2026, 11, 2), "draft", date(2027, 5, 2))
    assert hoist.examined
    assert hoist.figures is not None
    # ISO 4309:2017's own example: 40 mm, reference 41.2, measured 39.5: 4.25 %, slight, 20 %
    # (tests/published/iso_4309_examples.csv; from memory, confidence 0.9)
    assert hoist.figures.station == 2
    assert hoist.figures.diameter_mm == pytest.approx(39.5)
    assert hoist.figures.decrease_pct == pytest.approx(4.25)
    assert (hoist.figures.band, hoist.figures.severity_pct) == ("slight", 20)
    assert hoist.figures.rate_mm_per_year == pytest.approx(-0.8, rel=0.01)  # 0.8 mm a year
    assert hoist.open_findings == sum(one.open_findings for one in record.ranked())


def test_a_change_takes_the_figures_away_until_it_is_examined(record: Record) -> None:
    name = visit(record, date(2026, 11, 2), {1: 40.9, 2: 39.5})
    screen_inspection(record, name, by="B. Lind")
    assert register(record)[1].examined
    better = replace(record.inspection(name).readings[2], typed="40.5", value_mm=40.5)
    record.correct_reading(name, 3, better, by="A. Berg", why="read again")
    assert not register(record)[1].examined
    screen_inspection(record, name, by="B. Lind")
    figures = register(record)[1].figures
    assert figures is not None
    assert figures.diameter_mm == pytest.approx(40.0)


def test_only_ropes_of_the_users_own_inspections_are_listed(record: Record) -> None:
    name = visit(record, date(2026, 11, 2), {1: 40.9})
    assert [one.identity for one in register(record, among=[name])] == ["hoist"]
    assert register(record, among=[]) == []


def test_an_empty_inspection_does_not_hide_the_last_figures(record: Record) -> None:
    name = visit(record, date(2026, 11, 2), {1: 40.9, 2: 40.5})
    screen_inspection(record, name, by="B. Lind")
    record.add_inspection(Inspection("begun", "hoist", date(2026, 12, 1)), by="A. Berg")
    hoist = register(record)[1]
    assert (hoist.last, hoist.inspections) == (name, 2)
    assert hoist.figures is not None


def test_without_a_reference_there_is_no_decrease(record: Record) -> None:
    record.change_rope(replace(ROPE, reference_mm=None), by="A. Berg", why="not measured")
    name = visit(record, date(2026, 11, 2), {1: 40.9, 2: 40.5})
    screen_inspection(record, name, by="B. Lind")
    figures = register(record)[1].figures
    assert figures is not None
    assert (figures.station, figures.decrease_pct, figures.band) == (2, None, "")


def test_nothing_measured_has_no_worst_station(record: Record) -> None:
    from inspection.model.log import Log

    empty = Log(ROPE, Inspection("x", "hoist", date(2026, 11, 2)), (), {}, ())
    assert key_figures(assess(empty)) is None
