"""The queue: photographs are stored first, then measured by whichever program is free.

Pages, phones and commands add photographs only through `store_photographs`. One worker in each
server process measures them (`start_worker`), one after the other, each in a separate process with
limited memory and time; a command measures them itself (`work_off`). The record keeps what waits
and who is working on it (`inspection.record.waiting`), so that nothing is lost when a page is left
or a program is killed.
"""

from __future__ import annotations

import atexit
import hashlib
import logging
import os
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from inspection.record import waiting
from inspection.record.errors import RecordError
from inspection.record.record import Record, open_record
from inspection.record.storage.events import Signed
from inspection.record.views import Manner, OpenInspection, Photograph, Preview
from inspection.record.waiting import Answer, Task
from ui.services.assess_record import screen_inspection
from ui.services.cameras import known_cameras
from vision.apart import StoppedError, apart, is_stopping, stop
from vision.calibration.library import CalibratedCamera, camera_key
from vision.photo.containers import PhotoError, kind_of
from vision.photo.photo import open_photo
from vision.photo.preview import preview_jpeg
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate, Finding, Refusal, Result
from vision.rope.tangent_cylinder import Hold, HoldKind
from vision.target.print_scale import check_from_dict

MOST_PHOTOGRAPHS = 400  # in one inspection: 100 stations from four directions
MOST_TRIES = 3  # a photograph whose measurement was started this often is not tried again
MANY = 24  # photographs from which a command starts a process for each core
LOOK_S = 1.0  # how often the worker checks for work from other programs
STOP_S = 5.0  # how long an ending server waits for its worker
SEND_AGAIN = "Take the photograph again, or send the camera's original file."
NEVER_FINISHED = (
    "Have it measured again. If that does not finish either, take the photograph again, or send "
    "the camera's original file."
)

_wake = threading.Event()


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photograph's file as it arrived.

    Parameters
    ----------
    name : str
        Its name.
    data : bytes
        Its bytes.
    """

    name: str
    data: bytes

    @property
    def sha256(self) -> str:
        """The hash of its bytes, by which the record knows it."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, slots=True)
class Stored:
    """The outcome of storing files.

    Parameters
    ----------
    added : tuple of str
        Hashes of those that are now in the record and wait.
    known : tuple of str
        Hashes of those that the inspection already had.
    rejected : tuple of str
        Why the others were rejected, a sentence each.
    """

    added: tuple[str, ...]
    known: tuple[str, ...]
    rejected: tuple[str, ...]


def store_photographs(
    record: Record, identity: str, files: Sequence[PhotoFile], manner: Manner, *, by: str
) -> Stored:
    """Store photographs in an inspection and queue them to be measured.

    Nothing is decoded: only a file's first bytes are checked, the rest is left to the queue.

    Parameters
    ----------
    record : Record
        The record to add to.
    identity : str
        The inspection.
    files : sequence of PhotoFile
        The files.
    manner : Manner
        How they are to be measured.
    by : str
        Who adds them.

    Raises
    ------
    RecordError
        If the record or its store can't be written. Files stored before that stay stored; calling
        it again with the same files continues with the rest.
    """
    there = {one.sha256 for one in record.inspection(identity).photographs}
    taken: dict[str, PhotoFile] = {}
    known: list[str] = []
    rejected: list[str] = []
    for file in files:
        sha256 = file.sha256
        if sha256 in there or sha256 in taken:
            known.append(sha256)
            continue
        try:
            kind_of(file.data)
            if len(there) + len(taken) >= MOST_PHOTOGRAPHS:
                raise PhotoError(
                    f"is one too many: the inspection has {MOST_PHOTOGRAPHS} photographs, which "
                    "are the most; start another inspection for the rest"
                )
        except PhotoError as wrong:
            rejected.append(f"{file.name} {wrong}.")
        else:
            taken[sha256] = file
    if taken:
        arrived = [(file.name, file.data) for file in taken.values()]
        waiting.add_waiting(record, identity, arrived, manner, by=by)
        _wake.set()
    return Stored(tuple(taken), tuple(known), tuple(rejected))


