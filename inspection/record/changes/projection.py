"""The current state, derived from the events: the only place that writes the tables of state.

Saving and `verify` use the same functions: a save applies one event, `verify` applies all of
them to an empty database and compares.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from sqlalchemy import Connection, Table, delete, func, insert, select, update

from inspection.model.serialization import JsonObject, canonical, from_dict, result_from_dict
from inspection.record.changes.finding_keys import sentence_key
from inspection.record.storage.events import SLIP_CORRECTED, Event
from inspection.record.storage.schema import (
    compared,
    conditions,
    confirmations,
    examinations,
    findings,
    flagged,
    gauges,
    inspections,
    own_limits,
    people,
    photographs,
    print_checks,
    readings,
    results,
    reviews,
    ropes,
    station_reviews,
    stations,
)
from vision.results import Estimate, Finding


def apply_event(connection: Connection, event: Event) -> None:
    """Bring the tables of state from before an event to after it."""
    if event.kind in _STATION_FIGURES:
        _end_decisions(connection, event)  # first: it must see where a figure was
    _APPLY[event.kind](connection, event, event.new_value)
    _forget_examinations(connection, event)
    if event.about == "inspection":
        values: JsonObject = {"revision": event.sequence, "changed_at": event.at}
        state = select(inspections.c.state).where(inspections.c.identity == event.subject)
        values["state"] = state_after(connection.execute(state).scalar_one(), event)
        connection.execute(_of_inspection(event).values(values))
        who = {"person": event.who, "inspection": event.subject}
        if connection.execute(select(people).filter_by(**who)).first() is None:
            connection.execute(insert(people).values(who))


# A reviewed inspection or station whose figures change is no longer reviewed.
_STATION_FIGURES = {
    "readings added": readings,
    "reading corrected": readings,
    SLIP_CORRECTED: readings,
    "reading withdrawn": readings,
    "results added": results,
    "result replaced": results,
    "result withdrawn": results,
}
_CHANGES_FIGURES = {"inspection changed", *_STATION_FIGURES}
_REOPENS = {"condition recorded", *_CHANGES_FIGURES}
_WORDS_ONLY = ("remarks", "next_due")  # changing these leaves a reviewer's decision valid


def state_after(state: str, event: Event) -> str:
    """Return the state of an inspection after an event, from its state before.

    An inspection that changes after its review waits for the reviewer again; one that was sent
    back and is being corrected is a draft until it is submitted.
    """
    if event.kind == "submitted":
        return "submitted"
    if event.kind == "closed":
        return "closed"
    if event.kind == "reviewed":
        decision = event.new_value["state"]
        if decision == "overruled":
            return "sent back" if state == "reviewed" else "reviewed"
        return (
            "reviewed" if decision == "accepted" else "draft" if decision == "open" else "sent back"
        )
    if event.kind in _REOPENS and not _changes_words_only(event):
        return {"reviewed": "submitted", "sent back": "draft"}.get(state, state)
    return state


def _changes_words_only(event: Event) -> bool:
    if event.kind != "inspection changed":
        return False
    old, new = event.old_value, event.new_value
    changed = {name for name in {*old, *new} if old.get(name) != new.get(name)}
    return bool(changed) and changed <= set(_WORDS_ONLY)


# A gauge's calibration dates change with every calibration, and affect no finding but their own.
_PAPERS = {"calibration_due", "calibrated_on"}


def _forget_examinations(connection: Connection, event: Event) -> None:
    """Delete the results of examinations that depend on what an event changes.

    Later inspections of a rope are compared with the earlier ones.
    """
    mine = inspections.c.identity == event.subject
    if event.kind in _CHANGES_FIGURES and not _changes_words_only(event):
        here = select(inspections.c.rope, inspections.c.held_on).where(mine).subquery()
        later = (inspections.c.rope == here.c.rope) & (inspections.c.held_on > here.c.held_on)
        changed = select(inspections.c.identity).where(mine | later)
    elif event.kind == "rope changed":
        changed = select(inspections.c.identity).where(inspections.c.rope == event.subject)
    elif event.kind == "gauge changed":
        new, old = event.new_value, event.old_value or {}
        if all(new[name] == old.get(name) for name in new.keys() - _PAPERS):
            return
        changed = select(readings.c.inspection).where(readings.c.gauge == event.subject)
    elif event.about == "own limits":
        changed = select(inspections.c.identity)
    else:
        return
    for table in (examinations, compared, flagged):
        connection.execute(delete(table).where(table.c.inspection.in_(changed)))


def _of_inspection(event: Event) -> Any:
    return update(inspections).where(inspections.c.identity == event.subject)


def _end_decisions(connection: Connection, event: Event) -> None:
    """End the decisions about stations whose figures an event adds, changes or removes."""
    mine = (station_reviews.c.inspection == event.subject) & station_reviews.c.stands.is_(True)
    if connection.execute(select(station_reviews.c.event).where(mine).limit(1)).first() is None:
        return
    table = _STATION_FIGURES[event.kind]
    new, old = (
        values if isinstance(values, list) else [values] if values else []
        for values in (event.new_value, event.old_value)
    )
    before = select(table.c.station).where(
        table.c.inspection == event.subject, table.c.number.in_([entry["number"] for entry in old])
    )
    touched = {entry["station"] for entry in new} | set(connection.execute(before).scalars())
    connection.execute(
        update(station_reviews)
        .where(mine, station_reviews.c.station.in_(touched - {None}))
        .values(stands=False)
    )


def _keep(table: Table) -> Callable[[Connection, Event, Any], None]:
    def keep(connection: Connection, event: Event, new: Any) -> None:
        values = {"revision": event.sequence, "data": canonical(new)}
        done = connection.execute(
            update(table).where(table.c.identity == event.subject).values(values)
        )
        if done.rowcount == 0:
            connection.execute(insert(table).values(identity=event.subject, **values))

    return keep


def _inspection(connection: Connection, event: Event, new: Any) -> None:
    values = {
        "rope": new["rope"],
        "held_on": new["on"],
        **{name: new[name] for name in ("place", "inspector", "reviewer", "supervisor", "tension")},
        "remarks": new.get("remarks", ""),
        "next_due": new.get("next_due"),
    }
    done = connection.execute(_of_inspection(event).values(values))
    if done.rowcount == 0:
        connection.execute(
            insert(inspections).values(
                identity=event.subject,
                revision=event.sequence,
                changed_at=event.at,
                state="draft",
                readings=0,
                results=0,
                open_findings=0,
                rank=0.0,
                headline="",
                **values,
            )
        )
    else:
        connection.execute(delete(stations).where(stations.c.inspection == event.subject))
    rows = [{"inspection": event.subject, **station} for station in new["stations"]]
    if rows:
        connection.execute(insert(stations), rows)


def _readings_added(connection: Connection, event: Event, new: Any) -> None:
    usual = {"withdrawn": False, "corrected_by": "", "event": event.sequence}
    rows = [{"inspection": event.subject, **usual, **reading} for reading in new]
    connection.execute(insert(readings), rows)
    connection.execute(_of_inspection(event).values(readings=inspections.c.readings + len(rows)))


def _reading_changed(connection: Connection, event: Event, new: Any) -> None:
    old = event.old_value
    change = {"withdrawn": True} if new is None else new
    connection.execute(
        update(readings)
        .where(readings.c.inspection == event.subject, readings.c.number == old["number"])
        .values({**change, "corrected_by": event.who, "event": event.sequence})
    )


def _results_added(connection: Connection, event: Event, new: Any) -> None:
    added = 0
    for values in new:
        number = values["number"]
        result = result_from_dict(values)
        given = (result.diameter_mm, result.u_mm) if isinstance(result, Estimate) else (None, None)
        row = {
            "station": result.station,
            "view_deg": result.view_deg,
            "at_mm": result.at_mm,
            "photo": result.photo_sha256,
            "diameter_mm": given[0],
            "u_mm": given[1],
            "data": canonical({key: item for key, item in values.items() if key != "number"}),
            "event": event.sequence,
            "withdrawn": False,
        }
        done = connection.execute(
            update(results)
            .where(results.c.inspection == event.subject, results.c.number == number)
            .values(row)
        )
        if done.rowcount == 0:
            connection.execute(
                insert(results).values(inspection=event.subject, number=number, **row)
            )
            added += 1
    connection.execute(_of_inspection(event).values(results=inspections.c.results + added))


def _result_replaced(connection: Connection, event: Event, new: Any) -> None:
    _results_added(connection, event, [new])


def _result_withdrawn(connection: Connection, event: Event, new: Any) -> None:
    del new
    mine = results.c.inspection == event.subject, results.c.number == event.old_value["number"]
    connection.execute(update(results).where(*mine).values(withdrawn=True, event=event.sequence))
    connection.execute(_of_inspection(event).values(results=inspections.c.results - 1))


def _photograph_added(connection: Connection, event: Event, new: Any) -> None:
    connection.execute(
        insert(photographs).values(inspection=event.subject, event=event.sequence, **new)
    )


def _measurement_asked(connection: Connection, event: Event, new: Any) -> None:
    how = {name: value for name, value in new.items() if name != "photographs"}
    connection.execute(
        update(photographs)
        .where(
            photographs.c.inspection == event.subject,
            photographs.c.sha256.in_(new["photographs"]),
        )
        .values(asked=event.sequence, how=canonical(how), waiting=True)
    )


def _photograph_measured(connection: Connection, event: Event, new: Any) -> None:
    small = {name: new[name] for name in ("preview", "width_px", "height_px") if new["preview"]}
    small |= {name: new[name] for name in ("camera_key", "calibration")}
    mine = photographs.c.inspection == event.subject, photographs.c.sha256 == new["sha256"]
    connection.execute(update(photographs).where(*mine).values(waiting=False, **small))


def _findings_set(connection: Connection, event: Event, new: Any) -> None:
    mine = findings.c.inspection == event.subject
    connection.execute(update(findings).where(mine).values(current=False))
    known = set(connection.execute(select(findings.c.key).where(mine)).scalars())
    keys = new.get("keys")
    if keys is None:  # before version 5 of the tables
        keys = [sentence_key(from_dict(Finding, values)) for values in new["findings"]]
    for position, (key, values) in enumerate(zip(keys, new["findings"], strict=True)):
        row = {"position": position, "data": canonical(values), "current": True}
        if key in known:
            connection.execute(update(findings).where(mine, findings.c.key == key).values(row))
            continue
        known.add(key)
        connection.execute(
            insert(findings).values(
                inspection=event.subject,
                key=key,
                code=values["code"],
                settled_by="",
                settled_at="",
                settled_how="",
                event=event.sequence,
                **row,
            )
        )
    _summarise(connection, event, rank=float(new["rank"]))


def _finding_settled(connection: Connection, event: Event, new: Any) -> None:
    mine = findings.c.inspection == event.subject, findings.c.key == new["key"]
    data = connection.execute(select(findings.c.data).where(*mine)).scalar_one()
    connection.execute(
        update(findings)
        .where(*mine)
        .values(
            settled_by=event.who,
            settled_at=event.at,
            settled_how=new["how"],
            settled_value=from_dict(Finding, json.loads(data)).value,
        )
    )
    _summarise(connection, event, rank=None)


def _summarise(connection: Connection, event: Event, *, rank: float | None) -> None:
    """Count what is unsettled; with nothing left, the inspection's rank is 0."""
    unsettled = (
        (findings.c.inspection == event.subject)
        & findings.c.current.is_(True)
        & (findings.c.settled_by == "")
    )
    count = connection.execute(
        select(func.count()).select_from(findings).where(unsettled)
    ).scalar_one()
    first = connection.execute(
        select(findings.c.data).where(unsettled).order_by(findings.c.position).limit(1)
    ).scalar()
    values: JsonObject = {"open_findings": count, "headline": _seen(first)}
    if rank is not None:
        values["rank"] = rank
    if count == 0:
        values["rank"] = 0.0
    connection.execute(_of_inspection(event).values(values))


