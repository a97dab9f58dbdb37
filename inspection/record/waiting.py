"""Photographs that wait to be measured: requested in the record, claimed by one worker at a time.

A photograph is stored first, and an event requests its measurement. That it is waiting is part of
the state, so it survives the end of any program. Who is working on it is in the table `tasks`,
which is not part of the record: a claim is valid for `LEASE_S`, or until its process is gone, and
is then free. So two processes never save a measurement of one request twice.

After its photographs an inspection is screened, using the same list.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

from sqlalchemy import ColumnElement, Connection, delete, exists, func, insert, select, update

from inspection.record.changes.commands import (
    check_store,
    require_inspection,
    save_photograph,
    save_results,
)
from inspection.record.changes.measurements import MeasuredPhotograph, save_measured, save_request
from inspection.record.errors import RecordError
from inspection.record.record import Record
from inspection.record.storage.events import Signed
from inspection.record.storage.schema import events, photographs, tasks
from inspection.record.views import Manner, Photograph, Preview
from vision.results import Result

LEASE_S = 120.0  # a photograph takes 60 s at most
AGAIN_S = 10.0  # after a fault of record or store


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer from measuring a photograph.

    Parameters
    ----------
    results : tuple of Estimate or Refusal
        Its results.
    preview : Preview or None
        Its small JPEG, if one could be made.
    camera_key, calibration : str
        As in `inspection.record.views.Request`.
    """

    results: tuple[Result, ...]
    preview: Preview | None = None
    camera_key: str = ""
    calibration: str = ""


@dataclass(frozen=True, slots=True)
class Task:
    """A task that a worker has claimed.

    Parameters
    ----------
    inspection : str
        The photograph's inspection, or the inspection to be screened.
    photo : str
        Hash of the photograph; empty for a screening.
    by : str
        Who requested it.
    event : int
        The event that requested it; 0 for a screening.
    tries : int
        How often it was started, including this time; a start that was given back doesn't count.
    worker : str
        Who claimed it.
    """

    inspection: str
    photo: str
    by: str
    event: int
    tries: int
    worker: str


@dataclass(frozen=True, slots=True)
class Wait:
    """The state of the queue.

    Parameters
    ----------
    photographs : int
        How many are not measured yet.
    problem : str
        What prevents it, if anything; one sentence.
    """

    photographs: int
    problem: str = ""


# ---- adding and requesting --------------------------------------------------------------


def add_waiting(
    record: Record, inspection: str, files: Sequence[tuple[str, bytes]], manner: Manner, *, by: str
) -> None:
    """Store photographs, each a name and its bytes, and queue them to be measured.

    Raises
    ------
    RecordError
        If one can't be stored; those before it are then in the record, and queued.
    """
    arrived: list[Photograph] = []
    fault: RecordError | None = None
    for name, data in files:
        try:  # a slow store must not keep the record locked
            arrived.append(Photograph(record.store_photograph(inspection, data), name, len(data)))
        except RecordError as wrong:
            fault = wrong
            break
    if arrived:
        with record.transaction() as batch, batch.access.writing() as connection:
            for one in arrived:
                save_photograph(connection, inspection, one, by=by)
            ask_measurement(batch, inspection, [one.sha256 for one in arrived], manner, Signed(by))
    if fault is not None:
        raise fault


def ask_measurement(
    record: Record, inspection: str, hashes: Sequence[str], manner: Manner, signed: Signed
) -> int:
    """Queue photographs of an inspection to be measured; return the number of the event.

    Their earlier results stay valid until then, and in their events for ever.

    Raises
    ------
    RecordError
        If one is not in the inspection, the card set has no print check, or the hold is unknown.
    """
    with record.access.writing() as connection:
        event = save_request(connection, inspection, hashes, manner, signed)
        for position, sha256 in enumerate(hashes):
            _put(connection, inspection, sha256, signed.by, position=position)
        return event


def ask_screening(record: Record, inspection: str, *, by: str) -> None:
    """Queue an inspection to be screened after its photographs."""
    with record.access.writing() as connection:
        require_inspection(connection, inspection)
        _put(connection, inspection, "", by, position=0)


def _put(connection: Connection, inspection: str, photo: str, by: str, *, position: int) -> None:
    """Put a task on the list afresh; the result of anyone working on the old one is discarded."""
    connection.execute(delete(tasks).where(*_is(inspection, photo)))
    free = {"worker": "", "until": 0.0, "tries": 0, "problem": ""}
    connection.execute(
        insert(tasks).values(inspection=inspection, photo=photo, by=by, position=position, **free)
    )


def _is(inspection: str, photo: str) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    return tasks.c.inspection == inspection, tasks.c.photo == photo


# ---- how many are waiting --------------------------------------------------------------------


def waiting_count(record: Record, inspection: str | None = None) -> Wait:
    """Return how many photographs are waiting, of one inspection or of all."""
    with record.access.reading() as connection:
        count = select(func.count()).where(photographs.c.waiting.is_(True))
        problem = select(tasks.c.problem).where(tasks.c.problem != "").limit(1)
        if inspection is not None:
            count = count.where(photographs.c.inspection == inspection)
            problem = problem.where(tasks.c.inspection == inspection)
        return Wait(
            connection.execute(count).scalar_one(), connection.execute(problem).scalar() or ""
        )


def is_screening_due(record: Record, inspection: str) -> bool:
    """Return whether an inspection is to be screened, now or after its photographs."""
    with record.access.reading() as connection:
        query = select(tasks.c.inspection).where(*_is(inspection, ""))
        return connection.execute(query).first() is not None