def ask_screening(record: Record, identity: str, *, by: str) -> None:
    """Queue an inspection to be screened, and its findings saved, after its photographs."""
    waiting.ask_screening(record, identity, by=by)
    _wake.set()


def measure_again(
    record: Record, identity: str, hashes: Sequence[str], manner: Manner, *, by: str, why: str
) -> None:
    """Queue photographs to be measured again from their stored bytes, in another manner.

    Their results stay valid until then, and remain in the events afterwards.

    Raises
    ------
    ValueError
        If no reason is given, or the record can't take the request.
    """
    if not why.strip():
        raise ValueError("measuring photographs again needs a reason: say why.")
    waiting.ask_measurement(record, identity, hashes, manner, Signed(by, why.strip()))
    _wake.set()


def manner_of(opened: OpenInspection, sha256: str) -> Manner:
    """Return how a photograph was last requested to be measured, or what its results show."""
    for request in opened.requests:
        if request.sha256 == sha256:
            return request.manner
    mine = (one for one in opened.results if one.photo_sha256 == sha256)
    return next((Manner(one.print_set) for one in mine if isinstance(one, Estimate)), Manner())


# ---- the work ---------------------------------------------------------------------------------


def work_once(record: Record, identity: str | None = None) -> bool:
    """Do the next waiting task, of one inspection or of all; False if there is none."""
    task = waiting.claim(record, identity)
    if task is None:
        return False
    try:
        if task.photo:
            _measure(record, task)
        else:
            _screen(record, task)
    except RecordError as wrong:
        with suppress(RecordError):  # the claim then expires
            waiting.give_back(record, task, str(wrong))
    except (StoppedError, KeyboardInterrupt, SystemExit):  # an orderly end is no failed try
        with suppress(RecordError):
            waiting.give_back(record, task, pause_s=0.0)
        raise
    return True


def work_off(
    record: Record, identity: str, report: Callable[[int], object] = lambda _: None
) -> None:
    """Work until nothing of an inspection waits, on all cores if there are many photographs.

    Parameters
    ----------
    record : Record
        Where the photographs are.
    identity : str
        The inspection.
    report : callable, optional
        Called with the number that still wait.

    Raises
    ------
    RecordError
        If they can't be measured, with the problem in one sentence. They keep waiting.
    """
    waiting.try_again(record, identity)
    if waiting.waiting_count(record, identity).photographs >= MANY and (os.cpu_count() or 1) > 1:
        import joblib  # type: ignore[import-untyped]

        where = record.access.engine.url.render_as_string(hide_password=False)
        each = joblib.delayed(_work_in_process)(where, record.photographs.where, identity)
        joblib.Parallel(n_jobs=-1)([each] * (os.cpu_count() or 1))
    while True:
        left = waiting.waiting_count(record, identity)
        report(left.photographs)
        if left.problem:
            raise RecordError(f"{left.photographs} photographs are still waiting: {left.problem}")
        if not work_once(record, identity):
            if not left.photographs and not waiting.is_screening_due(record, identity):
                return
            time.sleep(0.05)  # another program is working on it


def _work_in_process(where: str, photographs: str, identity: str) -> None:
    with open_record(where, photographs=photographs, create=False) as record:
        while work_once(record, identity):
            pass


def start_worker(opened: Callable[[], Record | None]) -> Callable[[], None]:
    """Start the one worker of a server process; return the function that stops it.

    Stopped in order, it puts the photograph in progress back on the list.

    Parameters
    ----------
    opened : callable
        Opens the record; returns None while there is none.
    """
    worker = threading.Thread(target=_work_on, args=(opened,), name="measuring queue", daemon=True)
    worker.start()

    def end() -> None:
        stop()
        _wake.set()
        worker.join(STOP_S)

    atexit.register(end)
    return end


def _work_on(opened: Callable[[], Record | None]) -> None:
    record: Record | None = None
    while not is_stopping():
        worked = False
        try:
            if record is None and (record := opened()) is not None:
                waiting.list_again(record)
            worked = record is not None and work_once(record)
        except StoppedError:
            return
        except Exception as wrong:  # e.g. the record is unreachable for a while
            logging.getLogger(__name__).error("the queue pauses: %s", wrong)
            if record is not None:
                record.close()
            record = None
            time.sleep(LOOK_S)
        if not worked:
            _wake.wait(LOOK_S)
            _wake.clear()


