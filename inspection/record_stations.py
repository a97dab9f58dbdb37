"""Decisions about single stations: accepted, sent back, overruled, and when one stops to hold.

A decision holds for the figures that it was made about: a reading or a result that comes, changes
or goes at the station ends it, and the station waits for a reviewer again.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Row, select

from inspection.record_entries import StationState
from inspection.record_errors import RecordError
from inspection.record_plain import same_person
from inspection.record_tables import readings, results, station_reviews, stations
from inspection.record_write import check_revision, need_reason, save, the_inspection

STATES: tuple[StationState, ...] = ("accepted", "sent back", "overruled")


def save_station_review(
    connection: Connection,
    identity: str,
    station: int,
    state: str,
    *,
    by: str,
    why: str,
    revision: int | None,
) -> None:
    """Keep a reviewer's decision about one station.

    Overruling turns another person's decision round: what was accepted goes back to the
    inspector, what was sent back stands as it is.

    Raises
    ------
    RecordError
        If nothing is known of the station, the person read or corrected a reading of the
        inspection, or would overrule themselves or nobody.
    ValueError
        If the decision is none of the three, or its reason is missing.
    """
    row = the_inspection(connection, identity)
    check_revision(connection, row, revision, {"station": station, "state": state, "why": why})
    if state not in STATES:
        raise ValueError(f"a station is {', '.join(STATES)}; got {state!r}.")
    if state != "accepted":
        need_reason(why, f"to set station {station} to {state!r}")
    if not _known(connection, identity, station):
        raise RecordError(f"inspection {identity!r} has nothing at station {station}.")
    not_by_who_read(connection, identity, by)
    last = _standing(connection, identity, station)
    back = state == "sent back"
    if state == "overruled":
        if last is None:
            raise RecordError(
                f"nothing was decided about station {station} as it stands: accept it or send "
                "it back."
            )
        if same_person(by, last.who):
            raise RecordError(
                f"{by} decided about station {station}; another person must overrule it."
            )
        back = not last.back
    save(
        connection, who=by, about="inspection", subject=identity, kind="station reviewed",
        old=None if last is None else {"station": station, "state": last.state},
        new={"station": station, "state": state, "back": back}, why=why,
    )  # fmt: skip


def refuse_while_one_waits(connection: Connection, identity: str) -> None:
    """Raise RecordError if a station was sent back and nothing has come of it yet."""
    waits = select(station_reviews.c.station).where(
        station_reviews.c.inspection == identity,
        station_reviews.c.stands.is_(True),
        station_reviews.c.back.is_(True),
    )
    numbers = sorted(set(connection.execute(waits).scalars()))
    if numbers:
        told = ", ".join(str(number) for number in numbers)
        raise RecordError(
            f"inspection {identity!r} can't be accepted: station {told} was sent back and "
            "waits for the inspector."
        )


def not_by_who_read(connection: Connection, identity: str, by: str) -> None:
    """Raise RecordError if the person read or corrected any reading of the inspection."""
    there = select(readings.c.person, readings.c.corrected_by)
    mine = [
        row
        for row in connection.execute(there.where(readings.c.inspection == identity))
        if same_person(by, row.person) or same_person(by, row.corrected_by)
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
        found = select(column).where(table.c.inspection == identity, column == station).limit(1)
        if connection.execute(found).first() is not None:
            return True
    return False


def _standing(connection: Connection, identity: str, station: int) -> Row[Any] | None:
    """Return the last decision about a station, None where it does not hold any more."""
    mine = select(station_reviews).where(
        station_reviews.c.inspection == identity,
        station_reviews.c.station == station,
        station_reviews.c.stands.is_(True),
    )
    return connection.execute(mine.order_by(station_reviews.c.event.desc())).first()
