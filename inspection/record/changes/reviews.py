"""Judging an inspection: findings about its entries, how they are settled, and its review.

Includes decisions about single stations: accepted, sent back or overruled, and when one ends.

A decision is valid for the figures that it was made about: a reading or a result that is added,
changed or removed at the station ends it, and the station waits for a reviewer again.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import date
from typing import Any, get_args

from sqlalchemy import Connection, Row, select

from inspection.model.closing import Closing, check_closing
from inspection.model.condition import Condition, Criterion, check_condition
from inspection.model.log import stations_in_words
from inspection.model.names import same_person
from inspection.model.readings import Reading
from inspection.model.serialization import to_dict
from inspection.record.changes.commands import (
    check_revision,
    require_inspection,
    require_reason,
    require_unclosed,
    save,
    save_correction,
)
from inspection.record.changes.finding_keys import match_findings, new_key
from inspection.record.errors import RecordError
from inspection.record.queries import logged_findings
from inspection.record.storage.events import SLIP_CORRECTED, Change, Signed
from inspection.record.storage.schema import (
    conditions,
    events,
    findings,
    readings,
    results,
    reviews,
    station_reviews,
    stations,
)
from inspection.record.views import AskedAgain, Asks, ReviewState, StationState
from vision.results import Finding


def save_findings(
    connection: Connection,
    identity: str,
    found: Sequence[Finding],
    *,
    rank: float,
    by: str,
) -> None:
    """Replace the current findings about an inspection; settled ones stay settled."""
    require_inspection(connection, identity)
    if not math.isfinite(rank):
        raise ValueError(f"the rank must be a finite number; got {rank}.")
    if any(finding in found[:number] for number, finding in enumerate(found)):
        raise ValueError("two of the findings are the same, about the same entries; give one.")
    stored = logged_findings(connection, identity)
    taken = {logged.key for logged in stored}
    keys = []
    for finding, known in zip(found, match_findings(found, stored), strict=True):
        keys.append(new_key(finding, taken) if known is None else known.key)
        taken.add(keys[-1])
    save(
        connection,
        Change(
            "inspection",
            identity,
            "findings set",
            old=[logged.key for logged in stored if logged.current] or None,
            new={
                "rank": rank,
                "findings": [to_dict(finding) for finding in found],
                "keys": keys,
            },
        ),
        Signed(by),
    )


def save_settlement(connection: Connection, identity: str, key: str, *, how: str, by: str) -> None:
    """Settle one finding, in words; nobody settles a finding about their own readings."""
    require_inspection(connection, identity)
    require_reason(how, f"to settle finding {key!r}")
    refuse_self_review(connection, identity, by)
    row = connection.execute(
        select(findings).where(findings.c.inspection == identity, findings.c.key == key)
    ).one_or_none()
    if row is None:
        raise RecordError(f"inspection {identity!r} has no finding {key!r}.")
    old = {"key": key, "by": row.settled_by, "how": row.settled_how} if row.settled_by else None
    save(
        connection,
        Change("inspection", identity, "finding settled", old=old, new={"key": key, "how": how}),
        Signed(by),
    )


def save_review(
    connection: Connection,
    identity: str,
    state: ReviewState,
    signed: Signed,
) -> None:
    """Decide about an inspection; nobody decides about their own readings."""
    by, why = signed.by, signed.why
    taken_back = require_inspection if state == "open" else require_unclosed
    row = taken_back(connection, identity)
    check_revision(connection, row, signed.revision, {"state": state, "why": why})
    if state not in get_args(ReviewState):
        raise ValueError(
            f"a review must be one of {', '.join(get_args(ReviewState))}; got {state!r}."
        )
    if state != "accepted":
        require_reason(why, f"to set inspection {identity!r} to {state!r}")
    if state != "open":
        refuse_self_review(connection, identity, by)
    if state == "accepted":
        refuse_while_one_waits(connection, identity)
    steps = select(reviews).where(reviews.c.inspection == identity)
    last = connection.execute(
        steps.where(reviews.c.state.not_in(("submitted", "closed"))).order_by(
            reviews.c.event.desc()
        )
    ).first()
    decided = row.state in ("reviewed", "sent back", "closed")
    if state == "overruled":
        if last is None or not decided:
            raise RecordError(
                f"inspection {identity!r} has no decision to overrule; accept it or send it back."
            )
        if same_person(by, last.who):
            raise RecordError(
                f"{by} made the decision about inspection {identity!r}; "
                "another person must overrule it."
            )
    before = last.state if decided and last is not None else "open"
    save(
        connection,
        Change("inspection", identity, "reviewed", old={"state": before}, new={"state": state}),
        signed,
    )


def save_submission(connection: Connection, identity: str, signed: Signed) -> None:
    """Submit an inspection for review; `signed.why` is a remark to the reviewer."""
    row = require_unclosed(connection, identity)
    check_revision(connection, row, signed.revision, {"remark": signed.why})
    if row.state not in ("draft", "sent back"):
        raise RecordError(f"the inspection {identity!r} is already {row.state}.")
    if not row.readings and not row.results:
        raise RecordError(
            f"the inspection {identity!r} has no reading and no photograph; there is nothing to "
            "review yet."
        )
    save(connection, Change("inspection", identity, "submitted", old={"state": row.state}), signed)


def save_closing(connection: Connection, identity: str, closing: Closing, signed: Signed) -> None:
    """Close a reviewed inspection with the competent person's decision about the rope."""
    row = require_inspection(connection, identity)
    new = to_dict(closing)
    check_revision(connection, row, signed.revision, new)
    if row.state != "reviewed":
        raise RecordError(
            f"the inspection {identity!r} is {row.state}; it can be closed once it is reviewed."
        )
    check_closing(closing, held_on=date.fromisoformat(row.held_on))
    change = Change("inspection", identity, "closed", old={"state": row.state}, new=new)
    save(connection, change, signed)


