"""The texts of review and result, from the sample with its known wrong entry and thin station."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from inspection.assessment import Assessment, assess
from inspection.model.log import Earlier, Log
from inspection.record.overview.rankings import ListedFinding
from inspection.record.record import Record, open_record
from inspection.record.views import AskedAgain, OpenInspection
from inspection.worst_station import worst_station
from ui.presenters.result_rows import answer_lines, next_steps, open_lines, worst_view
from ui.presenters.review.decisions import (
    ask_again,
    correct_slip,
    reading_of,
    save_decision,
    slips,
    supports,
)
from ui.presenters.review.flagged_entries import flagged_entries
from ui.presenters.review.queue import ReviewItem, review_queue, stations_without_findings
from ui.presenters.review.station import StationView, station_views
from ui.presenters.review.station_finding import (
    doubted,
    figure_line,
    last_time,
    station_facts,
    station_finding,
    strip_entry,
)
from ui.presenters.sheet.headline import headline_of
from ui.services.assess_record import log_of, screen_inspection
from vision.results import Estimate, Place, Refusal

SAMPLE = "2026-09-quay-crane-2"
TRUE_MM = {(3, 0): 21.47, (3, 90): 21.25}  # of the rendered mesh, as `ropephoto demo` prints it


@pytest.fixture
def record(sample: Path, tmp_path: Path) -> Record:
    """Return a record of its own with the sample inspection."""
    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    return open_record(tmp_path / "record.db")


@pytest.fixture(scope="module")
def log(sample: Path) -> Log:
    with open_record(sample / "record.db") as record:
        return log_of(record, SAMPLE)


@pytest.fixture(scope="module")
def assessment(log: Log) -> Assessment:
    return assess(log)


@pytest.fixture(scope="module")
def opened(sample: Path) -> OpenInspection:
    with open_record(sample / "record.db") as record:
        return record.inspection(SAMPLE)


def item_of(opened: OpenInspection, name: str) -> ReviewItem:
    items = [*review_queue(opened), *stations_without_findings(opened)]
    return next(one for one in items if one.name == name)


def test_a_finding_about_many_entries_has_a_short_label(opened: OpenInspection) -> None:
    found = item_of(opened, "Station 3").findings[0]
    many = ("photograph a.jpg (station 1, 0 deg)", "photograph b.jpg (station 2, 0 deg)")
    of_many = replace(found, finding=replace(found.finding, where=many, places=()))
    item = replace(item_of(opened, "Station 3"), station=None, findings=(of_many,))
    assert item.label == "2 photographs"
    assert item.name == ", ".join(many)
    assert item_of(opened, "Station 3").label == "Station 3"


def test_findings_about_the_same_first_entries_stay_apart(opened: OpenInspection) -> None:
    found = item_of(opened, "Station 3").findings[0]
    where = ("photograph a.jpg (station 1, 0 deg)", "photograph b.jpg (station 2, 0 deg)")
    places = (Place(1, 0), Place(2, 0))
    finding = replace(found.finding, where=where, places=places)
    two = [replace(found, key=key, finding=finding, settled_by="") for key in ("k1", "k2")]
    items = review_queue(replace(opened, findings=tuple(two)))
    assert len({one.name for one in items}) == 1
    assert {one.key for one in items} == {"k1", "k2"}
    listed = [ListedFinding(SAMPLE, "rope", "place", date(2026, 9, 15), True, one) for one in two]
    assert [one.query["look"] for one in flagged_entries(listed, {})] == ["k1", "k2"]


def test_the_finding_is_one_line_with_the_figures_and_the_loss_is_reported(
    opened: OpenInspection, assessment: Assessment, planted_photo: str
) -> None:
    item, views = item_of(opened, "Station 3"), station_views(opened, assessment, 3)
    found = station_finding(item, views)
    assert found.lead.startswith(f"90°: 22.11 logged, the photograph shows {planted_photo} ")
    assert any("as likely" in words for words in found.more)  # the odds, as screening gives them
    assert not any("was logged" in words for words in found.more)  # nothing twice
    assert (found.tone, found.loss) == ("odd", True)
    assert "broken core" in " ".join(found.remedies)
    at = doubted(item, views)
    assert at is not None
    assert at.view_deg == 90
    assert [figure_line(view)[1] for view in views] == ["logged 21.50", "logged 22.11"]
    unread = {one.view_deg: one for one in opened.results if isinstance(one, Refusal)}
    labels = [figure_line(StationView(at or 0, unread[at], None))[0] for at in (None, 0)]
    assert labels == ["no diameter", "0° · no diameter"]


def test_a_station_that_agrees_is_calm_and_waits_all_the_same(
    opened: OpenInspection, assessment: Assessment
) -> None:
    item, views = item_of(opened, "Station 1"), station_views(opened, assessment, 1)
    found = station_finding(item, views)
    assert (found.tone, found.remedies) == ("calm", ())
    assert found.lead.count("agrees") == 2
    assert (item.waits, item.settled, item.owes_reason) == (True, True, False)
    assert doubted(item, views) is None


def test_the_strip_says_each_stations_state(record: Record, assessment: Assessment) -> None:
    there = record.inspection(SAMPLE)
    compared = list(assessment.crosscheck.comparisons)

    def told(name: str) -> tuple[str, str]:
        entry = strip_entry(item_of(record.inspection(SAMPLE), name), compared)
        return entry.mark, entry.words

    assert told("Station 1") == ("○", "agrees")
    vague = [replace(one, word="cannot say") for one in compared]
    assert strip_entry(item_of(there, "Station 1"), vague).words == "too uncertain"
    (odd,) = [one for one in compared if one.place == Place(3, 90)]
    assert told("Station 3") == ("≠", f"{abs(odd.difference_mm):.2f} apart")
    assert told("Station 5") == ("!", "refused")
    calm = item_of(there, "Station 1")
    save_decision(record, there, calm, "accepted", by="Reviewer B", why="")
    assert told("Station 1") == ("✓", "accepted")
    there = record.inspection(SAMPLE)
    ask_again(
        record, there, item_of(there, "Station 3"), AskedAgain(3, "reading", 90), by="Reviewer B"
    )
    assert told("Station 3") == ("↩", "reading again")


def test_last_time_is_the_newest_inspection_that_holds_the_station(log: Log) -> None:
    before = []
    for years in (2, 1):
        readings = tuple(
            replace(one, value_mm=one.value_mm + 0.1 * years, at=None)
            for one in log.readings
            if one.station != 4
        )
        on = log.inspection.on - timedelta(days=365 * years)
        visit = replace(log.inspection, identity=f"{years} before", on=on)
        before.append(Earlier(visit, readings))
    worn = assess(replace(log, earlier=tuple(before)))
    assert last_time(worn, 1) == (
        "2025-09-15: gauge 0° 22.34 · 90° 22.27 mm; mean by gauge −0.10 mm since"
    )
    assert last_time(worn, 4) == ""


def test_the_facts_beside_it_name_neighbours_gauge_and_what_makes_it_uncertain(
    opened: OpenInspection, assessment: Assessment
) -> None:
    views = station_views(opened, assessment, 3)
    facts = dict(station_facts(opened, assessment, 3, views[1]))
    assert facts["Last time"] == "not measured before"
    assert facts["Neighbours"].startswith("2: 22.1")
    assert "4: 22.1" in facts["Neighbours"]
    assert "read by Inspector A" in facts["Gauge"]
    assert facts["Main sources of U"]


def test_only_what_the_photograph_supports_is_offered_as_a_slip(
    opened: OpenInspection, assessment: Assessment
) -> None:
    (one,) = [item for item in assessment.crosscheck.comparisons if item.place == Place(3, 90)]
    logged = reading_of(opened, one)
    assert logged is not None
    found = slips(logged.reading, one)
    assert found[0].text == "21.21"
    assert all(abs(float(slip.text) - TRUE_MM[3, 90]) < 0.2 for slip in found)
    assert supports(one, TRUE_MM[3, 90])
    assert not supports(one, one.gauge_mm)


def test_a_corrected_slip_stands_with_its_reason_and_keeps_what_was_typed(
    record: Record, assessment: Assessment, planted_photo: str
) -> None:
    (one,) = [item for item in assessment.crosscheck.comparisons if item.place == Place(3, 90)]
    there = record.inspection(SAMPLE)
    with pytest.raises(ValueError, match="ask for the reading again"):
        correct_slip(record, there, one, "22.01", by="Reviewer B")
    with pytest.raises(ValueError, match="is already the reading"):
        correct_slip(record, there, one, "22.11", by="Reviewer B")
    correct_slip(record, there, one, "21.21", by="Reviewer B", why="asked the inspector")
    (event,) = [one for one in record.events(subject=SAMPLE) if one.kind == "slip corrected"]
    assert (event.old_value["typed"], event.new_value["typed"]) == ("22.11", "21.21")
    says = f"22.11 was a slip for 21.21; the photograph says {planted_photo} mm"
    assert event.why.startswith(says)
    assert event.why.endswith("asked the inspector")


def test_the_answer_is_the_thin_station_with_its_thinner_photograph(
    opened: OpenInspection, assessment: Assessment
) -> None:
    worst = worst_station(assessment)
    assert worst is not None
    assert worst.station == 3
    mean = (TRUE_MM[3, 0] + TRUE_MM[3, 90]) / 2
    assert worst.diameter_mm == pytest.approx(mean, abs=2 * worst.u_mm)
    lines = answer_lines(assessment, worst)
    # by hand: reference 22.44 mm, nominal 22 mm, ISO 4309:2017 counts in % of nominal
    decrease = 100 * (22.44 - worst.diameter_mm) / 22
    assert lines[0].startswith(f"{decrease:.1f} % of nominal below the reference of 22.44 mm")
    assert any("It may be a loss of section. Look there for a broken core" in one for one in lines)
    assert lines[-1] == (
        "A gauge reading disagrees with its photograph and has to be checked: "
        "22.11 mm at station 3, 90°."
    )
    view = worst_view(opened, assessment, worst)
    assert view is not None
    assert view.view_deg == 90


def test_a_thin_station_measured_in_one_direction_is_named_first(
    opened: OpenInspection, log: Log
) -> None:
    thin = next(one for one in log.results if one.place == Place(3, 90))
    assert isinstance(thin, Estimate)
    bare = assess(
        replace(
            log,
            results=(
                *(one for one in log.results if one.station != 3),
                replace(thin, diameter_mm=16.0),
            ),
            readings=tuple(one for one in log.readings if one.station != 3),
        )
    )
    worst = worst_station(bare)
    assert worst is not None
    assert (worst.station, worst.directions) == (3, 1)
    assert worst.why == "possible loss of section"
    assert worst.is_thinnest
    lines = answer_lines(bare, worst)
    assert any("It may be a loss of section." in one for one in lines)
    assert "Measured in one direction only: no mean, no verdict." in lines
    assert "reference" not in lines[0]  # it is known: what lacks is a direction
    said = headline_of(opened, bare)
    assert said.answer.startswith("Station 3 is thinnest: 16.00 ±")
    assert said.answer.endswith("mm, in one direction only")
    assert "no severity without a second direction" in said.detail


@pytest.mark.parametrize("reference_mm", [None, 22.44])
def test_a_lift_rope_is_compared_with_nominal_and_nothing_else_is_asked_for(
    opened: OpenInspection, log: Log, reference_mm: float | None
) -> None:
    lift = replace(log.rope, duty="lift", reference_mm=reference_mm)
    assessment = assess(replace(log, rope=lift))
    worst = worst_station(assessment)
    assert worst is not None
    for said in (
        headline_of(replace(opened, rope=lift), assessment).detail,
        answer_lines(assessment, worst)[0],
    ):
        assert "% from nominal, with which lift ropes are compared" in said
        assert "reference" not in said
        assert "direction" not in said


@pytest.mark.parametrize("changed", [{"service": "new"}, {"duty": "mine"}])
def test_where_the_table_is_not_for_the_rope_no_reference_diameter_is_asked_for(
    opened: OpenInspection, log: Log, changed: dict[str, str]
) -> None:
    other = replace(log.rope, reference_mm=None, **changed)  # type: ignore[arg-type]
    assessment = assess(replace(log, rope=other))
    worst = worst_station(assessment)
    assert worst is not None
    said = headline_of(replace(opened, rope=other), assessment).detail
    assert "no severity: the table is not for such a rope" in said
    assert "reference" not in answer_lines(assessment, worst)[0]


def test_a_rope_thicker_than_its_reference_has_no_negative_decrease(
    opened: OpenInspection, log: Log
) -> None:
    thin = replace(log.rope, reference_mm=20.0)
    said = headline_of(replace(opened, rope=thin), assess(replace(log, rope=thin)))
    assert "% of nominal above the reference of 20.00 mm" in said.detail
    assert not said.detail.startswith("-")


def test_without_a_reference_no_decrease_is_reported_and_the_answer_says_why(log: Log) -> None:
    bare = assess(replace(log, rope=replace(log.rope, reference_mm=None)))
    worst = worst_station(bare)
    assert worst is not None
    assert (
        "The decrease can't be stated without a reference diameter" in answer_lines(bare, worst)[0]
    )


def test_what_is_open_and_what_comes_now_follow_the_decisions(
    record: Record, assessment: Assessment
) -> None:
    there = record.inspection(SAMPLE)
    lines = open_lines(there, assessment)
    assert lines[0].startswith("3 places are waiting for a reviewer: Station 3")
    assert "2 photographs give no diameter." in lines
    first = next_steps(there, assessment)[0]
    assert (first.screen, first.station, first.view_deg) == ("review", 3, 90)
    last = next_steps(there, assessment)[-1]
    assert (last.screen, last.words) == ("condition", "Record the condition and submit")
    ask_again(
        record, there, item_of(there, "Station 3"), AskedAgain(3, "reading", 90), by="Reviewer B"
    )
    there = record.inspection(SAMPLE)
    asked, then, *_ = next_steps(there, assessment)
    assert (asked.screen, asked.words) == ("sheet", "Read station 3, 90°, again")
    assert (asked.station, asked.view_deg) == (3, 90)
    assert then.screen == "review"
    assert any("Station 3 is with the inspector" in line for line in open_lines(there, assessment))
    logged = next(one for one in there.logged if one.reading.typed == "22.11")
    right = replace(logged.reading, typed="21.21", value_mm=21.21)
    record.correct_reading(SAMPLE, logged.number, right, by="Inspector A", why="read again")
    screen_inspection(record, SAMPLE, by="Inspector A")
    there = record.inspection(SAMPLE)
    assert next_steps(there, assessment)[0].screen == "review"  # it came back
