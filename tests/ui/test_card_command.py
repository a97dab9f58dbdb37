"""`ropephoto card` and `ropephoto print-check`: correct use, and the ways they can fail."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pypdfium2  # type: ignore[import-untyped]
import pytest
from click.testing import CliRunner, Result

from ui.cli.main import main
from vision.target.print_scale import load_print_checks


def run(*arguments: object) -> Result:
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def told(result: Result, status: int) -> str:
    """Return the one sentence that a refused command ends with."""
    assert result.exit_code == status, result.output
    lines = [line for line in result.output.splitlines() if line.startswith("Error: ")]
    assert len(lines) == 1
    assert lines[0].endswith(".")
    return lines[0]


def pages(path: Path) -> list[str]:
    document = pypdfium2.PdfDocument(path)
    try:
        return [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()


def test_each_station_gets_a_card_for_either_direction(tmp_path: Path) -> None:
    out = tmp_path / "cards.pdf"
    result = run("card", "--rope", 22, "--stations", 3, "--first", 4, out)
    assert result.exit_code == 0, result.output
    assert "6 cards, A5 middle, for ropes up to 28 mm." in result.output
    assert "180 mm along, 110 mm across" in result.output
    texts = pages(out)
    assert len(texts) == 6
    for text, station in zip(texts, (4, 4, 5, 5, 6, 6), strict=True):
        assert f"station {station}" in text.lower()


def test_the_paper_is_the_one_asked_for(tmp_path: Path) -> None:
    out = tmp_path / "cards.pdf"
    assert run("card", "--rope", 22, "--paper", "letter", out).exit_code == 0
    document = pypdfium2.PdfDocument(out)
    # US Letter is 8.5 in x 11 in (ANSI/ASME Y14.1, size A), a point is 1/72 in
    assert sorted(document.get_page_size(0)) == pytest.approx([8.5 * 72, 11 * 72], abs=0.01)
    document.close()


def test_a_rope_too_thick_for_the_paper_is_refused_with_the_paper_that_can(tmp_path: Path) -> None:
    out = tmp_path / "cards.pdf"
    words = told(run("card", "--rope", 45, "--paper", "A6", out), 2)
    assert "A6 is too small for a rope of 45 mm" in words
    assert words.endswith("use A5 paper.")
    assert run("card", "--rope", 45, "--paper", "A5", out).exit_code == 0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "give its diameter with --rope, in mm"),
        (["--rope", "thick"], "'thick' is not a valid float"),
        (["--rope", "-3"], "more than 0 mm; got -3"),
        (["--rope", "nan"], "more than 0 mm; got nan"),
        (["--rope", "inf"], "no card is wide enough for a rope of inf mm"),
        (["--rope", "200"], "no card is wide enough for a rope of 200 mm"),
        (["--rope", "22", "--paper", "B5"], "'B5' is not one of"),
        (["--rope", "22", "--ink", "blue"], "No such option '--ink'"),
        (["--rope", "22", "--stations", "0"], "0 is not in the range"),
        (["--rope", "22", "--first", "425", "--stations", "2"], "425"),
    ],
)
def test_what_no_card_can_be_made_of_is_one_sentence_with_status_2(
    tmp_path: Path, options: list[str], words: str
) -> None:
    out = tmp_path / "cards.pdf"
    assert words in told(run("card", *options, out), 2)
    assert not out.exists()


def test_a_place_that_cant_be_written_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    words = told(run("card", "--rope", 22, tmp_path / "file" / "cards.pdf"), 1)
    assert "could not be written" in words
    assert "is a directory" in told(run("card", "--rope", 22, tmp_path), 2)


def check(path: Path, *options: object) -> Result:
    return run("print-check", "spring", "--layout", "A5 middle", *options, "--file", path)


def test_a_print_check_is_kept_with_what_it_says_of_the_print(tmp_path: Path) -> None:
    path = tmp_path / "checks.json"
    result = check(path, "--along", 180.9, "--across", 109.45, "--u", 0.02)
    assert result.exit_code == 0, result.output
    # by hand: 180.9 / 180 = 1.005, 109.45 / 110 = 0.995
    assert "printed +0.50 % along and -0.50 % across" in result.output
    kept = load_print_checks(path)["spring"]
    assert (kept.along_read_mm, kept.across_read_mm, kept.u_read_mm) == (180.9, 109.45, 0.02)
    assert kept.checked_on == date.today()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--along", "180"], "Missing option '--across'"),
        (["--along", "7.1", "--across", "4.33"], "it looks like inches"),
        (["--along", "18.06", "--across", "10.97"], "it looks like centimetres"),
        (["--along", "110", "--across", "180"], "swap the two readings"),
        (["--along", "165", "--across", "101"], "a page printed to fit"),
        (["--along", "nan", "--across", "110"], "nan mm was read"),
        (["--along", "180", "--across", "110", "--u", "0"], "more than 0 and at most 1 mm"),
        (["--along", "180", "--across", "110", "--layout", "A5 huge"], "no card layout is called"),
    ],
)
def test_readings_that_cant_be_are_refused_and_nothing_is_kept(
    tmp_path: Path, options: list[str], words: str
) -> None:
    path = tmp_path / "checks.json"
    assert words in told(check(path, *options), 2)
    assert not path.exists()


def test_a_damaged_file_of_checks_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "checks.json"
    path.write_text("{")
    assert "is damaged" in told(check(path, "--along", 180, "--across", 110), 2)
    assert path.read_text() == "{"


def test_checks_that_cant_be_written_are_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    words = told(check(tmp_path / "file" / "checks.json", "--along", 180, "--across", 110), 1)
    assert "cannot be" in words
