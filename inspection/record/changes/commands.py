"""Saving: the conditions for adding an event, and the event that each change becomes.

Includes the results of photographs: a new one of the same photograph and place supersedes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Sequence
from typing import Any, get_args

from sqlalchemy import Connection, Row, select

from inspection.model.length_text import LONGEST_MM
from inspection.model.names import LONGEST_TEXT, checked_name, checked_text
from inspection.model.readings import Gauge, GaugeKind, Reading
from inspection.model.rope import Inspection, Rope, country_code
from inspection.model.serialization import JsonObject, from_dict, result_from_dict, to_dict
from inspection.record.changes.projection import apply_event
from inspection.record.errors import ClosedError, RecordError, StaleError
from inspection.record.queries import definition_of, find_inspection, inspection_of, next_number
from inspection.record.storage.events import (
    SLIP_CORRECTED,
    Change,
    Event,
    Signed,
    append_event,
    is_replaying,
    iter_events,
)
from inspection.record.storage.not_restored import forget
from inspection.record.storage.photo_store import PhotographStore
from inspection.record.storage.schema import (
    confirmations,
    gauges,
    not_restored,
    own_limits,
    photographs,
    print_checks,
    readings,
    results,
    ropes,
)
from inspection.record.views import Photograph
from vision.results import Result

SHORTEST_MM = 1e-6  # a nanometre; anything less is a slip, and must not be a divisor


DEFINITIONS = {
    "rope": ropes,
    "gauge": gauges,
    "print check": print_checks,
    "own limits": own_limits,
    "confirmation": confirmations,
}


def save(connection: Connection, change: Change, signed: Signed) -> Event:
    """Add one event and bring the state up to it."""
    checked_name(signed.by, "person")
    checked_name(change.subject, change.about)
    # earlier versions recorded texts of any length, and their exports must be restored
    longest = None if is_replaying() else LONGEST_TEXT
    checked_text([change.new, signed.why], longest=longest)
    event = append_event(connection, change, signed)
    apply_event(connection, event)
    return event


def save_definition(
    connection: Connection,
    about: str,
    identity: str,
    values: JsonObject,
    signed: Signed,
    *,
    change: bool,
) -> None:
    """Save a rope, a gauge, a print check or limits: a new one, or a change of a known one."""
    table = DEFINITIONS[about]
    checked_name(identity, about)
    try:
        old = definition_of(connection, table, identity)
    except KeyError:
        old = None
    if change and old is None:
        raise RecordError(f"there is no {about} {identity!r} in the record; add it first.")
    if not change and old is not None:
        raise RecordError(f"the {about} {identity!r} is already in the record; change it instead.")
    if change:
        require_reason(signed.why, f"to change the {about} {identity!r}")
    kind = f"{about} {'changed' if change else 'added'}"
    save(connection, Change(about, identity, kind, old=old, new=values), signed)


def check_rope(rope: Rope) -> None:
    """Raise ValueError if a rope's figures are impossible."""
    _positive(rope.nominal_mm, f"nominal diameter of rope {rope.identity!r}")
    if rope.reference_mm is not None:
        _positive(rope.reference_mm, f"reference diameter of rope {rope.identity!r}")
    if rope.lay_mm is not None:
        _positive(rope.lay_mm, f"lay length of rope {rope.identity!r}")
    if rope.baseline_mm is not None:
        _positive(rope.baseline_mm, f"baseline diameter of rope {rope.identity!r}")
    for groove in rope.grooves:
        _positive(groove.radius_mm, f"radius of groove {groove.name!r}")
        for length, what in (
            (groove.pitch_mm, "pitch"),
            (groove.rope_min_mm, "least rope"),
            (groove.rope_max_mm, "largest rope"),
        ):
            if length is not None:
                _positive(length, f"{what} of groove {groove.name!r}")
        if groove.layers < 1:
            raise ValueError(
                f"the layers of groove {groove.name!r} must be 1 or more; got {groove.layers}."
            )
    if country_code(rope.country) != rope.country:
        raise ValueError(
            f"the country of rope {rope.identity!r} is given as {rope.country!r}; "
            f"write {country_code(rope.country)!r}."
        )
    if rope.outer_strands < 1:
        raise ValueError(f"a rope must have 1 outer strand or more; got {rope.outer_strands}.")
    u = rope.u_reference_mm
    if u is not None and not 0 <= u < LONGEST_MM:
        raise ValueError(
            f"the uncertainty of the reference of rope {rope.identity!r} must be 0 mm or more; "
            f"got {u}."
        )


