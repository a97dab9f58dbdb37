"""Many photographs: all answers, in any order, kept as they come, on processes and on a cluster."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import joblib  # type: ignore[import-untyped]
import pytest

import vision.batch
from inspection.model.serialization import result_from_dict, to_dict
from vision.batch import measure_many
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate, Refusal, Result

SAMPLE = Path(__file__).resolve().parents[2] / "sample_images" / "station-3-view-00.jpg"
KEEP: dict[str, Any] = {"pack": to_dict, "unpack": result_from_dict}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Small copies of a sample, one of them cut off, one no photograph at all."""
    place = tmp_path_factory.mktemp("photographs")
    whole = cv2.imread(str(SAMPLE))
    paths = [place / f"{name}.jpg" for name in ("a", "b", "cut", "text")]
    for path, long_side in zip(paths[:3], (1800, 1700, 1600), strict=True):
        size = (long_side, long_side * 3 // 4)
        cv2.imwrite(str(path), cv2.resize(whole, size, interpolation=cv2.INTER_AREA))
    paths[2].write_bytes(paths[2].read_bytes()[:90_000])
    paths[3].write_text("no photograph")
    return paths


@pytest.fixture(scope="module")
def expected(folder: list[Path]) -> list[Result]:
    found = [measure_photo(path)[0] for path in folder[:2]]
    assert all(isinstance(one, Estimate) for one in found)
    return list(found)


def answers(paths: list[Path], **more: Any) -> dict[int, tuple[Result, ...]]:
    found = list(measure_many(paths, Settings(), **KEEP, **more))
    assert sorted(at for at, _ in found) == list(range(len(paths)))
    return dict(found)


def test_two_processes_answer_as_one_does_and_bad_files_stop_nothing(
    folder: list[Path], expected: list[Result]
) -> None:
    found = answers(folder, jobs=2)
    assert [found[0][0], found[1][0]] == expected  # every figure of every term, to the last bit
    for at, words in ((2, "cut.jpg is cut off"), (3, "text.jpg is not a photograph")):
        (refused,) = found[at]
        assert isinstance(refused, Refusal)
        assert words in refused.findings[0].seen


def test_a_fault_in_the_program_is_an_answer_too(
    folder: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(vision.batch, "measure_photo", broken)
    (refused,) = answers(folder[:1], jobs=1)[0]
    assert isinstance(refused, Refusal)
    assert "a.jpg could not be measured" in refused.findings[0].seen


def test_a_stopped_run_resumes_where_it_stopped(
    folder: list[Path], expected: list[Result], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept, measured = tmp_path / "done.jsonl", []
    really = vision.batch.measure_photo

    def counted(photo: Any, settings: Settings) -> tuple[Result, ...]:
        measured.append(photo.name)
        return really(photo, settings)

    monkeypatch.setattr(vision.batch, "measure_photo", counted)
    run = measure_many(folder[:2], Settings(), jobs=1, journal=kept, **KEEP)
    next(run)
    run.close()  # stopped after the first answer
    assert len(kept.read_text().splitlines()) == 1
    with kept.open("a") as file:
        file.write('{"photo": "half a li')  # and in the middle of writing the next one
    measured.clear()
    moved = folder[0].rename(folder[0].with_name("moved.jpg"))  # known by what is in it
    try:
        found = answers([moved, folder[1]], jobs=1, journal=kept)
    finally:
        moved.rename(folder[0])
    assert measured == ["b.jpg"]
    assert [found[0][0], found[1][0]] == [replace(expected[0], photo_name="moved.jpg"), expected[1]]
    whole = [line for line in kept.read_text().splitlines() if line.endswith("}")]
    assert len({json.loads(line)["photo"] for line in whole}) == 2
    measured.clear()
    answers(folder[:2], jobs=1, journal=kept)
    assert measured == []
    other = Settings(at_mm=(5.0,))  # other settings are another question
    list(measure_many(folder[:1], other, jobs=1, journal=kept, **KEEP))
    assert measured == ["a.jpg"]


def test_a_file_of_results_that_cannot_be_written_says_so(
    folder: list[Path], tmp_path: Path
) -> None:
    with pytest.raises(ValueError, match=r"can't be (read|written)"):
        answers(folder[:1], jobs=1, journal=tmp_path)
    with pytest.raises(ValueError, match=r"can't be read as a file of results"):
        answers(folder[:1], jobs=1, journal=Path(os.devnull))


@pytest.mark.fault(
    "a full disk while results are kept (`--keep`)",
    "`done.jsonl can't be written (...).`; once there is space, the run resumes",
)
def test_a_full_disk_is_reported_and_the_run_resumes_once_there_is_space(
    folder: list[Path], expected: list[Result], tmp_path: Path
) -> None:
    resource = pytest.importorskip("resource", reason="limits of a process are set by POSIX calls")
    journal = tmp_path / "done.jsonl"
    answers(folder[:1], jobs=1, journal=journal)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    room = journal.stat().st_size + 40  # for the beginning of the next line
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, before[1]))
    try:
        with pytest.raises(ValueError, match=r"done\.jsonl can't be written \(File too large\)"):
            answers(folder[:2], jobs=1, journal=journal)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    found = answers(folder[:2], jobs=1, journal=journal)
    assert [found[0][0], found[1][0]] == expected
    kept = [line for line in journal.read_text().splitlines() if line.endswith("}")]
    assert len(kept) == 2


@pytest.mark.fault(
    "`--keep` with a file of another kind",
    "`... is not a file of results (...) and was left unchanged; ...`",
)
def test_a_file_that_holds_something_else_is_not_added_to(
    folder: list[Path], tmp_path: Path
) -> None:
    table = tmp_path / "readings.csv"
    table.write_text("inspection,station,view_deg\nvisit,1,0\n")
    with pytest.raises(ValueError, match="is not a file of results"):
        answers(folder[:1], jobs=1, journal=table)
    assert table.read_text() == "inspection,station,view_deg\nvisit,1,0\n"


@pytest.mark.filterwarnings("ignore::ResourceWarning")  # sockets of the cluster's own
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_the_same_call_on_a_cluster_of_two_workers(
    folder: list[Path], expected: list[Result], tmp_path: Path
) -> None:
    distributed = pytest.importorskip("distributed")
    with ExitStack() as stack:
        cluster = stack.enter_context(
            distributed.LocalCluster(
                n_workers=0, processes=False, protocol="tcp://", dashboard_address=None
            )
        )
        # workers by Dask's own command, as on other machines: what they say of a failure is kept
        command = [sys.executable, "-m", "dask", "worker", cluster.scheduler_address]
        command += ["--no-nanny", "--no-dashboard", "--nthreads=1", f"--local-directory={tmp_path}"]
        for number in range(2):
            log = stack.enter_context((tmp_path / f"worker-{number}.log").open("wb"))
            worker = stack.enter_context(
                subprocess.Popen([*command, f"--name={number}"], stdout=log, stderr=log)
            )
            stack.callback(worker.terminate)
        client = stack.enter_context(distributed.Client(cluster))
        client.wait_for_workers(2, timeout=60)
        with joblib.parallel_config(backend="dask"):
            found = answers(folder[:2])
        pids = set(client.run(lambda: __import__("os").getpid()).values())
    assert len(pids) == 2
    assert [found[0][0], found[1][0]] == expected