def save_condition(connection: Connection, identity: str, seen: Condition, signed: Signed) -> None:
    """Store what was seen of one criterion at a station; the earlier entry stays in its event."""
    row = require_unclosed(connection, identity)
    new = to_dict(seen)
    check_revision(connection, row, signed.revision, new)
    check_condition(seen)
    if not _known(connection, identity, seen.station):
        raise RecordError(f"inspection {identity!r} has nothing at station {seen.station}.")
    old = _observed(connection, identity, seen.station, seen.criterion)
    if old is not None:
        require_reason(signed.why, f"to change what was seen of {seen.criterion}")
    save(connection, Change("inspection", identity, "condition recorded", old=old, new=new), signed)


def withdraw_condition(
    connection: Connection, identity: str, station: int, criterion: Criterion, signed: Signed
) -> None:
    """Withdraw what was recorded about one criterion at a station."""
    row = require_unclosed(connection, identity)
    check_revision(connection, row, signed.revision, None)
    require_reason(signed.why, f"to withdraw what was seen of {criterion}")
    old = _observed(connection, identity, station, criterion)
    if old is None:
        raise RecordError(f"nothing is recorded about {criterion} at station {station}.")
    save(connection, Change("inspection", identity, "condition recorded", old=old), signed)


def _observed(connection: Connection, identity: str, station: int, criterion: str) -> Any:
    query = select(conditions.c.data).filter_by(
        inspection=identity, station=station, criterion=criterion
    )
    data = connection.execute(query).scalar()
    return None if data is None else json.loads(data)


STATES: tuple[StationState, ...] = ("accepted", "sent back", "overruled")