def _screen(record: Record, task: Task) -> None:
    try:
        screen_inspection(record, task.inspection, by=task.by)
    except RecordError:
        raise
    except Exception:  # tried again when something changes
        logging.getLogger(__name__).exception("%s could not be screened", task.inspection)
    waiting.done_screening(record, task)


def _measure(record: Record, task: Task) -> None:
    opened = record.inspection(task.inspection)
    photograph = next(one for one in opened.photographs if one.sha256 == task.photo)
    request = next(one for one in opened.requests if one.sha256 == task.photo)
    standing = [one for one in opened.results if one.photo_sha256 == task.photo]
    manner, checks = request.manner, record.print_checks()
    settings = Settings(
        at_mm=tuple(sorted({one.at_mm for one in standing if not _stays(one)})) or (0.0,),
        hold=Hold(HoldKind(manner.hold), manner.offset_mm),
        print_check=check_from_dict(manner.print_set, checks[manner.print_set])
        if manner.print_set
        else None,
        cameras=known_cameras(),
    )
    if task.tries > MOST_TRIES:
        words = (
            f"Measuring {photograph.name} was started {MOST_TRIES} times and never finished; "
            "the photograph may not be the cause."
        )
        answer = _refused(photograph, words, NEVER_FINISHED)
    else:
        data = record.photographs.get(task.photo)
        try:
            results, jpeg, size, key = apart(
                photograph.name, measured, data, photograph.name, settings
            )
            used = calibration_in_words(settings.cameras[key]) if key in settings.cameras else ""
            answer = Answer(results, Preview(jpeg, *size), key, used)
        except ValueError as wrong:
            answer = _refused(photograph, str(wrong))
        except RuntimeError:
            logging.getLogger(__name__).exception("%s could not be measured", photograph.name)
            words = f"{photograph.name} could not be measured because of a fault in the program."
            answer = _refused(photograph, words)
    answer = replace(answer, results=filed_as_before(answer.results, standing))
    waiting.save_answer(record, task, answer)


def _refused(photograph: Photograph, words: str, remedy: str = SEND_AGAIN) -> Answer:
    finding = Finding("unreadable", words, remedy, "refuse")
    refusal = Refusal((finding,), photo_name=photograph.name, photo_sha256=photograph.sha256)
    return Answer((refusal,))


def measured(
    data: bytes, name: str, settings: Settings
) -> tuple[tuple[Result, ...], bytes, tuple[int, int], str]:
    """Return a photograph's results, its preview, its size (width, height) and its camera's key.

    The size is in px; the key is as in `vision.calibration.library.camera_key`.
    """
    photo = open_photo(data, name=name)
    height_px, width_px = photo.pixels.shape[:2]
    results = measure_photo(photo, settings)
    return results, preview_jpeg(photo.pixels), (width_px, height_px), camera_key(photo)


def calibration_in_words(camera: CalibratedCamera) -> str:
    """Return what distinguishes a calibration from others of the same camera."""
    day = "day not known" if camera.on is None else camera.on.isoformat()
    return f"{day}, {camera.photographs} photographs, {camera.rms_px:.3f} px"


def _stays(result: Result) -> bool:
    """Return whether a result is never replaced: an edge set by a person, or without the card."""
    return isinstance(result, Estimate) and (result.by_hand or result.without_card)


def filed_as_before(results: Sequence[Result], standing: Sequence[Result]) -> tuple[Result, ...]:
    """Return new results of a photograph, filed where a person had filed the current ones.

    Where a current result must stay, the new one is left out.
    """
    filed: list[Result] = []
    for result in results:
        before = [one for one in standing if one.at_mm == result.at_mm]
        same = [one for one in before if one.place == result.place] or before
        cards = sum(one.at_mm == result.at_mm for one in results)
        if not same or (cards > 1 and same[0].place != result.place):
            filed.append(result)
        elif _stays(same[0]):
            continue
        elif same[0].station is None:  # its card was not read then
            filed.append(result)
        else:
            filed.append(replace(result, station=same[0].station, view_deg=same[0].view_deg))
    return tuple(filed)
