"""Screening answers for any typed text: no traceback, and consistent findings."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspection.assessment import assess
from inspection.model.readings import Reading
from inspection.screening.screen import screen_log
from tests.inspection.simulated_logs import GAUGES, simulate_log

LOG = simulate_log(np.random.default_rng(17), stations=4, earlier=1, photographs=True)
ZONES = (None, UTC, timezone(timedelta(hours=-7)))
moments = st.none() | st.datetimes(
    datetime(2026, 10, 1), datetime(2026, 12, 1), timezones=st.sampled_from(ZONES)
)
odd_readings = st.builds(
    lambda value, places, station, view, gauge, person, at: Reading(
        f"{value:.{places}f}", float(f"{value:.{places}f}"), station, view, gauge, person, at
    ),
    st.floats(0.02, 1e9),
    st.integers(2, 6),
    st.integers(1, 9),
    st.sampled_from([0, 45, 90, 135, 359]),
    st.sampled_from([*(gauge.identity for gauge in GAUGES), "unknown"]),
    st.sampled_from(["A. Berg", "M. Ilves"]),
    moments,
)


@pytest.mark.parametrize("beside", [True, False], ids=["beside honest ones", "alone"])
@settings(max_examples=4, deadline=None)
@given(st.lists(odd_readings, max_size=8))
def test_any_readings_are_answered_and_the_list_is_ranked(beside: bool, odd: list[Reading]) -> None:
    readings = (*LOG.readings, *odd) if beside else tuple(odd)
    judged = assess(replace(LOG, readings=readings), level=0.3)
    for one in judged.findings:
        assert one.severity == "look"
        assert one.p_value is None or 0 <= one.p_value <= 0.3
        assert one.where
    assert judged.first_concern


@settings(max_examples=8, deadline=None)
@given(st.permutations(range(len(LOG.readings))))
def test_the_order_of_the_log_does_not_change_what_is_found(order: list[int]) -> None:
    slip = replace(LOG.readings[3], typed="3.5", value_mm=3.5)
    readings = [slip if entry == 3 else item for entry, item in enumerate(LOG.readings)]
    straight = screen_log(replace(LOG, readings=tuple(readings)))
    mixed = screen_log(replace(LOG, readings=tuple(readings[entry] for entry in order)))
    assert {(one.code, frozenset(one.where)) for one in mixed} == {
        (one.code, frozenset(one.where)) for one in straight
    }
