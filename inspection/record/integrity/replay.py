"""Events from outside, replayed into a record: each must be one that it would have written.

Every event goes through the same function that saves what people enter, with the record as it was
before it. So the record's own rules apply to it: nobody reviews their own readings, what is
corrected exists, a figure is a number. What the function then writes is compared with the event.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import Connection, exc, select

from inspection.model.closing import Closing
from inspection.model.condition import Condition
from inspection.model.confirmation import Confirmation, check_confirmation
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Inspection, Rope
from inspection.model.serialization import from_dict, result_from_dict, to_dict
from inspection.model.typed import check_types
from inspection.record.changes import commands, measurements, reviews
from inspection.record.errors import RecordError
from inspection.record.storage.events import SLIP_CORRECTED, Event, Signed, replaying
from inspection.record.storage.schema import results
from inspection.record.views import AskedAgain, Manner, Photograph
from vision.results import Finding

T = TypeVar("T")

DEEPEST = 40  # levels of nesting; the record's own values have 6


def replay(connection: Connection, event: Event) -> None:
    """Add an event that was made elsewhere, if the record would have written it.

    Raises
    ------
    RecordError
        If it would not: one sentence that says which entry is wrong, and how.
    """
    named = f"entry {event.sequence} ({event.kind:.40}, {event.subject:.60})"
    try:
        datetime.strptime(event.at, "%Y-%m-%dT%H:%M:%S.%fZ")
        _check_depth(event.old_value)
        _check_depth(event.new_value)
        with replaying(event) as replayed:
            _REPLAY[event.kind](connection, event)
        if not replayed.written:
            raise ValueError("it changes nothing.")
    except exc.IntegrityError as wrong:
        raise RecordError(f"{named} does not fit the entries before it.") from wrong
    except ValueError as wrong:
        raise RecordError(f"{named} could not have been made: {wrong}") from wrong
    except (KeyError, TypeError, AttributeError, IndexError, ArithmeticError) as wrong:
        raise RecordError(
            f"{named} can't be understood; was it exported by a newer version of this program?"
        ) from wrong
    except RecursionError as wrong:
        raise RecordError(f"{named} is nested too deeply.") from wrong


def _check_depth(value: Any, left: int = DEEPEST) -> None:
    if not left:
        raise RecursionError
    for item in value.values() if isinstance(value, dict) else value if _is_list(value) else ():
        _check_depth(item, left - 1)


def _is_list(value: Any) -> bool:
    return isinstance(value, list)


def _typed(thing: T) -> T:
    """Return a dataclass made from a dictionary, every field checked."""
    check_types(thing)
    return thing


def _rope(connection: Connection, event: Event) -> None:
    rope = _typed(from_dict(Rope, event.new_value))
    commands.check_rope(rope)
    _define(connection, event, rope.identity, to_dict(rope))


def _gauge(connection: Connection, event: Event) -> None:
    gauge = _typed(from_dict(Gauge, event.new_value))
    commands.check_gauge(gauge)
    _define(connection, event, gauge.identity, to_dict(gauge))


def _print_check(connection: Connection, event: Event) -> None:
    _define(connection, event, event.subject, dict(event.new_value))


def _own_limits(connection: Connection, event: Event) -> None:
    if not _is_list(event.new_value["rules"]):
        raise ValueError("its limits are not a list.")
    _define(connection, event, event.subject, dict(event.new_value))


def _confirmation(connection: Connection, event: Event) -> None:
    confirmation = _typed(from_dict(Confirmation, event.new_value))
    check_confirmation(confirmation)
    _define(connection, event, confirmation.rule_set, to_dict(confirmation))


def _define(connection: Connection, event: Event, name: str, values: Any) -> None:
    commands.save_definition(
        connection,
        event.about,
        name,
        values,
        _signed(event),
        change=event.kind.endswith("changed"),
    )


def _inspection(connection: Connection, event: Event) -> None:
    inspection = _typed(from_dict(Inspection, event.new_value))
    revision = None
    if event.kind == "inspection changed":
        revision = commands.require_inspection(connection, event.subject).revision
    commands.save_inspection(connection, inspection, Signed(event.who, event.why, revision))


def _signed(event: Event) -> Signed:
    return Signed(event.who, event.why)


def _readings(connection: Connection, event: Event) -> None:
    added = [_typed(from_dict(Reading, values)) for values in event.new_value]
    commands.save_readings(connection, event.subject, added, _signed(event))


def _correction(connection: Connection, event: Event) -> None:
    new = event.new_value
    reading = None if new is None else _typed(from_dict(Reading, new))
    number = event.old_value["number"]
    commands.save_correction(connection, event.subject, number, reading, _signed(event))


def _slip(connection: Connection, event: Event) -> None:
    reading = _typed(from_dict(Reading, event.new_value))
    number = event.old_value["number"]
    reviews.save_slip(connection, event.subject, number, reading, _signed(event))


def _results(connection: Connection, event: Event) -> None:
    added = [_typed(result_from_dict(values)) for values in event.new_value]
    commands.save_results(connection, event.subject, added, _signed(event))


def _replacement(connection: Connection, event: Event) -> None:
    new, number = event.new_value, event.old_value["number"]
    query = select(results).where(results.c.inspection == event.subject, results.c.number == number)
    row = connection.execute(query).one_or_none()
    if row is None:
        raise ValueError(f"there is no result {number!r:.20} before it.")
    before = commands.result_of(row)
    after = None if new is None else _typed(result_from_dict(new))
    commands.save_replacement(connection, event.subject, before, after, _signed(event))


def _photograph(connection: Connection, event: Event) -> None:
    photograph = Photograph(**event.new_value)
    check_types(photograph)
    for sha256 in filter(None, (photograph.sha256, photograph.preview)):
        if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
            raise ValueError(f"{sha256[:80]!r} is not a photograph's hash.")
    commands.save_photograph(connection, event.subject, photograph, by=event.who)


def _request(connection: Connection, event: Event) -> None:
    new = dict(event.new_value)
    hashes = new.pop("photographs")
    manner = _typed(Manner(**new))
    measurements.save_request(connection, event.subject, hashes, manner, _signed(event))


def _measured(connection: Connection, event: Event) -> None:
    photograph = _typed(measurements.MeasuredPhotograph(**event.new_value))
    measurements.save_measured(connection, event.subject, photograph, by=event.who)


def _findings(connection: Connection, event: Event) -> None:
    findings = [_typed(from_dict(Finding, values)) for values in event.new_value["findings"]]
    rank = event.new_value["rank"]
    if type(rank) not in (int, float):
        raise ValueError(f"its rank is {rank!r:.40}; it must be a number.")
    reviews.save_findings(connection, event.subject, findings, rank=rank, by=event.who)


def _settlement(connection: Connection, event: Event) -> None:
    new = event.new_value
    reviews.save_settlement(connection, event.subject, new["key"], how=new["how"], by=event.who)


def _review(connection: Connection, event: Event) -> None:
    reviews.save_review(connection, event.subject, event.new_value["state"], _signed(event))


def _station_review(connection: Connection, event: Event) -> None:
    new = event.new_value
    asked = AskedAgain(new["station"], new.get("asks", ""), new.get("view_deg"))
    check_types(asked)
    reviews.save_station_review(connection, event.subject, asked, new["state"], _signed(event))


def _submission(connection: Connection, event: Event) -> None:
    reviews.save_submission(connection, event.subject, _signed(event))


def _closing(connection: Connection, event: Event) -> None:
    closing = _typed(from_dict(Closing, event.new_value))
    reviews.save_closing(connection, event.subject, closing, _signed(event))


def _condition(connection: Connection, event: Event) -> None:
    if event.new_value is not None:
        seen = _typed(from_dict(Condition, event.new_value))
        reviews.save_condition(connection, event.subject, seen, _signed(event))
        return
    old = event.old_value
    reviews.withdraw_condition(
        connection, event.subject, old["station"], old["criterion"], _signed(event)
    )


_REPLAY: dict[str, Callable[[Connection, Event], None]] = {
    "rope added": _rope,
    "rope changed": _rope,
    "gauge added": _gauge,
    "gauge changed": _gauge,
    "print check added": _print_check,
    "print check changed": _print_check,
    "inspection added": _inspection,
    "inspection changed": _inspection,
    "readings added": _readings,
    "reading corrected": _correction,
    SLIP_CORRECTED: _slip,
    "reading withdrawn": _correction,
    "results added": _results,
    "result replaced": _replacement,
    "result withdrawn": _replacement,
    "photograph added": _photograph,
    "measurement asked": _request,
    "photograph measured": _measured,
    "findings set": _findings,
    "finding settled": _settlement,
    "reviewed": _review,
    "station reviewed": _station_review,
    "submitted": _submission,
    "closed": _closing,
    "condition recorded": _condition,
    "own limits added": _own_limits,
    "own limits changed": _own_limits,
    "confirmation added": _confirmation,
    "confirmation changed": _confirmation,
}
