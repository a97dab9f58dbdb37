"""The bar of the sheet on a phone: which place comes next, and the last photograph's result."""

from __future__ import annotations

import os
from dataclasses import replace

from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record
from inspection.record.views import OpenInspection, Request
from tests.ui.sheet_hands import SAMPLE
from ui.presenters.sheet.next_photograph import next_photograph
from vision.results import Estimate, Refusal

STATIONS = (1, 2, 3, 4, 5)


def sample(at: AppTest) -> OpenInspection:
    at.run()
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.inspection(SAMPLE)


def test_the_bar_names_the_open_places_and_the_last_photograph(sample_app: AppTest) -> None:
    opened = sample(sample_app)
    shown = next_photograph(opened, STATIONS, frozenset())
    assert [(one.station, one.view_deg) for one in shown.places] == [(5, 0), (5, 90)]
    assert shown.places[0].why.startswith("The phone was tilted 48 degrees")  # refuse-tilted.jpg
    assert (shown.last_field, shown.good, shown.waiting) == ("4/90", True, 0)
    last = next(
        one for one in opened.results
        if isinstance(one, Estimate) and (one.station, one.view_deg) == (4, 90)
    )  # fmt: skip
    assert shown.last == f"Station 4, 90°: {last.diameter_mm:.2f} ± {last.expanded_mm():.2f} mm"


def test_a_blind_reader_sees_no_figure_there(sample_app: AppTest) -> None:
    shown = next_photograph(sample(sample_app), STATIONS, frozenset({"4/90"}))
    assert shown.last == "Station 4, 90°: measured; type your reading to see the figure"
    assert not shown.more


def test_a_refused_photograph_says_why_and_what_to_do(sample_app: AppTest) -> None:
    opened = sample(sample_app)
    refusal = next(one for one in opened.results if isinstance(one, Refusal) and one.station)
    there = next(one for one in opened.photographs if one.sha256 == refusal.photo_sha256)
    others = tuple(one for one in opened.photographs if one != there)
    shown = next_photograph(replace(opened, photographs=(*others, there)), STATIONS, frozenset())
    reason = refusal.findings[0]
    assert (shown.last, shown.good) == ("Station 5, 0°: no diameter", False)
    assert shown.more == f"{reason.seen} {reason.remedy}"


def test_a_photograph_not_measured_yet_waits(sample_app: AppTest) -> None:
    opened = sample(sample_app)
    last = opened.photographs[-1]
    waits = replace(
        opened,
        results=tuple(one for one in opened.results if one.photo_sha256 != last.sha256),
        requests=tuple(
            replace(one, waiting=True) if one.sha256 == last.sha256 else one
            for one in opened.requests
        ),
    )
    assert all(isinstance(one, Request) for one in waits.requests)
    shown = next_photograph(waits, STATIONS, frozenset())
    assert shown.waiting == 1
    assert shown.last_field == "4/0"  # the one before it
    # measured again, it has a figure: it is not waited for here
    assert (
        next_photograph(replace(waits, results=opened.results), STATIONS, frozenset()).waiting == 0
    )


def test_without_planned_stations_the_next_one_is_offered(sample_app: AppTest) -> None:
    opened = sample(sample_app)
    unplanned = replace(opened, inspection=replace(opened.inspection, stations=()))
    assert next_photograph(unplanned, STATIONS, frozenset()).following == 6
    assert next_photograph(opened, STATIONS, frozenset()).following == 0