def check_stations(inspection: Inspection) -> None:
    """Raise ValueError unless stations are numbered from 1, each number once."""
    numbers = [station.number for station in inspection.stations]
    if len(set(numbers)) != len(numbers) or any(number < 1 for number in numbers):
        raise ValueError(
            f"stations must be numbered from 1, each number once; got {numbers!r:.60}."
        )


def check_gauge(gauge: Gauge) -> None:
    """Raise ValueError if a gauge's kind is unknown or its figures are impossible."""
    kinds = get_args(GaugeKind)
    if gauge.kind not in kinds:
        raise ValueError(f"a gauge must be one of {', '.join(kinds)}; got {gauge.kind!r}.")
    _positive(gauge.resolution_mm, f"resolution of gauge {gauge.identity!r}")
    if not (math.isfinite(gauge.permissible_error_mm) and gauge.permissible_error_mm >= 0):
        raise ValueError(
            f"the permissible error of gauge {gauge.identity!r} must be 0 mm or more; "
            f"got {gauge.permissible_error_mm}."
        )


def _positive(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > SHORTEST_MM):
        raise ValueError(f"the {what} must be more than 0 mm; got {value}.")
    if value > LONGEST_MM:
        raise ValueError(f"the {what} is {value:g} mm; the longest length allowed is 100 m.")


def require_reason(why: str, what: str) -> None:
    """Raise ValueError if no reason was given."""
    if not why.strip():
        raise ValueError(f"{what}, say why.")


def require_inspection(connection: Connection, identity: str) -> Row[Any]:
    """Return the inspection's row; RecordError if there is none."""
    row = find_inspection(connection, identity)
    if row is None:
        raise RecordError(f"there is no inspection {identity!r} in the record.")
    return row


def require_unclosed(connection: Connection, identity: str) -> Row[Any]:
    """Return the inspection's row; ClosedError if it is closed: its report may be signed."""
    row = require_inspection(connection, identity)
    if row.state == "closed":
        raise ClosedError(
            f"the inspection {identity!r} is closed; withdraw the decision, giving a reason, "
            "before changing anything in it."
        )
    return row


# What arrives by itself during typing: photographs, their results, and the screening afterwards.
ARRIVALS = {"photograph added", "measurement asked", "photograph measured", "findings set"}


def check_revision(
    connection: Connection,
    row: Row[Any],
    revision: int | None,
    change: Any,
    photographs: Collection[str] | None = None,
) -> None:
    """Raise StaleError if the inspection was changed after `revision`.

    If `photographs` are given (hashes, possibly none), the change depends on no other photograph's
    figures, and results of others that the queue added meanwhile are no reason to refuse it.
    """
    if revision is None or revision == row.revision:
        return
    events = iter_events(connection, about="inspection", subject=row.identity, after=revision)
    newer = [
        f"{event.kind} by {event.who} at {event.at[:16].replace('T', ' ')} UTC"
        for event in events
        if photographs is None or not _came_by_itself(event, photographs)
    ]
    if photographs is not None and not newer:
        return
    changes = "; ".join(newer[-3:]) or f"its revision is {row.revision}, not {revision}"
    more = f" (and {len(newer) - 3} changes before)" if len(newer) > 3 else ""
    raise StaleError(
        f"inspection {row.identity!r} was changed after you opened it: {changes}{more}. "
        "Nothing was overwritten; open it again and make your change to the current version.",
        change=change,
    )


def _came_by_itself(event: Event, photographs: Collection[str]) -> bool:
    if event.kind == "results added":
        return not {one["photo_sha256"] for one in event.new_value} & set(photographs)
    return event.kind in ARRIVALS


