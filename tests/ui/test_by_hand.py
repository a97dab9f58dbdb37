"""An edge moved by hand, and a station moved along the rope: the effect on the figure."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.ui.sheet_hands import open_place
from ui.presenters.photographs.edge_views import jaw_scale
from ui.presenters.photographs.manual_edges import (
    at_mm_of,
    place_on_track,
    rope_track,
    with_edges_moved,
)
from ui.services.sample import sample_folder
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate

SAMPLE = "2026-09-quay-crane-2"


@pytest.fixture(scope="module")
def estimate() -> Estimate:
    """Return the program's result for one sample photograph, with an unchecked print."""
    folder = sample_folder()
    assert folder is not None
    result = measure_photo(folder / "station-3-view-90.jpg")[0]
    assert isinstance(result, Estimate)
    return result


def test_the_lines_lie_the_new_diameter_apart(estimate: Estimate) -> None:
    moved = with_edges_moved(estimate, 0.3, -0.1, by="A", why="grease")
    assert moved.diameter_mm == pytest.approx(estimate.diameter_mm + 0.2)
    assert moved.marks is not None
    assert estimate.marks is not None
    # the photograph's scale did not change: the moved lines say the same as the figure
    assert jaw_scale(moved, moved.marks) == pytest.approx(
        jaw_scale(estimate, estimate.marks), rel=1e-3
    )


def test_a_figure_by_hand_is_marked_and_less_certain(estimate: Estimate) -> None:
    moved = with_edges_moved(estimate, 0.3, 0.0, by="A. Berg", why="a loose wire")
    assert moved.by_hand
    assert not estimate.by_hand
    assert "A. Berg moved the left edge by +0.30 mm by hand: a loose wire." in {
        one.seen for one in moved.findings
    }
    # one independent term of at least 0.1 mm more: GUM (JCGM 100:2008) 5.1.2, sum of squares
    added = moved.u_mm**2 - estimate.u_mm**2
    assert added**0.5 >= 0.1 - 1e-9
    both = with_edges_moved(estimate, 0.3, 0.1, by="A", why="x")
    assert both.u_mm > moved.u_mm
    again = with_edges_moved(moved, -0.1, 0.0, by="A", why="x")
    assert again.u_mm == pytest.approx(moved.u_mm)


@pytest.mark.parametrize(
    ("left", "why", "words"),
    [(0.2, " ", "needs a reason"), (0.0, "x", "neither edge"), (2.5, "x", "better photograph")],
)
def test_an_edge_is_not_moved_without_reason_or_too_far(
    estimate: Estimate, left: float, why: str, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        with_edges_moved(estimate, left, 0.0, by="A", why=why)


@pytest.mark.parametrize("name", ["station-3-view-90.jpg", "station-1-view-00.jpg"])
def test_a_place_on_the_track_is_where_the_tool_then_measures(name: str) -> None:
    """The program's own marks at +20 mm are where the track says, to about a millimetre."""
    folder = sample_folder()
    assert folder is not None
    here, there = measure_photo(folder / name, Settings(at_mm=(0.0, 20.0)))
    assert isinstance(here, Estimate)
    assert isinstance(there, Estimate)
    assert here.marks is not None
    assert there.marks is not None
    begin, end = (np.array(point) for point in rope_track(here.marks))
    middle = np.mean([*there.marks.crown_left_px, *there.marks.crown_right_px], axis=0)
    at = float((middle - begin) @ (end - begin) / ((end - begin) @ (end - begin)))
    assert 0 < place_on_track(here.marks) < 1
    assert at_mm_of(here, here.marks, at) == pytest.approx(20.0, abs=1.5)


def kept() -> OpenInspection:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.inspection(SAMPLE)


def test_an_edge_by_hand_goes_into_the_record_and_can_be_undone(
    sample_app: AppTest, tmp_path: Path
) -> None:
    at = open_place(sample_app.run(), 1, 0)
    there = kept()
    first = next(one for one in there.results if one.photo_name == "station-1-view-00.jpg")
    assert isinstance(first, Estimate)
    key = f"{SAMPLE} {first.photo_sha256} 0.0 {there.revision}"
    next(one for one in at.toggle if one.label == "Correct an edge by hand").set_value(True).run()
    at.session_state[f"hand left edge {key}"] = {"edit": {"seq": 1, "at": [0.6]}}  # of 4.5 mm
    at.run()
    keep = next(one for one in at.button if one.label == "Save these edges")
    keep.click().run()
    assert "needs a reason" in at.error[0].value
    why = next(one for one in at.text_input if one.label == "What misled the measurement")
    why.set_value("grease").run()
    next(one for one in at.button if one.label == "Save these edges").click().run()
    assert not at.exception
    moved = next(one for one in kept().results if one.photo_name == first.photo_name)
    assert isinstance(moved, Estimate)
    assert moved.diameter_mm == pytest.approx(first.diameter_mm + 0.45, abs=0.01)
    assert moved.by_hand
    next(one for one in at.button if one.label.startswith("Undo")).click().run()
    undone = next(one for one in kept().results if one.photo_name == first.photo_name)
    assert isinstance(undone, Estimate)
    assert not undone.by_hand
    assert undone.diameter_mm == pytest.approx(first.diameter_mm, abs=1e-6)


def test_a_station_moved_along_the_rope_takes_the_place_of_the_first_figure(
    sample_app: AppTest,
) -> None:
    at = open_place(sample_app.run(), 1, 0)
    there = kept()
    first = next(one for one in there.results if one.photo_name == "station-1-view-00.jpg")
    assert isinstance(first, Estimate)
    assert first.marks is not None
    key = f"{SAMPLE} {first.photo_sha256} 0.0 {there.revision}"
    label = "Move the station along the rope"
    next(one for one in at.toggle if one.label == label).set_value(True).run()
    begin, end = (np.array(point) for point in rope_track(first.marks))
    length_mm = float(np.linalg.norm(end - begin)) / jaw_scale(first, first.marks)
    at.session_state[f"place view {key}"] = {
        "edit": {"seq": 1, "at": [place_on_track(first.marks) + 10.0 / length_mm]}
    }
    at.run()
    next(one for one in at.button if one.label == "Measure here instead").click().run()
    assert not at.exception
    assert not [one.value for one in at.error]
    mine = [one for one in kept().results if one.photo_name == first.photo_name]
    assert [one.at_mm for one in mine] == [pytest.approx(10.0, abs=0.11)]
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.verify().faults == ()
        told = [event for event in record.events() if event.kind == "result replaced"]
        assert ["station moved to" in one.why for one in told] == [True, True]
    # the other direction was measured there too, or the station would have lost its mean
    both = {one.view_deg: one.at_mm for one in kept().results if one.station == 1}
    assert both == {0: pytest.approx(10.0, abs=0.11), 90: both[0]}
