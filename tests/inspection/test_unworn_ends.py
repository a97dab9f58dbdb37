"""Places that never run: they show whether the gauge or the rope changed.

Figures are chosen, not drawn: a rope of 22 mm with two stations on the drum's dead turns.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from inspection.model.log import Earlier, Log
from inspection.model.loss import LOSS_REMEDY
from inspection.model.rope import Rope, Station
from inspection.screening.screen import screen_log
from tests.inspection.danger_logs import SOUND, log_of, readings_of
from tests.inspection.simulated_logs import USUAL, simulate
from vision.results import Finding

ENDS = (1, 2)
ROPE = Rope("R-1", 22.0, reference_mm=22.1, u_reference_mm=0.03)


def _marked(log: Log, note: str = "unworn, dead turns") -> Log:
    stations = tuple(
        replace(one, note=note) if one.number in ENDS else one for one in log.inspection.stations
    )
    return replace(log, inspection=replace(log.inspection, stations=stations))


def _lower(by_mm: float, *, ends: bool) -> dict[tuple[int, int], str]:
    return {
        place: f"{float(text) - (0.0 if place[0] in ENDS and not ends else by_mm):.2f}"
        for place, text in SOUND.items()
    }


def _first(log: Log) -> Finding:
    return next(one for one in screen_log(log) if one.p_value is not None)


@pytest.mark.parametrize(
    ("note", "unworn"),
    [("Unworn", True), ("drum, dead turns, unworn", True), ("unworn end", True),
     ("dead turns end here", False), ("head sheave", False), ("", False), ("worn", False)],
)  # fmt: skip
def test_a_place_that_never_runs_is_known_by_the_stations_note(note: str, unworn: bool) -> None:
    assert Station(1, 0.0, note).never_runs == unworn


def _with_last_time(log: Log) -> Log:
    then = replace(log.inspection, identity="I-0", on=date(2026, 5, 4))
    return replace(log, earlier=(Earlier(then, readings_of(SOUND)),))


def test_all_low_with_the_ends_is_the_gauge_and_low_without_them_is_the_rope() -> None:
    shifted = _first(_marked(_with_last_time(log_of(_lower(0.5, ends=True), rope=ROPE))))
    assert shifted.code == "gauge-shifted"
    assert "the reference diameter" in shifted.seen
    worn = _first(_marked(_with_last_time(log_of(_lower(0.5, ends=False), rope=ROPE))))
    assert worn.code == "lower-everywhere"
    assert "its running length" in worn.seen
    assert worn.may_be_loss
    assert not worn.look_first  # at no place in particular


def test_the_ends_show_a_gauge_that_is_off_with_nothing_else_to_show_it() -> None:
    low = log_of(_lower(0.6, ends=True), rope=ROPE)
    assert screen_log(low) == ()  # any rope could be this thin
    found = _first(_marked(low))
    assert found.code == "gauge-shifted"
    assert len(found.places) == len(SOUND)


def test_a_possible_loss_is_said_first_whatever_the_ends_show() -> None:
    for ends in (True, False):
        found = _first(_marked(_with_last_time(log_of(_lower(0.5, ends=ends), rope=ROPE))))
        assert "may be a loss of section" in found.seen
        assert found.remedy.startswith(("Look at the rope", "Measure the rope with another gauge"))
    # and at one station as ever, on the dead turns as elsewhere
    for station in (1, 5):
        thin = log_of(SOUND | {(station, 0): "21.11", (station, 90): "21.07"}, rope=ROPE)
        found = _first(_marked(thin))
        assert found.code == "loss-of-section"
        assert found.remedy == LOSS_REMEDY
        assert {place.station for place in found.places} == {station}


def test_a_rope_that_has_worn_where_it_runs_is_no_reason_for_anything() -> None:
    worn = log_of(_lower(0.6, ends=False), rope=ROPE)
    assert screen_log(_marked(worn)) == ()


def test_honest_logs_with_unworn_ends_are_left_alone() -> None:
    rng = np.random.default_rng(6901)
    ranges = replace(USUAL, stations=(5, 12))
    alarms = 0
    for _ in range(30):
        case = simulate(rng, ranges, photographs=False)
        new_mm = float(case.world.new_mm[:2].mean())
        # where the rope never runs it is as it was at first: readings of these places move up
        lost = case.world.new_mm[:2].mean() - case.world.true_mm(case.log.inspection.on)[:2]
        moved = {
            n: case.shown(n, item.value_mm + float(lost[n // 2, n % 2]))
            for n, item in enumerate(case.log.readings)
            if item.station in ENDS
        }
        log = replace(case.with_readings(moved).log, earlier=())
        rope = replace(log.rope, reference_mm=round(new_mm, 1))
        alarms += bool(screen_log(_marked(replace(log, rope=rope), "unworn")))
    # 5 % of 30 are 1.5; 5 or more come by chance in 2 of 100
    assert alarms <= 4


def test_all_higher_than_before_is_the_gauge_or_another_rope_and_what_tells_them_apart() -> None:
    higher = log_of(_lower(-0.6, ends=True), rope=ROPE)
    found = _first(_with_last_time(higher))
    assert found.code == "gauge-shifted"
    assert "off by the same amount everywhere, or a rope changed since the earlier" in found.seen
    assert "as likely as figures that do not follow this rope" not in found.seen
    for sign in ("certificate", "reel", "recorded change of rope", "zero on a known size"):
        assert sign in found.remedy
    marked = _first(_marked(higher))  # the reference diameter may be that of the rope before
    assert "or a rope changed since the reference diameter was measured" in marked.seen


def test_another_rope_is_no_excuse_for_figures_that_are_lower_or_that_photographs_contradict() -> (
    None
):
    lower = _first(_with_last_time(log_of(_lower(0.5, ends=True), rope=ROPE)))
    assert lower.may_be_loss
    assert "rope changed" not in f"{lower.seen} {lower.remedy}"
    higher = _with_last_time(
        log_of(
            _lower(-0.6, ends=True),
            rope=ROPE,
            photographs={place: float(text) for place, text in SOUND.items()},
        )
    )
    seen = _first(higher)
    assert "rope changed" not in seen.seen
