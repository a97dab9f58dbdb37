"""A folder of one rope's inspection, put into a record as a whole; a second time adds nothing."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from inspection.folder import Folder
from inspection.model.readings import Reading
from inspection.model.rope import Inspection
from inspection.record.errors import RecordError
from inspection.record.record import Record
from inspection.record.serialization import reading_from
from vision.photo.containers import SUFFIXES
from vision.photo.photo import PhotoError, open_photo
from vision.target.print_scale import load_print_checks, plain_check


@dataclass(frozen=True, slots=True)
class Added:
    """What a folder added to a record.

    Parameters
    ----------
    counts : dict of str to int
        How many of each kind were added.
    notes : tuple of str
        What was taken for granted or left as the record had it.
    left_out : tuple of str
        Files that are no photographs, each with its reason.
    """

    counts: dict[str, int]
    notes: tuple[str, ...]
    left_out: tuple[str, ...]


def add_folder(record: Record, folder: Path, read: Folder, *, by: str) -> Added:
    """Put a folder's rope, gauges, print checks, inspections, readings and photographs in.

    All is saved together, or nothing. What the record holds already stays as it is there: a
    folder never changes an entry, and a reading that was corrected since does not come back.

    Parameters
    ----------
    record : Record
        Where to.
    folder : Path
        Where the photographs and print checks are.
    read : Folder
        Its tables, from `inspection.folder.read_folder`.
    by : str
        Who puts it in.

    Raises
    ------
    ValueError
        If an inspection of the same name is one of another rope, or a file can't be read.
    """
    log = read.log
    why = f"from the folder {folder.resolve().name}"
    good, left_out = _photographs(folder)
    checks = load_print_checks(folder / "print_checks.json")
    counts: Counter[str] = Counter()
    notes = list(read.notes)
    with record.together() as batch:
        ropes = {one.identity: one for one in batch.ropes()}
        if log.rope.identity not in ropes:
            batch.add_rope(log.rope, by=by, why=why)
            counts["ropes"] += 1
        elif ropes[log.rope.identity] != log.rope:
            notes.append(_differs("rope", log.rope.identity))
        gauges = {one.identity: one for one in batch.gauges()}
        for gauge in log.gauges.values():
            if gauge.identity not in gauges:
                batch.add_gauge(gauge, by=by, why=why)
                counts["gauges"] += 1
            elif gauges[gauge.identity] != gauge:
                notes.append(_differs("gauge", gauge.identity))
        known = batch.print_checks()
        for name, check in checks.items():
            if name not in known:
                batch.add_print_check(name, plain_check(check), by=by, why=why)
                counts["print checks"] += 1
            elif known[name] != plain_check(check):
                notes.append(_differs("print check", name))
        held = [(one.inspection, one.readings) for one in log.earlier]
        for inspection, readings in (*held, (log.inspection, log.readings)):
            _add_inspection(batch, inspection, readings, counts, notes, by=by, why=why)
        there = {one.sha256 for one in batch.inspection(log.inspection.identity).photographs}
        for name, data in good:
            sha256 = batch.add_photograph(log.inspection.identity, data, name=name, by=by)
            counts["photographs"] += sha256 not in there
            there.add(sha256)
    return Added({name: count for name, count in counts.items() if count}, tuple(notes), left_out)


def _add_inspection(
    batch: Record,
    inspection: Inspection,
    readings: Sequence[Reading],
    counts: Counter[str],
    notes: list[str],
    *,
    by: str,
    why: str,
) -> None:
    identity = inspection.identity
    try:
        there = batch.inspection(identity)
    except RecordError:
        batch.add_inspection(inspection, by=by, why=why)
        counts["inspections"] += 1
    else:
        if there.inspection.rope != inspection.rope:
            raise ValueError(
                f"inspection '{identity}' of the record is one of rope '{there.inspection.rope}', "
                f"and the folder's is '{inspection.rope}': give one of them another name."
            )
        if there.inspection != inspection:
            notes.append(_differs("inspection", identity))
    ever = Counter(
        reading_from(values)
        for event in batch.events(about="inspection", subject=identity)
        if event.kind == "readings added"
        for values in json.loads(event.new or "[]")
    )
    new = list((Counter(readings) - ever).elements())
    if new:
        batch.add_readings(identity, new, by=by, why=why)
        counts["readings"] += len(new)


def _photographs(folder: Path) -> tuple[list[tuple[str, bytes]], tuple[str, ...]]:
    """Return the photographs' names and bytes, and which files are none."""
    good, bad = [], []
    for path in sorted(one for one in folder.iterdir() if one.suffix.lower() in SUFFIXES):
        try:
            data = path.read_bytes()
            open_photo(data, name=path.name)
        except (OSError, PhotoError) as error:
            bad.append(f"{path.name} was left out: {error}")
        else:
            good.append((path.name, data))
    return good, tuple(bad)


def _differs(what: str, name: str) -> str:
    return (
        f"The record describes the {what} '{name}' otherwise; it was left as it is there. Change "
        "it in the record, with its reason, if the folder is right."
    )
