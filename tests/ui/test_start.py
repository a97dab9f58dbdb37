"""Start: a photograph's diameter without a rope, saved afterwards; the register of ropes."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from inspection.assessment import Assessment
from inspection.measurement.section import Section
from inspection.record.overview.examinations import KeyFigures, RegisteredRope
from inspection.record.record import open_record
from tests.ui.upload_hands import put
from ui.lengths import diameter_words
from ui.presenters.register_rows import NOT_EXAMINED, find_ropes, in_order, register_row
from ui.services.access.roles import local_user
from ui.services.assess_record import assess_recorded
from ui.services.measuring_queue import work_off
from ui.services.quick_look import keep_look, quick_look
from ui.services.sample import sample_folder
from ui.services.trays import in_tray
from ui.web.page.upload_routes import owner_of
from vision.results import Estimate

SAMPLE = "2026-09-quay-crane-2"
DAY = date(2026, 11, 29)
FOUND = KeyFigures(3, 21.33, 0.035, 2, 5.1, "medium", 40, -0.21, loses=True)
ROPE = RegisteredRope(
    "crane 2, left", "quay 4", 22.0, "mm", 2, "2026-09", date(2026, 9, 15), "submitted",
    True, FOUND, date(2026, 11, 1), 3,
)  # fmt: skip


def test_a_photograph_gives_its_diameter_and_is_kept(sample: Path, tmp_path: Path) -> None:
    folder = sample_folder()
    assert folder is not None
    data = (folder / "bar-16mm.jpg").read_bytes()  # in no inspection yet
    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    with open_record(tmp_path / "record.db") as record:
        look = quick_look(record, data, "bar-16mm.jpg")
        (result,) = look.results
        assert isinstance(result, Estimate)
        # the bar is 16.00 mm thick by its mesh (sample_images/truth.csv)
        assert abs(result.diameter_mm - 16.0) < result.expanded_mm()
        before = record.last_event()
        keep_look(record, SAMPLE, look, by="A. Berg")
        assert record.last_event() > before
        assert record.inspection(SAMPLE).waiting == {look.file.sha256}
        work_off(record, SAMPLE)
        there = record.inspection(SAMPLE)
        filed = next(one for one in there.results if one.photo_sha256 == result.photo_sha256)
        assert isinstance(filed, Estimate)
        assert filed.diameter_mm == result.diameter_mm
        with pytest.raises(ValueError, match="is already in inspection '2026-09-quay-crane-2'"):
            keep_look(record, SAMPLE, look, by="A. Berg")


def test_start_takes_a_photograph_without_a_rope(app: AppTest) -> None:
    folder = sample_folder()
    assert folder is not None
    at = app.run()
    mine, bar = owner_of(local_user("A. Berg")), (folder / "bar-16mm.jpg").read_bytes()
    query = {"name": "b.jpg", "by": "A. Berg", "owner": mine}
    assert put("/uploads/trays/looks", bar, query, door=False)[0] == 200
    at.run()
    assert not in_tray(mine, "looks")  # taken once
    assert not at.exception
    value, u = (float(part) for part in at.metric[0].value.removesuffix(" mm").split(" ± "))
    assert abs(value - 16.0) < u  # its mesh is 16.00 mm thick (sample_images/truth.csv)
    assert any("start its inspection" in one.value for one in at.caption)
    next(one for one in at.button if one.label == "Discard").click()
    assert not at.run().metric
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.last_event() == 0  # nothing was kept


def test_a_line_of_the_register_says_all_that_is_asked_of_it() -> None:
    row = register_row(ROPE, DAY)
    assert (row.nominal, row.diameter, row.station) == ("22 mm", "21.33 ± 0.07 mm", 3)
    assert (row.decrease_pct, row.severity) == (5.1, "medium, 40 %")
    assert row.trend == "\u22120.21 mm per year"
    assert (row.overdue, row.open_findings, row.state) == (True, 3, "submitted")
    unsure = replace(ROPE, figures=replace(FOUND, loses=False, doubted=True))
    assert register_row(unsure, DAY).trend.endswith("not significant")
    assert register_row(unsure, DAY).severity == "medium, 40 % (doubted)"
    no_reference = replace(FOUND, severity_pct=None, decrease_pct=None, doubted=True)
    assert register_row(replace(ROPE, figures=no_reference), DAY).severity == "doubted"
    lost = replace(ROPE, figures=no_reference, may_have_lost=True)
    assert register_row(lost, DAY).severity == "possible loss (doubted)"
    unseen = replace(ROPE, figures=None, examined=False)
    assert register_row(unseen, DAY).diameter == NOT_EXAMINED


def test_a_rope_in_inches_is_listed_in_inches() -> None:
    # 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)
    row = register_row(replace(ROPE, units="inch", nominal_mm=22.225), DAY)
    assert row.nominal == "0.875 in"
    assert row.diameter == "0.840 ± 0.003 in"
    assert "mm" not in row.trend


def test_ropes_are_found_and_ordered() -> None:
    due = replace(ROPE, identity="crane 1", open_findings=0)
    fresh = replace(ROPE, identity="b", open_findings=0, next_due=None, figures=None, site="")
    discard = replace(fresh, identity="z", figures=replace(FOUND, band="discard", severity_pct=100))
    ropes = [fresh, due, ROPE, discard]
    assert [one.identity for one in find_ropes(ropes, "quay CRANE")] == ["crane 1", "crane 2, left"]
    first = in_order(ropes, "urgency", DAY)
    assert [one.identity for one in first] == ["z", "crane 2, left", "crane 1", "b"]
    # a possible loss counts where no reference diameter allows a severity, too
    lost = replace(fresh, identity="no reference", open_findings=1, may_have_lost=True)
    assert [one.identity for one in in_order([*ropes, lost], "urgency", DAY)][:2] == [
        "z",
        "no reference",
    ]
    assert register_row(lost, DAY).severity == "possible loss"
    assert in_order(ropes, "name", DAY)[0].identity == "b"
    assert in_order(ropes, "severity", DAY)[0].identity == "z"
    assert in_order(ropes, "next due", DAY)[-1].next_due is None


def test_the_register_of_the_sample_stands_on_start(sample_app: AppTest) -> None:
    at = sample_app.run()
    assert not at.exception
    rows = json.loads(at.get_by_key("register rows").proto.json)["rows"]
    ((name, cells),) = rows
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        worst = worst_station(assess_recorded(record, SAMPLE))
    assert worst is not None
    assert worst.station == 3  # the mesh of the sample is thinnest there (sample_images/truth.csv)
    assert name == "quay crane 2, hoist rope, left"
    shown = diameter_words(worst.mean_mm, worst.u_mean_mm)
    assert f"3: {shown}" in cells  # under "Worst station"
    next(one for one in at.text_input if one.label == "Find a rope").set_value("no such").run()
    assert any("No rope matches the search" in one.value for one in at.info)


def worst_station(assessment: Assessment) -> Section | None:
    return min(assessment.best, key=lambda section: section.mean_mm, default=None)
