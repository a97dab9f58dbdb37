"""The whole record as one JSON document with a published schema, and back into an empty record.

The schema is `schema/record-1.json` (JSON Schema, draft 2020-12). A document holds the current
state, for readers, and all events, from which the same record can be restored: in another file,
or in another kind of database.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any

from inspection.model.serialization import JsonObject, to_dict
from inspection.record.errors import RecordError
from inspection.record.integrity.replay import replay
from inspection.record.limits import kept_own_limits, limit_confirmations
from inspection.record.record import Record
from inspection.record.storage.events import FIRST, Event, lock_head, now_utc
from inspection.record.storage.not_restored import note_missing
from inspection.record.views import OpenInspection

FORMAT, VERSION = "rope-photo-check record", 1


def schema() -> JsonObject:
    """Return the JSON Schema of an exported record.

    Examples
    --------
    >>> schema()["$schema"]
    'https://json-schema.org/draft/2020-12/schema'
    """
    text = files("inspection.exchange").joinpath(f"schema/record-{VERSION}.json").read_text("utf-8")
    read: JsonObject = json.loads(text)
    return read


def export_json(record: Record, path: str | Path) -> str:
    """Write the whole record as JSON; return its fingerprint.

    Raises
    ------
    ValueError
        If the file can't be written.
    """
    path = Path(path)
    part = path.with_name(f"{path.name}.part")
    try:
        with part.open("w", encoding="utf-8") as file, record.snapshot() as still:
            fingerprint = still.fingerprint()
            file.writelines(_pieces(still, fingerprint))
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise ValueError(f"{path} can't be written: {error.strerror}.") from error
    return fingerprint


def _pieces(record: Record, fingerprint: str) -> Iterator[str]:
    """Yield the document piece by piece, so that a large record needs little memory."""
    head = {
        "format": FORMAT,
        "format_version": VERSION,
        "written_at": now_utc(),
        "fingerprint": fingerprint,
        "ropes": [to_dict(rope) for rope in record.ropes()],
        "gauges": [to_dict(gauge) for gauge in record.gauges()],
        "print_checks": record.print_checks(),
        "own_limits": kept_own_limits(record),
        "confirmations": [to_dict(one) for one in limit_confirmations(record).values()],
    }
    yield _text(head).removesuffix("}") + ',\n"inspections": [\n'
    names = sorted(summary.identity for summary in record.ranked())
    for count, name in enumerate(names):
        yield (",\n" if count else "") + _text(inspection_to_dict(record.inspection(name)))
    yield '\n],\n"events": [\n'
    for event in record.events():
        yield (",\n" if event.sequence > 1 else "") + _text(asdict(event))
    yield "\n]}\n"


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def inspection_to_dict(there: OpenInspection) -> JsonObject:
    """Return one inspection as the schema's "inspection"."""
    return {
        **to_dict(there.inspection),
        "revision": there.revision,
        "state": there.state,
        "rank": there.rank,
        "open_findings": there.open_findings,
        "readings": [
            {
                "number": item.number,
                **to_dict(item.reading),
                "withdrawn": item.withdrawn,
                "corrected_by": item.corrected_by,
                "event": item.event,
            }
            for item in there.logged
        ],
        "results": [to_dict(result) for result in there.results],
        "findings": [to_dict(item) for item in there.findings],
        "reviews": [to_dict(item) for item in there.reviews],
        "photographs": [to_dict(item) for item in there.photographs],
        "station_reviews": [to_dict(item) for item in there.station_reviews],
        "conditions": [to_dict(item) for item in there.conditions],
    }


def restore_json(record: Record, path: str | Path) -> str:
    """Restore an exported record from its events, in an empty record; return its fingerprint.

    The photographs that its store lacks are noted: an export holds none.

    Raises
    ------
    RecordError
        If the record is not empty, the document's chain is broken, or an entry is one that the
        record would not have accepted; then nothing is restored.
    """
    name = Path(path).name
    events = _events_of(Path(path))
    with record.access.writing() as connection:
        if lock_head(connection)[0] != 0:
            raise RecordError(f"{record.access.where} is not empty; restore into a new record.")
        for event in events:
            try:
                replay(connection, event)
            except RecordError as error:
                raise RecordError(f"{name}: {error} Nothing was restored.") from error
        note_missing(connection, record.photographs)
    return record.fingerprint()


def _events_of(path: Path) -> list[Event]:
    try:
        with path.open(encoding="utf-8") as file:
            document = json.load(file)
    except OSError as error:
        raise RecordError(f"{path} can't be read: {error.strerror}.") from error
    except (ValueError, RecursionError) as error:
        raise RecordError(f"{path.name} is not valid JSON; was it cut off?") from error
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise RecordError(f"{path.name} is not an exported record.")
    if document.get("format_version") != VERSION:
        raise RecordError(
            f"{path.name} has format version {document.get('format_version')!r}; this program "
            f"reads {VERSION}."
        )
    try:
        events = [Event(**values) for values in document["events"]]
    except (KeyError, TypeError) as error:
        raise RecordError(f"{path.name} lacks part of its events; export it again.") from error
    if not events:
        raise RecordError(f"{path.name} holds no events; there is nothing to restore.")
    for place, event in enumerate(events, start=1):
        if type(event.sequence) is not int or event.sequence != place:
            raise RecordError(
                f"{path.name} was changed after it was exported: event {place} is numbered "
                f"{event.sequence!r:.12}. Export it again."
            )
        texts = (
            event.at,
            event.who,
            event.about,
            event.subject,
            event.kind,
            event.old or "",
            event.new or "",
            event.why,
            event.previous,
            event.hash,
        )
        if not all(isinstance(text, str) for text in texts):
            raise RecordError(
                f"{path.name} was changed after it was exported: event {place} holds something "
                "other than text. Export it again."
            )
    previous = FIRST
    for event in events:
        if event.previous != previous or event.computed_hash() != event.hash:
            raise RecordError(
                f"{path.name} was changed after it was exported: entry {event.sequence} "
                f"({event.kind:.40}, {event.subject:.60}) does not match its hash. Export it "
                "again."
            )
        previous = event.hash
    if f"{len(events)}-{events[-1].hash[:32]}" != document.get("fingerprint"):
        raise RecordError(f"{path.name} does not end as its fingerprint says; was it cut off?")
    return events
