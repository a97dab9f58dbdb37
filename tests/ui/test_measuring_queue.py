"""Photographs are stored first and measured once, whatever ends the program in between."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from inspection.exchange.export_json import export_json, restore_json
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope
from inspection.record import waiting
from inspection.record.errors import RecordError, StaleError
from inspection.record.record import Record, open_record
from inspection.record.views import Manner
from inspection.record.waiting import waiting_count
from ui.services import measuring_queue
from ui.services.measuring_queue import (
    PhotoFile,
    filed_as_before,
    measure_again,
    start_worker,
    store_photographs,
    work_off,
    work_once,
)
from ui.services.print_sets import offers, usual_print_set
from ui.services.sample import sample_folder
from vision.apart import StoppedError
from vision.calibration.library import CalibratedCamera
from vision.pipeline import Settings
from vision.results import BY_HAND, Estimate, Finding
from vision.target.print_scale import check_to_dict, load_print_checks
from vision.uncertainty import Term

JPEG = b"\xff\xd8\xff"
KEY = "Lantern L4, 4000 x 3000, 26 mm"


@pytest.fixture
def record(tmp_path: Path, empty_record: Path) -> Iterator[Record]:
    shutil.copy(empty_record, tmp_path / "record.db")
    with open_record(tmp_path / "record.db") as opened:
        opened.add_rope(Rope("rope", 22.0), by="A. Berg")
        opened.add_inspection(Inspection("visit", "rope", date(2026, 11, 2)), by="A. Berg")
        yield opened


def files(count: int) -> list[PhotoFile]:
    return [PhotoFile(f"s{number}-0.jpg", JPEG + bytes([number])) for number in range(1, count + 1)]


def made_up(_: str, work: object, data: bytes, name: str, settings: Settings) -> object:
    """Stand in for the separate process: the photograph's last byte is its station."""
    check = settings.print_check
    source = "print:unchecked A5 middle:x" if check is None else f"print:{check.name}:x"
    results = tuple(
        Estimate(
            22.0 if check is None else 22.1,
            (Term("scale along", 0.01, "1", 1.0, "B", source),),
            station=data[-1],
            view_deg=0,
            at_mm=at_mm,
            hold=settings.hold.kind,
            photo_name=name,
            photo_sha256=PhotoFile(name, data).sha256,
            camera="Lantern L4",
            print_set="" if check is None else check.name,
        )
        for at_mm in settings.at_mm
    )
    return results, JPEG + b"small", (4000, 3000), KEY


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measuring_queue, "apart", made_up)


def test_all_bytes_are_stored_before_anything_is_measured(record: Record, quick: None) -> None:
    stored = store_photographs(
        record, "visit", [*files(8), PhotoFile("a.gif", b"GIF89a")], Manner(), by="A. Berg"
    )
    assert stored.rejected == (
        "a.gif is a GIF file; a photograph must be JPEG, PNG, TIFF, WebP, HEIC/HEIF or AVIF.",
    )
    there = record.inspection("visit")
    assert [one.name for one in there.photographs] == [one.name for one in files(8)]
    assert [record.photographs.get(one.sha256) for one in there.photographs] == [
        one.data for one in files(8)
    ]
    assert there.waiting == set(stored.added)
    assert waiting_count(record).photographs == waiting_count(record, "visit").photographs == 8
    again = store_photographs(record, "visit", files(8), Manner(), by="A. Berg")
    assert (again.added, len(again.known)) == ((), 8)
    work_off(record, "visit")
    assert [one.station for one in record.inspection("visit").results] == list(range(1, 9))
    assert not waiting_count(record).photographs
    assert record.verify(photographs=True).sound


# Another process beside this one, twenty photographs; each writes down what it measured.
WORKER = """
import sys
from inspection.record.record import open_record
from tests.ui.test_measuring_queue import made_up
from ui.services import measuring_queue

def noted(name, work, data, *rest):
    print(data[-1], flush=True)
    return made_up(name, work, data, *rest)

measuring_queue.apart = noted
with open_record(sys.argv[1]) as record:
    print("ready", flush=True)
    while waiting_count(record).photographs:
        measuring_queue.work_once(record)
"""
PROJECT = Path(__file__).resolve().parents[2]


def process(script: str, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", script, *words], cwd=PROJECT, text=True, stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(PROJECT), *sys.path])},
    )  # fmt: skip


