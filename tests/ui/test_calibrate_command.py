"""`ropephoto card --board`, `calibrate` and `cameras`: what they print, save, list and remove."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2  # type: ignore[import-untyped]
import pytest
from click.testing import CliRunner, Result
from PIL import Image

import vision.calibration.session
from ui.cli.main import main
from ui.environment import CAMERAS_FILE
from ui.services.calibrate_phone import calibrate_phone
from ui.services.cameras import known_cameras
from ui.services.measuring_queue import PhotoFile
from vision.apart import apart
from vision.calibration.adjustment import Calibration, Intrinsics
from vision.calibration.library import calibrated_camera, save_camera
from vision.calibration.session import Calibrated
from vision.least_squares import Covariance

KEY = "Lantern L4, 4000 x 3000, 26 mm"
LENS = Intrinsics(math.log(3050.0), 2012.0, 1490.0, -0.06, 0.05, 6e-4, 1e-5)
SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
# the lens of the samples: a pinhole of 26 mm, 35 mm equivalent (sample_images/rope_camera.py)
SAMPLE_KEY = "Demo Phone A, 4000 x 3000, 26 mm"
SAMPLE_TRUE_PX = 3062.41  # as rendered (sample_images/truth.csv)
SAMPLE_FOCAL_PX = 26 * 5000 / np.hypot(36, 24)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def calibrated(key: str = KEY, lens: Intrinsics = LENS) -> Calibrated:
    u = np.array([2e-4, 0.4, 0.4, 3e-4, 6e-4, 4e-5, 4e-5])
    known = Covariance(Intrinsics._fields, np.diag(u**2))
    found = Calibration(lens, known, (4000, 3000), 0.004, 2e-4, (0.2, 0.3), 655, 0.92, (4.0, 39.0))
    camera = calibrated_camera(key, found, photographs=12, on=date(2026, 11, 26))
    return Calibrated(camera, found, ("a.jpg", "b.jpg"), ("c.jpg does not show the board",))


def test_the_board_is_printed_true_to_size(tmp_path: Path) -> None:
    out = tmp_path / "board.pdf"
    done = run("card", "--board", "--paper", "Letter", str(out))
    assert done.exit_code == 0
    assert "253 mm along, 161 mm across" in done.output  # 11 and 7 squares of 23 mm
    page = pypdfium2.PdfDocument(out.read_bytes())[0]
    assert [round(v * 25.4 / 72, 1) for v in page.get_size()] == [279.4, 215.9]
    grey = page.render(scale=2 * 25.4 / 72).to_numpy()[..., 0]  # 2 px a mm
    black = np.argwhere(grey < 100)
    field = black[black[:, 0] < (215.9 - 32) * 2]  # the words stand below
    assert np.ptp(field[:, 1]) + 1 == pytest.approx(253 * 2, abs=1)
    assert np.ptp(field[:, 0]) + 1 == pytest.approx(161 * 2, abs=1)


def test_cards_still_want_a_rope() -> None:
    done = run("card")
    assert done.exit_code == 2
    assert "--rope" in done.output


def test_a_calibration_is_told_kept_listed_and_forgotten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CAMERAS_FILE, str(tmp_path / "kept" / "cameras.json"))
    asked = {}

    def instead(paths: list[Path], **printed: object) -> Calibrated:
        asked.update(printed)
        return calibrated()

    monkeypatch.setattr(vision.calibration.session, "calibrate_photographs", instead)
    photograph = tmp_path / "a.jpg"
    photograph.write_bytes(b"")
    done = run("calibrate", str(photograph), "--along", "275", "--across", "175.7", "--u", "0.05")
    assert done.exit_code == 0, done.output
    assert asked["stretch"] == pytest.approx(0.004)
    assert f"{KEY}: 12 photographs, 655 corners" in done.output
    lines = {line.split(",")[0]: line.split() for line in done.output.splitlines()}
    assert lines["focal length"][-2:] == ["3050.00", "0.61"]
    assert lines["p2"][-4:] == ["not", "distinguishable", "from", "0"]
    assert "Left out: c.jpg does not show the board." in done.output
    assert known_cameras() == {KEY: calibrated().camera}
    assert f"{KEY}: focal length 3050.0 px, from 12 photographs" in run("cameras").output
    assert "no camera called 'other'" in run("cameras", "--remove", "other").output
    assert run("cameras", "--remove", KEY).exit_code == 0
    assert "No camera has been calibrated yet" in run("cameras").output


@pytest.mark.parametrize(
    ("more", "status", "words"),
    [
        (["--along", "275"], 2, "both --along and --across"),
        (["--along", "27.5", "--across", "17.5"], 2, "do not fit a board"),
        ([], 1, "none of the photographs shows the calibration board"),
    ],
)
def test_what_gives_no_calibration_says_why(
    tmp_path: Path, more: list[str], status: int, words: str
) -> None:
    photograph = tmp_path / "a.jpg"
    photograph.write_bytes(b"no photograph")
    done = run("calibrate", str(photograph), *more, "--cameras", str(tmp_path / "cameras.json"))
    assert done.exit_code == status
    assert words in " ".join(done.output.split())
    assert "Traceback" not in done.output


def test_photographs_with_the_card_calibrate_and_never_replace_what_is_surer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = tmp_path / "cameras.json"
    monkeypatch.setenv(CAMERAS_FILE, str(kept))
    photographs = [str(SAMPLES / f"station-{n}-view-{v}.jpg") for n in (1, 2) for v in ("00", "90")]
    printed = ["--print-set", "demo-set", "--print-checks", str(SAMPLES / "print_checks.json")]
    done = run("calibrate", "--cards", *photographs, *printed)
    assert done.exit_code == 0, done.output
    assert f"{SAMPLE_KEY}: 4 photographs of ropes with the card" in done.output
    camera = known_cameras()[SAMPLE_KEY]
    u = math.sqrt(camera.covariance[0][0])
    assert abs(math.log(camera.focal_px / SAMPLE_TRUE_PX)) < 2 * u
    save_camera(kept, calibrated(SAMPLE_KEY).camera)  # by the board
    again = run("calibrate", "--cards", *photographs, *printed)
    assert again.exit_code == 1
    assert "is calibrated already" in again.output
    assert known_cameras()[SAMPLE_KEY] == calibrated(SAMPLE_KEY).camera


def test_the_page_takes_photographs_with_the_card_where_none_shows_the_board(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    known: dict[bytes, Any] = {}  # the same photographs give the same

    def once(name: str, work: Callable[..., Any], paths: list[str], *given: Any) -> Any:
        seen = b"".join(Path(one).read_bytes() for one in paths)
        if seen not in known:
            known[seen] = apart(name, work, paths, *given)
        return known[seen]

    monkeypatch.setattr("ui.services.calibrate_phone.apart", once)
    kept = tmp_path / "cameras.json"
    names = [f"station-{n}-view-{v}.jpg" for n in (1, 2) for v in ("00", "90")]
    files = [PhotoFile(name, (SAMPLES / name).read_bytes()) for name in names]
    done = calibrate_phone(files, None, on=date(2026, 11, 29), place=kept)
    assert done.camera == known_cameras(kept)[SAMPLE_KEY]
    # also without a print check: the photographs show the card's scale
    assert abs(done.camera.focal_px - SAMPLE_TRUE_PX) < 2 * done.u_focal_px
    assert done.u_focal_px < 0.025 * SAMPLE_TRUE_PX
    save_camera(kept, calibrated(SAMPLE_KEY).camera)
    with pytest.raises(ValueError, match="is calibrated already"):
        calibrate_phone(files, None, on=date(2026, 11, 29), place=kept)
    bare = [PhotoFile("bare.jpg", (SAMPLES / "refuse-no-card.jpg").read_bytes())]
    with pytest.raises(ValueError, match=r"shows the calibration board.* in 0 photographs"):
        calibrate_phone(bare, None, on=date(2026, 11, 29), place=kept)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--cards", "--along", "275"], "--along and --across belong to the board"),
        (["--print-set", "spring"], "add --cards"),
        (["--cards", "--print-set", "spring"], "holds no card set called 'spring'"),
    ],
)
def test_what_belongs_to_the_other_way_of_calibrating_is_told(
    tmp_path: Path, more: list[str], words: str
) -> None:
    photograph = tmp_path / "a.jpg"
    photograph.write_bytes(b"no photograph")
    done = run("calibrate", str(photograph), *more, "--print-checks", str(tmp_path / "none.json"))
    assert done.exit_code == 2
    assert words in " ".join(done.output.split())


@pytest.fixture
def sample_phone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every calibration come out as the lens that the samples were rendered with."""
    lens = Intrinsics(math.log(SAMPLE_FOCAL_PX), 1999.5, 1499.5)

    def instead(paths: list[Path], **printed: object) -> Calibrated:
        return calibrated(SAMPLE_KEY, lens)

    monkeypatch.setattr(vision.calibration.session, "calibrate_photographs", instead)