# ---- working -----------------------------------------------------------------------------


@cache
def _process(pid: int) -> str:
    return f"{socket.gethostname()} {pid} {time.time_ns()}"


def this_worker() -> str:
    """Return what distinguishes this process from every other that works on the record."""
    return _process(os.getpid())


def _is_gone(worker: str) -> bool:
    """Return whether a claim's process is known to have ended: on this machine, and not running."""
    host, _, rest = worker.rpartition(" ")[0].rpartition(" ")
    if host != socket.gethostname() or not rest.isdigit() or os.name != "posix":
        return False
    if int(rest) == os.getpid():
        return worker != this_worker()
    try:
        os.kill(int(rest), 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def claim(record: Record, inspection: str | None = None) -> Task | None:
    """Claim the next task, photographs first in order of request; None if there is none.

    Parameters
    ----------
    record : Record
        The record.
    inspection : str, optional
        Only tasks of this inspection.
    """
    with record.access.reading() as connection:  # usually there is nothing: avoid the lock
        if _next(connection, inspection) is None:
            return None
    with record.access.writing() as connection:
        found = _next(connection, inspection)
        if found is None:
            return None
        connection.execute(
            update(tasks)
            .where(*_is(found.inspection, found.photo))
            .values(worker=found.worker, until=time.time() + LEASE_S, tries=found.tries, problem="")
        )
        return found


def _next(connection: Connection, inspection: str | None) -> Task | None:
    event = (
        select(photographs.c.asked)
        .where(
            photographs.c.inspection == tasks.c.inspection, photographs.c.sha256 == tasks.c.photo
        )
        .scalar_subquery()
    )
    other = tasks.alias()
    more = exists().where(other.c.inspection == tasks.c.inspection, other.c.photo != "")
    query = select(tasks, func.coalesce(event, 0).label("event")).where(
        (tasks.c.photo != "") | ~more
    )
    if inspection is not None:
        query = query.where(tasks.c.inspection == inspection)
    now = time.time()
    for row in connection.execute(query.order_by(tasks.c.photo == "", "event", tasks.c.position)):
        if row.until < now or (row.worker and _is_gone(row.worker)):
            return Task(row.inspection, row.photo, row.by, row.event, row.tries + 1, this_worker())
    return None


def give_back(record: Record, task: Task, problem: str = "", *, pause_s: float = AGAIN_S) -> None:
    """Return a task to the list for some seconds later, as if it had not been started."""
    with record.access.writing() as connection:
        connection.execute(
            update(tasks)
            .where(*_is(task.inspection, task.photo), tasks.c.worker == task.worker)
            .values(worker="", until=time.time() + pause_s, tries=task.tries - 1, problem=problem)
        )


def try_again(record: Record, inspection: str) -> None:
    """Let tasks that pause after a fault be started at once."""
    resting = tasks.c.inspection == inspection, tasks.c.worker == "", tasks.c.problem != ""
    with record.access.reading() as connection:
        if connection.execute(select(tasks.c.photo).where(*resting)).first() is None:
            return
    with record.access.writing() as connection:
        connection.execute(update(tasks).where(*resting).values(until=0.0, problem=""))


def save_answer(record: Record, task: Task, answer: Answer) -> bool:
    """Save a photograph's results and preview; False if another request came meanwhile.

    The results supersede those at the same places in the photograph.
    """
    preview = answer.preview
    small = MeasuredPhotograph(
        task.photo, camera_key=answer.camera_key, calibration=answer.calibration
    )
    if preview is not None:
        with record.access.reading() as connection:
            check_store(connection, task.inspection, record.photographs)
        stored = record.photographs.put(preview.jpeg)
        small = replace(
            small, preview=stored, width_px=preview.width_px, height_px=preview.height_px
        )
    with record.access.writing() as connection:
        mine = (
            photographs.c.inspection == task.inspection,
            photographs.c.sha256 == task.photo,
            photographs.c.asked == task.event,
            photographs.c.waiting.is_(True),
        )
        if connection.execute(select(photographs.c.sha256).where(*mine)).first() is None:
            return False
        asked = select(events.c.why).where(events.c.sequence == task.event)
        signed = Signed(task.by, connection.execute(asked).scalar_one())
        save_results(connection, task.inspection, answer.results, signed)
        save_measured(connection, task.inspection, small, by=task.by)
        connection.execute(delete(tasks).where(*_is(task.inspection, task.photo)))
        _put(connection, task.inspection, "", task.by, position=0)
        return True


def done_screening(record: Record, task: Task) -> None:
    """Take a screening off the list, unless it was requested again meanwhile."""
    with record.access.writing() as connection:
        connection.execute(
            delete(tasks).where(*_is(task.inspection, ""), tasks.c.worker == task.worker)
        )


def list_again(record: Record) -> None:
    """Put waiting photographs on the list that are missing from it, as in a restored record."""
    listed = exists().where(
        tasks.c.inspection == photographs.c.inspection, tasks.c.photo == photographs.c.sha256
    )
    query = select(photographs.c.inspection, photographs.c.sha256).where(
        photographs.c.waiting.is_(True), ~listed
    )
    with record.access.reading() as connection:
        if connection.execute(query).first() is None:
            return
    asked = query.join(events, events.c.sequence == photographs.c.asked).add_columns(events.c.who)
    with record.access.writing() as connection:
        for position, row in enumerate(connection.execute(asked).all()):
            _put(connection, row.inspection, row.sha256, row.who, position=position)
