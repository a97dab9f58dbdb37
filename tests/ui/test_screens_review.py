"""Decisions about stations on the screens, and the supervisor's entries as tables."""

from __future__ import annotations

import csv
import io
import os
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import openpyxl
import pytest
from streamlit.testing.v1 import AppTest

from inspection.assessment import Assessment, assess
from inspection.comparison.standing_apart import stand_apart
from inspection.model.log import Earlier
from inspection.record.errors import RecordError
from inspection.record.overview.examinations import ComparedEntry, not_examined
from inspection.record.overview.rankings import ListedFinding, ReaderTally
from inspection.record.record import open_record
from inspection.record.views import LoggedFinding, StationReview
from tests.ui.test_screens import PLANTED, SAMPLE, button, clean, kept, send_back, stands
from ui.charts.rope import history_chart
from ui.presenters.review.decisions import save_decision
from ui.presenters.review.flagged_entries import (
    HEADINGS,
    READER_HEADINGS,
    FlaggedEntry,
    entry_rows,
    evidence,
    grouped_entries,
    ranked_readers,
    reader_rows,
    table_file,
)
from ui.presenters.review.queue import review_queue
from ui.presenters.trends import nearest_first, station_trends, trend_row
from ui.services.assess_record import log_of, screen_inspection
from ui.web.panels.station_charts import station_history
from vision.results import Finding, Place


def test_only_another_person_overrules(sample_app: AppTest) -> None:
    sample_app.run()
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        first = review_queue(there)[0]
        with pytest.raises(RecordError, match="no decision to overrule"):
            save_decision(record, there, first, "overruled", by="Reviewer B", why="no")
        save_decision(record, there, first, "accepted", by="Reviewer B", why="seen")
        there = record.inspection(SAMPLE)
        first = next(one for one in review_queue(there) if one.name == PLANTED)
        with pytest.raises(RecordError, match="another person"):
            save_decision(record, there, first, "overruled", by="reviewer b", why="no")
        save_decision(record, there, first, "overruled", by="Supervisor C", why="read it again")
        there = record.inspection(SAMPLE)
    last = there.station_reviews[-1]
    assert (last.state, last.back, last.who) == ("overruled", True, "Supervisor C")
    assert there.state == "sent back"  # what was accepted goes back to the inspector


def test_a_station_that_was_sent_back_returns_with_a_new_reading(sample_app: AppTest) -> None:
    sample_app.run()
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        save_decision(
            record, there, review_queue(there)[0], "sent back", by="Reviewer B", why="read it again"
        )
    at = clean(sample_app.switch_page("screens/sheet.py").run())  # the inspector sees it
    assert any(f"{PLANTED} was sent back" in one.value for one in at.warning)
    at = clean(sample_app.switch_page("screens/result.py").run())  # said once, among what is open
    assert not any("was sent back" in one.value for one in at.warning)
    assert any(f"{PLANTED} is with the inspector" in one.value for one in at.markdown)
    at = sample_app.switch_page("screens/sheet.py").run()
    waiting = {one.name: one for one in review_queue(kept())}[PLANTED]
    assert (waiting.settled, waiting.with_inspector) == (True, True)
    assert not [one for one in kept().findings if one.settled_by]  # nothing was put right yet

    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        logged = record.inspection(SAMPLE).logged
        wrong = next(one for one in logged if one.reading.typed == "22.11")
        right = replace(wrong.reading, typed="21.21", value_mm=21.21)
        record.correct_reading(SAMPLE, wrong.number, right, by="Inspector A", why="swapped")
        screen_inspection(record, SAMPLE, by="Inspector A")
    back = {one.name: one for one in review_queue(kept())}[PLANTED]
    assert (back.settled, back.came_back) == (False, True)
    at = clean(sample_app.switch_page("screens/review.py").run())
    next(one for one in at.radio if one.label == "Stations").set_value(PLANTED)
    at = clean(at.run())
    assert any("has changed since it was sent back" in one.value for one in at.warning)
    legend = [any("Solid yellow" in one.proto.body for one in at.get("html"))]
    next(one for one in at.radio if one.label == "Stations").set_value("Station 5")
    at = clean(at.run())  # its photograph was refused: nothing is drawn on it
    legend.append(any("Solid yellow" in one.proto.body for one in at.get("html")))
    assert legend == [True, False]
    next(one for one in at.radio if one.label == "Stations").set_value(PLANTED)
    at = clean(at.run())
    clean(stands(at, "competent person told"))
    assert not [one for one in review_queue(kept()) if one.name == PLANTED and not one.settled]
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.verify().faults == ()


