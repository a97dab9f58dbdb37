"""Judging an inspection: findings about its entries, how they are settled, and its review."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import get_args

from sqlalchemy import Connection, select

from inspection.record_entries import ReviewState
from inspection.record_errors import RecordError
from inspection.record_plain import plain, same_person
from inspection.record_state import finding_key
from inspection.record_stations import (
    not_by_who_read,
    refuse_while_one_waits,
    save_station_review,
)
from inspection.record_tables import findings, reviews
from inspection.record_write import check_revision, need_reason, save, the_inspection
from vision.estimate import Finding


def save_findings(
    connection: Connection, identity: str, found: Sequence[Finding], *, rank: float, by: str
) -> None:
    """Replace the current findings about an inspection; settled ones stay settled."""
    the_inspection(connection, identity)
    if not math.isfinite(rank):
        raise ValueError(f"the rank must be a finite number; got {rank}.")
    there = select(findings.c.key).where(
        findings.c.inspection == identity, findings.c.current.is_(True)
    )
    old = connection.execute(there.order_by(findings.c.position)).scalars().all()
    told = [plain(item) for item in found]
    keys = [finding_key(item) for item in told]
    if len(set(keys)) != len(keys):
        raise ValueError("two of the findings say the same about the same entries; give one.")
    save(
        connection, who=by, about="inspection", subject=identity, kind="findings set",
        old=list(old) or None, new={"rank": rank, "findings": told},
    )  # fmt: skip


def save_settlement(connection: Connection, identity: str, key: str, *, how: str, by: str) -> None:
    """Settle one finding, with words; nobody settles what was found about their own readings."""
    the_inspection(connection, identity)
    need_reason(how, f"to settle finding {key!r}")
    not_by_who_read(connection, identity, by)
    row = connection.execute(
        select(findings).where(findings.c.inspection == identity, findings.c.key == key)
    ).one_or_none()
    if row is None:
        raise RecordError(f"inspection {identity!r} has no finding {key!r}.")
    old = {"key": key, "by": row.settled_by, "how": row.settled_how} if row.settled_by else None
    save(
        connection, who=by, about="inspection", subject=identity, kind="finding settled",
        old=old, new={"key": key, "how": how},
    )  # fmt: skip


def save_review(
    connection: Connection,
    identity: str,
    state: ReviewState,
    station: int | None = None,
    *,
    by: str,
    why: str,
    revision: int | None,
) -> None:
    """Decide about an inspection or a station; nobody decides about what they read themselves."""
    if station is not None:
        save_station_review(connection, identity, station, state, by=by, why=why, revision=revision)
        return
    row = the_inspection(connection, identity)
    check_revision(connection, row, revision, {"state": state, "why": why})
    if state not in get_args(ReviewState):
        raise ValueError(f"a review ends in {', '.join(get_args(ReviewState))}; got {state!r}.")
    if state != "accepted":
        need_reason(why, f"to set inspection {identity!r} to {state!r}")
    if state != "open":
        not_by_who_read(connection, identity, by)
    if state == "accepted":
        refuse_while_one_waits(connection, identity)
    last = connection.execute(
        select(reviews).where(reviews.c.inspection == identity).order_by(reviews.c.event.desc())
    ).first()
    if state == "overruled":
        if last is None or row.state == "open":
            raise RecordError(
                f"inspection {identity!r} has no decision to overrule; accept it or send it back."
            )
        if same_person(by, last.who):
            raise RecordError(
                f"{by} made the decision about inspection {identity!r}; "
                "another person must overrule it."
            )
    save(
        connection, who=by, about="inspection", subject=identity, kind="reviewed",
        old={"state": row.state}, new={"state": state}, why=why,
    )  # fmt: skip
