"""Several photographs by one phone solved together, compared with the renderer's own camera.

The samples were rendered with one camera, whose focal length and principal point are in
`sample_images/truth.csv` (`focal_px_true`, `principal_x_px`, `principal_y_px`).
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.benchmarks.phone_effects import all_effects, applied
from vision.calibration.adjustment import CalibrationError
from vision.calibration.from_cards import (
    CardSight,
    calibrate_from_cards,
    card_sight,
    solve_together,
)
from vision.photo.photo import Photo, open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.target.print_scale import load_print_checks

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
ROWS = {
    row["file"]: row
    for row in csv.DictReader((SAMPLES / "truth.csv").read_text().splitlines())
    if row["answerable"] == "yes"
}
CHECK = load_print_checks(SAMPLES / "print_checks.json")["demo-set"]
SQUARE_ON = "station-4-view-00.jpg"  # tilted by 4 degrees: alone it leaves the focal length open
EFFECTS = {effect.name: effect for effect in all_effects()}


def seen(photo: Photo) -> CardSight:
    sight = card_sight(photo, CHECK)
    assert isinstance(sight, CardSight), sight
    return sight


def zoomed(name: str) -> Photo:
    file = applied(EFFECTS["zoom 1.5, Exif unchanged"], (SAMPLES / name).read_bytes())
    return open_photo(file, name=name)


@pytest.fixture(scope="module")
def sights() -> dict[str, CardSight]:
    return {name: seen(open_photo(SAMPLES / name)) for name in ROWS}


def test_together_they_show_focal_length_and_principal_point(sights: dict[str, CardSight]) -> None:
    done = solve_together(list(sights.values()))
    truth = ROWS[SQUARE_ON]
    stated = sights[SQUARE_ON].lens
    assert done.u_log_focal < 0.5 * stated.u_log_focal
    off = np.log(done.camera.focal_px / float(truth["focal_px_true"]))
    assert abs(off) < 2 * done.u_log_focal
    assert abs(off) < abs(np.log(stated.focal_px / float(truth["focal_px_true"])))
    assert done.u_centre_px < 0.3 * stated.u_centre_px
    for at, name in enumerate(("principal_x_px", "principal_y_px")):
        assert abs(done.camera.centre_px[at] - float(truth[name])) < 2 * done.u_centre_px


def test_a_figure_becomes_more_certain_and_stays_right(sights: dict[str, CardSight]) -> None:
    # by the other photographs alone, so that none speaks twice
    others = solve_together([sight for name, sight in sights.items() if name != SQUARE_ON])
    cameras = {others.camera.key: others.camera}
    alone, together = (
        measure_photo(SAMPLES / SQUARE_ON, Settings(print_check=CHECK, cameras=known))[0]
        for known in ({}, cameras)
    )
    assert isinstance(alone, Estimate)
    assert isinstance(together, Estimate)
    truth = float(ROWS[SQUARE_ON]["truth_2d_mm"])
    assert together.expanded_mm() < 0.85 * alone.expanded_mm()
    assert abs(together.diameter_mm - truth) < together.expanded_mm()


def test_one_that_was_zoomed_is_seen_left_out_and_read_right(sights: dict[str, CardSight]) -> None:
    one = zoomed(SQUARE_ON)
    done = solve_together([*(s for n, s in sights.items() if n != SQUARE_ON), seen(one)])
    assert SQUARE_ON not in done.used
    assert len(done.used) == len(sights) - 1
    assert "a different focal length" in done.left_out[0]
    settings = Settings(print_check=CHECK, cameras={done.camera.key: done.camera})
    result = measure_photo(one, settings)[0]
    assert isinstance(result, Estimate)
    assert "focal-disagrees" in {item.code for item in result.findings}
    assert result.focal_px == pytest.approx(1.5 * float(ROWS[SQUARE_ON]["focal_px_true"]), rel=0.06)
    truth = float(ROWS[SQUARE_ON]["truth_2d_mm"])
    assert abs(result.diameter_mm - truth) < result.expanded_mm()


def test_a_phone_held_upright_shows_the_same_camera(sights: dict[str, CardSight]) -> None:
    photo = open_photo(SAMPLES / SQUARE_ON)
    # stored as it was, seen turned by 90 degrees: what Exif's orientation 6 says
    upright = np.asarray(cv2.rotate(photo.pixels, cv2.ROTATE_90_CLOCKWISE), np.uint8)
    turned = seen(replace(photo, pixels=upright, orientation=6))
    lying = sights[SQUARE_ON]
    assert turned.size == lying.size
    one, other = (
        np.linalg.solve(s.information + np.diag([1.0, 1e4, 1e-4, 1e-4, 1e6, 1e6]), s.pull)
        for s in (turned, lying)
    )
    assert one[2:4] == pytest.approx(other[2:4], abs=8.0)  # of 40 px that are left open


def test_too_few_and_too_alike_are_refused(sights: dict[str, CardSight]) -> None:
    with pytest.raises(CalibrationError, match="in 3 photographs; at least 4 are needed"):
        solve_together(list(sights.values())[:3])
    alike = [replace(sights[SQUARE_ON], name=f"{n}.jpg") for n in range(5)]
    with pytest.raises(CalibrationError, match=r"determine the focal length to 3\.9 %"):
        solve_together(alike)
    other = replace(sights[SQUARE_ON], key="Lantern L4, 4000 x 3000, 26 mm")
    with pytest.raises(CalibrationError, match="of 2 cameras"):
        solve_together([*sights.values(), other])


def test_what_shows_no_card_is_reported(tmp_path: Path) -> None:
    text = tmp_path / "notes.jpg"
    text.write_text("no photograph")
    bare = tmp_path / "bare.jpg"
    bare.write_bytes(applied(EFFECTS["50%, no Exif"], (SAMPLES / SQUARE_ON).read_bytes()))
    nothing = SAMPLES / "refuse-no-card.jpg"
    with pytest.raises(CalibrationError) as told:
        calibrate_from_cards([text, bare, nothing, nothing], CHECK)
    for words in (
        "notes.jpg is not a photograph",
        "bare.jpg does not say which camera took it",
        "refuse-no-card.jpg: no printed card was found",
    ):
        assert words in str(told.value)