def save_station_review(
    connection: Connection,
    identity: str,
    asked: int | AskedAgain,
    state: str,
    signed: Signed,
) -> None:
    """Store a reviewer's decision about one station, with what is requested again there.

    Overruling reverses another person's decision: what was accepted goes back to the inspector,
    what was sent back stays as it is.

    Raises
    ------
    RecordError
        If the station is unknown, the person read or corrected a reading of the inspection, or
        would overrule themselves or nobody.
    ValueError
        If the decision is not one of the three, or its reason is missing.
    """
    by, why = signed.by, signed.why
    again = asked if isinstance(asked, AskedAgain) else AskedAgain(asked, "")
    station = again.station
    row = require_unclosed(connection, identity)
    check_revision(
        connection, row, signed.revision, {"station": station, "state": state, "why": why}
    )
    if state not in STATES:
        raise ValueError(f"a station must be one of {', '.join(STATES)}; got {state!r}.")
    if again.what not in get_args(Asks) or (again.what and state != "sent back"):
        raise ValueError(
            f"a reading or a photograph is requested again by sending back; got {again.what!r} "
            f"with {state!r}."
        )
    if state != "accepted":
        require_reason(why, f"to set station {station} to {state!r}")
    if not _known(connection, identity, station):
        raise RecordError(f"inspection {identity!r} has nothing at station {station}.")
    refuse_self_review(connection, identity, by)
    last = _standing(connection, identity, station)
    back = state == "sent back"
    if state == "overruled":
        if last is None:
            raise RecordError(
                f"station {station} has no decision to overrule: accept it or send it back."
            )
        if same_person(by, last.who):
            raise RecordError(
                f"{by} decided about station {station}; another person must overrule it."
            )
        back = not last.back
    save(
        connection,
        Change(
            "inspection",
            identity,
            "station reviewed",
            old=None if last is None else {"station": station, "state": last.state},
            new={
                "station": station,
                "state": state,
                "back": back,
                **({"asks": again.what, "view_deg": again.view_deg} if again.what else {}),
            },
        ),
        signed,
    )


def save_slip(
    connection: Connection, identity: str, number: int, reading: Reading, signed: Signed
) -> None:
    """Correct a slip of the pen at review; the text typed stays in its event.

    Raises
    ------
    RecordError
        If the person read or corrected a reading of the inspection, or there is no such reading.
    ValueError
        If the reason is missing, or more than the figure would change.
    """
    refuse_self_review(connection, identity, signed.by)
    save_correction(connection, identity, number, reading, signed, kind=SLIP_CORRECTED)


def refuse_while_one_waits(connection: Connection, identity: str) -> None:
    """Raise RecordError if a station was sent back and is still waiting."""
    waits = select(station_reviews.c.station).where(
        station_reviews.c.inspection == identity,
        station_reviews.c.stands.is_(True),
        station_reviews.c.back.is_(True),
    )
    numbers = sorted(set(connection.execute(waits).scalars()))
    if numbers:
        raise RecordError(
            f"inspection {identity!r} can't be accepted: {stations_in_words(numbers)} sent back, "
            "waiting for the inspector."
        )


def refuse_self_review(connection: Connection, identity: str, by: str) -> None:
    """Raise RecordError if the person read or corrected any reading of the inspection.

    A slip corrected at review is the reviewer's own decision, and bars nobody.
    """
    query = select(readings.c.person, readings.c.corrected_by, events.c.kind).outerjoin_from(
        readings, events, readings.c.event == events.c.sequence
    )
    mine = [
        row
        for row in connection.execute(query.where(readings.c.inspection == identity))
        if same_person(by, row.person)
        or (same_person(by, row.corrected_by) and row.kind != SLIP_CORRECTED)
    ]
    if mine:
        raise RecordError(
            f"{by} read or corrected {len(mine)} of the readings of inspection {identity!r} "
            "and can't review them; another person must."
        )


def _known(connection: Connection, identity: str, station: int) -> bool:
    for table, column in (
        (stations, stations.c.number),
        (readings, readings.c.station),
        (results, results.c.station),
    ):
        query = select(column).where(table.c.inspection == identity, column == station).limit(1)
        if connection.execute(query).first() is not None:
            return True
    return False


def _standing(connection: Connection, identity: str, station: int) -> Row[Any] | None:
    """Return the last decision about a station; None if it is no longer valid."""
    mine = select(station_reviews).where(
        station_reviews.c.inspection == identity,
        station_reviews.c.station == station,
        station_reviews.c.stands.is_(True),
    )
    return connection.execute(mine.order_by(station_reviews.c.event.desc())).first()
