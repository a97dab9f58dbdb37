"""Each check by itself, against arithmetic by hand, simulation or a general-purpose library."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import combinations

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]
from scipy.integrate import quad
from scipy.stats import norm, poisson_binom

from inspection.comparison.crosscheck import crosscheck
from inspection.model.log import Log
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope, Station
from inspection.screening.contrasts import contrast
from inspection.screening.gauge_checks import gauge_tests, off_step
from inspection.screening.outliers import deleted_t_values
from inspection.screening.photo_reuse import photo_tests
from inspection.screening.repeated_values import repeated_run_bound, repeated_stations_bound
from inspection.screening.screen import chance_tests, screen_log
from inspection.screening.timing import Pace, timing_tests, too_fast
from inspection.screening.underdispersion import (
    equal_pair_probability,
    given_figure_probability,
    underdispersion_test,
)
from tests.inspection.simulated_logs import simulate_log
from vision.findings import finding
from vision.results import Estimate, Refusal
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


# ---- evenness ---------------------------------------------------------------------------


@pytest.mark.parametrize(("step", "sd"), [(0.01, 0.05), (0.02, 0.03), (0.05, 0.03), (0.1, 0.02)])
def test_probability_of_an_equal_pair_agrees_with_numeric_integration(
    step: float, sd: float
) -> None:
    scale = sd * math.sqrt(2)
    expected, _ = quad(lambda d: 2 * (1 - d / step) * norm.pdf(d, scale=scale), 0, step)
    assert equal_pair_probability(step, sd) == pytest.approx(expected, rel=1e-7)


def test_probability_of_an_equal_pair_tends_to_the_known_limit_for_a_small_step() -> None:
    # q / (2 s sqrt(pi)): density of the difference at 0 times the step (own derivation)
    for sd in (0.02, 0.1, 1.0):
        limit = 0.001 / (2 * sd * math.sqrt(math.pi))
        assert equal_pair_probability(0.001, sd) == pytest.approx(limit, rel=2e-3)


def test_evenness_agrees_with_simulated_pairs() -> None:
    rng = np.random.default_rng(3)
    pairs, step, sd, runs = 8, 0.02, 0.03, 60_000
    true = rng.uniform(0, 1, (runs, pairs))
    x, y = (np.round((true + rng.normal(0, sd, true.shape)) / step) for _ in range(2))
    jumps = (x - y).astype(int)
    seen = [0, 1, 0, -1, 0, 0, 2, 0]
    p_equal, p_spread, expected = underdispersion_test(seen, step=step, sd=sd)
    equal = float(np.mean((jumps == 0).sum(axis=1) >= 5))
    spread = float(np.mean((jumps**2).sum(axis=1) <= 6))
    assert p_equal == pytest.approx(equal, abs=4 * math.sqrt(equal / runs))
    assert p_spread == pytest.approx(spread, abs=4 * math.sqrt(spread / runs))
    assert expected == pytest.approx(float((jumps == 0).sum(axis=1).mean()), rel=0.02)


def test_an_oval_rope_only_makes_equal_pairs_rarer() -> None:
    rng = np.random.default_rng(4)
    step, sd = 0.02, 0.03
    for oval in (0.0, 0.02, 0.1):
        x = np.round(rng.normal(0, sd, 50_000) / step + rng.random(50_000))
        y = np.round(rng.normal(oval, sd, 50_000) / step + rng.random(50_000))
        assert np.mean(x == y) <= equal_pair_probability(step, sd) + 0.01


def test_a_figure_named_beforehand_is_never_likelier_than_the_bound() -> None:
    for step, sd in ((0.01, 0.03), (0.05, 0.03)):
        centres = np.linspace(0, step, 50)
        likely = norm.cdf((step / 2 - centres) / sd) - norm.cdf((-step / 2 - centres) / sd)
        assert given_figure_probability(step, sd) == pytest.approx(likely.max(), rel=1e-9)


# ---- repeats ----------------------------------------------------------------------------


def test_bound_on_repeated_stations_is_a_sum_of_independent_events() -> None:
    chance = 0.03
    reference = poisson_binom([before * chance for before in range(8)])
    for repeated in range(5):
        expected = reference.sf(repeated - 1)
        assert repeated_stations_bound(8, repeated, chance) == pytest.approx(expected, rel=1e-9)


def test_bound_on_a_repeated_run_counts_the_pairs_of_runs() -> None:
    # 4 stations, runs of 2 that start at 0 and later at 1 or 2, or at 1 and later at 2: 3 pairs
    assert repeated_run_bound(4, 2, 0.1) == pytest.approx(3 * 0.1**2)


# ---- outliers ---------------------------------------------------------------------------


def test_deleted_t_values_agree_with_externally_studentised_residuals() -> None:
    values = [35.1, 35.02, 35.2, 34.31, 35.13, 35.07, 34.95]
    fit = sm.OLS(values, np.ones(len(values))).fit()
    expected = fit.get_influence().resid_studentized_external
    assert deleted_t_values(values) == pytest.approx(list(expected), rel=1e-9)


def test_a_coarse_step_gives_no_infinite_outlier() -> None:
    values = [35.0, 35.0, 35.0, 35.05, 35.0]
    assert max(abs(t) for t in deleted_t_values(values, least_sd=0.05 / math.sqrt(12))) < 4


def test_too_few_values_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 4 values"):
        deleted_t_values([1.0, 2.0, 3.0])


# ---- contrasts --------------------------------------------------------------------------


def test_photograph_looks_say_what_the_cross_check_says() -> None:
    log = simulate_log(np.random.default_rng(8), stations=6, photographs=True)
    tests = [test for test in chance_tests(log) if test.check == "photograph"]
    compared = crosscheck(
        log.results, log.readings, log.gauges, log.rope, inspection=log.inspection.identity
    ).comparisons
    assert sorted(test.p or 0 for test in tests) == pytest.approx(
        sorted(one.p_value for one in compared)
    )


def test_what_two_directions_share_cancels_in_their_contrast() -> None:
    # by hand: scale 0.1 mm cancels; edges 0.03 and 0.04 mm give 0.05 mm
    scale = Term("scale", 0.1, "mm", 1.0, "B", "print:A")
    one = (scale, Term("edge", 0.03, "mm", 1.0, "A", "edge:1"))
    two = (scale, Term("edge", 0.04, "mm", 1.0, "A", "edge:2"))
    assert contrast([(1.0, 35.3, one), (-1.0, 35.1, two)]) == pytest.approx((0.2, 0.05))


def test_only_growth_is_looked_for_not_wear() -> None:
    log = simulate_log(np.random.default_rng(12), stations=6, earlier=1, photographs=False)
    for by, alarm in ((0.4, True), (-0.4, False)):
        moved = tuple(
            replace(item, value_mm=item.value_mm + by, typed=f"{item.value_mm + by:.2f}")
            for item in log.readings
        )
        found = screen_log(replace(log, readings=moved))
        assert [one.code for one in found if one.code == "growth"] == ["growth"] * alarm
        if alarm:  # one cause, hence one finding, and no slip of the pen for each entry
            assert "off alike" in found[0].seen
            assert len(found[0].where) >= 6


def test_another_tension_is_not_compared_with_last_time() -> None:
    log = simulate_log(np.random.default_rng(13), stations=6, earlier=1)
    loaded = replace(log.inspection, tension="up to 5 % of breaking force")
    tests = chance_tests(replace(log, inspection=loaded))
    assert not [test for test in tests if test.check == "growth"]


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


def test_an_unknown_gauge_is_said_and_does_not_stop_the_rest() -> None:
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
    assert "shifted alike" in test.seen
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


def test_the_most_alike_of_many_photographs_of_one_scene_is_no_copy() -> None:
    rng = np.random.default_rng(6)
    log = simulate_log(rng, stations=250, earlier=0, photographs=True)
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