def test_a_calm_station_can_be_sent_back_too(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    station = next(one for one in at.radio if one.label == "Stations")
    at = clean(station.set_value("Station 1").run())
    clean(send_back(at, "one more photograph"))
    assert [one.name for one in review_queue(kept()) if one.with_inspector] == ["Station 1"]


def test_the_differences_are_shown_by_camera_too(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/supervise.py").run())
    pills = next(one for one in at.button_group if one.label == "Group by")
    at = clean(pills.set_value("camera").run())
    told = " ".join(one.value for one in (*at.markdown, *at.selectbox) if one.value)
    cameras = {one.camera for one in judge_log_of().crosscheck.comparisons}
    assert any((name or "not named") in told for name in cameras)


def judge_log_of() -> Assessment:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return assess(log_of(record, SAMPLE))


# ---- the supervisor's entries -------------------------------------------------------------


def test_the_entries_as_tables_hold_evidence_and_a_link_and_run_nothing() -> None:
    """A place that begins like a formula is text in both files (OWASP, CSV injection)."""
    entries = [FlaggedEntry(invented("=1+1"), None, ("station 3, 90 deg: -0.90 mm",))]
    with io.StringIO(
        table_file(HEADINGS, entry_rows(entries), ".csv").decode("utf-8-sig"), newline=""
    ) as file:
        head, row = list(csv.reader(file))
    told = dict(zip(head, row, strict=True))
    assert told["place"][:1] not in "=+-@"
    assert told["place"].lstrip("'") == "=1+1"
    assert told["page"] == "review?inspection=visit&station=3&view=90"
    assert told["state"] == "waits for a reviewer"
    book = openpyxl.load_workbook(io.BytesIO(table_file(HEADINGS, entry_rows(entries), ".xlsx")))
    cells = [cell for line in book.worksheets[0].iter_rows() for cell in line]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert any(str(cell.value).lstrip("'") == "=1+1" for cell in cells)


def invented(place: str, settled: str = "") -> ListedFinding:
    finding = Finding(
        "odd",
        "seen",
        "look",
        "look",
        where=("station 3, 90 deg",),
        p_value=0.01,
        places=(Place(3, 90),),
    )
    logged = LoggedFinding("k", finding, True, "Reviewer B" if settled else "", "", settled)
    return ListedFinding("visit", "rope", place, date(2026, 11, 2), True, logged)


def test_an_entry_says_where_it_stands() -> None:
    assert FlaggedEntry(invented("")).state == "waits for a reviewer"
    accepted = FlaggedEntry(invented("", "accepted: seen at the rope"))
    assert (accepted.state, accepted.reason, accepted.who) == (
        "accepted although it disagrees", "seen at the rope", "Reviewer B",
    )  # fmt: skip
    back = StationReview(3, "sent back", True, True, "Reviewer B", "", "read 3 again", "reading")
    sent = FlaggedEntry(invented(""), back)
    assert (sent.state, sent.reason) == ("with the inspector", "read 3 again")


def test_one_fault_does_not_fill_the_list_and_no_loss_is_folded_behind_a_slip() -> None:
    def entry(inspection: str, station: int, code: str, *, lost: bool = False) -> FlaggedEntry:
        one = invented("")
        finding = replace(
            one.logged.finding, code=code, look_first=lost, places=(Place(station, 0),)
        )
        logged = replace(one.logged, finding=finding)
        return FlaggedEntry(replace(one, inspection=inspection, logged=logged))

    given = [
        entry("b", 3, "misread"),
        entry("b", 3, "odd"),  # the same station and inspection: shown beside it
        entry("a", 3, "odd"),  # the same station earlier: folded
        entry("a", 3, "local-decrease", lost=True),  # never behind a slip
        entry("0", 3, "local-decrease", lost=True),  # behind another loss
        entry("b", 5, "odd"),  # the first of its kind that has no group of its own
        entry("b", 6, "odd"),
        entry("b", 7, "misread"),  # of the kind of the first, which an earlier one is folded under
    ]
    found = [
        ([given.index(one) for one in group.shown], [given.index(one) for one in group.folded])
        for group in grouped_entries(given)
    ]
    assert found == [([0, 1], [2, 7]), ([3], [4]), ([5], [6])]
    first, _, last = grouped_entries(given)
    assert re.fullmatch(
        "1 more entry of this kind: .+; 1 more entry about this station: 2026-11-02",
        first.folded_words,
    )
    assert last.folded_words.startswith("1 more entry of this kind: station")


def test_evidence_is_the_comparison_at_the_place_unless_the_finding_says_it() -> None:
    there = ComparedEntry(
        "visit", 3, 90, 21.20, 22.11, -0.91, 0.05, 0.05, (), "disagrees", "C-1", "A. Berg"
    )
    elsewhere = replace(there, station=4)
    other = invented("").logged.finding
    says_it = replace(other, code="photograph-disagrees", value=-0.91 / 0.05)
    assert evidence(says_it, [there, elsewhere]) == ()  # it names the difference itself
    assert evidence(other, [there, elsewhere]) == (
        "station 3, 90 deg: photograph 21.20 mm, gauge 22.11 mm, "
        "difference -0.91 ± 0.10 mm: disagrees.",
    )


def test_who_stands_apart_comes_before_who_has_more_to_look_at() -> None:
    compared = [
        ComparedEntry(
            "visit", n, 0, 22.0, 22.0, off + 0.01 * (n % 3), 0.02, 0.02, (), "agrees", name, ""
        )
        for name, off in (("C-1", 0.0), ("C-2", 0.3), ("C-3", 0.0))
        for n in range(12)
    ]
    tallies = {"C-1": ReaderTally(open=1), "C-3": ReaderTally(open=7, accepted=2)}
    found = ranked_readers("gauge", stand_apart(compared), tallies, compared)
    assert [one.name for one in found] == ["C-2", "C-3", "C-1"]
    assert found[0].stands_apart == "reads differently"
    row = dict(zip(READER_HEADINGS, reader_rows(found)[1], strict=True))
    assert (row["name"], row["entries to check"], row["comparisons"]) == ("C-3", "7", "12")


# ---- trap: the list never goes silent -----------------------------------------------------


def test_an_accepted_disagreement_stays_in_the_list_with_its_reason(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    clean(stands(at, "a raised wire under the jaw"))
    at = clean(at.switch_page("screens/supervise.py").run())
    told = " ".join(one.value for one in at.markdown)
    assert "accepted although it disagrees" in told
    assert "a raised wire under the jaw" in told
    assert "2 accepted as they are" in told  # the entry, and the section that may be lost


def test_an_imported_inspection_is_not_examined_yet_until_it_is(
    sample_app: AppTest, tmp_path: Path
) -> None:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        other = replace(there.inspection, identity="imported", on=date(2025, 9, 1))
        record.add_inspection(other, by="Inspector A")
        record.add_readings("imported", there.readings, by="Inspector A")
    at = clean(sample_app.run().switch_page("screens/supervise.py").run())
    assert any("2 not examined yet" in one.value for one in at.warning)
    assert not any("No entry is waiting" in one.value for one in at.info)
    button(at, "Examine 2 now").click()  # type: ignore[attr-defined]
    at = clean(at.run())
    assert not at.warning
    assert any("2 inspections were examined" in one.value for one in at.success)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert not_examined(record) == []
        assert record.verify().faults == ()


# ---- over the inspections -----------------------------------------------------------------


@pytest.fixture(scope="module")
def worn(sample: Path) -> Assessment:
    """Return the sample after three invented inspections: 0.12 mm a year thinner, evenly."""
    with open_record(sample / "record.db") as record:
        log = log_of(record, SAMPLE)
    swapped = {22.11: 21.21}  # as it should have been typed
    before = []
    for years in (3, 2, 1):
        on = log.inspection.on - timedelta(days=round(365.25 * years))
        readings = tuple(
            replace(
                one,
                at=None,
                value_mm=swapped.get(one.value_mm, one.value_mm) + 0.12 * years,
                typed=f"{swapped.get(one.value_mm, one.value_mm) + 0.12 * years:.2f}",
            )
            for one in log.readings
        )
        visit = replace(log.inspection, identity=f"{years} before", on=on)
        before.append(Earlier(visit, readings))
    return assess(replace(log, earlier=tuple(before)))


def test_the_wrong_entry_lies_outside_what_the_history_lets_expect(worn: Assessment) -> None:
    """Even wear of 0.12 mm a year: the photographs go on with it, the swapped digits don't."""
    told = station_history(worn, 3)
    assert told is not None
    data, words = told
    assert "from 3 earlier inspections" in words
    assert "gauge reading 21.80 mm, outside" in words
    seen = next(one.mean_mm for one in worn.photograph_sections if one.station == 3)
    assert f"by photographs {seen:.2f} mm, within" in words
    assert "-0.120 mm per year" in words
    today = worn.log.inspection.on
    low, high = next((low, high) for on, low, _, high in data.band if on >= today)
    assert low < data.photographs[0].mean_mm < high < data.figures[-1].mean_mm
    assert len(data.figures) == 4


def test_a_station_without_earlier_inspections_has_no_history(sample: Path) -> None:
    with open_record(sample / "record.db") as record:
        assessment = assess(log_of(record, SAMPLE))
    assert station_history(assessment, 3) is None
    assert station_trends([assessment]) == []


def test_the_station_nearest_to_its_limit_comes_first_with_its_rate(worn: Assessment) -> None:
    found = nearest_first(station_trends([worn]))
    assert {one.station for one in found} == {1, 2, 3, 4}
    assert found[0].station == 3  # it may have lost section, whatever its line says
    days = [one.met.earliest for one in found[1:] if one.met is not None and one.met.earliest]
    assert days == sorted(days)
    calm = next(one for one in found if one.station == 1)
    assert calm.line is not None
    # whole days: half a day in a year is 0.14 % of the rate
    assert calm.line.rate_mm_per_year == pytest.approx(-0.12, abs=0.12 * 0.5 / 365.25)
    _, station, concern, source, last, rate, least, when = trend_row(calm)
    assert (station, concern, source) == ("1", "", "gauge")
    assert rate.startswith("-0.120 (")
    assert float(least) < float(last)
    assert when == "not within 10 years"  # 1.4 mm at 0.12 mm a year
    doubted = next(one for one in found if one.station == 3)  # its last entry was typed wrong
    assert "It rests on an entry that has to be checked: " in doubted.words
    assert "second look" not in calm.words


def test_a_loss_that_only_photographs_show_is_not_hidden_by_the_gauge(worn: Assessment) -> None:
    """A copied or mistyped reading must not put the thinnest station last."""
    visit = worn.log.inspection
    before = replace(visit, identity="before", on=visit.on - timedelta(days=365))
    found = nearest_first(
        station_trends([replace(worn, log=replace(worn.log, inspection=before)), worn])
    )
    assert [(one.station, one.source, one.concern) for one in found[:2]] == [
        (3, "photographs", "possible loss of section"),
        (3, "gauge", "possible loss of section"),
    ]
    assert sum(one.station != 3 for one in found) == 3  # elsewhere the gauge's line is enough
    assert found[0].last_mm < found[1].last_mm
    titles = [str(history_chart(one.data).to_dict()["title"]) for one in found[:2]]
    assert "Diamonds: photographs." in titles[0]
    assert "Dots: gauge; diamond: photographs." in titles[1]
    assert "By photographs it is 21.32 mm" in found[1].words
    assert found[1].words.startswith("Look at the rope there first")
    steady = next(one for one in found if one.station == 1)
    assert "Largest loss between two inspections: 0.12 mm" in steady.words
