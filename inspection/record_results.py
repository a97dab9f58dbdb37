"""What photographs say, saved: a new result of the same photograph and place supersedes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Row, select

from inspection.record_errors import RecordError
from inspection.record_plain import Plain, canonical, plain
from inspection.record_read import next_number
from inspection.record_tables import results
from inspection.record_write import check_revision, need_reason, save, the_inspection
from vision.estimate import Result


def _standing(connection: Connection, identity: str) -> list[Row[Any]]:
    there = select(results).where(results.c.inspection == identity, results.c.withdrawn.is_(False))
    return list(connection.execute(there.order_by(results.c.number)))


def save_results(
    connection: Connection,
    identity: str,
    added: Sequence[Result],
    *,
    by: str,
    why: str,
    revision: int | None,
) -> tuple[int, ...]:
    """Add what photographs say; a new result of the same photograph and place supersedes.

    Where several cards lie in one photograph, the station tells their results apart.
    """
    row = the_inspection(connection, identity)
    new = [plain(result) for result in added]
    check_revision(connection, row, revision, new)
    if not added:
        return ()
    there = [item for item in _standing(connection, identity) if item.photo]
    following = next_number(connection, results, identity)
    numbers: dict[int, Plain] = {}
    superseded = []
    for result, values in zip(added, new, strict=True):
        same = [
            item for item in there
            if (item.photo, item.at_mm) == (result.photo_sha256, result.at_mm)
            and item.number not in numbers
        ]  # fmt: skip
        filed = (result.station, result.view_deg)
        same.sort(key=lambda item: (item.station, item.view_deg) != filed)
        if same:
            number = same[0].number
            superseded.append({"number": number, "event": same[0].event})
        else:
            number, following = following, following + 1
        numbers[number] = {"number": number, **values}
    save(
        connection, who=by, about="inspection", subject=identity, kind="results added",
        old=superseded or None, new=list(numbers.values()), why=why,
    )  # fmt: skip
    return tuple(numbers)


def save_replacement(
    connection: Connection,
    identity: str,
    before: Result,
    after: Result | None,
    *,
    by: str,
    why: str,
    revision: int | None,
) -> None:
    """Let one result take another's place, or withdraw it (`after` None); both stay in events.

    Raises
    ------
    RecordError
        If the inspection does not hold `before` as it stands, or another result stands at the
        new place already.
    """
    row = the_inspection(connection, identity)
    new = None if after is None else plain(after)
    check_revision(connection, row, revision, new)
    need_reason(why, "to replace or withdraw what a photograph says")
    there = _standing(connection, identity)
    told = canonical(plain(before))
    mine = next((item for item in there if item.data == told), None)
    if mine is None:
        raise RecordError(
            f"inspection {identity!r} does not hold this result of {before.photo_name} any more; "
            "look at what is there now."
        )
    if after is not None and any(
        item.number != mine.number
        and (item.photo, item.at_mm, item.station, item.view_deg)
        == (after.photo_sha256, after.at_mm, after.station, after.view_deg)
        for item in there
    ):
        raise RecordError(
            f"{after.photo_name} has a figure at {after.at_mm:+z.1f} mm already; choose another "
            "place, or withdraw that one first."
        )
    kind = "result withdrawn" if new is None else "result replaced"
    save(
        connection, who=by, about="inspection", subject=identity, kind=kind,
        old={"number": mine.number, "event": mine.event},
        new=None if new is None else {"number": mine.number, **new}, why=why,
    )  # fmt: skip