def _seen(data: Any) -> str:
    return "" if data is None else from_dict(Finding, json.loads(data)).seen


def _reviewed(connection: Connection, event: Event, new: Any) -> None:
    _step(connection, event, new["state"])


def _submitted(connection: Connection, event: Event, new: Any) -> None:
    del new
    _step(connection, event, "submitted")


def _closed(connection: Connection, event: Event, new: Any) -> None:
    _step(connection, event, "closed", canonical(new))
    if new["next_due"] is not None:
        connection.execute(_of_inspection(event).values(next_due=new["next_due"]))


def _step(connection: Connection, event: Event, state: str, closing: str = "") -> None:
    connection.execute(
        insert(reviews).values(
            event=event.sequence,
            inspection=event.subject,
            state=state,
            who=event.who,
            at=event.at,
            why=event.why,
            closing=closing,
        )
    )


def _observed(connection: Connection, event: Event, new: Any) -> None:
    place = new or event.old_value
    mine = {"inspection": event.subject, "station": place["station"]}
    mine["criterion"] = place["criterion"]
    connection.execute(delete(conditions).filter_by(**mine))
    if new is not None:
        row = {"data": canonical(new), "who": event.who, "at": event.at}
        connection.execute(insert(conditions).values(**mine, **row))


def _station_reviewed(connection: Connection, event: Event, new: Any) -> None:
    mine = (
        station_reviews.c.inspection == event.subject,
        station_reviews.c.station == new["station"],
    )
    connection.execute(update(station_reviews).where(*mine).values(stands=False))
    connection.execute(
        insert(station_reviews).values(
            event=event.sequence,
            inspection=event.subject,
            stands=True,
            who=event.who,
            at=event.at,
            why=event.why,
            **new,
        )
    )


_APPLY: dict[str, Callable[[Connection, Event, Any], None]] = {
    "rope added": _keep(ropes),
    "rope changed": _keep(ropes),
    "gauge added": _keep(gauges),
    "gauge changed": _keep(gauges),
    "print check added": _keep(print_checks),
    "print check changed": _keep(print_checks),
    "inspection added": _inspection,
    "inspection changed": _inspection,
    "readings added": _readings_added,
    "reading corrected": _reading_changed,
    SLIP_CORRECTED: _reading_changed,
    "reading withdrawn": _reading_changed,
    "results added": _results_added,
    "result replaced": _result_replaced,
    "result withdrawn": _result_withdrawn,
    "photograph added": _photograph_added,
    "measurement asked": _measurement_asked,
    "photograph measured": _photograph_measured,
    "findings set": _findings_set,
    "finding settled": _finding_settled,
    "reviewed": _reviewed,
    "station reviewed": _station_reviewed,
    "submitted": _submitted,
    "closed": _closed,
    "condition recorded": _observed,
    "own limits added": _keep(own_limits),
    "own limits changed": _keep(own_limits),
    "confirmation added": _keep(confirmations),
    "confirmation changed": _keep(confirmations),
}
