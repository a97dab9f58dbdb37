"""`ropephoto compare-gauge`: from a folder, a page, a table and a file to pass on."""

from __future__ import annotations

import csv
import io
import json
import shutil
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from inspection.comparison.gauge_study import StudiedPhoto, TrustedReading, study_of
from inspection.exchange.trusted_table import read_trusted, trusted_csv
from ui.cli.main import main
from ui.report.gauge_page import study_csv, study_page, verdict
from vision.results import Estimate, Finding, Refusal
from vision.uncertainty import Term

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
PHOTOS = ("bar-16mm.jpg", "station-3-view-90.jpg", "refuse-tilted.jpg")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["compare-gauge", *map(str, arguments)])


def rows(data: bytes | str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode() if isinstance(data, bytes) else data)))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three samples with the width of their mesh for a trusted reading, and somebody's names."""
    truth = {row["file"]: row["truth_2d_mm"] for row in rows((SAMPLES / "truth.csv").read_text())}
    place = tmp_path / "bench"
    place.mkdir()
    lines = ["photo,trusted,u,rope,gauge,finish,card_set"]
    for name in PHOTOS:
        shutil.copy(SAMPLES / name, place / f"Annas {name}")
        named = f"Annas {name},{truth[name]},0.02,Annas {name[:7]}"
        lines.append(f"{named},Annas mic,rusty,Annas cards")
    checks = json.loads((SAMPLES / "print_checks.json").read_text())
    (place / "print_checks.json").write_text(json.dumps({"Annas cards": checks["demo-set"]}))
    (place / "trusted.csv").write_text("\n".join(lines))
    return place


def test_a_folder_gives_a_page_a_table_and_a_file_without_names(
    folder: Path, tmp_path: Path
) -> None:
    result = run(folder, "--send", tmp_path / "send.zip", "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "2 of 2 differences (100 %) are within their expanded uncertainty" in result.output
    assert "2 ropes: too few to state more" in result.output
    table = rows((tmp_path / "out" / "comparison.csv").read_bytes())
    assert [row["within U"] for row in table] == ["yes", "yes", ""]
    assert "tilted 48 degrees" in table[2]["why no figure"]
    for row in table[:2]:
        assert float(row["by photograph (mm)"]) == pytest.approx(
            float(row["trusted reading (mm)"]), rel=0.004
        )
    page = (tmp_path / "out" / "comparison.html").read_text()
    assert "too-tilted (1)" in page
    assert "http" not in page.replace("http-equiv", "")  # nothing outside is asked for
    with zipfile.ZipFile(tmp_path / "send.zip") as sent:
        names = sent.namelist()
        everything = b"".join(sent.read(name) for name in names) + " ".join(names).encode()
        again = tmp_path / "again"
        sent.extractall(again)
    assert b"Annas" not in everything
    assert b"2026:" not in everything  # the day on which a sample was taken, as EXIF writes it
    assert names[:3] == ["photo-001.jpg", "photo-002.jpg", "photo-003.jpg"]
    assert names[3:] == ["trusted.csv", "print_checks.json", "LETTER.txt"]
    # what was given away gives the same figures
    assert run(again).exit_code == 0
    figures = [
        [row["by photograph (mm)"] for row in rows((place / "comparison.csv").read_bytes())]
        for place in (tmp_path / "out", again)
    ]
    assert figures[0] == figures[1]


def test_a_template_has_a_row_for_each_photograph_and_replaces_nothing(folder: Path) -> None:
    kept = (folder / "trusted.csv").read_bytes()
    refused = run(folder, "--template")
    assert refused.exit_code == 2
    assert "was left unchanged" in refused.output
    assert (folder / "trusted.csv").read_bytes() == kept
    (folder / "trusted.csv").unlink()
    assert run(folder, "--template").exit_code == 0
    table = rows((folder / "trusted.csv").read_bytes())
    assert [row["photo"] for row in table] == sorted(f"Annas {name}" for name in PHOTOS)
    assert "column 'trusted' is empty" in run(folder).output


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("photo,trusted,u\na.jpg,1,1", "lacks the column rope"),
        ("photo,trusted,u,rope\na.jpg,22,0.02,r", "names a.jpg, which is not a photograph in"),
        ("photo,trusted,u,rope\na.jpg,22,3,r", "must be known to better than a tenth"),
        ("photo,trusted,u,rope\na.jpg,wide,0.02,r", "line 2: 'wide'"),
        ("photo,trusted,u,rope\na.jpg,,0.02,r", "line 2: column 'trusted' is empty"),
        (
            "photo,trusted,u,rope\na.jpg,22,0.02,r\na.jpg,22,0.02,r",
            "line 3: the photograph 'a.jpg' has a reading already",
        ),
        ("photo,trusted,u,rope\n", "has no rows"),
        (
            "photo,trusted,u,rope,card_set\nAnnas bar-16mm.jpg,16,0.02,r,autumn",
            "names the card set 'autumn', which print_checks.json does not hold",
        ),
    ],
)
def test_a_wrong_table_is_one_sentence(folder: Path, table: str, told: str) -> None:
    (folder / "trusted.csv").write_text(table)
    result = run(folder)
    assert result.exit_code == 2
    assert told in " ".join(result.output.split())
    assert not (folder / "comparison.html").exists()


def test_a_table_that_is_written_reads_the_same(tmp_path: Path) -> None:
    readings = (
        TrustedReading("=a.jpg", 22.14, 0.02, "+rope", "mic", "bright", "@phone", "spring"),
        TrustedReading("b.jpg", 22.225, 0.05, "rope", ""),
    )
    (tmp_path / "t.csv").write_bytes(trusted_csv(readings))
    assert read_trusted(tmp_path / "t.csv") == readings


MARKUP = "<script>alert(1)</script>"


def photo(rope: str, off_mm: float, u_mm: float = 0.03) -> StudiedPhoto:
    trusted = TrustedReading(f"{rope}.jpg", 20.0, 0.02, rope, MARKUP, MARKUP, "=1+1", MARKUP)
    budget = (Term("edge", u_mm, "mm", 1.0, "A", f"edge:{rope}:{off_mm}"),)
    return StudiedPhoto(trusted, Estimate(20.0 + off_mm, budget))


def test_no_text_of_the_table_is_code_on_the_page_or_a_formula() -> None:
    seen = Finding(MARKUP, MARKUP, MARKUP, "refuse")
    wrong = StudiedPhoto(TrustedReading(MARKUP, 20.0, 0.02, MARKUP, ""), Refusal((seen,)))
    study = study_of([photo("a", 0.01), wrong])
    assert MARKUP not in study_page(study, left_out=[MARKUP])
    assert rows(study_csv(study))[0]["phone"] == "'=1+1"


@pytest.mark.parametrize(
    ("offs", "told"),
    [
        ([0.0] * 3, "may be zero"),
        ([0.2, 0.21, 0.2, 0.22], "read 1.04 % thicker than the trusted gauge"),
        ([-0.2, -0.21, -0.2, -0.22], "read 1.04 % thinner than the trusted gauge"),
        ([0.2, -0.2] * 20, "U is therefore too small for photographs like these"),
        ([0.001, -0.001] * 20, "U is larger than the observed differences justify"),
    ],
)
def test_the_verdict_says_what_the_figures_say(offs: list[float], told: str) -> None:
    study = study_of([photo(f"rope {i}", off) for i, off in enumerate(offs)])
    assert told in " ".join(verdict(study.whole))
