"""Lay lengths compared with each other, the certificate and the last inspection.

Figures by hand; probabilities of the normal distribution from scipy, covariance from GTC.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import GTC  # type: ignore[import-untyped]
import numpy as np
import pytest
from scipy.stats import norm

from inspection.assessment import assess
from inspection.model.log import Earlier, Log
from inspection.model.rope import Inspection, Rope, Station
from inspection.screening.checks.lay_length import lay_length_tests, station_lays, with_strands
from inspection.screening.screen import screen_log
from vision.results import Estimate
from vision.uncertainty import Term

ROPE = Rope("R-1", 22.0)
PRINT = Term("print scale along the rope", 0.002, "1", 24.0, "B", "print:A:x")  # 0.048 mm


def _seen(station: int, pitch_mm: float, view_deg: int = 0, **more: object) -> Estimate:
    own = Term("places of the crowns", 0.05, "mm", 1.0, "A", f"crowns:{station}:{view_deg}:{more}")
    base = Estimate(
        22.1,
        (Term("edges", 0.03, "mm", 1.0, "A", f"edge:{station}:{view_deg}"),),
        station=station,
        view_deg=view_deg,
        crown_pitch_mm=pitch_mm,
        pitch_budget=(own, PRINT),
        pitches=10,
        strands=6,
        hand="right",
    )
    return replace(base, **more)  # type: ignore[arg-type]


def _log(*results: Estimate, rope: Rope = ROPE, earlier: tuple[Earlier, ...] = ()) -> Log:
    stations = tuple(Station(number, 10.0 * number) for number in (1, 2, 3))
    return Log(
        rope,
        Inspection("I-2", "R-1", date(2026, 11, 3), stations=stations),
        (),
        results=results,
        earlier=earlier,
    )


def test_a_station_is_the_mean_of_its_photographs_times_the_strands() -> None:
    (lay,) = station_lays([_seen(1, 24.0), _seen(1, 24.2, 90)], 6)
    scale = 24.0 * (GTC.ureal(1.0, 0.002) - 1)
    both = 3 * (GTC.ureal(24.0, 0.05) + scale + GTC.ureal(24.2, 0.05) + scale)
    assert lay.lay_mm == pytest.approx(144.6)
    assert lay.u_mm == pytest.approx(GTC.uncertainty(both))
    assert lay.pitches == 20
    assert lay.words == (
        "Station 1: lay length 144.6 mm, U 0.7 mm, right hand, from 20 pitches in 2 photographs."
    )


def test_photographs_without_a_pitch_or_a_station_have_no_lay() -> None:
    rough = replace(_seen(1, 24.0), pitch_budget=())
    assert station_lays([rough, replace(_seen(1, 24.0), station=None)], 6) == ()


def test_strands_that_somebody_says_make_the_lay() -> None:
    untold, rough = replace(_seen(1, 24.0), strands=None), replace(_seen(2, 24.0), pitch_budget=())
    told = with_strands([untold, rough], 8)
    assert [getattr(one, "lay_mm", 0) for one in told] == [pytest.approx(192.0), None]
    assert untold.lay_mm is None
    assert with_strands([untold], None) == [untold]


def test_two_stations_differ_by_what_they_do_not_share() -> None:
    (test,) = lay_length_tests(_log(_seen(1, 24.0), _seen(2, 24.4)))
    # print scale is shared and cancels: u = 6 sqrt(2) 0.05; z = 2.4 / 0.424
    assert test.p == pytest.approx(2 * norm.sf(2.4 / (6 * 2**0.5 * 0.05)), rel=1e-6)
    assert "144.0 mm; at the other stations it is 146.4 mm on average: -2.4 mm" in test.seen
    assert "No published limit is known" in test.remedy
    assert test.innocent


def test_the_certificate_and_the_last_inspection_are_held_against_it() -> None:
    then = Inspection("I-1", "R-1", date(2025, 11, 3))
    earlier = (Earlier(then, (), (_seen(1, 23.5, photo_name="then.jpg"),)),)
    log = _log(_seen(1, 24.0), rope=replace(ROPE, lay_mm=143.0), earlier=earlier)
    codes = {test.code: test for test in lay_length_tests(log)}
    assert set(codes) == {"lay-certificate", "lay-changed"}
    assert codes["lay-certificate"].value == pytest.approx(1.0)
    u = 6 * (0.05**2 + 0.048**2) ** 0.5
    assert codes["lay-certificate"].p == pytest.approx(2 * norm.sf(1 / u))
    assert codes["lay-changed"].value == pytest.approx(3.0)
    assert "on 2025-11-03 it was 141.0 mm" in codes["lay-changed"].seen


def test_a_changed_lay_is_among_the_findings_and_an_even_one_is_not() -> None:
    found = screen_log(_log(_seen(1, 24.0), _seen(2, 26.0), _seen(3, 24.02)))
    assert (found[0].code, found[0].where, found[0].severity) == (
        "lay-along",
        ("station 2",),
        "look",
    )
    assert screen_log(_log(_seen(1, 24.0), _seen(2, 24.05), _seen(3, 23.98))) == ()


def test_strands_that_the_papers_do_not_have_are_reported() -> None:
    log = _log(_seen(1, 24.0), _seen(2, 24.0), rope=replace(ROPE, outer_strands=8))
    (test,) = [one for one in lay_length_tests(log) if one.code == "strands-differ"]
    assert "show 6 outer strands, but 8 are entered" in test.seen
    one_only = _log(_seen(1, 24.0), rope=replace(ROPE, outer_strands=8))
    assert not [one for one in lay_length_tests(one_only) if one.code == "strands-differ"]


def test_the_judgement_carries_the_lays() -> None:
    assert [lay.station for lay in assess(_log(_seen(1, 24.0), _seen(2, 24.0))).lays] == [1, 2]


def test_honest_lays_raise_a_finding_as_rarely_as_the_level_says() -> None:
    # 5 %: of 100 honest logs at most 13 in 99.9 of 100 cases (binomial), whatever they share
    rng, rope, alarms, found = np.random.default_rng(5), replace(ROPE, lay_mm=144.0), 0, 0
    for turn in range(100):
        scale = [
            1 + rng.normal(0, 0.002) for _ in range(2)
        ]  # two print checks; each photograph's crowns are its own
        seen = [
            [
                _seen(n, 24.0 * scale[t] + rng.normal(0, 0.05), photo_name=f"{t}.jpg")
                for n in range(1, 7)
            ]
            for t in (0, 1)
        ]
        then = [
            replace(one, pitch_budget=(one.pitch_budget[0], replace(PRINT, source="print:B:x")))
            for one in seen[1]
        ]
        before = (Earlier(Inspection("I-1", "R-1", date(2025, 11, 3)), (), tuple(then)),)
        alarms += bool(screen_log(_log(*seen[0], rope=rope, earlier=before)))
        if turn >= 30:
            continue
        seen[0][3] = replace(seen[0][3], crown_pitch_mm=24.7)  # 3 % longer at station 4
        first = screen_log(_log(*seen[0], rope=rope, earlier=before))[:1]
        found += bool(first and first[0].where == ("station 4",))
    assert alarms <= 13
    assert found >= 28
