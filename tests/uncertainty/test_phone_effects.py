"""What phones and people do to a picture: the truth stays inside U, or there is no figure.

A few of the effects of `tests/benchmarks/phone_effects.py` on samples, whose truth is the caliper
width of the rendered mesh; `python -m tests.benchmarks.phone_bench` tries all of them.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import pytest

from tests.benchmarks.phone_effects import all_effects, applied
from vision.photo.photo import open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate, Result
from vision.target.print_scale import load_print_checks

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
TRUTH_MM = {
    row["file"]: float(row["truth_2d_mm"])
    for row in csv.DictReader((SAMPLES / "truth.csv").read_text().splitlines())
}
EFFECTS = {effect.name: effect for effect in all_effects()}


@cache
def measured(effect: str, name: str) -> Result:
    check = load_print_checks(SAMPLES / "print_checks.json")["demo-set"]
    file = applied(EFFECTS[effect], (SAMPLES / name).read_bytes())
    return measure_photo(open_photo(file), Settings(print_check=check))[0]


@pytest.mark.parametrize(
    ("effect", "name"),
    [
        ("70%, size in Exif old", "station-1-view-00.jpg"),
        ("50%, size in Exif new", "bar-16mm.jpg"),
        ("80 % aside, size in Exif old", "station-1-view-00.jpg"),
        ("zoom 2, Exif unchanged", "bar-16mm.jpg"),
        ("70%, size in Exif new", "station-4-view-00.jpg"),
        ("zoom 1.5, Exif unchanged", "station-4-view-00.jpg"),
    ],
)
def test_a_crop_or_a_zoom_that_the_file_hides_stays_inside_u(effect: str, name: str) -> None:
    result = measured(effect, name)
    assert isinstance(result, Estimate)
    assert abs(result.diameter_mm - TRUTH_MM[name]) <= result.expanded_mm()


@pytest.mark.parametrize(
    ("effect", "times"), [("70%, size in Exif new", 1 / 0.7), ("zoom 1.5, Exif unchanged", 1.5)]
)
def test_what_a_square_view_leaves_open_lies_between_both_accounts(
    effect: str, times: float
) -> None:
    # by Exif whole, and as it was cut: no mean of them lies outside (what Exif states is 2 % short)
    name = "station-4-view-00.jpg"
    stated = open_photo(applied(EFFECTS[effect], (SAMPLES / name).read_bytes())).focal_px
    result = measured(effect, name)
    assert isinstance(result, Estimate)
    assert stated is not None
    assert stated < result.focal_px < 1.05 * times * stated
    assert abs(result.diameter_mm / TRUTH_MM[name] - 1) < 0.02


def test_what_such_a_picture_leaves_open_is_reported() -> None:
    result = measured("80 % aside, size in Exif old", "station-1-view-00.jpg")
    assert {item.code for item in result.findings} & {"focal-doubtful", "focal-disagrees"}


def test_a_portrait_blur_is_reported_and_leaves_the_figure_inside_u() -> None:
    result = measured("portrait 3 px", "station-4-view-00.jpg")
    assert isinstance(result, Estimate)
    assert abs(result.diameter_mm - TRUTH_MM["station-4-view-00.jpg"]) <= result.expanded_mm()
    assert "blurred-unevenly" in {item.code for item in result.findings}


@pytest.mark.parametrize(
    ("effect", "name"),
    [
        ("gamma 0.4", "station-3-view-00.jpg"),
        ("gamma 2", "station-2-view-90.jpg"),
        ("veil 0.3", "bar-16mm.jpg"),
        ("faded", "station-2-view-00.jpg"),
        ("cyan", "station-2-view-90.jpg"),
        ("-3 EV", "station-2-view-00.jpg"),
        ("+2 EV", "bar-16mm.jpg"),
        ("codes x 3", "bar-16mm.jpg"),
        ("messenger 1600 px", "station-2-view-90.jpg"),
    ],
)
def test_what_was_done_to_the_tones_stays_inside_u_or_is_refused(effect: str, name: str) -> None:
    result = measured(effect, name)
    if isinstance(result, Estimate):
        assert abs(result.diameter_mm - TRUTH_MM[name]) <= result.expanded_mm()


# where no shadow's rim lies beside the rope: of that there is less in doubt in a brighter picture
@pytest.mark.parametrize(
    ("effect", "name"), [("+2 EV", "station-1-view-90.jpg"), ("+2 EV", "bar-16mm.jpg")]
)
def test_burnt_out_paper_moves_a_figure_by_less_than_the_u_of_the_original(
    effect: str, name: str, sample_results: dict[str, Result]
) -> None:
    before, after = sample_results[name], measured(effect, name)
    assert isinstance(before, Estimate)
    assert isinstance(after, Estimate)
    assert abs(after.diameter_mm - before.diameter_mm) < before.expanded_mm()
    assert after.expanded_mm() > before.expanded_mm()


def test_most_of_what_was_done_to_the_tones_is_answered() -> None:
    for effect, name in (
        ("gamma 0.4", "station-3-view-00.jpg"),
        ("veil 0.3", "bar-16mm.jpg"),
        ("faded", "station-2-view-00.jpg"),
    ):
        assert isinstance(measured(effect, name), Estimate)