def save_inspection(connection: Connection, inspection: Inspection, signed: Signed) -> None:
    """Save a new inspection (revision None) or a change of a known one."""
    checked_name(inspection.identity, "inspection")
    row = find_inspection(connection, inspection.identity)
    new = to_dict(inspection)
    check_stations(inspection)
    try:
        definition_of(connection, ropes, inspection.rope)
    except KeyError:
        raise RecordError(
            f"there is no rope {inspection.rope!r} in the record; add it first."
        ) from None
    if inspection.next_due is not None and inspection.next_due < inspection.on:
        raise ValueError(
            f"the next inspection, {inspection.next_due}, is before the inspection of "
            f"{inspection.on}."
        )
    if signed.revision is None:
        if row is not None:
            raise RecordError(
                f"the inspection {inspection.identity!r} is already in the record; "
                "change it instead."
            )
        kind, old = "inspection added", None
    else:
        row = require_unclosed(connection, inspection.identity)
        check_revision(connection, row, signed.revision, new, ())
        require_reason(signed.why, f"to change the inspection {inspection.identity!r}")
        kind, old = "inspection changed", to_dict(inspection_of(connection, row))
    save(connection, Change("inspection", inspection.identity, kind, old=old, new=new), signed)


def save_readings(
    connection: Connection,
    identity: str,
    added: Sequence[Reading],
    signed: Signed,
) -> tuple[int, ...]:
    """Add readings; return their numbers."""
    row = require_unclosed(connection, identity)
    new = [to_dict(reading) for reading in added]
    check_revision(connection, row, signed.revision, new, ())
    if not added:
        return ()
    _check_readings(connection, added)
    first = next_number(connection, readings, identity)
    numbers = tuple(range(first, first + len(new)))
    numbered = [{"number": number, **item} for number, item in zip(numbers, new, strict=True)]
    save(connection, Change("inspection", identity, "readings added", new=numbered), signed)
    return numbers


def _check_readings(connection: Connection, added: Sequence[Reading]) -> None:
    for reading in added:
        checked_name(reading.person, "person who read")
        _positive(reading.value_mm, f"reading {reading.typed!r}")
        if reading.station < 1 or not 0 <= reading.view_deg < 360:
            raise ValueError(
                "a reading needs a station from 1 and a direction from 0 to 359 degrees; got "
                f"station {reading.station}, {reading.view_deg} degrees."
            )
    named = {reading.gauge for reading in added}
    known = connection.execute(select(gauges.c.identity).where(gauges.c.identity.in_(named)))
    missing = named - set(known.scalars())
    if missing:
        raise RecordError(f"there is no gauge {min(missing)!r} in the record; add it first.")


def save_correction(
    connection: Connection,
    identity: str,
    number: int,
    reading: Reading | None,
    signed: Signed,
    *,
    kind: str = "reading corrected",
) -> None:
    """Correct a reading, or withdraw it (`reading` None); the earlier one stays in its event."""
    row = require_unclosed(connection, identity)
    new = None if reading is None else {"number": number, **to_dict(reading)}
    check_revision(connection, row, signed.revision, new, ())
    require_reason(signed.why, f"to correct or withdraw reading {number}")
    row_now = connection.execute(
        select(readings).where(readings.c.inspection == identity, readings.c.number == number)
    ).one_or_none()
    if row_now is None:
        raise RecordError(f"inspection {identity!r} has no reading {number}.")
    if row_now.withdrawn:
        raise RecordError(f"reading {number} was withdrawn; add a new reading instead.")
    if reading is not None:
        _check_readings(connection, [reading])
    old = {"number": number, **to_dict(from_dict(Reading, dict(row_now._mapping)))}
    if kind == SLIP_CORRECTED and new is not None:
        changed = {name for name, value in new.items() if value != old.get(name)}
        if changed - {"typed", "value_mm"}:
            raise ValueError(
                "correcting a slip at review can change only the figure; for another place, gauge "
                "or person send the reading back."
            )
    kind = "reading withdrawn" if new is None else kind
    save(connection, Change("inspection", identity, kind, old=old, new=new), signed)


def check_store(connection: Connection, identity: str, store: PhotographStore) -> None:
    """Raise RecordError if a photograph of the inspection would start a second store.

    A store that was moved away and put back later would replace the second one, and its
    photographs would be lost.
    """
    require_unclosed(connection, identity)
    brought = select(photographs.c.sha256).where(
        photographs.c.sha256.not_in(select(not_restored.c.sha256))
    )
    if store.is_gone() and connection.execute(brought.limit(1)).first():
        raise RecordError(
            f"the folder of photographs {store.where} is missing, but the record has "
            "photographs in it: was it moved? Put it back before adding more. Only if it is lost "
            "for good, create an empty folder there."
        )


