"""Messages that could hurt somebody: a loss called a slip, silence, figures that hide others."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspection.assessment import assess
from inspection.limits.plausibility import far_from_nominal
from inspection.model.loss import LOOK_THERE, LOSS_REMEDY
from inspection.model.rope import Groove, Rope, Station
from inspection.screening.screen import screen_log
from tests.inspection.danger_logs import SOUND, THIN, log_of
from tests.inspection.simulated_logs import simulate_log

SLIPS = ("digits-swapped", "digit-mistyped", "decimal-moved")


# 1: true thinning is never called a typing slip


def test_two_directions_that_agree_forbid_the_story_of_a_slip() -> None:
    found = assess(log_of(THIN))
    first = found.findings[0]
    assert all(one.code not in SLIPS for one in found.findings)
    assert set(first.where) == {"station 5, 0 deg", "station 5, 90 deg"}
    assert "loss of section" in first.seen
    assert "ground for discard" in first.remedy
    assert "ISO 4309" in first.remedy
    assert "typed wrongly" not in found.first_concern
    assert "station 5" in found.first_concern.lower()
    assert "ground for discard" in found.first_concern


@pytest.mark.parametrize("loss_pct", [3.0, 6.0, 10.0])
def test_a_true_loss_is_never_called_a_slip_of_the_pen(loss_pct: float) -> None:
    # both directions of one station thinner by the same share, in drawn logs without photographs
    for seed in range(9):
        log = simulate_log(
            np.random.default_rng(seed), stations=6 + seed % 3, photographs=False, earlier=0
        )
        station = log.inspection.stations[seed % len(log.inspection.stations)].number
        step = log.gauges[log.readings[0].gauge].resolution_mm
        readings = tuple(
            one if one.station != station else replace(one, value_mm=mm, typed=f"{mm:.2f}")
            for one in log.readings
            for mm in [round(round(one.value_mm * (1 - loss_pct / 100) / step) * step, 2)]
        )
        for one in assess(replace(log, readings=readings)).findings:
            assert one.look_first == one.remedy.startswith(LOOK_THERE), one
            assert one.may_be_loss >= one.look_first, one
            if any(where.startswith(f"station {station},") for where in one.where):
                assert one.code not in SLIPS, (seed, one.seen)


def test_a_slip_that_would_hide_a_loss_keeps_the_remedy_of_the_loss_first() -> None:
    # one direction only: a swap of digits explains it, and so would a loss
    texts = {(n, 0): text for (n, view), text in SOUND.items() if view == 0} | {(5, 0): "20.14"}
    first = assess(log_of(texts)).findings[0]
    assert first.look_first
    assert first.remedy.startswith("Look at the rope")
    assert "ground for discard" in first.remedy


def test_a_slip_in_one_direction_is_still_named() -> None:
    found = assess(log_of(SOUND | {(5, 0): "12.14"}))
    assert found.findings[0].code in SLIPS


@pytest.mark.parametrize("place", [(5, 0), (2, 90)])
def test_one_mistyped_entry_has_one_expected_value_and_keeps_its_possible_loss(
    place: tuple[int, int],
) -> None:
    # 31.10 may stand for 21.10, and that would be 1 mm too little
    found = screen_log(log_of(SOUND | {place: "31.10"}))
    assert [one.code for one in found] == ["digit-mistyped"]
    first = found[0]
    assert first.seen.startswith("31.10 was logged, but 22.10 mm is expected")
    assert first.seen.count("is expected") == 1
    assert "Corrected to 21.10 mm, it is still -1.00 mm off. It may be a loss" in first.seen
    assert first.look_first
    assert first.remedy.startswith(LOOK_THERE)


@pytest.mark.parametrize(
    "typed", [{(5, 0): "31.10"}, {(2, 90): "31.10"}, {(1, 0): "31.10", (8, 0): "32.08"}]
)
def test_mistyped_entries_neither_hide_nor_move_a_loss(typed: dict[tuple[int, int], str]) -> None:
    found = screen_log(log_of(THIN | typed))
    lost = {where for one in found if one.look_first for where in one.where}
    assert {"station 5, 0 deg", "station 5, 90 deg"} <= lost
    for one in found:  # a finding of one entry never expects what only its slip could give
        if " was logged" in one.seen:
            expected = float(one.seen.split(" mm is expected")[0].split()[-1])
            assert expected == pytest.approx(22.1, abs=0.1), one.seen


def test_readings_near_the_nominal_diameter_were_not_all_typed_in_another_unit() -> None:
    found = screen_log(log_of(THIN | {(2, 0): "31.10", (7, 90): "32.08"}))
    assert all(one.code != "inch-for-mm" for one in found)
    assert "station 5, 90 deg" in {where for one in found if one.look_first for where in one.where}


# 2: no limit applied, yet reported as sound


def test_judged_against_nothing_is_a_state_of_its_own() -> None:
    found = assess(log_of(SOUND, rope=Rope("R-1", 22.0)))
    assert found.judged_against_nothing
    assert "judged against nothing" in found.first_concern
    assert "does not mean that the rope is good" in found.first_concern
    assert "No entry stands out" not in found.first_concern
    assert not assess(log_of(SOUND)).judged_against_nothing


def test_plausibility_against_nominal_is_always_looked_at() -> None:
    texts = {place: f"{float(text) - 2.0:.2f}" for place, text in SOUND.items()}
    found = assess(log_of(texts, rope=Rope("R-1", 24.0)))
    assert found.needs_review
    assert [one.code for one in found.findings][:1] == ["far-from-nominal"]
    assert "24" in found.first_concern


@pytest.mark.parametrize(
    ("text", "than"),
    # a steel core of 24 mm: least 24 mm less 7.5 %, 22.2 mm, and most 24 mm and 14 %, 27.36 mm;
    # U of a reading (0.03 / sqrt(3), 0.01 / sqrt(12) and 0.15 %) is 0.075 mm there, 0.089 mm here
    [("22.10", "thinner"), ("22.14", ""), ("27.43", ""), ("27.47", "thicker")],
)
def test_a_figure_is_far_from_nominal_beyond_its_uncertainty(text: str, than: str) -> None:
    found = far_from_nominal(log_of({(1, 0): text}, rope=Rope("R-1", 24.0)))
    assert [one.about for one in found] == ([(than,)] if than else [])
    # too thin may be a loss, which is looked for first; a misplaced decimal point is none
    assert [one.remedy.startswith(LOSS_REMEDY) for one in found] == [than == "thinner"] * len(found)


def test_a_figure_that_no_rope_can_have_is_no_loss_to_look_for() -> None:
    (slip,) = far_from_nominal(log_of({(1, 0): "2.210"}, rope=Rope("R-1", 24.0)))
    assert LOSS_REMEDY not in slip.remedy
    (both,) = far_from_nominal(log_of({(1, 0): "2.210", (2, 0): "19.00"}, rope=Rope("R-1", 24.0)))
    assert both.remedy.startswith(LOSS_REMEDY)
    assert both.look_first


def test_lift_ropes_have_a_criterion_in_service() -> None:
    # guidance to EN 12385-5 and ISO 4344: more than 6 % of nominal thinner, even over a short
    # section (seen on one page): 22 mm less 6 % is 20.68 mm
    texts = SOUND | {(5, 0): "20.50", (5, 90): "20.48"}
    found = assess(log_of(texts, rope=Rope("R-1", 22.0, duty="lift")))
    outside = [one for one in found.verdicts if one.verdict.outcome == "outside"]
    assert [one.station for one in outside] == [5]
    assert outside[0].verdict.limit.low_mm == pytest.approx(20.68)


# 3: a few photographs don't hide the gauge


def test_every_station_is_judged_by_the_best_figure_it_has() -> None:
    texts = SOUND | {(5, 0): "20.14", (5, 90): "20.10"}  # 8.9 % thinner
    photographs = {(n, view): 22.1 for n in (1, 2, 8) for view in (0, 90)}
    found = assess(log_of(texts, photographs=photographs))
    assert {one.station for one in found.severities} == set(range(1, 9))
    worst = max(found.severities, key=lambda one: one.severity.decrease_pct)
    assert (worst.station, worst.source, worst.severity.band) == (5, "gauge", "discard")
    assert {one.station for one in found.local if one.outcome == "local decrease"} == {5}
    assert {one.source for one in found.severities if one.station in (1, 2, 8)} == {"photographs"}


def test_the_more_certain_figure_is_the_best_one() -> None:
    photographs = {(n, view): 22.1 for n in (1, 2, 3) for view in (0, 90)}
    found = assess(log_of(SOUND, photographs=photographs, u_photo_mm=0.2))
    assert {one.source for one in found.severities} == {"gauge"}


@pytest.mark.parametrize(("photo_mm", "thinner"), [(22.1, "gauge"), (20.1, "photographs")])
@pytest.mark.parametrize("u_photo_mm", [0.005, 0.1])
def test_where_photograph_and_gauge_contradict_each_other_the_thinner_one_stays(
    photo_mm: float, thinner: str, u_photo_mm: float
) -> None:
    # whichever of them is the more certain: one is wrong, and it may be the one that sees no loss
    photographs = {(5, 0): photo_mm, (5, 90): photo_mm}
    found = assess(log_of(THIN, photographs=photographs, u_photo_mm=u_photo_mm))
    assert {one.word for one in found.crosscheck.comparisons} == {"disagrees"}
    (best,) = (one for one in found.best if one.station == 5)
    assert best.source == thinner
    assert best.mean_mm == pytest.approx(min(photo_mm, 21.09))


# 4: contradictions don't pass in silence


def _with_rows(*rows: tuple[int, int, str]) -> tuple[str, str]:
    log = log_of(SOUND)
    more = tuple(
        replace(log.readings[0], station=station, view_deg=view, typed=text, value_mm=float(text))
        for station, view, text in rows
    )
    found = assess(replace(log, readings=(*log.readings, *more)))
    codes = " ".join(one.code for one in found.findings)
    return codes, " ".join(found.not_complete)


def test_a_place_that_was_read_twice_differently_is_a_finding() -> None:
    codes, lines = _with_rows((5, 0, "22.94"))
    assert "read-twice" in codes
    assert "Station 5, 0 deg" in lines
    assert "22.14" in lines
    assert "22.94" in lines


def test_a_row_that_stands_there_twice_is_a_finding() -> None:
    log = log_of(SOUND)
    found = assess(replace(log, readings=(*log.readings, log.readings[3])))
    assert "row-twice" in {one.code for one in found.findings}
    assert any("station 2, 90 deg" in line for line in found.not_complete)


def test_a_direction_that_is_missing_and_a_station_that_was_not_read_are_findings() -> None:
    texts = {place: text for place, text in SOUND.items() if place != (5, 90) and place[0] != 7}
    found = assess(log_of(texts))
    codes = {one.code: one for one in found.findings}
    assert codes["direction-missing"].where == ("station 5",)
    assert codes["station-not-measured"].where == ("station 7",)
    assert any("Station 5" in line for line in found.not_complete)
    assert any("Station 7" in line for line in found.not_complete)


def test_a_log_without_gaps_is_complete() -> None:
    found = assess(log_of(SOUND))
    assert found.not_complete == ()
    assert not found.needs_review


# 5: the thickest place is not averaged away


def test_the_thickest_station_decides_a_fit() -> None:
    drum = Groove("drum", 12.0, pitch_mm=25.0)
    rope = Rope("R-1", 24.0, reference_mm=24.4, grooves=(drum,))
    texts = {place: "24.40" for place in SOUND} | {(5, 0): "25.32", (5, 90): "25.28"}
    found = assess(log_of(texts, rope=rope))
    pitch = [one for one in found.verdicts if one.verdict.limit.rule.what == "pitch of drum"]
    outside = [one for one in pitch if one.verdict.outcome == "outside"]
    assert [(one.station, one.verdict.value_mm) for one in outside] == [(5, pytest.approx(25.3))]
    assert found.needs_review


# also


def test_a_verdict_that_rests_on_a_doubted_entry_says_so() -> None:
    found = assess(log_of(THIN))
    marked = {one.station for one in found.verdicts if one.doubted}
    assert marked == {5}
    words = next(one.words for one in found.verdicts if one.station == 5)
    assert words.endswith(
        "It rests on entries that have to be checked: 21.11 mm at station 5, 0° and 21.07 mm at "
        "station 5, 90°."
    )


def test_a_new_rope_is_judged_by_the_places_that_are_far_enough_apart() -> None:
    # the third station lies 0.4 m behind the second: the four readings of the first two count
    texts = {place: text for place, text in SOUND.items() if place[0] <= 2}
    log = log_of(
        texts | {(3, 0): "22.90", (3, 90): "22.10"},
        stations=2,
        rope=Rope("R-1", 22.0, service="new"),
    )
    near = Station(3, log.inspection.stations[1].position_m + 0.4)
    stations = (*log.inspection.stations, near)
    found = assess(replace(log, inspection=replace(log.inspection, stations=stations)))
    whole = {
        one.verdict.limit.rule.what: one.verdict for one in found.verdicts if one.station is None
    }
    assert whole["largest difference"].value_mm == pytest.approx(22.15 - 22.07)
    assert whole["tolerance of the diameter"].outcome == "within"
    assert whole["tolerance of the diameter"].value_mm == pytest.approx(22.105)
    assert any("station 3" in note for note in found.notes)


@pytest.mark.parametrize("text", ["2.210", "221.2"])
def test_a_figure_that_is_far_out_hides_no_loss_and_accuses_nobody_of_copying(text: str) -> None:
    """With it among them all figures scatter so much that a loss of 1 mm passed for scatter."""
    found = screen_log(log_of(THIN | {(1, 0): text}))
    chance = [finding for finding in found if finding.p_value is not None]
    assert [finding.code for finding in chance] == ["loss-of-section", "decimal-moved"]
    assert {place.station for place in chance[0].places} == {5}


@pytest.mark.parametrize("text", ["2.210", "221.0"])
def test_a_figure_that_no_rope_can_have_is_averaged_into_no_station(text: str) -> None:
    found = assess(log_of(SOUND | {(1, 0): text}))
    assert [one.station for one in found.best] == list(range(2, 9))
    assert not [one for one in found.local if one.outcome == "local decrease"]
    assert not [one for one in found.verdicts if one.verdict.outcome == "outside"]
    assert any("Station 1 was measured in one direction only" in one for one in found.not_complete)
    assert "decimal point" in found.first_concern
    # and a loss beside it, at the same station, is still said first
    lost = assess(log_of(SOUND | {(1, 0): text, (1, 90): "21.07"}))
    assert lost.first_concern.startswith("Check first: station 1, ")
    assert "loss of section" in lost.first_concern
