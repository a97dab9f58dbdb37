"""A photograph is in the record with its results or not at all, whatever cuts its way in short."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from inspection.model.rope import Inspection, Rope
from inspection.record.record import open_record
from ui.services.add_photograph import PhotoFile, add_photograph
from ui.services.sample import sample_folder
from vision.results import Finding, Refusal

VISIT = "2026-09-quay-crane-2"

# A process that is killed as by `kill -9` when it calls Record.add_results, or right after it.
KILLED = """
import os, signal, sys
from pathlib import Path
from inspection.record.record import Record

when, way, where, folder = sys.argv[1], sys.argv[2], sys.argv[3], Path(sys.argv[4])
really = Record.add_results

def killed(self, *given, **named):
    if when == "after":
        really(self, *given, **named)
    os.kill(os.getpid(), signal.SIGKILL)

Record.add_results = killed

from ui.services.add_photograph import PhotoFile, measure_and_add
from ui.cli.main import main
from inspection.record.record import open_record

bar = folder / "bar-16mm.jpg"
if way == "page or sample":
    with open_record(where) as record:
        measure_and_add(record, sys.argv[5], PhotoFile(bar.name, bar.read_bytes()), None, by="A")
elif way == "without the card":
    main(["scale", str(bar), "--rule", "1411,989", "2359,939", "--length", "10cm",
          "--across", "1890,1307", "1906,1669", "--lies", "on", "--say", "1/0",
          "--record", where, "--inspection", sys.argv[5], "--by", "A"])
else:
    main(["record", "add", where, str(folder), "--by", "A", "--print-set", "demo-set"])
"""


def record_with_an_inspection(path: Path) -> None:
    with open_record(path) as record:
        record.add_rope(Rope("rope", 22.0), by="A. Berg")
        record.add_inspection(Inspection("visit", "rope", date(2026, 11, 2)), by="A. Berg")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The sample's tables with two of its photographs, so that a folder is measured soon."""
    samples = sample_folder()
    assert samples is not None
    made = tmp_path / "folder"
    made.mkdir()
    for name in (
        "rope.json",
        "inspection.json",
        "stations.csv",
        "readings.csv",
        "print_checks.json",
        "bar-16mm.jpg",
        "station-3-view-90.jpg",
    ):
        (made / name).write_bytes((samples / name).read_bytes())
    return made


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("way", ["page or sample", "without the card", "folder"])
def test_a_kill_between_photograph_and_result_leaves_neither(
    way: str, when: str, tmp_path: Path, folder: Path
) -> None:
    where = tmp_path / "record.db"
    record_with_an_inspection(where)
    done = subprocess.run(
        [sys.executable, "-c", KILLED, when, way, str(where), str(folder), "visit"],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == -9, done.stderr
    with open_record(where) as record:
        known = [one.identity for one in record.ranked()]
        assert known == ["visit"]  # of the folder not even its inspection
        there = record.inspection("visit")
        assert (there.photographs, there.results) == ((), ())
        assert record.verify().sound


def test_a_folder_that_is_not_cut_short_brings_both(tmp_path: Path, folder: Path) -> None:
    from click.testing import CliRunner

    from ui.cli.main import main

    where = tmp_path / "record.db"
    record_with_an_inspection(where)
    arguments = ["record", "add", str(where), str(folder), "--by", "A", "--print-set", "demo-set"]
    done = CliRunner().invoke(main, arguments)
    assert "2 photographs, 2 results" in done.output
    with open_record(where) as record:
        there = record.inspection(VISIT)
        assert {one.photo_sha256 for one in there.results} == {
            one.sha256 for one in there.photographs
        }


def test_a_result_of_another_photograph_is_not_filed_with_this_one(tmp_path: Path) -> None:
    where = tmp_path / "record.db"
    record_with_an_inspection(where)
    other = Refusal(
        (Finding("blurred", "It is blurred.", "Hold it still.", "refuse"),),
        photo_name="a.jpg",
        photo_sha256="0" * 64,
    )
    with open_record(where) as record:
        with pytest.raises(ValueError, match=r"a\.jpg is not the photograph that was measured"):
            add_photograph(record, "visit", PhotoFile("a.jpg", b"bytes"), [other], by="A. Berg")
        assert not record.inspection("visit").photographs
