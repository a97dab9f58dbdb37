"""Replaced results, and the decisions about stations that end with them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.errors import RecordError, StaleError
from inspection.record.record import Record
from vision.results import Estimate, Finding, Refusal
from vision.uncertainty import Term

VISIT = "2026-11"
TERM = Term("left edge", 0.02, "mm", 1.0, "A", "edge:1:left")
HERE = Estimate(22.38, (TERM,), station=1, view_deg=0, photo_name="s1.jpg", photo_sha256="ab" * 32)
NO = Refusal((Finding("too-far", "31 px wide.", "Go nearer.", "refuse"),), photo_sha256="cd" * 32)


@pytest.fixture
def filled(record: Record) -> Record:
    record.add_rope(Rope("rope", 22.0), by="A. Berg")
    record.add_gauge(Gauge("C-07", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
    stations = (Station(1, 0.0), Station(2, 41.5))
    record.add_inspection(
        Inspection(VISIT, "rope", date(2026, 11, 2), stations=stations), by="A. Berg"
    )
    record.add_readings(VISIT, [reading(1), reading(2)], by="A. Berg")
    record.add_results(VISIT, [HERE], by="A. Berg")
    return record


def reading(station: int, typed: str = "22.41") -> Reading:
    return Reading(typed, float(typed), station, 0, "C-07", "A. Berg")


def standing(record: Record) -> dict[int, tuple[str, bool]]:
    told = record.inspection(VISIT).station_reviews
    return {one.station: (one.state, one.back) for one in told if one.stands}


# ---- results ------------------------------------------------------------------------------


def test_a_result_measured_elsewhere_takes_the_place_of_the_first(filled: Record) -> None:
    there = replace(HERE, at_mm=12.5, diameter_mm=22.30)
    filled.replace_result(VISIT, HERE, there, by="A. Berg", why="a loose wire at the middle")
    assert filled.inspection(VISIT).results == (there,)
    assert filled.ranked()[0].results == 1
    told = [event for event in filled.events() if event.kind.startswith("result")]
    assert [event.kind for event in told] == ["results added", "result replaced"]
    assert told[0].new_value[0]["diameter_mm"] == 22.38  # nothing was deleted
    assert told[1].old_value == {"number": 1, "event": told[0].sequence}
    assert told[1].why == "a loose wire at the middle"
    assert filled.verify().faults == ()


def test_a_withdrawn_result_does_not_count_and_its_number_is_not_used_again(
    filled: Record,
) -> None:
    filled.replace_result(VISIT, HERE, None, by="A. Berg", why="it shows another rope")
    assert filled.inspection(VISIT).results == ()
    assert filled.ranked()[0].results == 0
    assert filled.add_results(VISIT, [HERE, NO], by="A. Berg") == (2, 3)
    assert filled.inspection(VISIT).results == (HERE, NO)
    assert filled.verify().faults == ()


@pytest.mark.parametrize(
    ("before", "why", "words"),
    [
        (replace(HERE, diameter_mm=21.0), "x", "no longer has this result"),
        (HERE, "  ", "say why"),
    ],
)
def test_a_result_is_not_replaced_blindly(
    filled: Record, before: Estimate, why: str, words: str
) -> None:
    with pytest.raises((RecordError, ValueError), match=words):
        filled.replace_result(VISIT, before, replace(HERE, at_mm=3.0), by="A. Berg", why=why)
    assert filled.inspection(VISIT).results == (HERE,)


def test_two_figures_do_not_come_to_stand_at_one_place(filled: Record) -> None:
    other = replace(HERE, at_mm=20.0)
    filled.add_results(VISIT, [other], by="A. Berg")
    with pytest.raises(RecordError, match=r"already has a figure at \+20.0 mm"):
        filled.replace_result(VISIT, HERE, replace(HERE, at_mm=20.0), by="A. Berg", why="x")
    assert filled.inspection(VISIT).results == (HERE, other)


def test_cards_in_one_photograph_are_told_apart_by_their_station(filled: Record) -> None:
    beside = replace(HERE, station=2)
    assert filled.add_results(VISIT, [HERE, beside], by="A. Berg") == (1, 2)
    finer = replace(beside, diameter_mm=22.2)
    assert filled.add_results(VISIT, [finer, HERE], by="A. Berg") == (2, 1)
    assert filled.inspection(VISIT).results == (HERE, finer)
    assert filled.verify().faults == ()


# ---- decisions ----------------------------------------------------------------------------


def test_a_decision_about_a_station_stands_with_who_when_and_why(filled: Record) -> None:
    filled.review(VISIT, "sent back", by="B. Lind", why="read it again", station=1)
    (told,) = filled.inspection(VISIT).station_reviews
    assert (told.station, told.state, told.back, told.stands) == (1, "sent back", True, True)
    assert (told.who, told.why) == ("B. Lind", "read it again")
    assert told.at.endswith("Z")
    assert filled.verify().faults == ()


def change_a_reading(record: Record) -> None:
    record.correct_reading(VISIT, 1, reading(1, "22.14"), by="A. Berg", why="digits swapped")


def add_a_reading(record: Record) -> None:
    record.add_readings(VISIT, [reading(1, "22.14")], by="A. Berg")


def take_a_reading(record: Record) -> None:
    record.withdraw_reading(VISIT, 1, by="A. Berg", why="typed twice")


def file_a_photograph_elsewhere(record: Record) -> None:
    record.add_results(VISIT, [replace(HERE, station=2)], by="A. Berg", why="cards mixed up")


def withdraw_a_result(record: Record) -> None:
    record.replace_result(VISIT, HERE, None, by="A. Berg", why="another rope")


@pytest.mark.parametrize(
    ("change", "left"),
    [
        (change_a_reading, {2}),
        (add_a_reading, {2}),
        (take_a_reading, {2}),
        (withdraw_a_result, {2}),
        (file_a_photograph_elsewhere, set()),  # it concerns both stations
    ],
)
def test_a_decision_ends_when_a_figure_of_its_station_changes(
    filled: Record, change: object, left: set[int]
) -> None:
    for station in (1, 2):
        filled.review(VISIT, "accepted", by="B. Lind", station=station)
    assert callable(change)
    change(filled)
    assert set(standing(filled)) == left
    assert len(filled.inspection(VISIT).station_reviews) == 2  # ended, not forgotten
    assert filled.verify().faults == ()


def test_overruling_turns_another_persons_decision_round(filled: Record) -> None:
    with pytest.raises(RecordError, match="has no decision to overrule"):
        filled.review(VISIT, "overruled", by="B. Lind", why="no", station=1)
    filled.review(VISIT, "accepted", by="B. Lind", station=1)
    with pytest.raises(RecordError, match="another person"):
        filled.review(VISIT, "overruled", by="b.  lind", why="no", station=1)
    filled.review(VISIT, "overruled", by="C. Holm", why="the edge is grease", station=1)
    assert standing(filled) == {1: ("overruled", True)}
    filled.review(VISIT, "overruled", by="B. Lind", why="it was cleaned", station=1)
    assert standing(filled) == {1: ("overruled", False)}


def test_what_is_no_decision_is_refused_in_one_sentence(filled: Record) -> None:
    for station, state, by, why, words in (
        (1, "sent back", "B. Lind", " ", "say why"),
        (
            1,
            "open",
            "B. Lind",
            "x",
            "a station must be one of accepted, sent back, overruled; got 'open'",
        ),
        (1, "accepted", "a. berg", "", "can't review them"),
        (7, "accepted", "B. Lind", "", "nothing at station 7"),
    ):
        with pytest.raises((RecordError, ValueError), match=words):
            filled.review(VISIT, state, by=by, why=why, station=station)  # type: ignore[arg-type]
        assert filled.inspection(VISIT).station_reviews == ()


def test_a_decision_about_what_was_changed_meanwhile_is_not_kept(filled: Record) -> None:
    seen = filled.inspection(VISIT).revision
    add_a_reading(filled)
    with pytest.raises(StaleError, match="was changed after you opened it"):
        filled.review(VISIT, "accepted", by="B. Lind", station=1, revision=seen)
    assert standing(filled) == {}


def test_an_inspection_is_not_accepted_while_a_station_waits_for_its_inspector(
    filled: Record,
) -> None:
    filled.review(VISIT, "sent back", by="B. Lind", why="read it again", station=1)
    with pytest.raises(RecordError, match="station 1 sent back, waiting"):
        filled.review(VISIT, "accepted", by="B. Lind")
    change_a_reading(filled)
    filled.review(VISIT, "accepted", by="B. Lind")
    assert filled.inspection(VISIT).state == "reviewed"