def test_two_processes_never_measure_one_photograph_twice(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    store_photographs(record, "visit", files(20), Manner(), by="A. Berg")
    here: list[int] = []

    def noted(name: str, work: object, data: bytes, *rest: Any) -> object:
        here.append(data[-1])
        return made_up(name, work, data, *rest)

    monkeypatch.setattr(measuring_queue, "apart", noted)
    other = process(WORKER, record.access.where)
    assert other.stdout is not None
    assert other.stdout.readline() == "ready\n"
    while waiting_count(record).photographs:
        work_once(record)
    there = [int(word) for word in other.communicate(timeout=120)[0].split()]
    assert sorted(here + there) == list(range(1, 21))
    added = [one for one in record.events() if one.kind == "results added"]
    assert len(added) == 20


# Killed as by `kill -9` while the second of three is measured.
KILLED = """
import os, signal, sys
from pathlib import Path
from inspection.record.record import open_record
from inspection.record.views import Manner
from tests.ui.test_measuring_queue import files, made_up
from ui.services import measuring_queue

count = []
def kill(*given):
    count.append(1)
    if len(count) == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return made_up(*given)

measuring_queue.apart = kill
with open_record(sys.argv[1]) as record:
    measuring_queue.store_photographs(record, "visit", files(3), Manner(), by="A. Berg")
    measuring_queue.work_off(record, "visit")
"""


@pytest.mark.fault(
    "a kill, a restart or another page while photographs are measured",
    "every page says `2 waiting`; the next program to run measures them",
)
@pytest.mark.skipif(sys.platform == "win32", reason="kills a process")
def test_the_next_program_takes_over_the_work_of_a_killed_one_at_once(
    record: Record, quick: None
) -> None:
    killed = process(KILLED, record.access.where)
    killed.communicate(timeout=120)
    assert killed.returncode == -signal.SIGKILL
    assert waiting_count(record, "visit").photographs == 2
    before = time.monotonic()
    work_off(record, "visit")
    assert time.monotonic() - before < 30 < waiting.LEASE_S  # nobody waited for the claim's end
    assert [one.station for one in record.inspection("visit").results] == [1, 2, 3]
    assert record.verify(photographs=True).sound


@pytest.mark.fault(
    "the program is killed three times while it measures the same photograph",
    "`Measuring ... was started 3 times and never finished; the photograph may not be the cause.`, "
    "and the others are measured",
)
def test_a_photograph_whose_measurement_never_finishes_is_refused(
    record: Record, quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    store_photographs(record, "visit", files(1), Manner(), by="A. Berg")
    for _ in range(measuring_queue.MOST_TRIES):
        assert waiting.claim(record) is not None  # and then the program is killed
        monkeypatch.setattr(waiting, "_is_gone", lambda worker: True)
    work_off(record, "visit")
    (refused,) = record.inspection("visit").results
    (finding,) = refused.findings
    assert finding.seen == (
        "Measuring s1-0.jpg was started 3 times and never finished; the photograph may not be the "
        "cause."
    )
    assert finding.remedy.startswith("Have it measured again.")


@pytest.mark.parametrize("ended", [StoppedError, KeyboardInterrupt, SystemExit])
def test_any_number_of_orderly_stops_is_no_failed_try(
    record: Record, monkeypatch: pytest.MonkeyPatch, ended: type[BaseException]
) -> None:
    store_photographs(record, "visit", files(1), Manner(), by="A. Berg")

    def stopped(*_: object) -> object:
        raise ended

    monkeypatch.setattr(measuring_queue, "apart", stopped)
    for _ in range(measuring_queue.MOST_TRIES + 1):
        with pytest.raises(ended):
            work_once(record)  # it is free at once
    monkeypatch.setattr(measuring_queue, "apart", made_up)
    work_off(record, "visit")
    assert [one.station for one in record.inspection("visit").results] == [1]


# A server that ends in order, in the middle of a photograph.
STOPPED = """
import sys, threading, time
from inspection.record.record import open_record
from tests.ui import test_measuring_queue
from ui.services import measuring_queue

begun, apart = threading.Event(), measuring_queue.apart

def noted(*given):
    begun.set()
    return apart(*given)

measuring_queue.apart, measuring_queue.measured = noted, test_measuring_queue.endless
record = open_record(sys.argv[1])
measuring_queue.start_worker(lambda: record)
assert begun.wait(60)
time.sleep(0.5)
"""


def endless(*_: object) -> None:
    time.sleep(60)


@pytest.mark.fault(
    "the server is stopped while it measures a photograph, any number of times",
    "nothing is recorded against the photograph; the next program measures it",
)
def test_a_server_that_is_stopped_puts_its_photograph_back(record: Record, quick: None) -> None:
    store_photographs(record, "visit", files(1), Manner(), by="A. Berg")
    server = process(STOPPED, record.access.where)
    server.communicate(timeout=120)
    assert server.returncode == 0
    assert waiting_count(record, "visit").photographs == 1
    assert not record.inspection("visit").results
    task = waiting.claim(record)
    assert task is not None
    assert task.tries == 1


@pytest.mark.fault(
    "waiting photographs missing from their store",
    "`2 photographs are still waiting: photograph ... is not in the store ...`; they are measured "
    "once the store is back",
)
def test_a_missing_store_is_reported_and_the_photographs_keep_waiting(
    record: Record, quick: None
) -> None:
    store_photographs(record, "visit", files(2), Manner(), by="A. Berg")
    store = Path(record.photographs.where)
    store.rename(store.with_name("elsewhere"))
    assert work_once(record)
    assert waiting_count(record, "visit").photographs == 2
    assert "was the folder moved?" in waiting_count(record, "visit").problem
    with pytest.raises(
        RecordError, match=r"2 photographs are still waiting: .*was the folder moved"
    ):
        work_off(record, "visit")
    store.with_name("elsewhere").rename(store)
    while work_once(
        record
    ):  # the queue then pauses for some seconds; a caller does not have to wait
        pass
    work_off(record, "visit")
    assert len(record.inspection("visit").results) == 2
    assert not waiting_count(record, "visit").problem


def test_the_worker_of_a_server_measures_what_another_program_stored(
    record: Record, quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(measuring_queue, "LOOK_S", 0.02)
    before = threading.active_count()
    with open_record(record.access.where) as its_own:
        start_worker(lambda: its_own)
        assert threading.active_count() == before + 1
        waiting.add_waiting(record, "visit", [(one.name, one.data) for one in files(3)],
                            Manner(), by="A. Berg")  # fmt: skip
        until = time.monotonic() + 60
        while waiting_count(record, "visit").photographs and time.monotonic() < until:
            time.sleep(0.02)
        while waiting.is_screening_due(record, "visit") and time.monotonic() < until:
            time.sleep(0.02)
    assert len(record.inspection("visit").results) == 3


def test_a_reading_is_saved_although_figures_arrived_meanwhile(record: Record, quick: None) -> None:
    record.add_gauge(Gauge("C-1", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
    seen = record.inspection("visit").revision
    store_photographs(record, "visit", files(2), Manner(), by="A. Berg")
    work_off(record, "visit")
    read = Reading("22.0", 22.0, 1, 0, "C-1", "A. Berg")
    record.add_readings("visit", [read], by="A. Berg", revision=seen)
    with pytest.raises(StaleError, match=r"readings added by A\. Berg"):
        record.add_readings("visit", [read], by="A. Berg", revision=seen)
    there = record.inspection("visit")
    with pytest.raises(StaleError, match="findings set"):  # a review rests on every figure
        record.review("visit", "accepted", by="B. Lind", revision=seen)
    moved = replace(there.results[0], station=9)
    with pytest.raises(StaleError, match="results added"):  # its own figure arrived meanwhile
        record.add_results("visit", [moved], by="A. Berg", revision=seen)


def test_a_later_check_and_a_calibration_are_offered_to_the_photographs_that_they_fit(
    record: Record, quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(measuring_queue, "known_cameras", dict)
    store_photographs(record, "visit", files(3), Manner(), by="A. Berg")
    work_off(record, "visit")
    folder = sample_folder()
    assert folder is not None
    (check,) = load_print_checks(folder / "print_checks.json").values()
    there = record.inspection("visit")
    # a figure that a person set stays, and counts in no offer
    by_hand = replace(there.results[2], findings=(Finding(BY_HAND, "B moved it.", "", "warn"),))
    record.replace_result("visit", there.results[2], by_hand, by="B", why="a loose wire")
    there = record.inspection("visit")
    (offer,) = offers(there, {check.name: check}, {})
    assert offer.label == f"Apply the print check {check.name} to these 2 photographs"
    camera = CalibratedCamera(KEY, (4000, 3000), 3000.0, (2000.0, 1500.0), 0, 0, 0, 0,
                              ((0.0,) * 7,) * 7, 12, 0.2, 0.9, date(2026, 11, 29))  # fmt: skip
    (calibrated,) = offers(there, {}, {KEY: camera})
    assert calibrated.label == "Apply the calibration of Lantern L4 to these 2 photographs"
    record.add_print_check(check.name, check_to_dict(check), by="A. Berg")
    with pytest.raises(ValueError, match="needs a reason"):
        measure_again(record, "visit", offer.hashes, offer.manner, by="B", why=" ")
    measure_again(record, "visit", offer.hashes, offer.manner, by="B", why=offer.why)
    monkeypatch.setattr(measuring_queue, "known_cameras", lambda: {KEY: camera})
    there = record.inspection("visit")
    assert [one.diameter_mm for one in there.results] == [22.0] * 3  # they stay valid until then
    work_off(record, "visit")
    there = record.inspection("visit")
    assert [one.diameter_mm for one in there.results] == [22.1, 22.1, 22.0]
    assert offers(there, {check.name: check}, {KEY: camera}) == []
    first = next(one for one in record.events() if one.kind == "results added")
    assert json.loads(first.new or "")[0]["diameter_mm"] == 22.0  # kept, for ever
    assert record.verify().sound


def test_a_photograph_stays_where_a_person_filed_it(record: Record, quick: None) -> None:
    store_photographs(record, "visit", files(1), Manner(), by="A. Berg")
    work_off(record, "visit")
    (first,) = record.inspection("visit").results
    record.add_results("visit", [replace(first, station=7, view_deg=90)], by="A", why="mixed up")
    measure_again(record, "visit", [first.photo_sha256], Manner(hold="level"), by="A", why="held")
    work_off(record, "visit")
    (again,) = record.inspection("visit").results
    assert isinstance(again, Estimate)
    assert (again.station, again.view_deg, again.hold) == (7, 90, "level")
    # of two cards in one photograph each keeps its own place
    two = [first, replace(first, station=2)]
    assert [one.station for one in filed_as_before(two, two)] == [1, 2]


def test_a_request_that_comes_while_the_last_one_is_worked_on_counts(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    store_photographs(record, "visit", files(1), Manner(), by="A. Berg")
    (sha256,) = record.inspection("visit").waiting

    def interrupted(*given: object) -> object:
        monkeypatch.setattr(measuring_queue, "apart", made_up)
        measure_again(record, "visit", [sha256], Manner(hold="level"), by="B", why="held level")
        return made_up(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(measuring_queue, "apart", interrupted)
    work_off(record, "visit")
    added = [one for one in record.events() if one.kind == "results added"]
    assert len(added) == 1  # what was measured by the first request was not saved
    (result,) = record.inspection("visit").results
    assert isinstance(result, Estimate)
    assert result.hold == "level"


def test_a_restored_export_waits_on(record: Record, quick: None, tmp_path: Path) -> None:
    store_photographs(record, "visit", files(2), Manner(), by="A. Berg")
    export_json(record, tmp_path / "all.json")
    there = tmp_path / "record-photographs"
    with open_record(tmp_path / "again.db", photographs=there) as restored:
        restore_json(restored, tmp_path / "all.json")
        assert waiting.claim(restored) is None
        waiting.list_again(restored)
        work_off(restored, "visit")
        assert len(restored.inspection("visit").results) == 2
        assert restored.verify(photographs=True).sound


@pytest.mark.parametrize(
    ("manner", "words"),
    [
        (Manner("spring"), "no print check of the card set 'spring'"),
        (Manner(hold="sideways"), "must be one of touching, level, stand-off"),
        (Manner(offset_mm=float("nan")), "the hold of a card"),
    ],
)
def test_an_impossible_manner_is_refused_and_nothing_waits(
    record: Record, manner: Manner, words: str
) -> None:
    with pytest.raises(RecordError, match=words):
        store_photographs(record, "visit", files(1), manner, by="A. Berg")
    assert not record.inspection("visit").photographs


def test_with_several_card_sets_none_is_assumed(record: Record, quick: None) -> None:
    there = record.inspection("visit")
    assert usual_print_set(there, {}) == ""
    assert usual_print_set(there, {"spring": 1}) == "spring"
    assert usual_print_set(there, {"spring": 1, "autumn": 2}) == ""
    store_photographs(record, "visit", files(1), Manner(), by="A. Berg")
    assert usual_print_set(record.inspection("visit"), {"spring": 1}) == ""  # as stated before