def tried(tmp_path: Path, photograph: Path) -> Result:
    board = tmp_path / "board.jpg"
    board.write_bytes(b"")
    kept = str(tmp_path / "cameras.json")
    return run("calibrate", str(board), "--try", str(photograph), "--cameras", kept)


@pytest.mark.usefixtures("sample_phone")
def test_a_photograph_is_tried_without_and_with_the_calibration(tmp_path: Path) -> None:
    done = tried(tmp_path, SAMPLES / "bar-16mm.jpg")
    assert done.exit_code == 0, done.output
    shown = re.findall(
        r"bar-16mm\.jpg (without|with) calibration: ([\d.]+) mm, U ([\d.]+) mm, contribution of "
        r"the lens ([\d.]+) mm",
        done.output,
    )
    assert [word for word, *_ in shown] == ["without", "with"]
    (without, u_without, lens_without), (figure, u, lens) = (
        tuple(map(float, numbers)) for _, *numbers in shown
    )
    # the bar is 16.00 mm (sample_images/truth.csv); its print counts as unchecked here
    assert abs(without - 16) < u_without
    assert abs(figure - 16) < u
    assert u < u_without
    assert lens < 0.5 * lens_without
    # 4 % of the focal length, as written, against 0.5 % for refocusing: what is left of U is the
    # print's, which no calibration betters
    assert u**2 - lens**2 == pytest.approx(u_without**2 - lens_without**2, rel=0.15)