def save_photograph(
    connection: Connection, identity: str, photograph: Photograph, *, by: str
) -> None:
    """Assign a stored photograph to an inspection; a second time changes nothing."""
    require_unclosed(connection, identity)
    forget(connection, {photograph.sha256, photograph.preview})
    existing = connection.execute(
        select(photographs.c.sha256).where(
            photographs.c.inspection == identity, photographs.c.sha256 == photograph.sha256
        )
    ).scalar()
    if existing is None:
        save(
            connection,
            Change("inspection", identity, "photograph added", new=to_dict(photograph)),
            Signed(by),
        )


def _standing(connection: Connection, identity: str) -> list[Row[Any]]:
    query = select(results).where(results.c.inspection == identity, results.c.withdrawn.is_(False))
    return list(connection.execute(query.order_by(results.c.number)))


def save_results(
    connection: Connection,
    identity: str,
    added: Sequence[Result],
    signed: Signed,
) -> tuple[int, ...]:
    """Add results of photographs; each supersedes one of the same photograph and place.

    If several cards are in one photograph, the station distinguishes their results.
    """
    row = require_unclosed(connection, identity)
    new = [to_dict(result) for result in added]
    of = {result.photo_sha256 for result in added}
    check_revision(connection, row, signed.revision, new, of)
    if not added:
        return ()
    standing = [item for item in _standing(connection, identity) if item.photo]
    following = next_number(connection, results, identity)
    numbers: dict[int, JsonObject] = {}
    superseded = []
    for result, values in zip(added, new, strict=True):
        same = [
            item
            for item in standing
            if (item.photo, item.at_mm) == (result.photo_sha256, result.at_mm)
            and item.number not in numbers
        ]
        filed = (result.station, result.view_deg)
        same.sort(key=lambda item: (item.station, item.view_deg) != filed)
        if same:
            number = same[0].number
            superseded.append({"number": number, "event": same[0].event})
        else:
            number, following = following, following + 1
        numbers[number] = {"number": number, **values}
    save(
        connection,
        Change(
            "inspection",
            identity,
            "results added",
            old=superseded or None,
            new=list(numbers.values()),
        ),
        signed,
    )
    return tuple(numbers)


def result_of(row: Row[Any]) -> Result:
    """Return the result that a row of the results holds."""
    return result_from_dict(json.loads(row.data))


def save_replacement(
    connection: Connection,
    identity: str,
    before: Result,
    after: Result | None,
    signed: Signed,
) -> None:
    """Replace one result by another, or withdraw it (`after` None); both stay in events.

    Raises
    ------
    RecordError
        If `before` is not a current result of the inspection, or the new place already has
        another result.
    """
    row = require_unclosed(connection, identity)
    new = None if after is None else to_dict(after)
    check_revision(connection, row, signed.revision, new, (before.photo_sha256,))
    require_reason(signed.why, "to replace or withdraw the result of a photograph")
    standing = _standing(connection, identity)
    mine = next(
        (
            item
            for item in standing
            if item.photo == before.photo_sha256 and result_of(item) == before
        ),
        None,
    )
    if mine is None:
        raise RecordError(
            f"inspection {identity!r} no longer has this result of {before.photo_name}; check the "
            "current one."
        )
    if after is not None and any(
        item.number != mine.number
        and (item.photo, item.at_mm, item.station, item.view_deg)
        == (after.photo_sha256, after.at_mm, after.station, after.view_deg)
        for item in standing
    ):
        raise RecordError(
            f"{after.photo_name} already has a figure at {after.at_mm:+z.1f} mm; choose another "
            "place, or withdraw that one first."
        )
    kind = "result withdrawn" if new is None else "result replaced"
    save(
        connection,
        Change(
            "inspection",
            identity,
            kind,
            old={"number": mine.number, "event": mine.event},
            new=None if new is None else {"number": mine.number, **new},
        ),
        signed,
    )
