"""The model behind the screening, compared with a library, simulation and hand calculation."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]
from scipy.integrate import quad
from scipy.special import logsumexp
from scipy.stats import kurtosis, multivariate_normal, norm, t

from inspection.model.readings import shortfall_pct
from inspection.screening.checks.completeness import gaps_and_contradictions
from inspection.screening.figures.causes import _wrong_unit, of_many
from inspection.screening.figures.copied_figures import about_one_level, copied_figures_tests
from inspection.screening.figures.evidence import log_posterior, row_of, shift_evidence
from inspection.screening.figures.expected_readings import RARE_DOF, Figures, at, fit, gather
from inspection.screening.figures.explanations import _weighed_again
from inspection.screening.figures.narrow_jaws import shortfall_moments_pct
from inspection.screening.figures.odd_figures import (
    NOT_READ_PCT,
    exchange_evidence,
    exchanges_of,
    model_of,
    retype_evidence,
    today,
)
from inspection.screening.figures.predictions import log_chance, rope_predictions, values_today
from inspection.screening.figures.shifts import READING_DOF, _with_long_tails, shifts
from tests.inspection.simulated_logs import Range, simulate
from vision.results import Estimate


@pytest.fixture(scope="module")
def figures() -> Figures:
    found = gather(simulate(np.random.default_rng(3), stations=6, earlier=1, photographs=True).log)
    assert found is not None
    return found


def _log_density(figures: Figures, learned: np.ndarray) -> float:
    zero = np.zeros(len(figures.off_mm))
    return float(multivariate_normal(zero, figures.covariance(learned)).logpdf(figures.off_mm))


def _log_densities(figures: Figures, many: np.ndarray) -> np.ndarray:
    """Return `_log_density` for each of many learned parts at once."""
    covariances = np.array([figures.covariance(learned) for learned in many])
    off = np.linalg.solve(
        covariances, np.broadcast_to(figures.off_mm[:, None], (len(many), len(figures.off_mm), 1))
    )
    square = figures.off_mm @ off[..., 0].T + len(figures.off_mm) * math.log(2 * math.pi)
    return np.asarray(-0.5 * (square + np.linalg.slogdet(covariances)[1]))


def _log_prior(figures: Figures, learned: np.ndarray) -> float:
    where = {"loc": figures.prior, "scale": figures.prior_sd}
    tailed, normal = t.logpdf(learned, figures.prior_dof, **where), norm.logpdf(learned, **where)
    return float(np.where(np.isinf(figures.prior_dof), normal, tailed).sum())


def test_the_learned_variances_are_at_the_top_of_their_posterior(figures: Figures) -> None:
    fitted = fit(figures)

    def height(learned: np.ndarray) -> float:
        return _log_density(figures, learned) + _log_prior(figures, learned)

    top = height(fitted.learned)
    for k in range(len(fitted.learned)):
        for step in (-0.4, 0.4):
            moved = fitted.learned.copy()
            moved[k] += step
            assert height(moved) < top + 1e-3


def test_covariance_and_its_inverse_are_what_the_learned_parts_say(figures: Figures) -> None:
    learned = fit(figures).learned
    for one in (figures, figures.before_today(), about_one_level(figures, 0.1)):
        expected = one.fixed_mm2.copy()
        parts = [*(z @ z.T for z in one.of_stations), *map(np.diag, one.of_hands)]
        for part, value in zip(parts, np.exp(learned), strict=True):
            expected += value * part
        assert one.covariance(learned) == pytest.approx(expected, rel=1e-12, abs=1e-15)
        assert at(one, learned).precision == pytest.approx(np.linalg.inv(expected), rel=1e-6)


def test_the_posterior_that_explanations_are_weighed_with_is_the_density(figures: Figures) -> None:
    # up to a constant: the difference of two states is the same
    fitted = fit(figures)
    other = replace(figures, off_mm=figures.off_mm * 1.3)
    again = fit(other, start=fitted.learned)

    def height(one: Figures, learned: np.ndarray) -> float:
        return _log_density(one, learned) + _log_prior(one, learned)

    told = log_posterior(other, fitted.learned) - log_posterior(figures, fitted.learned)
    direct = height(other, again.learned) - height(figures, fitted.learned)
    assert told == pytest.approx(direct, abs=0.05)


def test_repeatability_is_learned_from_a_long_log() -> None:
    rng = np.random.default_rng(5)
    for repeat in (0.03, 0.06, 0.15):
        ranges = Range(repeat_mm=(repeat, repeat), steps=(0,), times=("none",))
        case = simulate(rng, ranges, stations=24, earlier=3, photographs=True, hands=1)
        found = gather(case.log)
        assert found is not None
        (learned,) = fit(found).repeatability_mm().values()
        # some 150 figures know a standard deviation to 6 %; three of those
        assert learned == pytest.approx(repeat, rel=0.2)


def test_repeatability_that_was_entered_is_believed() -> None:
    case = simulate(np.random.default_rng(6), Range(steps=(0,)), stations=4, earlier=0, hands=1)
    gauge = case.world.gauges[0]
    known = replace(gauge, repeatability_mm=0.02)
    found = gather(replace(case.log, gauges={gauge.identity: known}))
    assert found is not None
    (learned,) = fit(found).repeatability_mm().values()
    assert 0.014 < learned < 0.03


def test_a_figure_that_is_far_out_is_held_against_the_scatter_of_the_others() -> None:
    # one direction on a rope that is known to be as even as can be: what is left is a mean and one
    # variance, for which the externally studentised residual of least squares is exact
    case = simulate(
        np.random.default_rng(8),
        Range(steps=(0,), times=("none",)),
        stations=14,
        earlier=0,
        photographs=False,
        hands=1,
    )
    kept = tuple(item for item in case.log.readings if item.view_deg == 0)
    far = replace(kept[5], value_mm=kept[5].value_mm - 0.7)
    found = gather(replace(case.log, readings=(*kept[:5], far, *kept[6:])))
    assert found is not None
    loose = replace(
        found, prior_sd=np.array([0.01, 0.01, 50.0]), prior=np.array([-25.0, -25.0, -5])
    )
    plain = replace(loose, fixed_mm2=np.full_like(found.fixed_mm2, 100.0) + 1e-6 * np.eye(14))
    found_p = shifts(fit(plain), np.eye(14)).p[5]
    least_squares = sm.OLS(plain.off_mm, np.ones(14)).fit().get_influence()
    z = float(least_squares.resid_studentized_external[5])
    expected = 2 * norm.sf(abs(z))
    assert expected < found_p < 1e-2  # Student's tail, never less likely than the normal one
    assert found_p == pytest.approx(float(2 * t.sf(abs(z), 12)), rel=3.0)


def test_evidence_of_a_shift_is_the_ratio_of_two_densities(figures: Figures) -> None:
    fitted = at(figures, fit(figures).learned)
    row = row_of(figures, [figures.first + 2])
    mean, sd = 0.3, 0.5
    other = replace(
        figures,
        off_mm=figures.off_mm - mean * row,
        fixed_mm2=figures.fixed_mm2 + sd**2 * np.outer(row, row),
    )
    expected = _log_density(other, fitted.learned) - _log_density(figures, fitted.learned)
    assert shift_evidence(fitted, row, (mean, sd))[0] == pytest.approx(expected, abs=1e-6)
    # cut at 0: the same by adding up over sizes
    column = multivariate_normal(np.zeros(len(row)), figures.covariance(fitted.learned))

    def weighed(size: float) -> float:
        gain = column.logpdf(figures.off_mm - size * row) - column.logpdf(figures.off_mm)
        return math.exp(gain) * norm.pdf(size, mean, sd) / norm.sf(0, mean, sd)

    summed = quad(weighed, 0, 4, limit=200)[0]
    cut = shift_evidence(fitted, row, (mean, sd), sign=1)[0]
    assert cut == pytest.approx(math.log(summed), abs=1e-4)


def test_evidence_of_an_exchange_is_the_ratio_of_two_densities(figures: Figures) -> None:
    fitted = at(figures, fit(figures).learned)
    size = NOT_READ_PCT * figures.log.rope.nominal_mm / 100
    kinds = {exchange.code: exchange for exchange in exchanges_of(figures)}
    assert kinds.keys() == {
        "directions-exchanged",
        "axes-exchanged",
        "stations-exchanged",
        "rows-shifted",
    }
    for exchange in kinds.values():
        other = replace(
            figures,
            off_mm=figures.off_mm + exchange.change_mm,
            fixed_mm2=figures.fixed_mm2 + size**2 * exchange.free.T @ exchange.free,
        )
        expected = _log_density(other, fitted.learned) - _log_density(figures, fitted.learned)
        assert exchange_evidence(fitted, exchange) == pytest.approx(expected, abs=1e-5)
    change = np.zeros(len(figures.off_mm))
    change[figures.first] = 0.4
    moved = replace(figures, off_mm=figures.off_mm + change)
    expected = _log_density(moved, fitted.learned) - _log_density(figures, fitted.learned)
    assert retype_evidence(fitted, change) == pytest.approx(expected, abs=1e-6)


def test_what_an_unsteady_hand_reads_is_as_likely_as_the_prior_says() -> None:
    # the predictions are a short sum; the prior of all scatter drawn from is the integral itself
    rng = np.random.default_rng(31)
    for repeat in (0.02, 0.3):
        ranges = Range(repeat_mm=(repeat, repeat), steps=(0,), times=("none",), nominals_mm=(22.0,))
        log = simulate(rng, ranges, stations=8, earlier=0, photographs=False, hands=1).log
        found = gather(log)
        assert found is not None
        predictions = rope_predictions(found)
        read, step = values_today(found), found.step_mm
        told = [
            one.log_weight + one.log_chances(read, step, anywhere=False).sum()
            for one in predictions
        ]
        drawn = found.prior + found.prior_sd * rng.standard_t([1e9, 1e9, RARE_DOF], size=(6000, 3))
        heights = _log_densities(found, drawn) + np.log(step).sum()
        assert heights[:20] == pytest.approx(
            [_log_density(found, one) + np.log(step).sum() for one in drawn[:20]]
        )
        expected = float(logsumexp(heights)) - math.log(len(heights))
        # two sums of one integral at most (fixed strengths, and where it is likeliest): log 2
        assert expected - 0.7 < float(logsumexp(told)) < expected + math.log(2.0) + 0.3


def test_one_reading_has_the_stated_tail_and_the_mean_of_many_a_normal_one() -> None:
    alone = _with_long_tails(np.array([1e9]), np.array([[1.0, 0.0]]))[0]
    assert t.stats(alone, moments="k") == pytest.approx(t.stats(READING_DOF, moments="k"))
    errors = np.random.default_rng(4).standard_t(READING_DOF, size=(400_000, 4)).mean(axis=1)
    many = _with_long_tails(np.array([1e9]), np.full((1, 4), 0.25))[0]
    assert kurtosis(errors) == pytest.approx(t.stats(many, moments="k"), abs=0.05)


def test_figures_that_are_a_25th_as_long_are_not_likelier_for_that() -> None:
    # readings of an even hand that scatter, two inspections of history: never "all in millimetres"
    rng = np.random.default_rng(18)
    ranges = Range(repeat_mm=(0.3, 0.3), steps=(0,), nominals_mm=(34.0,), times=("none",))
    log = simulate(rng, ranges, stations=11, earlier=2, photographs=False, hands=1).log
    found = gather(log)
    assert found is not None
    assert all(one.code != "inch-for-mm" for one in of_many(fit(found)))
    plain = log_posterior(found, found.prior)
    assert _weighed_again(_wrong_unit(fit(found)), fit(found), plain).log_odds < 0.0


def test_chance_of_a_rounded_figure_is_the_normal_one_and_never_less_for_a_coarse_step() -> None:
    read, expected = np.array([22.03, 22.0, 21.2]), np.array([22.0, 22.0, 22.0])
    fine = log_chance(read, expected, 0.05, np.full(3, 0.01))
    direct = norm.cdf(read + 0.005, expected, 0.05) - norm.cdf(read - 0.005, expected, 0.05)
    assert np.exp(fine[:2]) == pytest.approx(direct[:2], rel=1e-6)
    step = 25.4 / 64
    coarse = log_chance(np.array([22.225]), np.array([22.15]), 0.05, np.array([step]))
    places = np.linspace(22.15 - step / 2, 22.15 + step / 2, 41)
    likely = norm.cdf(22.225 + step / 2, places, 0.05) - norm.cdf(22.225 - step / 2, places, 0.05)
    assert math.exp(coarse[0]) == pytest.approx(float(likely.max()), rel=1e-3)


def test_e_values_have_a_mean_of_one_at_most_over_honest_logs() -> None:
    rng = np.random.default_rng(13)
    inverse: dict[str, list[float]] = {}
    for _ in range(40):
        found = model_of(simulate(rng, Range(stations=(4, 10))).log)
        assert found is not None
        for test in copied_figures_tests(found):
            assert test.p is not None
            inverse.setdefault(test.check, []).append(test.p)
    for check, chances in inverse.items():
        # by Markov's inequality: e-values above 20 in no more than 5 %, with room for 40 draws
        assert np.mean(np.array(chances) < 0.05) <= 0.1, check


def test_narrow_jaws_fall_short_by_what_drawn_places_do() -> None:
    rng = np.random.default_rng(2)
    drawn = [shortfall_pct(6, float(miss)) for miss in rng.uniform(0, 0.5, 20_000)]
    mean, sd = shortfall_moments_pct(6)
    assert mean == pytest.approx(np.mean(drawn), rel=0.02)
    assert sd == pytest.approx(np.std(drawn), rel=0.02)


def test_the_order_of_the_log_makes_no_difference_to_the_model(figures: Figures) -> None:
    turned = gather(replace(figures.log, readings=figures.log.readings[::-1]))
    assert turned is not None
    assert turned.off_mm == pytest.approx(figures.off_mm)
    assert [turned.log.readings[n].typed for n in turned.entries] == [
        figures.log.readings[n].typed for n in figures.entries
    ]
    assert list(today(turned)) == list(today(figures))


def test_a_station_that_was_elsewhere_then_has_no_earlier_figures() -> None:
    log = simulate(np.random.default_rng(3), stations=6, earlier=1, photographs=True).log
    before = replace(log.earlier[0], results=log.results)
    stations = tuple(
        replace(one, position_m=one.position_m + 5.0) if one.number == 2 else one
        for one in before.inspection.stations
    )
    elsewhere = replace(before, inspection=replace(before.inspection, stations=stations))
    others = replace(
        before,
        readings=tuple(one for one in before.readings if one.station != 2),
        results=tuple(one for one in before.results if one.station != 2),
    )
    whole, moved, without = (
        gather(replace(log, earlier=(earlier,))) for earlier in (before, elsewhere, others)
    )
    assert whole is not None
    assert moved is not None
    assert without is not None
    # two directions, by the gauge and by photograph
    assert len(whole.off_mm) == len(moved.off_mm) + 4
    assert np.array_equal(moved.off_mm, without.off_mm)


def test_a_bar_photographed_as_a_check_tells_the_model_nothing() -> None:
    log = simulate(np.random.default_rng(3), stations=6, earlier=1, photographs=True).log
    photograph = next(result for result in log.results if isinstance(result, Estimate))
    bar = replace(photograph, station=17, diameter_mm=16.0, photo_name="bar.jpg")
    stray = replace(log, results=(*log.results, bar))
    assert stray.beside_the_plan() == (bar,)
    (said,) = [one for one in gaps_and_contradictions(stray) if one.code == "beside-the-plan"]
    assert said.places == (bar.place,)
    without, with_bar = gather(log), gather(stray)
    assert without is not None
    assert with_bar is not None
    assert with_bar.numbers == without.numbers
    assert np.array_equal(with_bar.off_mm, without.off_mm)