@pytest.mark.usefixtures("sample_phone")
def test_a_refused_photograph_and_one_of_another_phone_are_said(tmp_path: Path) -> None:
    done = tried(tmp_path, SAMPLES / "refuse-tilted.jpg")
    assert done.exit_code == 0, done.output
    assert done.output.count("The phone was tilted") == 2
    other = tmp_path / "other.png"
    Image.new("RGB", (80, 60)).save(other)
    done = tried(tmp_path, other)
    assert done.exit_code == 1
    assert (
        "was taken with another camera, picture size or lens (its file does not say which)"
        in done.output
    )
    assert f"than the calibrated one ({SAMPLE_KEY})" in done.output


@pytest.mark.usefixtures("sample_phone")
def test_a_slip_in_the_name_of_the_tried_photograph_costs_no_calibration(tmp_path: Path) -> None:
    done = tried(tmp_path, tmp_path / "absent.jpg")
    assert done.exit_code == 1
    assert "Error: --try: absent.jpg" in done.output
    assert not (tmp_path / "cameras.json").exists()


def test_a_damaged_file_of_cameras_stops_a_measurement_with_a_sentence(tmp_path: Path) -> None:
    kept, photograph = tmp_path / "cameras.json", tmp_path / "a.jpg"
    kept.write_text("{")
    photograph.write_bytes(b"no photograph")
    done = run("measure", str(photograph), "--cameras", str(kept))
    assert done.exit_code == 2
    assert "cameras.json is damaged" in done.output
