"""Each check alone, compared with hand calculation, simulation or a general-purpose library."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import combinations

import numpy as np
import pytest

from inspection.model.log import Log
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.screening.checks.gauges import gauge_tests, off_step
from inspection.screening.checks.photo_reuse import photo_tests
from inspection.screening.checks.timing import Pace, seconds_apart, timing_tests, too_fast
from inspection.screening.screen import screen_log
from tests.inspection.simulated_logs import simulate_log
from vision.findings import finding
from vision.results import Estimate, Place, Refusal
from vision.uncertainty import Term

DAY = date(2026, 11, 3)
NOON = datetime(2026, 11, 3, 12, 0, 10)
CALIPER = Gauge("C-1", "wide-jaw caliper", 0.01, 0.03, date(2027, 1, 31))


def small_log(*texts: str, gauge: Gauge = CALIPER, spacing_m: float = 10.0) -> Log:
    """One view at each station, read two minutes apart."""
    stations = tuple(Station(n + 1, spacing_m * n) for n in range(len(texts)))
    readings = tuple(
        Reading(
            text, float(text), n + 1, 0, gauge.identity, "A. Berg", NOON + timedelta(minutes=2 * n)
        )
        for n, text in enumerate(texts)
    )
    inspection = Inspection("I-1", "R-1", DAY, stations=stations)
    return Log(Rope("R-1", 34.0), inspection, readings, {gauge.identity: gauge})


def photo(station: int, view: int = 0, **changes: object) -> Estimate:
    made = Estimate(
        35.0,
        (Term("edges", 0.1, "mm", 1.0, "A", f"edge:{station}:{view}"),),
        station=station,
        view_deg=view,
        photo_name=f"{station}-{view}.jpg",
        photo_sha256=f"{station:02d}{view:02d}",
        taken_at=NOON + timedelta(minutes=2 * station - 1),
        camera="phone 1",
    )
    return replace(made, **changes)  # type: ignore[arg-type]


# ---- gauges -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value_mm", "step_mm", "impossible"),
    [
        ("34.87", 34.87, 0.01, False),
        ("34.9", 34.9, 0.01, False),  # a dropped zero
        ("34.875", 34.875, 0.01, True),
        ("34.87", 34.87, 0.02, True),
        ("34.86", 34.86, 0.02, False),
        ("34,87", 34.87, 0.05, True),
        ("34.850", 34.85, 0.05, True),  # a zero that the gauge does not show
        ("1.375 in", 34.925, 0.01, False),  # converted: can't be told
        ("1.3755 in", 34.9377, 0.0127, False),
        ("1.3757 in", 34.94278, 0.0127, True),
        ("1 3/8", 34.925, 25.4 / 64, False),
        ("1 47/128", 34.72656, 25.4 / 64, True),
    ],
)
def test_what_a_gauge_can_show(
    text: str, value_mm: float, step_mm: float, impossible: bool
) -> None:
    gauge = Gauge("C-1", "wide-jaw caliper", step_mm, 0.05)
    assert off_step(Reading(text, value_mm, 1, 0, "C-1", ""), gauge) is impossible


def test_calibration_counts_on_its_last_day_and_not_after() -> None:
    log = small_log("35.01", "35.02")
    for due, late in ((DAY, 0), (DAY - timedelta(days=1), 2)):
        gauges = {"C-1": replace(CALIPER, calibration_due=due)}
        tests = gauge_tests(replace(log, gauges=gauges))
        assert sum(len(test.entries) for test in tests) == late


def test_an_unknown_gauge_is_reported_and_does_not_stop_the_rest() -> None:
    log = replace(small_log("35.01", "35.02", "35.03"), gauges={})
    assert [one.code for one in screen_log(log)] == ["gauge-unknown"]


# ---- times ------------------------------------------------------------------------------


def test_a_leg_at_walking_pace_is_no_finding_and_a_faster_one_is() -> None:
    # 30 m at 2 m/s take 15 s; a time in seconds may be 1 s off
    for seconds, found in ((14, []), (13, [(0, 30.0, 14.0)])):
        stops = [(NOON, 0.0), (NOON + timedelta(seconds=seconds), 30.0)]
        assert too_fast(stops, walking_m_s=2.0) == found


def test_times_in_whole_minutes_get_their_minute() -> None:
    at = NOON.replace(second=0)
    assert too_fast([(at, 0.0), (at, 110.0)], walking_m_s=2.0) == []
    assert too_fast([(at, 0.0), (at, 130.0)], walking_m_s=2.0) == [(0, 130.0, 60.0)]


@pytest.mark.parametrize(
    ("apart_s", "codes"),
    [(1.0, ["entries-too-fast"]), (5.0, []), (0.0, []), (60.0, ["readings-too-fast"])],
)
def test_entries_typed_in_the_evening_are_not_odd_and_poured_in_ones_are(
    apart_s: float, codes: list[str]
) -> None:
    # 40 readings at stations 500 m apart: 40 in 40 s, typed at a desk, one stamp for all, and a
    # minute from place to place, which nobody walks
    log = small_log(*["35.01"] * 40, spacing_m=500.0)
    evening = datetime(2026, 11, 3, 19, 2, 10)
    readings = tuple(
        replace(reading, at=evening + timedelta(seconds=apart_s * n))
        for n, reading in enumerate(log.readings)
    )
    for stations in (log.inspection.stations, ()):  # with and without positions
        inspection = replace(log.inspection, stations=stations)
        found = timing_tests(replace(log, readings=readings, inspection=inspection), pace=Pace())
        expected = codes if stations else [code for code in codes if code == "entries-too-fast"]
        assert [test.code for test in found] == expected


def test_photographs_of_the_day_are_no_matter_for_entries_typed_in_the_evening() -> None:
    log = small_log(*["35.01"] * 10)
    evening = datetime(2026, 11, 3, 19, 2, 10)
    readings = tuple(
        replace(reading, at=evening + timedelta(seconds=6 * n))
        for n, reading in enumerate(log.readings)
    )
    photos = tuple(photo(n) for n in range(1, 11))
    assert timing_tests(replace(log, readings=readings, results=photos), pace=Pace()) == []


def test_two_entries_by_one_of_two_people_can_be_typed_in_the_evening_too() -> None:
    log = small_log("35.01", "35.04", "34.98", "35.00")
    evening = datetime(2026, 11, 3, 20, 0)
    people = ("A. Berg", "A. Berg", "M. Ilves", "M. Ilves")

    def at(seconds: int) -> Log:
        typed = tuple(
            replace(item, person=person, at=evening + timedelta(seconds=seconds * n))
            for n, (item, person) in enumerate(zip(log.readings, people, strict=True))
        )
        photos = tuple(photo(n, taken_at=NOON + timedelta(minutes=n)) for n in range(1, 5))
        return replace(log, readings=typed, results=photos)

    assert {test.code for test in timing_tests(at(0), pace=Pace())} == set()
    # two minutes apart they were read then, and their photographs are eight hours off
    assert "photograph-time" in {test.code for test in timing_tests(at(120), pace=Pace())}


def test_times_without_seconds_say_nothing_of_seconds() -> None:
    minutes = [datetime(2026, 11, 3, 9, 0) + timedelta(minutes=n) for n in range(20)]
    assert seconds_apart(minutes) is None
    assert seconds_apart([*minutes[:-1], minutes[-1].replace(second=7)]) == pytest.approx(60.0)


def test_two_people_can_be_at_two_places() -> None:
    log = small_log("35.01", "35.02", spacing_m=500.0)
    assert [test.code for test in timing_tests(log, pace=Pace())] == ["readings-too-fast"]
    other = (log.readings[0], replace(log.readings[1], person="M. Ilves"))
    assert timing_tests(replace(log, readings=other), pace=Pace()) == []


def test_a_camera_clock_in_another_time_zone_is_one_finding_and_says_so() -> None:
    log = small_log("35.01", "35.02", "35.03")
    photos = tuple(
        replace(photo(n), taken_at=NOON + timedelta(minutes=2 * n, hours=-6)) for n in (1, 2, 3)
    )
    (test,) = timing_tests(replace(log, results=photos), pace=Pace())
    assert test.code == "photograph-time"
    assert "shifted by the same amount" in test.seen
    assert len(test.entries) == 3


def test_times_with_and_without_a_zone_are_compared_on_the_wall_clock() -> None:
    from datetime import timezone

    log = small_log("35.01", "35.02")
    zone = timezone(timedelta(hours=9))
    photos = tuple(
        replace(photo(n), taken_at=(NOON + timedelta(minutes=2 * n)).replace(tzinfo=zone))
        for n in (1, 2)
    )
    assert timing_tests(replace(log, results=photos), pace=Pace()) == []


@pytest.mark.parametrize("changes", [{"walking_m_s": 0.0}, {"photo_gap_min": -1.0}])
def test_a_pace_that_is_none_is_refused(changes: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must be more than 0"):
        Pace(**changes)  # type: ignore[arg-type]


# ---- photographs ------------------------------------------------------------------------


def test_two_cards_in_one_photograph_are_two_places_of_one_file() -> None:
    both = (
        photo(1, photo_name="a.jpg", photo_sha256="ff"),
        photo(2, photo_name="a.jpg", photo_sha256="ff"),
    )
    log = small_log("35.01", "35.02")
    assert photo_tests(replace(log, results=both)) == []
    renamed = (both[0], replace(both[1], photo_name="b.jpg"))
    assert [test.code for test in photo_tests(replace(log, results=renamed))] == ["same-photograph"]


def test_refused_photographs_are_held_against_the_others_too() -> None:
    refused = Refusal(
        (finding("no-card"),), station=2, view_deg=0, photo_name="b.jpg", photo_sha256="0100"
    )
    log = replace(small_log("35.01", "35.02"), results=(photo(1), refused))
    assert [test.code for test in photo_tests(log)] == ["same-photograph"]


def test_photographs_alike_in_three_bits_are_named_and_in_four_are_not() -> None:
    log = small_log("35.01", "35.02")
    for other, codes in (("0000000000000007", ["photograph-alike"]), ("000000000000000f", [])):
        pictures = (photo(1, look_hash="0" * 16), photo(2, look_hash=other))
        changed = replace(log, results=pictures)
        assert [test.code for test in photo_tests(changed)] == codes


def test_photographs_are_compared_by_the_rope_where_both_show_enough_of_it() -> None:
    looks = [np.random.default_rng(seed).bytes(240).hex() for seed in (1, 2)]
    alike = (photo(1, rope_look=looks[0]), photo(2, rope_look=looks[0], photo_sha256="ff"))
    others = (photo(3), photo(4, rope_look=looks[1]))
    for results in ((*alike, *others), (*others, *alike)):
        (test,) = photo_tests(replace(small_log("35.01"), results=results))
        assert test.code == "photograph-alike"
        assert test.places == (Place(1, 0), Place(2, 0))


def test_the_most_alike_of_many_photographs_of_one_scene_is_no_copy() -> None:
    rng = np.random.default_rng(6)
    log = simulate_log(rng, stations=250, earlier=0, photographs=True)
    log = replace(log, results=tuple(replace(item, rope_look="") for item in log.results))
    hashes = [int(result.look_hash, 16) for result in log.results]
    closest = min((one ^ other).bit_count() for one, other in combinations(hashes, 2))
    assert closest <= 3  # of 125,000 pairs, by chance alone
    assert photo_tests(log) == []
    fewer = replace(log, results=log.results[:120])
    copied = replace(log.results[7], look_hash=log.results[100].look_hash)
    twice = replace(log, results=(*fewer.results[:7], copied, *fewer.results[8:]))
    assert photo_tests(fewer) == []
    assert [test.code for test in photo_tests(twice)] == ["photograph-alike"]


def test_one_photograph_of_another_camera_is_named_and_two_phones_are_not() -> None:
    log = small_log(*["35.01"] * 6)
    for others, codes in (((3,), ["other-camera"]), ((3, 4), [])):
        pictures = tuple(
            photo(n, camera="phone 2" if n in others else "phone 1") for n in range(1, 7)
        )
        assert [test.code for test in photo_tests(replace(log, results=pictures))] == codes


# ---- odd logs ---------------------------------------------------------------------------


def test_an_empty_log_raises_nothing() -> None:
    assert screen_log(small_log()) == ()


def test_one_reading_alone_raises_nothing() -> None:
    assert screen_log(small_log("35.01")) == ()


def test_a_slip_is_explained_in_a_log_typed_with_decimal_commas_and_units() -> None:
    texts = ["35,12 mm", "35,09 mm", "35,14 mm", "30,57 mm", "35,11 mm", "35,15 mm"]
    log = small_log(*(text[:5].replace(",", ".") for text in texts))
    typed = tuple(replace(item, typed=text) for item, text in zip(log.readings, texts, strict=True))
    first = screen_log(replace(log, readings=typed))[0]
    assert first.code == "digits-swapped"
    assert "35,07 mm in place of 30,57 mm" in first.seen
